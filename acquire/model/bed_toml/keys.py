"""Every key that `bed.toml` may hold, and what each accepts."""

import itertools
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from acquire.model.bed import NORMALS
from acquire.model.bed_toml import port_names
from acquire.model.bed_toml.with_units import DIVISION
from acquire.model.called import STANDS
from acquire.model.quantity import EVERY_UNIT, MEASURING, POSITION, QUANTITIES, named
from acquire.model.reference import CARRIAGE, LINE

NAME_RULE = 'a plain name without + : / \\ or blanks at its ends, at most 60 long, not "line" or "carriage"'
LARGEST_WHOLE = 1 << 63
"""TOML promises whole numbers up to here; Python reads longer ones, which no float can hold."""


@dataclass(frozen=True)
class Key:
    """One key: what it needs in words, the check, and the quantities it is only for."""

    needed: str
    accepts: Callable[[Any], bool]
    convert: Callable[[Any], Any] = lambda value: value
    required: bool = False
    only_for: tuple[str, ...] = ()

    def fault(self, value: Any) -> str | None:
        """What was needed, or None where `value` will do."""
        return None if self.accepts(value) else self.needed


def name_is_allowed(name: str) -> bool:
    """Whether a face, instrument, straightedge or wire may be called so."""
    is_plain = re.fullmatch(r"[\w.()-]([\w .()-]{0,58}[\w.()-])?", name) is not None
    return is_plain and name not in (LINE, CARRIAGE, ".", "..")


