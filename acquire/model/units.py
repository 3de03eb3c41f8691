"""Units as people write them, and numbers as people read them.

The factors are exact or fixed by definition: 1 inch is 25.4 mm; an arcsecond is
pi/648000 rad (4.84813681109536 µm/m), small angles taken as their tangents; 1 in/ft is 1/12.
"""

import math
import re
from dataclasses import dataclass

from acquire.model.errors import UnitError

UM_PER_THOU = 25.4
MM_PER_INCH = 25.4
MM_PER_M = 1000.0
"""A slope of 1 µm/m is a rise of 1 µm over so much."""
UM_PER_MM = 1000.0
THOU_PER_FOOT = 12 / 1000
"""Of 1 µm/m."""
UM_PER_M_PER_ARCSECOND = math.pi / 648000 * 1e6

_SPELLINGS = {
    "µm/m": "um/m", "μm/m": "um/m", "um/m": "um/m", "µm": "um", "μm": "um", "um": "um", "micron": "um",
    "microns": "um", "mm/m": "mm/m", "mm": "mm", "thou": "thou", "thous": "thou", "mil": "thou",
    "in": "in", "inch": "in", "inches": "in", '"': "in", "in/ft": "in/ft", "thou/ft": "thou/ft",
    "mil/ft": "thou/ft", "arcsec": "arcsec",
    "arcsecond": "arcsec", "arcseconds": "arcsec", "″": "arcsec", "''": "arcsec", "deg": "deg", "°": "deg",
    "degc": "degC", "°c": "degC", "div": "div", "divs": "div", "division": "div", "divisions": "div",
}  # fmt: skip


def unit_name(text: str) -> str | None:
    """The unit's name as `bed.toml` spells it, or None where `text` is no unit known here.

    Examples
    --------
    >>> unit_name("µm/m"), unit_name("Inches"), unit_name("furlong")
    ('um/m', 'in', None)
    """
    return _SPELLINGS.get(text.strip().lower())


MINUS_SIGNS = "-−–—‐‑‒﹣－"
"""What is typed or pasted for a minus: hyphens, dashes and the true sign."""
_TO_PLAIN_MINUS = dict.fromkeys(map(ord, MINUS_SIGNS), "-")


def unit_text(unit: str) -> str:
    """A unit as people read it behind a number.

    Examples
    --------
    >>> unit_text("um/m"), unit_text("thou"), unit_text("div")
    ('µm/m', 'thou', 'div')
    """
    return {"um/m": "µm/m", "um": "µm", "degC": "°C"}.get(unit, unit)


def unit_words(unit: str) -> str:
    """A unit as people read it within a sentence.

    Examples
    --------
    >>> unit_words("div"), unit_words("in"), unit_words("um")
    ('divisions', 'inches', 'µm')
    """
    return {"div": "divisions", "in": "inches"}.get(unit, unit_text(unit))


def finite_number(text: str) -> float | None:
    """The number that a text is; None where it is none, or none that is finite.

    Examples
    --------
    >>> finite_number("2.5"), finite_number("fast"), finite_number("inf")
    (2.5, None, None)
    """
    try:
        number = float(text)
    except ValueError:
        return None
    return number if math.isfinite(number) else None


def with_plain_minus(text: str) -> str:
    """The text with every sign that stands for a minus written as the one that programs read.

    Examples
    --------
    >>> with_plain_minus("−3 thou"), with_plain_minus("–0,02")
    ('-3 thou', '-0,02')
    """
    return text.translate(_TO_PLAIN_MINUS)


@dataclass(frozen=True)
class Reading:
    """A number as somebody wrote it, and the unit written with it (None: none was)."""

    value: float
    unit: str | None


_SEXAGESIMAL = re.compile(
    r"""\s*([-+]?)\s*(?:(\d{1,3})\s*°)?\s*(?:(\d{1,5})\s*['′’])?\s*(?:(\d{1,6}(?:[.,]\d*)?)\s*(["″”]|'')?)?\s*"""
)
"""Degrees, minutes, seconds of arc; the mark of the seconds may be missing behind minutes."""
_NUMBER = re.compile(r"\s*([-+]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE]([-+]?\d{1,2}))?\s*(.*?)\s*", re.DOTALL)


_MIXED = re.compile(r"\s*([-+]?)\s*(\d+)\s+(\d+)/(2|3|4|5|8|10|16|32|64)(?![\d.,/])\s*(.*?)\s*", re.DOTALL)
"""A whole number and a fraction. A fraction alone may as well be both ends of a bubble, or a date."""


