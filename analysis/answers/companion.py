"""Looks over the shoulder of whoever takes readings: the profile so far, and what the next should be.

The command line hands this to hand entry and to the recorder's screen; both only know
that it can be asked for two things.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from acquire.model.errors import WaylogError
from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.model.units import height_text
from analysis.adjust.combination import adjusted, predict
from analysis.answers.surveys import load
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.observe import Observations, observe, observe_all

LEAST_TO_DRAW = 3
MOST_ROWS = 14
RUN_WORDS = {
    frozenset({"reverse"}): "'s reverse run",
    frozenset({"forward"}): "'s forward run",
    frozenset({"forward", "reverse"}): "'s runs",
}


@dataclass(frozen=True)
class Prediction:
    """What a station should read, in the contract's unit and the instrument's sign."""

    reading: float
    uncertainty: float
    """Standard uncertainty of a new reading about it, the instrument's own included."""
    says: str
    """Who says so, in words."""


class Companion:
    """One traverse under way, seen against the rest of its survey.

    Parameters
    ----------
    survey : Path
    setup : Setup
        Of the traverse under way.
    """

    def __init__(self, survey: Path, setup: Setup):
        self.setup = setup
        self.bed = setup.bed
        self.others: list[Traverse] = []
        self.observed: list[Observations] = []
        try:
            self.others = [t for t in load(survey).measuring if t.number != setup.number]
            self.observed = observe_all(self.others, self.bed)
        except WaylogError:
            # a survey that cannot be analysed is no reason not to go on measuring
            self.observed = []

    def profile_lines(self, stations: Stations, columns: int) -> Sequence[str]:
        """The profile so far as lines of text, none wider than `columns`."""
        try:
            return _drawing(self._so_far(stations), columns, self.bed.is_inch)
        except (WaylogError, np.linalg.LinAlgError):
            return []

    def predict(self, stations: Stations, station_mm: float) -> Prediction | None:
        """What the next reading should be; None where the survey cannot say."""
        if not self.observed or len(stations) < 1:
            return None
        try:
            bed_map = adjusted([*self.observed, observe(self._traverse(stations), self.bed)], self.bed)
            asked = observe(self._traverse(_one(station_mm, self.setup.described.uncertainty)), self.bed)
            found = predict(bed_map, asked)
        except (WaylogError, np.linalg.LinAlgError):
            return None
        if not found.is_known[0] or not np.isfinite(found.value[0]):
            return None
        doubt = float(np.hypot(found.standard_uncertainty[0], np.sqrt(asked.variance[0])))
        return Prediction(float(found.value[0]), doubt, self._who())

    def _who(self) -> str:
        """The traverses that speak of the same faces, in words."""
        mine = {self.setup.face, self.setup.front, self.setup.rear, self.setup.reference} - {None}
        runs: dict[str, set[str]] = {}
        for each in self.others:
            theirs = {each.setup.face, each.setup.front, each.setup.rear, each.setup.reference}
            if mine & theirs:
                runs.setdefault(each.setup.instrument, set()).add(each.setup.direction)
        speaking = [f"the {name}{RUN_WORDS.get(frozenset(run), '')}" for name, run in runs.items()]
        return " and ".join(speaking) or "the survey so far"

    def _traverse(self, stations: Stations) -> Traverse:
        return Traverse(self.setup, {}, stations, Events.none(), "stepped", False)

    def _so_far(self, stations: Stations) -> Profile:
        """Heights so far for a level along a face; else the readings themselves, a line removed."""
        if self.setup.quantity == "slope" and not self.setup.is_on_carriage:
            own = adjusted([observe(self._traverse(stations), self.bed)], self.bed)
            return remove_line(own.profile(str(self.setup.face)), "ends")
        at, first = np.unique(stations.station_mm, return_index=True)
        profile = Profile("", at, stations.reading[first], np.diag(stations.standard_uncertainty[first] ** 2))
        return remove_line(profile, "ends")


def _one(station_mm: float, uncertainty: float) -> Stations:
    """One reading at a station, its value of no matter."""
    zero, one = np.zeros(1), np.ones(1, int)
    return Stations(np.array([station_mm]), zero, np.array([uncertainty]), zero, one, one, np.full(1, np.nan))


def _drawing(profile: Profile, columns: int, inch: bool) -> list[str]:
    """A row for each station: where, how high, and a bar left (low) or right (high) of the line."""
    if profile.station_mm.size < LEAST_TO_DRAW or columns < 40:
        return []
    half = max((columns - 36) // 2, 4)
    largest = max(float(np.abs(profile.height_um).max()), 1e-9)
    rows = ["so far, from the line through its ends:"]
    for station, height in list(zip(profile.station_mm, profile.height_um, strict=True))[-MOST_ROWS:]:
        length = round(half * abs(height) / largest)
        left = ("=" * length if height < 0 else "").rjust(half)
        right = "=" * length if height > 0 else ""
        rows.append(f"{station:6g}  {height_text(float(height), inch):>22}  {left}|{right}")
    return rows
