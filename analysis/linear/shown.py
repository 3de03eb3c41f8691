"""How results show themselves to whoever works in Python: a line, a table, a frame.

The words of a trade answer are elsewhere; here are the facts of a result as they are named:
`repr` is one short line, a notebook shows a table, and pandas or xarray get the columns
where they are installed (waylog needs neither).
"""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

import numpy as np

KEPT_INSIDE: Mapping[str, Any] = {"kept_inside": True}
"""Metadata of a field that neither JSON nor a table shows."""
LONGEST_LINE = 200
MOST_ROWS = 60
UNITS = {"_um_per_m": "µm/m", "_um2": "µm²", "_um": "µm", "_mm": "mm", "_degC": "°C", "_s": "s"}
"""Unit at the end of a name, and how it is written."""


class Shown:
    """Mixed into result dataclasses, which are then made with ``repr=False``.

    The columns of a result are its fields along ``station_mm``.

    Examples
    --------
    >>> from dataclasses import dataclass
    >>> @dataclass(frozen=True, eq=False, repr=False)
    ... class Heights(Shown):
    ...     face: str
    ...     station_mm: np.ndarray
    ...     height_um: np.ndarray
    >>> Heights("way", np.array([0.0, 100.0]), np.array([0.0, 1.5]))
    Heights(2 stations, face='way')
    """

    def __repr__(self) -> str:
        facts = ", ".join(_facts(self))
        facts = facts if len(facts) <= LONGEST_LINE else facts[: LONGEST_LINE - 2] + " …"
        return f"{type(self).__name__}({facts})"

    def _repr_html_(self) -> str:
        """What a notebook shows: the facts, and the columns as a table."""
        return table_html(repr(self), columns_of(self))

    def to_pandas(self) -> Any:
        """The columns as a pandas frame, by station. ImportError where pandas is not installed."""
        import pandas

        columns = columns_of(self)
        place = columns.pop("station_mm")
        return pandas.DataFrame(columns, index=pandas.Index(place, name="station_mm"))

    def to_xarray(self) -> Any:
        """The columns as an xarray set with units, by station. ImportError where xarray is not installed."""
        import xarray

        columns = {name: ("station_mm", values, _units(name)) for name, values in columns_of(self).items()}
        return xarray.Dataset(columns, attrs={"result": type(self).__name__})


def columns_of(result: Any) -> dict[str, np.ndarray]:
    """The fields of a result that hold one value a station, by name; none where it has no stations."""
    station_mm = getattr(result, "station_mm", None)
    if station_mm is None:
        return {}
    names = dict.fromkeys([*(item.name for item in fields(result)), "standard_uncertainty_um"])
    found = {name: getattr(result, name, None) for name in names}
    return {
        name: values
        for name, values in found.items()
        if isinstance(values, np.ndarray) and values.shape == np.shape(station_mm)
    }


def table_html(title: str, columns: Mapping[str, Any]) -> str:
    """A title and columns of equal length as one HTML table, cut off after many rows.

    Examples
    --------
    >>> table_html("way", {"height_um": np.array([np.nan])})
    '<table><caption>way</caption><tr><th>height, µm</th></tr><tr><td>–</td></tr></table>'
    """
    import html  # asked for in notebooks alone

    rows = list(zip(*columns.values(), strict=True))
    lines = ["".join(f"<th>{html.escape(_heading(name))}</th>" for name in columns)] if columns else []
    lines += ["".join(f"<td>{html.escape(_cell(value))}</td>" for value in row) for row in rows[:MOST_ROWS]]
    if len(rows) > MOST_ROWS:
        lines.append(f'<td colspan="{len(columns)}">… {len(rows) - MOST_ROWS} more</td>')
    body = "".join(f"<tr>{line}</tr>" for line in lines)
    return f"<table><caption>{html.escape(title)}</caption>{body}</table>"


def _facts(result: Any) -> list[str]:
    shown = {item.name: _short(getattr(result, item.name)) for item in fields(result)}
    facts = [f"{name}={text}" for name, text in shown.items() if text]
    columns = columns_of(result)
    return [*([f"{len(columns['station_mm'])} stations"] if columns else []), *facts]


def _short(value: Any) -> str:
    """A number, a name, or a few of them; nothing for what is longer."""
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, str | bool | int):
        return repr(value) if len(str(value)) <= 60 else ""
    if isinstance(value, Mapping):
        known = [f"{key}: {text}" if (text := _short(each)) else str(key) for key, each in value.items()]
        return "{" + ", ".join(known) + "}" if known else ""
    if isinstance(value, tuple):
        shown = repr(value)
        is_plain = all(isinstance(each, int | float | str) for each in value) and len(shown) <= 40
        return shown if value and is_plain else str(len(value) or "")
    return ""


def _unit_in(name: str) -> str:
    return next((ending for ending in UNITS if name.endswith(ending)), "")


def _units(name: str) -> dict[str, str]:
    ending = _unit_in(name)
    return {"units": UNITS[ending]} if ending else {}


def _heading(name: str) -> str:
    ending = _unit_in(name)
    words = name.removesuffix(ending).replace("_", " ")
    return f"{words}, {UNITS[ending]}" if ending else words


def _cell(value: Any) -> str:
    if isinstance(value, float | np.floating):
        return "–" if np.isnan(value) else f"{value:.6g}"
    return str(value)
