"""The blue that a straightedge left on a face: what was seen, stretch by stretch."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from acquire.model.errors import SurveyError, UnitError
from acquire.model.lengths import in_mm, parse_length
from acquire.model.units import Reading, length_text

SEEN = ("full", "spots", "bare")
"""Blue all over | some of it | none."""
_STRETCH = re.compile(r"\s*(.+?)[\s:]+([a-z]+)\s*", re.IGNORECASE)
_BETWEEN = re.compile(r"\s(?:to|TO)\s|[-–—‐−]")


@dataclass(frozen=True)
class Mark:
    """What was seen on a stretch of the face after the edge was rubbed."""

    from_mm: float
    to_mm: float
    seen: str


@dataclass(frozen=True)
class Marks:
    """All that was seen of one edge laid on one face."""

    face: str
    edge: str
    """Name of the straightedge in bed.toml."""
    from_mm: float
    to_mm: float
    """Where the edge lay."""
    film_um: float
    created_utc: str
    stretches: tuple[Mark, ...]
    note: str = ""


def parse_mark(text: str, inch: bool = False) -> Mark:
    """A stretch as it is typed: from, to, and what was seen there.

    Raises
    ------
    SurveyError
        If it reads otherwise, or the stretch does not rise.

    Examples
    --------
    >>> parse_mark("0-350 full"), parse_mark("6 to 12 in bare").to_mm
    (Mark(from_mm=0.0, to_mm=350.0, seen='full'), 304.8)
    """
    found = _STRETCH.fullmatch(text)
    seen = [word for word in SEEN if found and word.startswith(found[2].lower())]
    ends = list(_ends(found[1], inch)) if found else []
    if len(ends) != 1 or len(seen) != 1:
        raise SurveyError("marks", f"found {text.strip()!r}", "FROM-TO full | spots | bare", "type it again")
    start, end = ends[0]
    if not 0 <= start < end:
        shown = " to ".join(length_text(each, inch) for each in ends[0])
        raise SurveyError("marks", f"found {shown}", "a stretch that rises from 0 on", "type it again")
    return Mark(start, end, seen[0])


def _ends(text: str, inch: bool) -> Iterator[tuple[float, float]]:
    """Both ends in mm, wherever the text can be cut into two lengths; a unit behind both is that of both.

    Examples
    --------
    >>> list(_ends('6 - 12 1/2"', False)), list(_ends("1-1/2 to 3", True))
    ([(152.4, 317.5)], [(38.1, 76.2)])
    """
    for cut in _BETWEEN.finditer(text):
        try:
            start, end = parse_length(text[: cut.start()]), parse_length(text[cut.end() :])
        except UnitError:
            continue
        start = Reading(start.value, start.unit or end.unit)
        yield in_mm(start, inch), in_mm(end, inch)