def mixed_as_decimal(text: str) -> str:
    """A whole number with a fraction behind it, as a decimal number with the same unit; all else as it is.

    Examples
    --------
    >>> mixed_as_decimal("-4 1/2"), mixed_as_decimal("1 2/5 div"), mixed_as_decimal("1 / 2")
    ('-4.5', '1.4 div', '1 / 2')
    """
    match = _MIXED.fullmatch(text)
    if not match or int(match[3]) >= int(match[4]):
        return text
    return f"{match[1]}{int(match[2]) + int(match[3]) / int(match[4])} {match[5]}".strip()


def parse_reading(text: str) -> Reading:
    """Read a hand-written number with an optional unit and either decimal sign.

    Raises
    ------
    UnitError
        If it is no number, or the unit is not one known here. A number with both a
        comma and a point (a thousands mark?) is refused rather than guessed.

    Examples
    --------
    >>> parse_reading("-0,02 mm"), parse_reading("3.5thou"), parse_reading("-4 1/2")
    (Reading(value=-0.02, unit='mm'), Reading(value=3.5, unit='thou'), Reading(value=-4.5, unit=None))

    Minutes and seconds of arc, as an autocollimator's drum is read:

    >>> parse_reading("2'08.5″")
    Reading(value=128.5, unit='arcsec')
    """
    written = mixed_as_decimal(with_plain_minus(text[:200]))
    if (angle := _degrees_minutes_seconds(written)) is not None:
        return angle
    match = _NUMBER.fullmatch(written)
    if not match:
        raise UnitError("reading", f"found {text[:40]!r}", "a number such as +3, 3.5 thou, -0,02 mm or 2 div")
    sign, digits, exponent, written_unit = match.groups()
    unit = unit_name(written_unit) if written_unit else None
    if written_unit and unit is None:
        raise UnitError("reading", f"found {text[:40]!r}", "a number and, if any, a unit known here")
    value = float(digits.replace(",", ".")) * 10.0 ** int(exponent or 0)
    if not math.isfinite(value):
        raise UnitError("reading", f"found {text[:40]!r}", "a finite number")
    return Reading(-value if sign == "-" else value, unit)


def _degrees_minutes_seconds(text: str) -> Reading | None:
    """An angle written with minutes of arc, or with degrees and seconds; None where it is neither."""
    match = _SEXAGESIMAL.fullmatch(text)
    if not match:
        return None
    sign, degrees, minutes, seconds, mark = match.groups()
    if minutes is None and (degrees is None or mark is None):
        return None
    size = 3600 * int(degrees or 0) + 60 * int(minutes or 0) + float((seconds or "0").replace(",", "."))
    return Reading(-size if sign == "-" else size, "arcsec")


_DEGREES = re.compile(r"(.*?)\s*(?:°\s*|deg(?:rees)?\s*)?([cf])", re.IGNORECASE | re.DOTALL)


def parse_degrees(text: str) -> float:
    """A temperature in °C, as written with its unit: 20 °C, 68 °F, 68F.

    Raises
    ------
    UnitError
        If it is no number, or names neither °C nor °F.

    Examples
    --------
    >>> parse_degrees("68 °F"), parse_degrees("19,5 degC"), parse_degrees("−4F")
    (20.0, 19.5, -20.0)
    """
    match = _DEGREES.fullmatch(text.strip()[:40])
    number = None if match is None else parse_reading(match[1])
    if match is None or number is None or number.unit is not None:
        raise UnitError("temperature", f"found {text[:40]!r}", "a temperature such as 20 °C or 68 °F")
    return number.value if match[2] in "cC" else round((number.value - 32) / 1.8, 6)


def clock_text(seconds: float) -> str:
    """A time that has gone by, as clocks show it.

    Examples
    --------
    >>> clock_text(65.9), clock_text(3725)
    ('1:05', '1:02:05')
    """
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}" if minutes >= 60 else f"{minutes}:{rest:02d}"


def decimals_for(uncertainty: float) -> int:
    """Decimals that a value deserves whose uncertainty is this: none finer than its first digit.

    Examples
    --------
    >>> decimals_for(3.0), decimals_for(0.3), decimals_for(40)
    (0, 1, -1)
    """
    if not 0 < uncertainty < math.inf:
        return 0
    return min(6, -math.floor(math.log10(uncertainty) + 1e-9))