def is_number(value: Any) -> bool:
    """Whether it is a finite number (true and false are none)."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return abs(value) < LARGEST_WHOLE if isinstance(value, int) else math.isfinite(value)


def number_key(
    needed: str, lowest: float = -1e9, highest: float = 1e9, above: float = -math.inf, **options: Any
) -> Key:
    """A finite number within bounds."""
    return Key(needed, lambda v: is_number(v) and lowest <= v <= highest and v > above, float, **options)


def above_zero(what: str, **options: Any) -> Key:
    """A number above 0."""
    return number_key(f"{what} above 0", above=0.0, **options)


def _not_negative(what: str, **options: Any) -> Key:
    return number_key(f"{what} of 0 or more", lowest=0.0, **options)


def whole_number(needed: str, lowest: int, highest: int, **options: Any) -> Key:
    """A whole number within bounds."""
    return Key(
        needed, lambda v: isinstance(v, int) and not isinstance(v, bool) and lowest <= v <= highest, **options
    )


def one_of(*choices: Any, **options: Any) -> Key:
    """One of a few words or numbers."""
    return Key(
        " | ".join(str(choice) for choice in choices),
        lambda v: any(type(v) is type(choice) and v == choice for choice in choices),
        **options,
    )


def _text(needed: str, longest: int = 200, **options: Any) -> Key:
    return Key(needed, lambda v: isinstance(v, str) and 0 < len(v) <= longest and v.isprintable(), **options)


def yes_or_no() -> Key:
    """True or false."""
    return Key("true | false", lambda v: isinstance(v, bool))


def _pair(needed: str, highest: float, above: float = -math.inf) -> Key:
    def accepts(value: Any) -> bool:
        return (
            isinstance(value, list)
            and len(value) == 2
            and all(is_number(item) and 0.0 <= item <= highest and item > above for item in value)
        )

    return Key(needed, accepts, lambda value: (float(value[0]), float(value[1])))


def _rising(pair: Any) -> bool:
    return isinstance(pair, list) and len(pair) == 2 and all(map(is_number, pair)) and pair[0] < pair[1]


def _rises(values: list[Any]) -> bool:
    return all(before < after for before, after in itertools.pairwise(values))


def _whole_or_half(value: Any) -> bool:
    return is_number(value) and value in (1, 1.5, 2)


BED: Mapping[str, Key] = {
    "name": _text("a name in quotes", required=True),
    "origin": _text("what the end at station 0 is called", longest=40),
    "far_end": _text("what the other end is called", longest=40),
    "front": _text("what the front side is called", longest=40),
    "rear": _text("what the rear side is called", longest=40),
    "seen_from": _text("from where the drawing across is seen", longest=40),
    "stands": one_of(*STANDS),
    "length_mm": number_key("a length in mm above 0, at most 100000", above=0.0, highest=1e5, required=True),
    "station_pitch_mm": above_zero("a pitch in mm"),
    "stations_mm": Key(
        "a list of numbers in mm",
        lambda v: isinstance(v, list) and len(v) <= 10_000 and all(map(is_number, v)),
        lambda v: tuple(map(float, v)),
    ),
    "joints_mm": Key(
        "a rising list of stations in mm where two pieces of the bed meet",
        lambda v: isinstance(v, list) and 0 < len(v) <= 100 and all(map(is_number, v)) and _rises(v),
        lambda v: tuple(map(float, v)),
    ),
    "display": one_of("metric", "inch"),
    "centre_height_mm": above_zero("a height in mm"),
    "apron_mm": number_key("a place across the bed in mm"),
    "carriage_length_mm": above_zero("a length in mm"),
    "carriage_bears": one_of("ends", "average"),
    "depth_mm": above_zero("a depth in mm"),
}

FACE: Mapping[str, Key] = {
    "normal": one_of(*NORMALS, required=True),
    "shape": one_of("flat", "vee"),
    "form": one_of("ridge", "groove"),
    "vee_angle_deg": number_key("an included angle between 0 and 180", above=0.0, highest=179.9),
    "flank_angles_deg": _pair("[front, rear], each from the vertical, between 0 and 90", 89.95, above=0.0),
    "across_mm": number_key("a place across the bed in mm"),
    "carriage": one_of("front", "rear"),
    "unworn_mm": Key(
        "a list of [from, to] in mm",
        lambda v: isinstance(v, list) and len(v) > 0 and all(map(_rising, v)),
        lambda v: tuple((float(a), float(b)) for a, b in v),
    ),
    "runs": yes_or_no(),
}

FOOT: Mapping[str, Key] = {
    "station_mm": number_key("its station in mm", required=True),
    "across_mm": number_key("a place across the bed in mm", required=True),
    "um_per_turn": number_key("the lift of one turn in µm above 0, at most 20000", above=0.0, highest=2e4),
    "hand_step_um": number_key(
        "the smallest lift that a hand can set in µm above 0, at most 20000", above=0.0, highest=2e4
    ),
    "bolted": yes_or_no(),
}

_LEVELS = named("is_angle")
_LENGTHS = named("is_length")
_FEET = named("has_feet_along")

INSTRUMENT: Mapping[str, Key] = {
    "quantity": one_of(*QUANTITIES, required=True),
    "unit": one_of(*EVERY_UNIT, required=True),
    "per_division": number_key(DIVISION, above=0.0, only_for=MEASURING),
    "base_mm": number_key(
        "a distance in mm above 0, at most 10000", above=0.0, highest=1e4, only_for=_LEVELS
    ),
    "gravity": Key("true | false", lambda v: isinstance(v, bool), only_for=_LEVELS),
    "resolution": above_zero("the smallest step it shows"),
    "standard_uncertainty": _not_negative("a standard uncertainty"),
    "seating_um": _not_negative("a scatter of one placing in µm", only_for=MEASURING),
    "scale_uncertainty": number_key("a relative one, 0 to 0.5", lowest=0.0, highest=0.5, only_for=MEASURING),
    "base_uncertainty_mm": _not_negative("an uncertainty in mm", only_for=_FEET),
    "drift_over_run": _not_negative(
        "by how much its zero may drift over one run (standard uncertainty), in what is read",
        only_for=MEASURING,
    ),
    "footprint": one_of("feet", "full", only_for=_LEVELS),
    "pad_mm": above_zero("the length of a foot or pad in mm", only_for=_FEET),
    "sign": one_of(1, -1),
    "offset_mm": number_key("a distance in mm", only_for=(POSITION.name,)),
    "range": Key(
        "[lowest, highest] reading", _rising, lambda v: (float(v[0]), float(v[1]))
    ),
    "carrier_feet_mm": above_zero("a distance in mm", only_for=MEASURING),
    "overhang_along_mm": number_key("a distance in mm", only_for=_LENGTHS),
    "overhang_across_mm": number_key("a distance in mm", only_for=_LENGTHS),
    "arm_height_mm": number_key("a distance in mm", only_for=_LENGTHS),
    "lag_s": number_key("a time of 0 to 60 s", lowest=0.0, highest=60.0),
}  # fmt: skip

PORT: Mapping[str, Key] = {
    "url": Key(port_names.NEEDED, port_names.port_name_is_allowed, required=True),
    "baud": whole_number("a whole number from 50 to 4000000", 50, 4_000_000),
    "bytesize": whole_number("5 | 6 | 7 | 8", 5, 8),
    "parity": one_of("N", "E", "O", "M", "S"),
    "stopbits": Key("1 | 1.5 | 2", _whole_or_half),
    "reset_on_open": yes_or_no(),
    "line_power": yes_or_no(),
}

STRAIGHTEDGE: Mapping[str, Key] = {
    "length_mm": above_zero("a length in mm", required=True),
    "supports_mm": _pair("[first, second] from its end nearer station 0", 1e5),
    "depth_mm": above_zero("a depth in mm"),
    "material": one_of("steel", "cast iron", "granite", "aluminium", "ceramic"),
    "start_mm": number_key("the station of its end nearer station 0"),
    "warmth_uncertainty_k": number_key(
        "by how many °C its upper side may be warmer than its lower (standard uncertainty), 0 to 50",
        lowest=0.0,
        highest=50.0,
    ),
}

TAUT_WIRE: Mapping[str, Key] = {
    "mass_g_per_m": above_zero("a mass in g/m", required=True),
    "tension_n": above_zero("a tension in N", required=True),
    "span_mm": above_zero("a span in mm", required=True),
    "start_mm": number_key("the station where its span begins"),
}

LIMITS: Mapping[str, Key] = {
    "straightness_um": Key(
        "a table of faces, each with a limit in µm above 0",
        lambda v: isinstance(v, dict) and len(v) > 0 and all(is_number(um) and um > 0 for um in v.values()),
        lambda v: {face: float(um) for face, um in v.items()},
    ),
    "twist_um_per_m": above_zero("a limit in µm/m"),
    "wind_um_per_m": above_zero("a limit in µm/m"),
}

STATE: Mapping[str, Key] = {
    "stands_on": _text('"feet" | "blocks" | words of your own'),
    "clamped": yes_or_no(),
    "headstock_on": yes_or_no(),
    "carriage_on": yes_or_no(),
    "temperature_top_degC": number_key("a temperature in °C", lowest=-50.0, highest=100.0),
    "temperature_bottom_degC": number_key("a temperature in °C", lowest=-50.0, highest=100.0),
    "asked_of": _text("who said so"),
    "asked_on": _text("when"),
    "note": _text("words", longest=2000),
}
