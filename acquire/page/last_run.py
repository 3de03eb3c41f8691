"""What the run before read at each station of the same thing, as a check beside the keypad."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from acquire.model.errors import WaylogError
from acquire.model.places import is_same_place
from acquire.model.traverse import Setup, Traverse
from acquire.store import files_of, read_traverse

SAME = ("face", "front", "rear", "other", "inside", "instrument", "quantity", "reference", "turned",
        "turned_over")  # fmt: skip
"""What has to agree for two runs to read the same, but for the instrument's zero."""


@dataclass(frozen=True, eq=False)
class LastRun:
    """The latest earlier run of the same thing, in either direction."""

    traverse: Traverse

    def at(self, station_mm: float) -> float | None:
        """What it read there, in the contract's unit: the last reading of several."""
        stations = self.traverse.stations
        here = np.flatnonzero(is_same_place(stations.station_mm, station_mm))
        return float(stations.reading[here[-1]]) if len(here) else None

    @property
    def words(self) -> str:
        """Which run it was."""
        return f"run {self.traverse.number}, {self.traverse.setup.direction}"


def last_run(survey: Path | str, setup: Setup) -> LastRun | None:
    """The latest run of the survey that measured what `setup` does; None where there is none.

    One that cannot be read is passed over: it is a check, no measurement.
    """
    for traverse in _latest_first(survey):
        if all(getattr(traverse.setup, name) == getattr(setup, name) for name in SAME):
            return LastRun(traverse)
    return None


def _latest_first(survey: Path | str) -> Iterable[Traverse]:
    for path in reversed(files_of(survey).values()):
        try:
            yield read_traverse(path, raw=False)
        except WaylogError:
            continue
