"""Reads `bed.toml` and checks it whole: every mistake in one go.

A mistake is told as table and key, what was found and what was needed.
"""

import itertools
import math
import re
import tomllib
from collections.abc import Callable, Mapping
from contextlib import suppress
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, TypeVar

from acquire.model import bed as model
from acquire.model.bed_toml.keys import (
    BED,
    FACE,
    FOOT,
    INSTRUMENT,
    LIMITS,
    NAME_RULE,
    PORT,
    STATE,
    STRAIGHTEDGE,
    TAUT_WIRE,
    Key,
    name_is_allowed,
)
from acquire.model.bed_toml.wire_keys import WIRE_KINDS, wire_faults, with_pattern
from acquire.model.bed_toml.with_units import division_worth, with_numbers, without_unit
from acquire.model.errors import BedError, UnitError, did_you_mean, told_as
from acquire.model.places import ROUNDING_MM, end_where_rounded
from acquire.model.plain_files import open_plain
from acquire.model.quantity import QUANTITIES, SLOPE
from acquire.model.units import unit_name

LARGEST_FILE_BYTES = 1 << 20
Made = TypeVar("Made")
MOST_STATIONS = 10_000
FOOT_BEYOND_MM = 500.0
"""A foot may stand on a stand that reaches beyond the bed."""
MOST_KEY_PARTS = 32
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_TOO_DEEP = re.compile(rf"(?<![\w-]){_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{MOST_KEY_PARTS}}}")
"""Python's reader of TOML takes time and memory as the square of the parts of a key: gigabytes for 40 kB."""


def read_bed(path: Path | str) -> model.Bed:
    """Read and check a `bed.toml`.

    Raises
    ------
    BedError
        If it is not there, is no TOML, or holds mistakes (all of them are named).
    """
    path = Path(path)
    needed, do = "a survey folder with its bed.toml", "make one with `waylog start`"
    with told_as(BedError, path, "cannot be read", needed, do), open_plain(path) as file:
        raw = file.read(LARGEST_FILE_BYTES + 1)
    if len(raw) > LARGEST_FILE_BYTES:
        raise BedError(str(path), "found more than a megabyte", "a bed description of some pages")
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
    except UnicodeDecodeError as error:
        raise BedError(str(path), "found bytes that are no text", "UTF-8", "save it as UTF-8") from error
    return parse_bed(text, str(path))


def parse_bed(text: str, where: str = "bed.toml") -> model.Bed:
    """Check the text of a `bed.toml` and return what it describes.

    Examples
    --------
    >>> bed = parse_bed('''
    ... [bed]
    ... name = "invented bench bed"
    ... length_mm = 400
    ... station_pitch_mm = 100
    ... [faces.front-flat]
    ... normal = "up"
    ... ''')
    >>> bed.station_mm
    (0.0, 100.0, 200.0, 300.0, 400.0)
    """
    try:
        return _parsed(text)
    except BedError as wrong:
        raise BedError(where, wrong.found, wrong.needed, wrong.do) from wrong.__cause__


@lru_cache(maxsize=8)
def _parsed(text: str) -> model.Bed:
    """What a text describes, remembered: the traverses of a survey mostly keep one and the same."""
    if _TOO_DEEP.search(text):
        raise BedError(
            "", f"found a key of more than {MOST_KEY_PARTS} parts with dots between", "a table's name and key"
        )
    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise BedError("", f"found no valid TOML ({error})", "", "mend that line") from error
    mistakes: list[str] = []
    bed = _Reader(tables, text, mistakes).bed()
    if mistakes or bed is None:
        count = f"{len(mistakes)} mistakes: " if len(mistakes) > 1 else ""
        raise BedError("", count + "; ".join(mistakes))
    return bed


def _shown(found: Any) -> str:
    """A value as it may stand in a message; a whole number too long to be written out is said to be one."""
    try:
        return f"{found!r}"[:80]
    except ValueError:
        return "a number of thousands of digits"


