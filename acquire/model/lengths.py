"""Lengths as people write them: in mm or inches, feet and inches, fractions, with any of their marks.

One reader for every door: options, prompts, cells of a CSV, bed.toml.  1 in = 25.4 mm and 1 ft = 12 in
by definition.
"""

import math
import re
import unicodedata
from typing import overload

from acquire.model.errors import UnitError
from acquire.model.units import MINUS_SIGNS, MM_PER_INCH, UM_PER_THOU, Reading

MM = {"um": 0.001, "mm": 1.0, "thou": UM_PER_THOU / 1000, "in": MM_PER_INCH}
"""What each unit of a length is in mm."""
INCHES_PER_FOOT = 12
NEEDED = """a length such as 300 mm, 12 in, 6 1/2", 4' 3" or 3 thou"""
LONGEST_TEXT = 60
_PRIMES = str.maketrans({"′": "'", "’": "'", "‘": "'", "‛": "'", "`": "'", "´": "'", "ʹ": "'", "″": '"',
                         "”": '"', "“": '"', "„": '"', "‟": '"', "ʺ": '"', "〃": '"', "＂": '"', "⁄": "/",
                         "∕": "/", "μ": "µ"} | dict.fromkeys(MINUS_SIGNS, "-"))  # fmt: skip
_PLAIN = r"(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:e[-+]?\d{1,2})?"
_FRACTION = r"(?:(\d+)\s*-?\s+|(\d+)\s*-\s*)?(\d+)\s*/\s*(\d+)"
_NUMBER = re.compile(rf"(?P<plain>{_PLAIN})|{_FRACTION}")
_FEET = re.compile(r"(?P<feet>[^'a-z]+?)\s*(?:'|ft\.?|feet|foot)\s*(?:-\s*|,\s*)?(?P<rest>.*)")
_INCH = re.compile(r"""(?P<number>[^"'a-z]+?)\s*(?:"|''|in\.?|inch|inches)?""")
_ONE = re.compile(r"""(?P<number>[^"'a-zµ]*?(?:\de[-+]?\d{1,2})?)\s*(?P<unit>["'a-zµ].*)?""")
_UNITS = {
    "mm": ("mm", 1.0), "millimetre": ("mm", 1.0), "millimetres": ("mm", 1.0), "millimeter": ("mm", 1.0),
    "millimeters": ("mm", 1.0), "cm": ("mm", 10.0), "m": ("mm", 1000.0), "µm": ("um", 1.0), "um": ("um", 1.0),
    "micron": ("um", 1.0), "microns": ("um", 1.0), "thou": ("thou", 1.0), "thous": ("thou", 1.0),
    "mil": ("thou", 1.0), "mils": ("thou", 1.0), "in": ("in", 1.0), "in.": ("in", 1.0), "inch": ("in", 1.0),
    "inches": ("in", 1.0), '"': ("in", 1.0), "''": ("in", 1.0),
}  # fmt: skip


def parse_length(text: str) -> Reading:
    """Read a length and its unit, if one is written: um, mm, thou or in.

    Centimetres and metres come back in mm, feet in inches.  All the usual signs stand for minus, prime,
    inch and stroke; a fraction may follow a whole number; the decimal sign is a point or a comma.

    Raises
    ------
    UnitError
        If it is no length, or could be meant in two ways (a comma and a point in one number).

    Examples
    --------
    >>> parse_length('6 1/2"'), parse_length("4′ 3½″"), parse_length("304,8mm"), parse_length("−3")
    (Reading(value=6.5, unit='in'), Reading(value=51.5, unit='in'), Reading(value=304.8, unit='mm'), Reading(value=-3.0, unit=None))
    """  # noqa: E501
    written = _plain_signs(text[: LONGEST_TEXT + 1])
    sign = -1.0 if written.startswith("-") else 1.0
    size = written[1:].strip() if written[:1] in ("-", "+") else written
    found = None if len(text) > LONGEST_TEXT else _in_feet(size) or _in_one_unit(size)
    if found is None or not math.isfinite(found.value):
        raise UnitError("length", f"found {text[:40]!r}", NEEDED)
    return Reading(sign * found.value, found.unit)


