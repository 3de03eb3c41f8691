"""Shop units at the doors; one unit of each kind inside.

Inside: slope and roll in µm/m, offset and span in µm, position in mm,
temperature in °C.  The factors are exact or fixed by definition: 1 inch is
25.4 mm; an arcsecond is pi/648000 rad (4.84813681109536 µm/m), small angles
taken as their tangents; 1 in/ft is 1/12.
"""

import math
import re
from dataclasses import dataclass

from acquire.errors import UnitError

UM_PER_THOU = 25.4
MM_PER_INCH = 25.4
UM_PER_M_PER_ARCSECOND = math.pi / 648000 * 1e6

FACTORS: dict[str, dict[str, float]] = {
    "slope": {
        "um/m": 1.0,
        "mm/m": 1000.0,
        "arcsec": UM_PER_M_PER_ARCSECOND,
        "deg": 3600 * UM_PER_M_PER_ARCSECOND,
        "in/ft": 1e6 / 12,
    },
    "offset": {"um": 1.0, "mm": 1000.0, "thou": UM_PER_THOU, "in": 1000 * MM_PER_INCH},
    "position": {"mm": 1.0, "um": 0.001, "in": MM_PER_INCH},
    "temperature": {"degC": 1.0},
}
FACTORS["roll"] = FACTORS["slope"]
FACTORS["span"] = FACTORS["offset"]

CONTRACT_UNIT = {
    "slope": "um/m",
    "roll": "um/m",
    "offset": "um",
    "span": "um",
    "position": "mm",
    "temperature": "degC",
}

_SPELLINGS = {
    "µm/m": "um/m", "μm/m": "um/m", "um/m": "um/m", "µm": "um", "μm": "um", "um": "um", "micron": "um",
    "microns": "um", "mm/m": "mm/m", "mm": "mm", "thou": "thou", "thous": "thou", "mil": "thou",
    "in": "in", "inch": "in", "inches": "in", '"': "in", "in/ft": "in/ft", "arcsec": "arcsec",
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


def to_contract(value: float, quantity: str, unit: str) -> float:
    """Convert `value` from a shop unit to the one unit used inside for `quantity`.

    Examples
    --------
    >>> to_contract(0.02, "slope", "mm/m"), to_contract(2, "offset", "thou")
    (20.0, 50.8)
    """
    factors = FACTORS[quantity]
    if unit not in factors:
        raise UnitError(f"unit of a {quantity}", f"found {unit!r}", " | ".join(factors))
    return value * factors[unit]


@dataclass(frozen=True)
class Reading:
    """A number as somebody wrote it, and the unit written with it (None: none was)."""

    value: float
    unit: str | None


_NUMBER = re.compile(r"\s*([-+−]?)\s*(\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE]([-+]?\d{1,2}))?\s*(.*?)\s*", re.DOTALL)


def parse_reading(text: str) -> Reading:
    """Read a hand-written number with an optional unit and either decimal sign.

    Raises
    ------
    UnitError
        If it is no number, or the unit is not one known here. A number with both a
        comma and a point (a thousands mark?) is refused rather than guessed.

    Examples
    --------
    >>> parse_reading("-0,02 mm"), parse_reading("3.5thou"), parse_reading("+3")
    (Reading(value=-0.02, unit='mm'), Reading(value=3.5, unit='thou'), Reading(value=3.0, unit=None))
    """
    match = _NUMBER.fullmatch(text[:200])
    if not match:
        raise UnitError("reading", f"found {text[:40]!r}", "a number such as +3, 3.5 thou, -0,02 mm or 2 div")
    sign, digits, exponent, written_unit = match.groups()
    unit = unit_name(written_unit) if written_unit else None
    if written_unit and unit is None:
        raise UnitError("reading", f"found {text[:40]!r}", "a number and, if any, a unit known here")
    value = float(digits.replace(",", ".")) * 10.0 ** int(exponent or 0)
    if not math.isfinite(value):
        raise UnitError("reading", f"found {text[:40]!r}", "a finite number")
    return Reading(-value if sign in ("-", "−") else value, unit)