class _Reader:
    """Walks the tables once and gathers the mistakes on its way."""

    def __init__(self, tables: Mapping[str, Any], text: str, mistakes: list[str]):
        self.tables, self.text, self.mistakes = tables, text, mistakes

    def wrong(self, table: str, key: str, found: Any, needed: str) -> None:
        shown = found if isinstance(found, str) and found.startswith("nothing") else _shown(found)
        meant = did_you_mean(found, needed.split(" | ")) if isinstance(found, str) and " | " in needed else ""
        where = f"[{table}] {key}".rstrip()
        self.mistakes.append(f"{where}: found {shown}, needed {needed}{meant and ', '}{meant}")

    def table(self, name: str, keys: Mapping[str, Key], found: Any) -> dict[str, Any]:
        """The checked values of one table; wrong or unknown ones are named and left out."""
        if not isinstance(found, Mapping):
            self.wrong(name, "", found, "a table")
            return {}
        told: set[str] = set()

        def wrong(key: str, value: Any, needed: str) -> None:
            told.add(key)
            self.wrong(name, key, value, needed)

        found = with_numbers(found, keys, wrong)
        values = {}
        for key, value in found.items():
            if key not in keys:
                meant = did_you_mean(key, keys)
                known = "known here: " + ", ".join(keys)
                self.wrong(
                    name, key, value, f"no such key{meant and ', '}{meant}; {known}".replace("?;", "?")
                )
            elif (fault := keys[key].fault(value)) is not None:
                self.wrong(name, key, value, fault)
            else:
                values[key] = keys[key].convert(value)
        for key, rule in keys.items():
            if rule.required and key not in found and without_unit(key) not in told:
                self.wrong(name, key, "nothing", rule.needed)
        return values

    def named_tables(self, group: str) -> dict[str, Any]:
        found = self.tables.get(group, {})
        if not isinstance(found, Mapping):
            self.wrong(group, "", found, f"tables [{group}.NAME]")
            return {}
        for name in found:
            if not name_is_allowed(name):
                self.wrong(f"{group}.{name}"[:60], "name", name, NAME_RULE)
        return dict(found)

    def bed(self) -> model.Bed | None:
        known = {"bed", "faces", "instruments", "straightedges", "wires", "feet", "state", "limits"}
        for name in self.tables:
            if name not in known:
                self.wrong(name, "", "an unknown table", "one of " + ", ".join(sorted(known)))
        values = self.table("bed", BED, self.tables.get("bed", {}))
        stations = self.stations(values)
        length_mm = values.get("length_mm", math.inf)
        for joint in values.get("joints_mm", ()):
            if not 0 < joint < length_mm:
                self.wrong("bed", "joints_mm", joint, f"places within the bed, between 0 and {length_mm:g}")
        faces = {
            name: self.face(name, table, length_mm) for name, table in self.named_tables("faces").items()
        }
        if not faces:
            self.wrong("faces", "", "nothing", "at least one [faces.NAME]")
        self.carriage_sides(faces)
        gathered: dict[str, Any] = {
            "faces": faces,
            "instruments": {n: self.instrument(n, t) for n, t in self.named_tables("instruments").items()},
            "straightedges": self.straightedges(),
            "wires": self.made(model.TautWire, TAUT_WIRE, "wires"),
            "feet": self.feet(length_mm),
            "state": self.table("state", STATE, self.tables.get("state", {})),
            "limits": self.limits(faces),
        }
        if self.mistakes:
            return None
        return model.Bed(station_mm=stations, text=self.text, **values, **gathered)

    def stations(self, values: dict[str, Any]) -> tuple[float, ...]:
        pitch, listed = values.pop("station_pitch_mm", None), values.pop("stations_mm", None)
        length = values.get("length_mm")
        if (pitch is None) == (listed is None):
            if not any("station" in mistake for mistake in self.mistakes):
                both = "both" if pitch is not None else "nothing"
                self.wrong("bed", "station_pitch_mm", both, "station_pitch_mm or stations_mm, one of the two")
            return ()
        if length is None:
            return ()
        if pitch is not None:
            count = math.floor((length + min(ROUNDING_MM, pitch / 10)) / pitch + 1e-9)
            if not 1 <= count < MOST_STATIONS:
                self.wrong(
                    "bed", "station_pitch_mm", pitch, f"2 to {MOST_STATIONS} stations within length_mm"
                )
                return ()
            return tuple(min(round(index * pitch, 6), length) for index in range(count + 1))
        listed = tuple(end_where_rounded(length, each) for each in listed)
        if len(listed) < 2 or any(b <= a for a, b in itertools.pairwise(listed)):
            self.wrong("bed", "stations_mm", listed, "at least two stations, rising")
        elif listed[0] < 0 or listed[-1] > length:
            self.wrong("bed", "stations_mm", listed, f"stations within 0 to length_mm ({length:g})")
        return tuple(listed)

    def face(self, name: str, found: Any, length_mm: float) -> model.Face | None:
        table = f"faces.{name}"
        values = self.table(table, FACE, found)
        angle = values.pop("vee_angle_deg", None)
        is_vee = values.get("shape") == "vee"
        for key in ("form", "vee_angle_deg", "flank_angles_deg"):
            if not is_vee and isinstance(found, Mapping) and key in found:
                self.wrong(table, key, found[key], 'this key only with shape = "vee"')
        if is_vee:
            if angle is not None and "flank_angles_deg" in values:
                self.wrong(table, "vee_angle_deg", angle, "vee_angle_deg or flank_angles_deg, one of the two")
            elif angle is not None:
                values["flank_angles_deg"] = (angle / 2, angle / 2)
            elif "flank_angles_deg" not in values:
                self.wrong(table, "vee_angle_deg", "nothing", "vee_angle_deg or flank_angles_deg")
            if values.get("form") is None:
                self.wrong(table, "form", "nothing", "ridge | groove")
        stretches = [
            (end_where_rounded(length_mm, start), end_where_rounded(length_mm, end))
            for start, end in values.get("unworn_mm", ())
        ]
        for start, end in stretches:
            if not 0 <= start < end <= length_mm:
                self.wrong(table, "unworn_mm", [start, end], f"stretches within 0 to {length_mm:g}")
        if stretches:
            values["unworn_mm"] = tuple(stretches)
        if not values.get("runs", True) and "carriage" in values:
            self.wrong(table, "runs", False, "true, or no carriage: the carriage runs on this face")
        return model.Face(id=name, **values) if "normal" in values else None

    def straightedges(self) -> dict[str, model.Straightedge]:
        """All straightedges; how far one bends with warmth hangs on its depth."""
        found = self.made(model.Straightedge, STRAIGHTEDGE, "straightedges")
        for name, edge in found.items():
            if edge.warmth_uncertainty_k is not None and edge.depth_mm is None:
                self.wrong(
                    f"straightedges.{name}", "depth_mm", "nothing", "a depth, with warmth_uncertainty_k"
                )
        return found

    def feet(self, length_mm: float) -> dict[str, model.Foot]:
        """All feet; two cannot stand on one place, and none far beyond the bed."""
        found = self.made(model.Foot, FOOT, "feet")
        for index, (name, foot) in enumerate(found.items()):
            where = f"feet.{name}"
            if not -FOOT_BEYOND_MM <= foot.station_mm <= length_mm + FOOT_BEYOND_MM:
                self.wrong(where, "station_mm", foot.station_mm, f"a place under the bed, 0 to {length_mm:g}")
            for other in list(found.values())[:index]:
                if math.dist((foot.station_mm, foot.across_mm), (other.station_mm, other.across_mm)) < 1:
                    self.wrong(
                        where, "station_mm", foot.station_mm, f"a place of its own; {other.id} stands there"
                    )
        return found

    def limits(self, faces: Mapping[str, model.Face | None]) -> model.Limits:
        values = self.table("limits", LIMITS, self.tables.get("limits", {}))
        for face in values.get("straightness_um", ()):
            if face not in faces:
                self.wrong("limits", f"straightness_um.{face}", "no such face", ", ".join(faces))
        return model.Limits(**values)

    def carriage_sides(self, faces: Mapping[str, model.Face | None]) -> None:
        for side in ("front", "rear"):
            riding = [name for name, face in faces.items() if face is not None and face.carriage == side]
            if len(riding) > 1:
                self.wrong(
                    f"faces.{riding[1]}", "carriage", side, f"one face at the {side}; {riding[0]} is it"
                )

    def instrument(self, name: str, found: Any) -> model.Instrument | None:
        table = f"instruments.{name}"
        if not isinstance(found, Mapping):
            self.wrong(table, "", found, "a table")
            return None
        quantity = found.get("quantity")
        plain = {key: value for key, value in found.items() if key not in ("port", "wire")}
        worth, unit = plain.get("per_division"), plain.get("unit")
        if isinstance(worth, str) and isinstance(unit, str) and unit in SLOPE.units:
            with suppress(UnitError):  # said to be wrong with all else that is
                plain["per_division"] = division_worth(worth, unit)
        values = self.table(table, INSTRUMENT, plain)
        if "quantity" not in values:
            return None
        self.fits_quantity(table, quantity, values)
        port = self.port(table, found)
        wire = self.wire(table, found, port)
        if "unit" not in values:
            return None
        return model.Instrument(name=name, port=port, wire=wire, **values)

    def fits_quantity(self, table: str, quantity: Any, values: dict[str, Any]) -> None:
        unit = values.get("unit")
        measures = QUANTITIES[quantity]
        if unit is not None and unit not in measures.units:
            self.wrong(table, "unit", unit, " | ".join(measures.units) + f" for {quantity}")
        for key in values:
            allowed = INSTRUMENT[key].only_for
            if allowed and quantity not in allowed:
                self.wrong(table, key, values[key], "this key only for " + " | ".join(allowed))
        if measures.has_feet_along and "base_mm" not in values:
            self.missing(table, "base_mm", "the distance between the feet in mm")
        if measures.is_measuring and "standard_uncertainty" not in values:
            self.missing(table, "standard_uncertainty", "of one station's value, in what is read")

    def missing(self, table: str, key: str, needed: str) -> None:
        told = tuple(f"[{table}] {each}:" for each in (key, without_unit(key)))
        if not any(mistake.startswith(told) for mistake in self.mistakes):
            self.wrong(table, key, "nothing", needed)

    def port(self, table: str, found: Mapping[str, Any]) -> model.Port | None:
        if "port" not in found:
            return None
        values = self.table(f"{table}.port", PORT, found["port"])
        return model.Port(**values) if "url" in values else None

    def wire(self, table: str, found: Mapping[str, Any], port: model.Port | None) -> dict[str, Any]:
        if "wire" not in found:
            if port is not None:
                self.wrong(f"{table}.wire", "", "nothing", f"[{table}.wire] for an instrument with a port")
            return {}
        wire = found["wire"]
        kind = wire.get("kind") if isinstance(wire, Mapping) else None
        if not isinstance(kind, str) or kind not in WIRE_KINDS:
            self.wrong(f"{table}.wire", "kind", kind or "nothing", " | ".join(WIRE_KINDS))
            return {}
        values = self.table(f"{table}.wire", WIRE_KINDS[kind], wire)
        quantity = found.get("quantity")
        for key, what, needed in wire_faults(kind, values, quantity, partial(_fits, quantity)):
            self.wrong(f"{table}.wire", key, what, needed)
        return with_pattern(kind, values)

    def made(self, kind: Callable[..., Made], keys: Mapping[str, Key], group: str) -> dict[str, Made]:
        """What each table of a group describes, by name; those that lack what they need are left out."""
        needed = {key for key, rule in keys.items() if rule.required}
        tables = {
            name: self.table(f"{group}.{name}", keys, t) for name, t in self.named_tables(group).items()
        }
        return {name: kind(id=name, **found) for name, found in tables.items() if needed <= found.keys()}


def _fits(quantity: Any, unit: str) -> bool:
    name = unit_name(unit)
    return name == "div" or (quantity in QUANTITIES and name in QUANTITIES[quantity].units)
