"""Which column holds what, and in which unit: headers in any order, as people write them."""

import re
from dataclasses import dataclass, replace

from acquire.model.bed import units_read_by
from acquire.model.errors import EntryError
from acquire.model.quantity import POSITION
from acquire.model.traverse import Setup
from acquire.model.units import unit_name

NAMES = {
    "station": ("station", "stations", "position", "pos", "place", "distance", "x"),
    "from": ("from",),
    "to": ("to",),
    "reading": ("reading", "readings", "value", "values", "measured"),
    "repeat": ("repeat", "repeats", "rep"),
    "note": ("note", "notes", "remark", "remarks", "comment", "comments"),
    "forward": ("forward", "out", "outward"),
    "reverse": ("reverse", "back", "backward", "return"),
}
_CALLED = {name: kind for kind, names in NAMES.items() for name in names}
_HEADER = re.compile(r"\s*([^\W\d_]+)[\s_.:,/-]*(.*?)\s*", re.DOTALL)


@dataclass(frozen=True)
class Column:
    """One column that is used: where it is, what it is called, and its unit if the header names one."""

    index: int
    header: str
    unit: str | None


@dataclass(frozen=True)
class Columns:
    """The columns of a table of readings: a station, or the feet from and to; a reading; maybe more."""

    places: tuple[Column, ...]
    """(station,) or (from, to)."""
    reading: Column
    repeat: Column | None
    note: Column | None
    unused: tuple[str, ...]
    is_of_direction: bool = False
    """Of a sheet with a column for each direction: the reading is that of the direction asked for."""


def columns_of(header: tuple[str, ...], setup: Setup, where: str) -> Columns:
    """Tell the columns of a header.

    Raises
    ------
    EntryError
        If a needed column is missing or there twice, or its unit is none of the quantity.
    """
    found: dict[str, Column] = {}
    unused = []
    for index, cell in enumerate(header):
        kind, unit = _kind_of(cell, setup, where)
        if kind is None:
            unused.append(cell)
        elif kind in found:
            raise EntryError(where, f"found {cell!r} beside {found[kind].header!r}", f"one column of {kind}")
        else:
            found[kind] = Column(index, cell, unit)
    is_of_direction = _take_direction(found, setup, unused)
    checked = _checked(found, tuple(unused), header, setup, where)
    return replace(checked, is_of_direction=is_of_direction)


def _kind_of(cell: str, setup: Setup, where: str) -> tuple[str | None, str | None]:
    """What a header cell stands for, and its unit."""
    match = _HEADER.fullmatch(cell.lower())
    kind = _CALLED.get(match.group(1)) if match else None
    if match is None or kind is None:
        return None, None
    rest = match.group(2)
    if not rest or kind in ("note", "repeat"):
        return kind, None
    unit = _unit_in(rest)
    if unit is None:
        if re.search(r"[(\[{]", rest):
            raise EntryError(
                where, f"found the header {cell!r}", f"a unit known here: {_allowed(kind, setup)}"
            )
        return None, None
    if unit not in _allowed_units(kind, setup):
        raise EntryError(where, f"found the header {cell!r}", f"{kind} in {_allowed(kind, setup)}")
    return kind, unit


def _unit_in(rest: str) -> str | None:
    """The unit in what follows a column's name: `(thou)`, `[um/m]`, `um_per_m`, `in thou`, `, mm`."""
    bracketed = re.search(r"[(\[{]\s*(.*?)\s*[)\]}]", rest)
    words = (bracketed.group(1) if bracketed else rest).replace("_per_", "/").replace(" per ", "/")
    return unit_name(words) or (unit_name(words[3:]) if words[:3] in ("in ", "in_") else None)


def _allowed_units(kind: str, setup: Setup) -> tuple[str, ...]:
    is_place = kind in ("station", "from", "to")
    return tuple(POSITION.units) if is_place else units_read_by(setup.described)


def _allowed(kind: str, setup: Setup) -> str:
    return " | ".join(_allowed_units(kind, setup))


def _take_direction(found: dict[str, Column], setup: Setup, unused: list[str]) -> bool:
    """Where a sheet has a column for each direction, take the one asked for; whether one was taken."""
    ways: dict[str, Column] = {name: found.pop(name) for name in ("forward", "reverse") if name in found}
    taken = ways.pop(setup.direction, None) if "reading" not in found else None
    if taken is not None:
        found["reading"] = taken
    unused.extend(column.header for column in ways.values())
    return taken is not None


def _checked(
    found: dict[str, Column], unused: tuple[str, ...], header: tuple[str, ...], setup: Setup, where: str
) -> Columns:
    shown = f"found the columns {', '.join(map(repr, header))}"[:200]
    feet = tuple(found[name] for name in ("from", "to") if name in found)
    if "reading" not in found or not ("station" in found or len(feet) == 2):
        raise EntryError(
            where,
            shown,
            "station_mm (or from_mm and to_mm) and reading, named in a header line",
            "name them so; a # before it takes a line out",
        )
    if "station" in found and feet:
        raise EntryError(where, shown, "station_mm, or from_mm and to_mm, not both")
    if feet and not setup.measures.has_feet_along:
        raise EntryError(where, shown, f"station_mm: a {setup.quantity} has no two feet")
    places = feet or (found["station"],)
    reading = found["reading"]
    if reading.unit and setup.unit and reading.unit != setup.unit:
        raise EntryError(where, f"found {reading.header!r} and --unit {setup.unit}", "one unit")
    return Columns(places, reading, found.get("repeat"), found.get("note"), unused)
