"""One reading corrected after its run: what counts there now, what was read, and why.

A correction is kept among the events of its traverse, behind everything that happened while
it was read; the reading itself stays in the raw bytes. Of several for one reading the last counts.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from acquire.model.errors import EntryError
from acquire.model.recorded import Event

CORRECTION = "correction"
"""Kind of the events that hold one."""
LONGEST_REASON = 200
STRUCK, AS_READ = "struck out", "as it was read"

_TEXT = re.compile(
    r"station (?P<station>\S+) mm, reading (?P<repeat>\d{1,6}): "
    r"(?P<now>[^:]+?) instead of (?P<was>[^:]+): (?P<because>.+)"
)


@dataclass(frozen=True)
class Correction:
    """What is to count instead of one reading."""

    station_mm: float
    repeat: int
    now: str
    """The reading in words as it was typed; or `STRUCK`, or `AS_READ`."""
    was: str
    """What was read, in words."""
    because: str

    @property
    def is_struck(self) -> bool:
        """Whether the reading does not count at all."""
        return self.now == STRUCK

    @property
    def is_as_read(self) -> bool:
        """Whether it takes back what was corrected before."""
        return self.now == AS_READ

    def as_text(self) -> str:
        """One line for people, from which `from_text` makes the same correction again.

        Examples
        --------
        >>> Correction(450.0, 1, "+12.5 um", "+125 um", "a zero too many").as_text()
        'station 450 mm, reading 1: +12.5 um instead of +125 um: a zero too many'
        """
        because = " ".join(self.because.split())
        return (
            f"station {self.station_mm:.10g} mm, reading {self.repeat}: "
            f"{self.now} instead of {self.was}: {because}"
        )

    @classmethod
    def from_text(cls, text: str) -> "Correction":
        """Read back what `as_text` wrote.

        Raises
        ------
        EntryError
            If it is none.
        """
        match = _TEXT.fullmatch(text)
        try:
            if match is None:
                raise ValueError
            now, was, because = match["now"], match["was"], match["because"]
            return cls(float(match["station"]), int(match["repeat"]), now, was, because)
        except ValueError:
            raise EntryError(
                "a correction", f"found {text[:60]!r}", "station, reading, what counts and why"
            ) from None


def corrections_in_force(events: Iterable[Event]) -> tuple[Correction, ...]:
    """What still counts among events: the last for each reading, none taken back."""
    last: dict[tuple[float, int], Correction] = {}
    for event in events:
        if event.kind == CORRECTION:
            found = Correction.from_text(event.text)
            last.pop((found.station_mm, found.repeat), None)
            last[found.station_mm, found.repeat] = found
    return tuple(found for found in last.values() if not found.is_as_read)
