"""The blue that a straightedge left on a face: what was seen, stretch by stretch."""

import re
from dataclasses import dataclass

from acquire.model.errors import SurveyError
from acquire.model.units import MM_PER_INCH

SEEN = ("full", "spots", "bare")
"""Blue all over | some of it | none."""
_STRETCH = re.compile(r"\s*(\d+(?:[.,]\d+)?)\s*(?:-|–|to)\s*(\d+(?:[.,]\d+)?)\s*(mm|in)?[\s:]+(\w+)\s*")


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
    seen = [word for word in SEEN if found and word.startswith(found.group(4).lower())]
    if not found or len(seen) != 1:
        raise SurveyError("marks", f"found {text.strip()!r}", "FROM-TO full | spots | bare", "type it again")
    unit_mm = MM_PER_INCH if found.group(3) == "in" or (inch and found.group(3) is None) else 1.0
    start, end = (float(found.group(i).replace(",", ".")) * unit_mm for i in (1, 2))
    if not start < end:
        raise SurveyError("marks", f"found {start:g} to {end:g} mm", "a stretch that rises", "type it again")
    return Mark(round(start, 6), round(end, 6), seen[0])
