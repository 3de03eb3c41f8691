"""Looks over the shoulder of whoever takes readings: the profile so far, and what the next should be.

The command line hands this to hand entry and to the recorder's screen; both only know
that it can be asked for two things.
"""

from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path

import numpy as np

from acquire.model.companion import Prediction
from acquire.model.errors import WaylogError
from acquire.model.places import ROUNDING_MM
from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.model.units import height_text, length_text, slope_text
from analysis.adjust.combination import adjusted
from analysis.adjust.hypothetical import predict
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
            is_slope = self.setup.measures.is_angle and self.setup.foot_base_mm is None
            return _drawing(self._so_far(stations), columns, self.bed.is_inch, is_slope)
        except (WaylogError, np.linalg.LinAlgError):
            return []

    def predict(self, stations: Stations, station_mm: float) -> Prediction | None:
        """What the next reading should be; None where the survey cannot say."""
        if not self.observed or len(stations) < 1:
            return None
        try:
            bed_map = adjusted([*self.observed, observe(self._traverse(stations), self.bed)], self.bed)
            asked, index = self._with_next(stations, station_mm)
            found = predict(bed_map, asked)
        except (WaylogError, np.linalg.LinAlgError):
            return None
        if not found.is_known[index] or not np.isfinite(found.value[index]):
            return None
        noise = np.sqrt(bed_map.variance_factor * asked.variance[index])
        doubt = float(np.hypot(found.standard_uncertainty[index], noise))
        return Prediction(float(found.value[index]), doubt, self._who())

    def _with_next(self, stations: Stations, station_mm: float) -> tuple[Observations, int]:
        """The readings so far and one more, its value of no matter, and where it stands among them.

        Together, because a drift depends on how many were read before.
        """
        further = _with_one_more(stations, station_mm, self.setup.described.uncertainty)
        rising, order = _by_rising_station(further)
        return observe(self._traverse(rising), self.bed), int(np.flatnonzero(order == len(stations))[0])

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
        if self.setup.foot_base_mm is not None:
            own = adjusted([observe(self._traverse(stations), self.bed)], self.bed)
            return remove_line(own.profile(str(self.setup.face)), "ends")
        at, first = np.unique(stations.station_mm, return_index=True)
        profile = Profile("", at, stations.reading[first], np.diag(stations.standard_uncertainty[first] ** 2))
        return remove_line(profile, "ends")


def _with_one_more(before: Stations, station_mm: float, uncertainty: float) -> Stations:
    """The readings before, and behind them one more at a station, taken as like its nearest neighbour."""
    away_mm = np.abs(before.station_mm - station_mm)
    step_s = float(np.ptp(before.time_s)) / max(len(before) - 1, 1)
    return Stations(
        np.append(before.station_mm, station_mm),
        np.append(before.reading, before.reading[np.argmin(away_mm)]),
        np.append(before.standard_uncertainty, uncertainty),
        np.append(before.scatter, 0.0),
        np.append(before.samples, 1),
        np.append(before.repeat, 1 + np.count_nonzero(away_mm <= ROUNDING_MM)),
        np.append(before.time_s, np.max(before.time_s) + step_s),
    )


def _by_rising_station(stations: Stations) -> tuple[Stations, np.ndarray]:
    """The same by rising station, and where each was before."""
    order = np.argsort(stations.station_mm, kind="stable")
    columns = [getattr(stations, each.name)[order] for each in fields(stations) if each.name != "note"]
    return Stations(*columns), order


def _drawing(profile: Profile, columns: int, inch: bool, is_slope: bool = False) -> list[str]:
    """A row for each station: where, how high, and a bar left (low) or right (high) of the line."""
    if profile.station_mm.size < LEAST_TO_DRAW or columns < 40:
        return []
    half = max((columns - 38) // 2, 4)
    text = slope_text if is_slope else height_text
    largest = max(float(np.abs(profile.height_um).max()), 1e-9)
    rows = ["from the line through its ends:"]
    for station, height in list(zip(profile.station_mm, profile.height_um, strict=True))[-MOST_ROWS:]:
        length = round(half * abs(height) / largest)
        left = ("=" * length if height < 0 else "").rjust(half)
        right = "=" * length if height > 0 else ""
        rows.append(
            f"{length_text(float(station), inch):>8}  {text(float(height), inch):>22}  {left}|{right}"
        )
    return rows
