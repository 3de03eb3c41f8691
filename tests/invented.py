"""Beds of the tests, all invented: the text of a bed.toml from the keys that a test is about.

    BED = bed_toml(instruments={"level": level(sign=-1, **speaks("loop://")), "scale": scale()})

Every part is a table of plain keys; a key of None is left out.  What these functions fill in is
what most tests need and none is about.
"""

import json
from collections.abc import Iterable, Mapping
from itertools import accumulate
from pathlib import Path
from typing import Any

import numpy as np

from acquire.model.bed import Bed
from acquire.model.traverse import Events, Setup, Stations, Traverse

Table = dict[str, Any]
NUMBER = r"(?P<value>[-+]?\d+\.\d+)"
SIGNED = r"(?P<value>[-+]\d+\.\d+)"


def bed_toml(
    length_mm: float | None = 1000,
    pitch_mm: float | None = 100,
    *,
    name: str = "invented bed of the tests",
    bed: Mapping[str, Any] | str = "",
    faces: Iterable[str] | Mapping[str, Mapping[str, Any] | str] = ("front",),
    instruments: Mapping[str, Mapping[str, Any] | str] | None = None,
    **tables: Any,
) -> str:
    """Text of a bed.toml.

    Parameters
    ----------
    length_mm, pitch_mm : float
    bed : mapping or text
        Further keys of the bed.
    faces : names, or mapping of name to keys
        Names alone are flats that look up.
    instruments : mapping of name to keys
    **tables
        Whatever else stands at the top: `state`, `feet`, `straightedges`.
    """
    named = faces if isinstance(faces, Mapping) else {face: flat() for face in faces}
    keys = {"name": name, "length_mm": length_mm, "station_pitch_mm": pitch_mm}
    parts = [_table("bed", keys) + (bed if isinstance(bed, str) else _keys(bed))]
    parts += [_table(f"faces.{each}", inside) for each, inside in named.items()]
    parts += [_table(f"instruments.{each}", inside) for each, inside in (instruments or {}).items()]
    parts += [_table(table, inside) for table, inside in tables.items()]
    return "".join(part if part.endswith("\n") else part + "\n" for part in parts)


def survey_in(folder: Path, bed: str) -> Path:
    """A survey folder with that bed.toml and no traverse."""
    (folder / "traverses").mkdir(parents=True)
    (folder / "bed.toml").write_text(bed, encoding="utf-8")
    return folder


def imported(
    survey: Path, station: Iterable[Any], reading: Iterable[Any], *how: str, head: str = "station_mm"
) -> None:
    """Take readings into a survey by a CSV file and the command; `how` are its further words.

    What the runs before say of this one is not asked: that takes longer than all the rest.
    """
    import pytest

    rows = (f"{x:g},{y}\n" for x, y in zip(station, reading, strict=True))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("acquire.commands.import_csv.doubt_about_run", lambda *_: None)
        assert import_text(survey, f"{head},reading\n{''.join(rows)}", *how) == 0


def import_text(survey: Path, text: str, *how: str) -> int:
    """The exit code of `import`, given a CSV file of this text and further words."""
    from acquire.cli import main

    table = survey / "run.csv"
    table.write_text(text, encoding="utf-8")
    return main(["import", str(survey), str(table), *how])


def traverse(
    bed: Bed,
    instrument: str,
    station_mm: Any,
    reading: Any,
    *,
    mode: str = "stepped",
    scatter: Any = 0.0,
    standard_uncertainty: Any = None,
    repeat: Any = None,
    time_s: Any = None,
    complete: bool = True,
    **setup: Any,
) -> Traverse:
    """A run as it would be on file, its stations rising; readings are in contract units.

    `scatter` is what the samples of each station showed, `setup` whatever else `Setup` holds.
    """
    described = bed.instruments[instrument]
    own = described.uncertainty if standard_uncertainty is None else standard_uncertainty
    columns = (
        station_mm, reading, np.hypot(scatter, own), scatter, 1, 1 if repeat is None else repeat,
        np.nan if time_s is None else time_s,
    )  # fmt: skip
    order = np.argsort(station_mm, kind="stable")
    rising = [np.broadcast_to(column, order.shape)[order] for column in columns]
    kinds = (float, float, float, float, int, int, float)
    stations = Stations(*(each.astype(kind) for each, kind in zip(rising, kinds, strict=True)))
    about = {"source": "enter", "quantity": described.quantity, "bed_toml": bed.text, **setup}
    return Traverse(Setup(instrument, **about), {}, stations, Events.none(), mode, complete)


def autoregressive(fresh: Iterable[float], share: float) -> np.ndarray:
    """Noise each of whose values is a share of the one before it and something fresh."""
    return np.array(list(accumulate(fresh, lambda before, new: share * before + new)))


def flat(across_mm: float | None = None, carriage: str | None = None, **keys: Any) -> Table:
    """A flat face that looks up."""
    return {"normal": "up", "across_mm": across_mm, "carriage": carriage, **keys}


def vee(across_mm: float | None = None, carriage: str | None = None, **keys: Any) -> Table:
    """A ridge of 90 degrees."""
    shape = {"normal": "up", "shape": "vee", "form": "ridge", "vee_angle_deg": 90}
    return {**shape, "across_mm": across_mm, "carriage": carriage, **keys}


def level(standard_uncertainty: float = 1.0, base_mm: float = 200, **keys: Any) -> Table:
    """A level on two feet, in µm/m."""
    read = {"quantity": "slope", "unit": "um/m", "base_mm": base_mm}
    return {**read, "standard_uncertainty": standard_uncertainty, **keys}


def cross_level(standard_uncertainty: float = 1.0, **keys: Any) -> Table:
    """A level across the ways, in µm/m."""
    return {"quantity": "roll", "unit": "um/m", "standard_uncertainty": standard_uncertainty, **keys}


def dial(standard_uncertainty: float = 1.0, **keys: Any) -> Table:
    """An indicator, in µm."""
    return {"quantity": "offset", "unit": "um", "standard_uncertainty": standard_uncertainty, **keys}


def caliper(standard_uncertainty: float = 1.0, **keys: Any) -> Table:
    """A caliper or micrometer, in µm."""
    return {"quantity": "span", "unit": "um", "standard_uncertainty": standard_uncertainty, **keys}


def scale(**keys: Any) -> Table:
    """A scale along the bed, in mm."""
    return {"quantity": "position", "unit": "mm", **keys}


def speaks(url: str, pattern: str = SIGNED, *, baud: int | None = None) -> Table:
    """The port of an instrument that sends lines of text, and its wire."""
    return {"port": {"url": url, "baud": baud}, "wire": {"kind": "lines", "pattern": pattern}}


def _table(name: str, keys: Mapping[str, Any] | str) -> str:
    return f"[{name}]\n{keys}" if isinstance(keys, str) else f"[{name}]\n{_keys(keys, name)}"


def _keys(keys: Mapping[str, Any], name: str = "") -> str:
    """Plain keys first, then the tables inside."""
    plain = {key: each for key, each in keys.items() if each is not None and not isinstance(each, Mapping)}
    inside = {key: each for key, each in keys.items() if isinstance(each, Mapping)}
    lines = [f"{key} = {_value(each)}\n" for key, each in plain.items()]
    return "".join((*lines, *(_table(f"{name}.{key}", each) for key, each in inside.items())))


def _value(value: Any) -> str:
    if isinstance(value, str) and "\\" in value:
        return f"'{value}'"
    return json.dumps(value, ensure_ascii=False)