@overload
def in_mm(written: Reading, is_inch: bool) -> float: ...
@overload
def in_mm(written: None, is_inch: bool) -> None: ...
@overload
def in_mm(written: Reading | None, is_inch: bool) -> float | None: ...
def in_mm(written: Reading | None, is_inch: bool) -> float | None:
    """A length in mm; a bare number is mm, or inches where the survey is shown in inches.

    Rounded to a nanometre, so that inches written in any form come to one number.  None, an option
    that was not given, stays None.

    Examples
    --------
    >>> bare = Reading(2.0, None)
    >>> in_mm(bare, is_inch=False), in_mm(bare, is_inch=True), in_mm(Reading(1.0, "in"), is_inch=False)
    (2.0, 50.8, 25.4)
    >>> in_mm(None, is_inch=True) is None
    True
    """
    return (
        None if written is None else round(written.value * MM[written.unit or ("in" if is_inch else "mm")], 6)
    )


@overload
def in_um(written: Reading, is_inch: bool) -> float: ...
@overload
def in_um(written: None, is_inch: bool) -> None: ...
@overload
def in_um(written: Reading | None, is_inch: bool) -> float | None: ...
def in_um(written: Reading | None, is_inch: bool) -> float | None:
    """A height in µm; a bare number is µm, or thou where the survey is shown in inches; None stays None.

    Examples
    --------
    >>> bare = Reading(2.0, None)
    >>> in_um(bare, is_inch=False), in_um(bare, is_inch=True), in_um(Reading(0.01, "mm"), is_inch=True)
    (2.0, 50.8, 10.0)
    """
    return (
        None
        if written is None
        else round(written.value * 1000 * MM[written.unit or ("thou" if is_inch else "um")], 6)
    )


def _plain_signs(text: str) -> str:
    """One sign for each meaning; a fraction of one character spelled out behind a blank."""
    spelled = "".join(_spelled(sign) for sign in text)
    return " ".join(spelled.translate(_PRIMES).lower().split())


def _spelled(sign: str) -> str:
    """One character; the fractions among them as digits and a stroke.

    Examples
    --------
    >>> _spelled("½"), _spelled("7")
    (' 1⁄2', '7')
    """
    if unicodedata.decomposition(sign).startswith("<fraction>"):
        return " " + unicodedata.normalize("NFKC", sign)
    return sign


def _in_feet(text: str) -> Reading | None:
    """Feet, and inches behind them, which are fewer than twelve; None where no foot is written."""
    match = _FEET.fullmatch(text)
    if match is None or match["rest"] in ("'", '"'):
        return None
    feet, rest = _number(match["feet"]), match["rest"]
    if not rest:
        return None if feet is None else Reading(INCHES_PER_FOOT * feet, "in")
    behind = _INCH.fullmatch(rest)
    inches = None if behind is None else _number(behind["number"])
    if feet is None or inches is None or feet != int(feet) or not inches < INCHES_PER_FOOT:
        return None
    return Reading(INCHES_PER_FOOT * feet + inches, "in")


def _in_one_unit(text: str) -> Reading | None:
    """A number and one unit, or none."""
    match = _ONE.fullmatch(text)
    number = None if match is None else _number(match["number"])
    if match is None or number is None:
        return None
    if match["unit"] is None:
        return Reading(number, None)
    unit, factor = _UNITS.get(match["unit"].strip(), ("", 0.0))
    return Reading(number * factor, unit) if unit else None


def _number(text: str) -> float | None:
    """A plain number, or a whole one and a fraction of it; None where it is neither.

    Examples
    --------
    >>> _number("6-1/2"), _number("3/8"), _number(",5"), _number("1,234.5"), _number("6 5/4")
    (6.5, 0.375, 0.5, None, None)
    """
    match = _NUMBER.fullmatch(text.strip())
    if match is None:
        return None
    if match["plain"]:
        return float(match["plain"].replace(",", "."))
    whole, top, bottom = match[2] or match[3], int(match[4]), int(match[5])
    if not 0 < bottom <= 1024 or (whole is not None and top >= bottom):
        return None
    return int(whole or 0) + top / bottom
