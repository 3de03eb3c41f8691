"""Every key that an instrument's wire table may hold, for each kind of wire.

Nested tables are checked whole as well, and so is what the keys come to together.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from acquire.model.bed_toml.examples import LONGEST_EXAMPLE, UnclearExampleError, pattern_of_example
from acquire.model.bed_toml.keys import (
    Key,
    above_zero,
    is_number,
    number_key,
    one_of,
    whole_number,
    yes_or_no,
)
from acquire.model.bed_toml.patterns import line_pattern, pattern_fault
from acquire.model.quantity import POSITION, named

LONGEST_PATTERN = 400
LONGEST_LINE = 120
"""Bytes of a line unless the wire table says otherwise."""

COUNTER_PATTERN = r"(?P<value>[-+]?\d+)"
"""Lines of a counter unless its wire table says otherwise: the count alone."""

CODE_BYTES = {"b": 1, "B": 1, "h": 2, "H": 2, "i": 4, "I": 4, "q": 8, "Q": 8, "f": 4, "d": 8}
CHECKSUM_BYTES = {"none": 0, "sum": 1, "xor": 1, "crc16": 2}
LONGEST_FRAME = 256

Fault = tuple[str, Any, str]
"""Key, what was found, what was needed."""


def _is_pattern(value: Any) -> bool:
    return isinstance(value, str) and 0 < len(value) <= LONGEST_PATTERN


def _is_request(value: Any) -> bool:
    if not isinstance(value, str) or not 0 < len(value) <= 80:
        return False
    try:
        return len(value.encode("latin-1").decode("unicode_escape").encode("latin-1")) > 0
    except UnicodeError:
        return False


def _is_hex(value: Any) -> bool:
    try:
        return isinstance(value, str) and 0 < len(bytes.fromhex(value)) <= 16
    except ValueError:
        return False


def _is_units(value: Any) -> bool:
    return (
        isinstance(value, Mapping)
        and len(value) > 0
        and all(key.isdecimal() and isinstance(unit, str) for key, unit in value.items())
    )


_TABLE = Key("a table", lambda value: isinstance(value, Mapping))
_PATTERN = Key(f"a regular expression of 1 to {LONGEST_PATTERN} characters", _is_pattern)
_EXAMPLE = Key(
    f"a line as the instrument sends it, of 1 to {LONGEST_EXAMPLE} characters",
    lambda v: isinstance(v, str) and 0 < len(v.strip()) <= LONGEST_EXAMPLE and v.isprintable(),
)
_EVERY_S = number_key("a time between 0.005 and 3600 s", lowest=0.005, highest=3600.0)
_ASKED = {
    "ask": Key(r"the request to send, of 1 to 80 characters; \r and \n are understood", _is_request),
    "every_s": _EVERY_S,
}
_SCALE = Key("a factor other than 0", lambda v: is_number(v) and v != 0, float)
_RATE = {"rate_hz": above_zero("readings a second")}
_LINES = {
    "decimal": one_of(".", ","),
    "ends": one_of("lf", "cr", "crlf"),
    "longest_line": whole_number("a whole number of bytes from 4 to 1000", 4, 1000),
}

WIRE_KINDS: Mapping[str, Mapping[str, Key]] = {
    "lines": {
        "kind": one_of("lines", required=True),
        "example": _EXAMPLE,
        "pattern": _PATTERN,
        **_LINES,
        **_RATE,
        **_ASKED,
    },
    "fixed": {
        "kind": one_of("fixed", required=True),
        "length": whole_number(f"whole bytes, 2 to {LONGEST_FRAME}", 2, LONGEST_FRAME, required=True),
        "start": Key('1 to 16 bytes in hex, "AA 55" for instance', _is_hex),
        "end": Key('1 to 16 bytes in hex, "0D" for instance', _is_hex),
        "value": Key(_TABLE.needed, _TABLE.accepts, required=True),
        "sign": _TABLE,
        "decimals": Key(
            "a whole number from 0 to 9, or a table",
            lambda v: isinstance(v, Mapping) or (type(v) is int and 0 <= v <= 9),
        ),
        "unit_bits": _TABLE,
        "status_bits": _TABLE,
        "checksum": one_of(*CHECKSUM_BYTES),
        "checksum_from": whole_number("the byte that the checksum begins with", 0, LONGEST_FRAME),
        "scale": _SCALE,
        **_RATE,
        **_ASKED,
    },
    "modbus": {
        "kind": one_of("modbus", required=True),
        "unit_id": whole_number("1 to 247", 1, 247),
        "register": whole_number("0 to 65535", 0, 65535, required=True),
        "registers": one_of("holding", "input"),
        "type": one_of("int16", "uint16", "int32", "uint32", "float32"),
        "word_order": one_of("high-first", "low-first"),
        "scale": _SCALE,
        "every_s": _EVERY_S,
    },
    "counter": {
        "kind": one_of("counter", required=True),
        "counts_per_mm": above_zero("counts per mm", required=True),
        "pattern": _PATTERN,
        "wrap": whole_number("the number of counts after which it starts again, 256 to 2^62", 256, 1 << 62),
        "index_mm": number_key("the position in mm at the index mark"),
        **_LINES,
        **_RATE,
        **_ASKED,
    },
}

_AT = whole_number("the byte, counted from 0", 0, LONGEST_FRAME - 1, required=True)
_MASK = whole_number("a mask from 1 to 255", 1, 255)
_BYTE = whole_number("0 to 255", 0, 255, required=True)

FIELDS: Mapping[str, Mapping[str, Key]] = {
    "value": {
        "at": _AT,
        "code": Key(
            '"b" or "B", or "<" or ">" and one of h H i I q Q f d',
            lambda v: isinstance(v, str) and re.fullmatch(r"[<>]?[bB]|[<>][hHiIqQfd]", v) is not None,
        ),
        "bcd": whole_number("1 to 15 digits", 1, 15),
        "order": one_of("high-first", "low-first"),
        "packed": yes_or_no(),
    },
    "sign": {"at": _AT, "mask": _MASK, "negative": _BYTE},
    "decimals": {"at": _AT, "mask": _MASK},
    "unit_bits": {
        "at": _AT,
        "mask": _MASK,
        "units": Key('a table such as { 0 = "mm", 1 = "in" }', _is_units, required=True),
    },
    "status_bits": {"at": _AT, "mask": _MASK, "good": _BYTE},
}
"""Keys of the tables nested in a `fixed` wire table."""


def wire_faults(
    kind: str, values: Mapping[str, Any], quantity: Any, unit_is_known: Callable[[str], bool]
) -> Iterator[Fault]:
    """What is wrong with a wire table as a whole, its keys being good one by one.

    Parameters
    ----------
    kind, values : str, mapping
        The kind of wire and its keys.
    quantity : str
        What the instrument reads.
    unit_is_known : callable
        Whether a unit fits what the instrument reads.
    """
    if kind == "lines":
        yield from _example_faults(values, unit_is_known)
    if kind in ("lines", "counter"):
        yield from _line_faults(values.get("pattern", COUNTER_PATTERN if kind == "counter" else None))
    if kind == "fixed" and "length" in values and "value" in values:
        yield from _fixed_faults(values, unit_is_known)
    if kind == "counter" and quantity not in (*named("is_length"), POSITION.name):
        yield "kind", "counter", f"another kind for {quantity}: counts per mm measure a length"
    if kind != "modbus" and "every_s" in values and "ask" not in values:
        yield "every_s", values["every_s"], "this key only with ask"


def _example_faults(values: Mapping[str, Any], unit_is_known: Callable[[str], bool]) -> Iterator[Fault]:
    if ("example" in values) == ("pattern" in values):
        both = "both" if "pattern" in values else "nothing"
        yield "example", both, "example (a line as the instrument sends it) or pattern, one of the two"
        return
    if "example" not in values:
        return
    try:
        made = pattern_of_example(values["example"])
    except UnclearExampleError as error:
        yield "example", values["example"], str(error)
        return
    if made.unit is not None and not unit_is_known(made.unit):
        yield "example", values["example"], "a unit that fits what the instrument reads"
    if values.get("decimal", made.decimal) != made.decimal:
        yield "decimal", values["decimal"], f"{made.decimal!r}, as in the example"


def with_pattern(kind: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """A wire table with the pattern that its example stands for, if it has one that will do."""
    if kind != "lines" or "example" not in values or "pattern" in values:
        return dict(values)
    try:
        made = pattern_of_example(values["example"])
    except UnclearExampleError:
        return dict(values)
    return {**values, "pattern": made.pattern, "decimal": made.decimal}


def _line_faults(pattern: str | None) -> Iterator[Fault]:
    if pattern is None:
        return
    fault = pattern_fault(pattern)
    if fault:
        yield "pattern", pattern, f"a pattern for one line; {fault}"
    elif "value" not in line_pattern(pattern).groupindex:
        yield "pattern", pattern, "a group (?P<value>...) in it"


def _fixed_faults(values: Mapping[str, Any], unit_is_known: Callable[[str], bool]) -> Iterator[Fault]:
    body = body_end(values)
    if body <= 0:
        yield "length", values["length"], "room for more than checksum and end bytes"
        return
    for name, keys in FIELDS.items():
        table = values.get(name)
        if isinstance(table, Mapping):
            yield from _field_faults(name, table, keys, body)
    yield from _value_faults(values["value"])
    units = values.get("unit_bits", {}).get("units", {})
    for unit in units.values() if _is_units(units) else ():
        if not unit_is_known(unit):
            yield "unit_bits.units", unit, "a unit that fits what the instrument reads"
    if values.get("checksum_from", 0) >= body:
        yield "checksum_from", values["checksum_from"], f"a byte before {body}"
    is_bare = "start" not in values and values.get("checksum", "none") == "none"
    if is_bare and "ask" not in values:
        yield "start", "nothing", "start bytes or a checksum, to find where a frame begins"


def body_end(values: Mapping[str, Any]) -> int:
    """The byte after the last one that the checksum of a fixed frame covers."""
    end = len(bytes.fromhex(values.get("end", "")))
    return values["length"] - end - CHECKSUM_BYTES[values.get("checksum", "none")]


def _field_faults(name: str, table: Mapping[str, Any], keys: Mapping[str, Key], body: int) -> Iterator[Fault]:
    for key in table:
        if key not in keys:
            yield f"{name}.{key}", "an unknown key", "one of " + ", ".join(keys)
    for key, rule in keys.items():
        if key in table and not rule.accepts(table[key]):
            yield f"{name}.{key}", table[key], rule.needed
        elif rule.required and key not in table:
            yield f"{name}.{key}", "nothing", rule.needed
    at = table.get("at")
    if type(at) is int and at >= 0 and at + _field_bytes(table) > body:
        yield f"{name}.at", at, f"a field within the first {body} bytes, before checksum and end"


def _field_bytes(table: Mapping[str, Any]) -> int:
    """How many bytes a field takes; 1 where its own keys are at fault."""
    code, digits = table.get("code"), table.get("bcd")
    if isinstance(code, str) and code[-1:] in CODE_BYTES:
        return CODE_BYTES[code[-1:]]
    if type(digits) is int:
        return digits if table.get("packed") is False else (digits + 1) // 2
    return 1


def _value_faults(table: Mapping[str, Any]) -> Iterator[Fault]:
    if ("code" in table) == ("bcd" in table):
        found = "both" if "code" in table else "nothing"
        yield "value", found, "code or bcd, one of the two"
    for key in ("order", "packed"):
        if key in table and "bcd" not in table:
            yield f"value.{key}", table[key], "this key only with bcd"
