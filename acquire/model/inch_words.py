"""What sentences of a survey in inches say in mm, µm and µm/m, said in in, thou and thou/ft.

What is found wrong or worth a note is found in the units that the sums are in, far from any door.  The
door turns such a sentence, as it turns a number.
"""

import re

from acquire.model.units import MM_PER_INCH, UM_PER_THOU, number_text

_NUMBER = r"[-+−±]?\d+(?:\.\d+)?(?:e[-+]?\d+)?"
_BETWEEN = r"(?: ± |, …, |, | to | and | or |–)"
_METRIC = r"(?:µm/m|µm|mm/s|mm)(?![\w/²])"
_INCH = r"(?:thou/ft|thou|in)"
_SAID = (  # compiled when first asked for: most commands say nothing in inches
    r"(?P<quoted>'[^']*'|`[^`]*`|\b(?:traverses?|runs?) \d+\b|\bsuch as .*?(?=; |\. |\.?$))"
    rf"|(?P<kept>{_NUMBER}(?:{_BETWEEN}{_NUMBER})* {_INCH} \([^()]*\))"
    rf"|(?P<metric>{_NUMBER}(?:{_BETWEEN}{_NUMBER})* (?:µm/m|µm)) "
    rf"\((?P<inch>{_NUMBER}(?:{_BETWEEN}{_NUMBER})* {_INCH})\)"
    rf"|(?<![\w.,])(?P<numbers>{_NUMBER}(?:{_BETWEEN}{_NUMBER})*)(?P<gap> ?)(?P<unit>{_METRIC})"
)  # fmt: skip
_INCH_OF = {"mm": "in", "µm": "thou", "µm/m": "thou/ft", "mm/s": "in/min"}
_PER = {"mm": MM_PER_INCH, "µm": UM_PER_THOU, "µm/m": 1000 / 12, "mm/s": MM_PER_INCH / 60}
_MORE_DECIMALS = {"mm": 2, "µm": 1, "µm/m": 2, "mm/s": 1}
"""By how many decimals a number has more in the other unit, to say as much."""
MOST_DECIMALS = 4
MOST_OF_A_PLACE = 2


def in_owners_unit(text: str, inch: bool) -> str:
    """The sentence as the survey is shown; what is quoted, an example, or said in both units stays.

    A feed in mm/s is said in in/min, as the trade says it.

    Examples
    --------
    >>> in_owners_unit("found 0 to 1066.8 mm, off by 12.7 µm; needed: base_mm", True)
    'found 0 to 42 in, off by 0.50 thou; needed: base_mm'
    >>> in_owners_unit("found '30 mm', 25 µm/m, 41 µm (1.61 thou), 1.61 thou (41 µm), 0.02 mm/m", True)
    "found '30 mm', 0.30 thou/ft, 1.61 thou (41 µm), 1.61 thou (41 µm), 0.02 mm/m"
    >>> in_owners_unit("from 0 mm at 5 mm/s; 9 mm/s²", True)
    'from 0 in at 11.8 in/min; 9 mm/s²'
    >>> in_owners_unit("traverse 10, 685.8 mm", True)
    'traverse 10, 27 in'
    """
    return re.sub(_SAID, _turned, text) if inch else text


def _turned(found: re.Match[str]) -> str:
    if found["quoted"] or found["kept"]:
        return found[0]
    if found["inch"]:
        return f"{found['inch']} ({found['metric']})"
    unit = found["unit"]
    numbers = re.sub(_NUMBER, lambda each: _number(each[0], unit), found["numbers"])
    return f"{numbers}{found['gap']}{_INCH_OF[unit]}"


def _number(text: str, unit: str) -> str:
    sign, text = ("±", text[1:]) if text.startswith("±") else ("", text)
    value = float(text.replace("−", "-"))
    plain = text.lower().partition("e")[0]
    decimals = len(plain.partition(".")[2])
    said = value / _PER[unit]
    more = min(decimals + _MORE_DECIMALS[unit], MOST_DECIMALS)
    if unit == "mm":
        return f"{sign}{round(said, min(more, MOST_OF_A_PLACE) if abs(value) >= 1 else more):g}"
    return sign + number_text(said, more)
