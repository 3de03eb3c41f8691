"""What the rest of the survey can say while readings are taken; the command table hands in who says it.

`acquire` works out no profiles.  Whoever joins the two houses hands `enter` a function
(survey folder, setup) -> Companion; without one only the neighbours speak.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from acquire.model.traverse import Stations


@dataclass(frozen=True)
class Prediction:
    """What a station should read, in the contract's unit and the instrument's sign."""

    reading: float
    uncertainty: float
    """Standard uncertainty of a new reading about it, the instrument's own included."""
    says: str
    """Who says so, in words: "the reverse run and the cross level"."""


@dataclass(frozen=True)
class Mend:
    """One way in which a run may have been written down wrongly."""

    traverses: tuple[int, ...]
    redo_as: tuple[str, ...]
    """What `redo` takes to mend it."""
    question: str


@dataclass(frozen=True)
class RunDoubt:
    """What the other runs of a survey contradict in one that was just made."""

    says: str
    mends: tuple[Mend, ...]
    """Likeliest first; none where no slip that is known explains it."""


RunDoubter = Callable[[Path, int], RunDoubt | None]
"""From survey folder and number of a run to what is doubtful of it; None where nothing is."""


class Companion(Protocol):
    """Looks over the shoulder of whoever types readings."""

    def profile_lines(self, stations: Stations, columns: int) -> Sequence[str]:
        """The profile so far as lines of text, none wider than `columns`; none is fine."""
        ...

    def predict(self, stations: Stations, station_mm: float) -> Prediction | None:
        """What the next reading at `station_mm` should be, from the survey and `stations` so far."""
        ...
