"""Where the place of each reading comes from: `--position`, and `position` in a traverse's setup.

scale:NAME       the stream of a position instrument, by the time of each reading
stations         the bed's stations in turn, or as marked by the operator
feed:MM_PER_S    a constant feed between two marks
file             the rows say it themselves: typed or imported
"""

from dataclasses import dataclass

from acquire.model.errors import EntryError, UnitError
from acquire.model.lengths import in_mm, parse_length
from acquire.model.units import finite_number

RECORDED = "scale:NAME | stations | feed:MM_PER_S"
"""What a recording may be asked for."""
SECONDS = {"s": 1.0, "sec": 1.0, "min": 60.0}
"""What a length may be over in a feed with its unit."""


DIRECTIONS = ("forward", "reverse")
MODES = ("stepped", "continuous")
"""How a traverse may go along the bed."""


@dataclass(frozen=True)
class Position:
    """Where the place of each reading comes from; its text is what files keep.

    Examples
    --------
    >>> Position.parse("scale:dro").scale, Position.parse("feed:2.5").feed_mm_per_s
    ('dro', 2.5)
    >>> Position.parse("stations").is_stations
    True
    """

    kind: str
    """scale | stations | feed | file."""
    scale: str | None = None
    """Name of the position instrument, of kind scale."""
    feed_mm_per_s: float | None = None
    """Speed without its direction, of kind feed."""

    @classmethod
    def parse(cls, text: str) -> "Position":
        """Read the text.

        Raises
        ------
        EntryError
            If it names no way to tell the place, or a feed that is no speed above 0.
        """
        kind, colon, value = text.partition(":")
        where = f"--position {text[:40]}"
        if kind == "scale" and colon:
            return cls(kind, scale=value)
        if kind == "feed" and colon:
            feed = finite_number(value)
            if feed is None or feed <= 0:
                raise EntryError(
                    where, f"found {value[:20]!r}", "a feed in mm/s above 0, such as feed:5, or feed:12in/min"
                )
            return cls(kind, feed_mm_per_s=feed)
        if text not in ("stations", "file"):
            raise EntryError(where, "found no such way to tell the place", RECORDED)
        return cls(text)

    @property
    def is_stations(self) -> bool:
        """Whether the bed's stations are read in turn, or as marked."""
        return self.kind == "stations"

    @property
    def is_feed(self) -> bool:
        """Whether a constant feed tells the place."""
        return self.kind == "feed"


def with_feed_in_mm_per_s(text: str) -> str:
    """`--position` as files keep it: a feed with a unit of its own in mm/s; all else as it was written.

    Examples
    --------
    >>> with_feed_in_mm_per_s("feed:12 in/min"), with_feed_in_mm_per_s("feed:300mm/min")
    ('feed:5.08', 'feed:5')
    >>> with_feed_in_mm_per_s("feed:5"), with_feed_in_mm_per_s("feed:fast/min")
    ('feed:5', 'feed:fast/min')
    """
    kind, _, value = text.partition(":")
    length, stroke, over = value.rpartition("/")
    if kind != "feed" or not stroke or over.strip() not in SECONDS:
        return text
    try:
        written = parse_length(length)
    except UnitError:
        return text
    if written.unit is None:
        return text
    return f"feed:{in_mm(written, is_inch=False) / SECONDS[over.strip()]:.9g}"
