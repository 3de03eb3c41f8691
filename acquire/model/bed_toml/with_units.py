"""Values of `bed.toml` as text with their unit, where a number in mm, µm, µm/m or °C may stand.

`length = "42 in"` stands for `length_mm = 1066.8`: the key is without its unit, and the text carries it.
"""

from collections.abc import Callable, Mapping
from typing import Any

from acquire.model.errors import UnitError
from acquire.model.lengths import NEEDED, in_mm, in_um, parse_length
from acquire.model.quantity import SLOPE
from acquire.model.units import parse_degrees, parse_reading

UM_PER_TURN, LIFT_PER_TURN = "um_per_turn", "lift_per_turn"
DIVISION = 'what one division is worth, in `unit` or as text such as "0.0005 in/10 in", above 0'
MOST_DEEP = 2
"""A list of stretches is a list of lists of lengths."""


class _NotWritten(ValueError):
    """A value that is no text with a unit."""


def _length(text: str, convert: Callable[..., float]) -> float:
    written = parse_length(text)
    if written.unit is None:
        raise _NotWritten
    return convert(written, is_inch=False)


def _slope(text: str) -> float:
    written = parse_reading(text)
    if written.unit is None:
        raise _NotWritten
    return round(SLOPE.to_contract(written.value, written.unit), 9)


def division_worth(text: str, unit: str) -> float:
    """What one division of a level is worth, in `unit`, as it is written on it.

    A slope with its unit, or a rise over a length.

    Raises
    ------
    UnitError
        If it is neither.

    Examples
    --------
    >>> division_worth("0.0005 in/10 in", "in/ft"), division_worth("0.02 mm/m", "um/m")
    (0.0006, 20.0)
    """
    rise, _, over = text.partition("/")
    try:
        worth = _length(rise, in_mm) / _length(over, in_mm) * 1e6
    except (UnitError, _NotWritten, ZeroDivisionError):
        written = parse_reading(text)
        if written.unit is None or written.unit not in SLOPE.units:
            raise UnitError("division", f"found {text[:40]!r}", DIVISION) from None
        worth = SLOPE.to_contract(written.value, written.unit)
    return round(worth / SLOPE.to_contract(1.0, unit), 9)


WRITTEN: Mapping[str, tuple[Callable[[str], float], str]] = {
    "_um_per_m": (_slope, 'a slope as text with its unit, such as "0.25 thou/ft" or "20 um/m"'),
    "_mm": (lambda text: _length(text, in_mm), f"{NEEDED}, as text with its unit"),
    "_um": (lambda text: _length(text, in_um), f"{NEEDED}, as text with its unit"),
    "_degC": (parse_degrees, 'a temperature as text with its unit, such as "68 °F"'),
}
"""Ending of a key with a unit -> how the text without it is read, and what is needed."""


def with_numbers(
    found: Mapping[str, Any], keys: Mapping[str, Any], wrong: Callable[[str, Any, str], None]
) -> dict[str, Any]:
    """The table with every text that carries its unit as a number, under the key that names the unit.

    `wrong` is told key, value and need of what cannot be read; such a value is left out.

    Examples
    --------
    >>> with_numbers({"length": "42 in", "name": "bench"}, {"length_mm": None, "name": None}, print)
    {'length_mm': 1066.8, 'name': 'bench'}
    >>> with_numbers({"length": "42 in", "length_mm": 1067}, {"length_mm": None}, print)
    length 42 in length or length_mm, one of the two
    {'length_mm': 1067}
    """
    plain = {without_unit(key): key for key in keys if _ending(key)}
    numbers: dict[str, Any] = {}
    for key, value in found.items():
        named = plain.get(key)
        if named is None or key in keys:
            numbers[key] = value
        elif named in found:
            wrong(key, value, f"{key} or {named}, one of the two")
        else:
            read, needed = WRITTEN[_ending(named)]
            try:
                numbers[named] = _read(value, read)
            except (UnitError, _NotWritten):
                wrong(key, value, f"{needed}; or a number as {named}")
    return numbers


def _ending(key: str) -> str:
    """What in a key names its unit; empty where nothing does."""
    if key == UM_PER_TURN:
        return "_um"
    return next((ending for ending in WRITTEN if key.endswith(ending)), "")


def without_unit(key: str) -> str:
    """The key under which a text that carries its unit may stand.

    Examples
    --------
    >>> without_unit("twist_um_per_m"), without_unit("length_mm"), without_unit("name")
    ('twist', 'length', 'name')
    """
    return LIFT_PER_TURN if key == UM_PER_TURN else key.removesuffix(_ending(key))


def _read(value: Any, read: Callable[[str], float], deep: int = 0) -> Any:
    """The number of a text; of a list or a table, of all texts in it."""
    if isinstance(value, str):
        return read(value)
    if deep < MOST_DEEP and isinstance(value, list):
        return [_read(each, read, deep + 1) for each in value]
    if deep < MOST_DEEP and isinstance(value, Mapping):
        return {name: _read(each, read, deep + 1) for name, each in value.items()}
    raise _NotWritten
