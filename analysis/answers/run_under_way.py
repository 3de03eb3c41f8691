"""A run under way, seen against the rest of its survey: its profile so far, and what the next should read."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from acquire.model.errors import WaylogError
from acquire.model.places import ROUNDING_MM
from acquire.model.traverse import Events, Setup, Stations, Traverse
from analysis.adjust.combination import adjusted
from analysis.adjust.hypothetical import predict
from analysis.answers.surveys import load
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.observe import Observations, observe, observe_all


@dataclass(frozen=True)
class Expected:
    """What a station should read, in the contract's unit and the instrument's sign."""

    reading: float
    standard_uncertainty: float
    """Of a new reading about it, the instrument's own included."""
    by: Mapping[str, frozenset[str]]
    """The instruments that read the same faces before, each with the directions of its runs."""


class RunUnderWay:
    """One traverse under way and the rest of its survey.

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

    def so_far(self, stations: Stations) -> Profile | None:
        """Heights so far for a level along a face; else the readings themselves; a line through the ends
        removed. None where they make no profile yet."""
        try:
            return remove_line(self._measured(stations), "ends")
        except (WaylogError, np.linalg.LinAlgError):
            return None

    def _measured(self, stations: Stations) -> Profile:
        if self.setup.foot_base_mm is not None:
            own = adjusted([observe(self._traverse(stations), self.bed)], self.bed)
            return own.profile(str(self.setup.face))
        at, first = np.unique(stations.station_mm, return_index=True)
        return Profile("", at, stations.reading[first], np.diag(stations.standard_uncertainty[first] ** 2))

    def expected(self, stations: Stations, station_mm: float) -> Expected | None:
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
        return Expected(float(found.value[index]), doubt, self._read_by())

    def _with_next(self, stations: Stations, station_mm: float) -> tuple[Observations, int]:
        """The readings so far and one more, its value of no matter, and where it stands among them.

        Together, because a drift depends on how many were read before.
        """
        further = _with_one_more(stations, station_mm, self.setup.described.uncertainty)
        rising, order = _by_rising_station(further)
        return observe(self._traverse(rising), self.bed), int(np.flatnonzero(order == len(stations))[0])

    def _read_by(self) -> dict[str, frozenset[str]]:
        """The instruments that read the same faces before, each with the directions of its runs."""
        mine = {self.setup.face, self.setup.front, self.setup.rear, self.setup.reference} - {None}
        runs: dict[str, frozenset[str]] = {}
        for each in self.others:
            theirs = {each.setup.face, each.setup.front, each.setup.rear, each.setup.reference}
            if mine & theirs:
                before = runs.get(each.setup.instrument, frozenset())
                runs[each.setup.instrument] = before | {each.setup.direction}
        return runs

    def _traverse(self, stations: Stations) -> Traverse:
        return Traverse(self.setup, {}, stations, Events.none(), "stepped", False)


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
    return stations.at(order), order
