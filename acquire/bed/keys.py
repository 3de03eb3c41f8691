"""Every key that `bed.toml` may hold, and what each accepts."""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from acquire.bed.model import MEASURING, NORMALS, QUANTITIES
from acquire.units import FACTORS

NAME_RULE = 'a plain name without + : / \\ or blanks, at most 60 long, not "line" or "carriage"'
LONGEST_PATTERN = 400


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
    return bool(re.fullmatch(r"[\w.()-]{1,60}", name)) and name not in ("line", "carriage", ".", "..")


def is_number(value: Any) -> bool:
    """Whether it is a finite number (true and false are none)."""
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _number(
    needed: str, lowest: float = -1e9, highest: float = 1e9, above: float = -math.inf, **options: Any
) -> Key:
    return Key(needed, lambda v: is_number(v) and lowest <= v <= highest and v > above, float, **options)


def _above_zero(what: str, **options: Any) -> Key:
    return _number(f"{what} above 0", above=0.0, **options)


def _not_negative(what: str, **options: Any) -> Key:
    return _number(f"{what} of 0 or more", lowest=0.0, **options)


def _whole(needed: str, lowest: int, highest: int) -> Key:
    return Key(needed, lambda v: isinstance(v, int) and not isinstance(v, bool) and lowest <= v <= highest)


def _one_of(*choices: Any, **options: Any) -> Key:
    return Key(
        " | ".join(str(choice) for choice in choices),
        lambda v: any(type(v) is type(choice) and v == choice for choice in choices),
        **options,
    )


def _text(needed: str, longest: int = 200, **options: Any) -> Key:
    return Key(needed, lambda v: isinstance(v, str) and 0 < len(v) <= longest and v.isprintable(), **options)


def _yes_or_no() -> Key:
    return Key("true | false", lambda v: isinstance(v, bool))


def _pair(needed: str, lowest: float, highest: float, above: float = -math.inf) -> Key:
    def accepts(value: Any) -> bool:
        return (
            isinstance(value, list)
            and len(value) == 2
            and all(is_number(item) and lowest <= item <= highest and item > above for item in value)
        )

    return Key(needed, accepts, lambda value: (float(value[0]), float(value[1])))


def _rising(pair: Any) -> bool:
    return isinstance(pair, list) and len(pair) == 2 and all(map(is_number, pair)) and pair[0] < pair[1]


def _whole_or_half(value: Any) -> bool:
    return is_number(value) and value in (1, 1.5, 2)


BED: Mapping[str, Key] = {
    "name": _text("a name in quotes", required=True),
    "origin": _text("what station 0 is called"),
    "length_mm": _number("a length in mm above 0, at most 100000", above=0.0, highest=1e5, required=True),
    "station_pitch_mm": _above_zero("a pitch in mm"),
    "stations_mm": Key(
        "a list of numbers in mm",
        lambda v: isinstance(v, list) and len(v) <= 10_000 and all(map(is_number, v)),
        lambda v: tuple(map(float, v)),
    ),
    "display": _one_of("metric", "inch"),
    "centre_height_mm": _above_zero("a height in mm"),
    "carriage_length_mm": _above_zero("a length in mm"),
    "carriage_bears": _one_of("ends", "average"),
    "depth_mm": _above_zero("a depth in mm"),
}

FACE: Mapping[str, Key] = {
    "normal": _one_of(*NORMALS, required=True),
    "shape": _one_of("flat", "vee"),
    "form": _one_of("ridge", "groove"),
    "vee_angle_deg": _number("an included angle between 0 and 180", above=0.0, highest=179.9),
    "flank_angles_deg": _pair(
        "[front, rear], each from the vertical, between 0 and 90", 0.0, 89.95, above=0.0
    ),
    "across_mm": _number("a place across the bed in mm"),
    "carriage": _one_of("front", "rear"),
    "unworn_mm": Key(
        "a list of [from, to] in mm",
        lambda v: isinstance(v, list) and len(v) > 0 and all(map(_rising, v)),
        lambda v: tuple((float(a), float(b)) for a, b in v),
    ),
}

_LEVELS = ("slope", "roll")
_LENGTHS = ("offset", "span")

INSTRUMENT: Mapping[str, Key] = {
    "quantity": _one_of(*QUANTITIES, required=True),
    "unit": _one_of(*dict.fromkeys(u for units in FACTORS.values() for u in units), required=True),
    "per_division": _above_zero("what one division is worth, in `unit`,", only_for=MEASURING),
    "base_mm": _number("a distance in mm above 0, at most 10000", above=0.0, highest=1e4, only_for=_LEVELS),
    "gravity": Key("true | false", lambda v: isinstance(v, bool), only_for=_LEVELS),
    "resolution": _above_zero("the smallest step it shows"),
    "standard_uncertainty": _not_negative("a standard uncertainty"),
    "seating_um": _not_negative("a scatter of one placing in µm", only_for=MEASURING),
    "scale_uncertainty": _number("a relative one, 0 to 0.5", lowest=0.0, highest=0.5, only_for=MEASURING),
    "base_uncertainty_mm": _not_negative("an uncertainty in mm", only_for=("slope",)),
    "footprint": _one_of("feet", "full", only_for=_LEVELS),
    "pad_mm": _above_zero("the length of a foot or pad in mm", only_for=("slope",)),
    "sign": _one_of(1, -1),
    "offset_mm": _number("a distance in mm", only_for=("position",)),
    "range": Key(
        "[lowest, highest] reading", _rising, lambda v: (float(v[0]), float(v[1]))
    ),
    "carrier_feet_mm": _above_zero("a distance in mm", only_for=_LENGTHS),
    "overhang_along_mm": _number("a distance in mm", only_for=_LENGTHS),
    "overhang_across_mm": _number("a distance in mm", only_for=_LENGTHS),
    "arm_height_mm": _number("a distance in mm", only_for=_LENGTHS),
    "lag_s": _number("a time of 0 to 60 s", lowest=0.0, highest=60.0),
}  # fmt: skip