def reading_decimals(resolution: float | None, value: float) -> int:
    """Decimals of a reading as an instrument shows it: as fine as its step, else three figures.

    Examples
    --------
    >>> reading_decimals(0.05, 3.1), reading_decimals(None, 23.6), reading_decimals(None, 460.1)
    (2, 1, 0)
    """
    return max(0, decimals_for(resolution or max(abs(value), 1e-3) / 100))


def number_text(value: float, decimals: int) -> str:
    """`value` rounded to `decimals` (negative: to tens, hundreds); no minus sign before a zero.

    Examples
    --------
    >>> number_text(-41.26, 1), number_text(-0.04, 1), number_text(1234, -2)
    ('-41.3', '0.0', '1200')
    """
    rounded = round(value, decimals) + 0.0
    return f"{rounded:.{max(decimals, 0)}f}"


def height_text(um: float, inch: bool = False, uncertainty_um: float | None = None) -> str:
    """A height for people: µm and thou side by side, the owner's own unit first.

    Without an uncertainty it is given to a tenth of a micrometre below 10 µm, else to one.

    Examples
    --------
    >>> height_text(-41.3, uncertainty_um=3.0), height_text(-41.3, inch=True, uncertainty_um=3.0)
    ('-41 µm (-1.6 thou)', '-1.6 thou (-41 µm)')
    >>> height_text(2.54)
    '2.5 µm (0.10 thou)'
    """
    first, second = height_numbers(um, inch, uncertainty_um)
    return f"{first} thou ({second} µm)" if inch else f"{first} µm ({second} thou)"


def height_numbers(um: float, inch: bool = False, uncertainty_um: float | None = None) -> tuple[str, str]:
    """The two numbers of `height_text`, for the columns of a table: the owner's own unit first.

    Examples
    --------
    >>> height_numbers(-41.3, uncertainty_um=3.0), height_numbers(10.0, True, 30.0)
    (('-41', '-1.6'), ('0', '0'))
    """
    return _in_two_units(um, inch, uncertainty_um, 1 / UM_PER_THOU)


def length_text(mm: float, inch: bool = False) -> str:
    """A place or length along the bed.

    Examples
    --------
    >>> length_text(450.0), length_text(152.4, inch=True)
    ('450 mm', '6 in')
    """
    return f"{round(mm / MM_PER_INCH, 2):g} in" if inch else f"{round(mm, 1):.10g} mm"


def slope_text(um_per_m: float, inch: bool = False, uncertainty_um_per_m: float | None = None) -> str:
    """A slope or roll: µm/m, and what that is in thou a foot.

    Examples
    --------
    >>> slope_text(83.33, uncertainty_um_per_m=2.0), slope_text(83.33, inch=True, uncertainty_um_per_m=2.0)
    ('83 µm/m (1.00 thou/ft)', '1.00 thou/ft (83 µm/m)')
    """
    first, second = slope_numbers(um_per_m, inch, uncertainty_um_per_m)
    return f"{first} thou/ft ({second} µm/m)" if inch else f"{first} µm/m ({second} thou/ft)"


def slope_numbers(
    um_per_m: float, inch: bool = False, uncertainty_um_per_m: float | None = None
) -> tuple[str, str]:
    """The two numbers of `slope_text`, the owner's own unit first.

    Examples
    --------
    >>> slope_numbers(83.33, uncertainty_um_per_m=2.0)
    ('83', '1.00')
    """
    if inch and uncertainty_um_per_m is None:
        uncertainty_um_per_m = 1.0  # a hundredth of a thou a foot, as fine as such levels are read
    return _in_two_units(um_per_m, inch, uncertainty_um_per_m, THOU_PER_FOOT)


def _in_two_units(
    value: float, inch: bool, uncertainty: float | None, second_per_first: float
) -> tuple[str, str]:
    """A number in the metric unit and in the other, each with the digits that its uncertainty bears.

    What is nothing in the owner's unit is nothing in the other; what is something shows there too.
    """
    if uncertainty is None or not uncertainty > 0:
        uncertainty = 0.3 if abs(value) < 10 else 1.0
    values, sizes = (value, value * second_per_first), (uncertainty, uncertainty * second_per_first)
    own, other = (1, 0) if inch else (0, 1)
    first = number_text(values[own], decimals_for(sizes[own]))
    decimals = decimals_for(sizes[other])
    second = number_text(values[other], decimals)
    if float(first) == 0:
        return first, number_text(0.0, decimals)
    return first, second if float(second) else number_text(values[other], decimals + 1)