PORT: Mapping[str, Key] = {
    "url": _text("a port: /dev/..., usb:VID:PID:SERIAL, socket://... in quotes", required=True),
    "baud": _whole("a whole number from 50 to 4000000", 50, 4_000_000),
    "bytesize": _whole("5 | 6 | 7 | 8", 5, 8),
    "parity": _one_of("N", "E", "O", "M", "S"),
    "stopbits": Key("1 | 1.5 | 2", _whole_or_half),
    "reset_on_open": _yes_or_no(),
    "line_power": _yes_or_no(),
}

STRAIGHTEDGE: Mapping[str, Key] = {
    "length_mm": _above_zero("a length in mm", required=True),
    "supports_mm": _pair("[first, second] from its end nearer the headstock", 0.0, 1e5),
    "depth_mm": _above_zero("a depth in mm"),
    "material": _one_of("steel", "cast iron", "granite", "aluminium", "ceramic"),
    "start_mm": _number("the station of its end nearer the headstock"),
}

TAUT_WIRE: Mapping[str, Key] = {
    "mass_g_per_m": _above_zero("a mass in g/m", required=True),
    "tension_n": _above_zero("a tension in N", required=True),
    "span_mm": _above_zero("a span in mm", required=True),
    "start_mm": _number("the station where its span begins"),
}

STATE: Mapping[str, Key] = {
    "stands_on": _text('"feet" | "blocks" | words of your own'),
    "clamped": _yes_or_no(),
    "headstock_on": _yes_or_no(),
    "carriage_on": _yes_or_no(),
    "temperature_top_degC": _number("a temperature in °C", lowest=-50.0, highest=100.0),
    "temperature_bottom_degC": _number("a temperature in °C", lowest=-50.0, highest=100.0),
    "asked_of": _text("who said so"),
    "asked_on": _text("when"),
    "note": _text("words", longest=2000),
}

_ASKED = {
    "ask": _text("the request to send, in quotes", longest=80),
    "every_s": _number("a time between 0.005 and 3600 s", lowest=0.005, highest=3600.0),
}


def _pattern_compiles(value: Any) -> bool:
    if not isinstance(value, str) or not 0 < len(value) <= LONGEST_PATTERN:
        return False
    try:
        return "value" in re.compile(value).groupindex
    except (re.error, RecursionError, OverflowError):
        return False


def _is_hex(value: Any) -> bool:
    try:
        return isinstance(value, str) and 0 < len(bytes.fromhex(value)) <= 16
    except ValueError:
        return False


def _decimals(value: Any) -> bool:
    return isinstance(value, Mapping) or (
        isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= 9
    )


WIRE_KINDS: Mapping[str, Mapping[str, Key]] = {
    "lines": {
        "kind": _one_of("lines", required=True),
        "pattern": Key(
            f"a regular expression of at most {LONGEST_PATTERN} characters with a group (?P<value>...)",
            _pattern_compiles,
            required=True,
        ),
        "decimal": _one_of(".", ","),
        "ends": _one_of("lf", "cr", "crlf"),
        "longest_line": _whole("a whole number of bytes from 4 to 1000", 4, 1000),
        "rate_hz": _above_zero("readings a second"),
        **_ASKED,
    },
    "fixed": {
        "kind": _one_of("fixed", required=True),
        "length": _whole("whole bytes, 2 to 256", 2, 256),
        "start": Key("bytes in hex, e.g. \"AA 55\"", _is_hex),
        "value": Key("a table: at, code | bcd, ...", lambda v: isinstance(v, Mapping), required=True),
        "sign": Key("a table: at, negative", lambda v: isinstance(v, Mapping)),
        "decimals": Key("a whole number 0..9, or a table: at", _decimals),
        "unit_bits": Key("a table: at, mask, units", lambda v: isinstance(v, Mapping)),
        "status_bits": Key("a table: at, mask, good", lambda v: isinstance(v, Mapping)),
        "checksum": _one_of("none", "sum", "xor", "crc16"),
        "scale": _number("a factor"),
        "rate_hz": _above_zero("readings a second"),
        **_ASKED,
    },
    "modbus": {
        "kind": _one_of("modbus", required=True),
        "unit_id": _whole("1 to 247", 1, 247),
        "register": _whole("0 to 65535", 0, 65535),
        "registers": _one_of("holding", "input"),
        "type": _one_of("int16", "uint16", "int32", "uint32", "float32"),
        "word_order": _one_of("high-first", "low-first"),
        "scale": _number("a factor"),
        "every_s": _ASKED["every_s"],
    },
    "counter": {
        "kind": _one_of("counter", required=True),
        "counts_per_mm": _above_zero("counts per mm", required=True),
        "pattern": Key("a regular expression with a group (?P<value>...)", _pattern_compiles),
        "wrap": _whole("the number of counts after which it starts again, 256 to 2^63", 256, 1 << 63),
        "index_mm": _number("the position in mm at the index mark"),
        "rate_hz": _above_zero("readings a second"),
        **_ASKED,
    },
}  # fmt: skip
