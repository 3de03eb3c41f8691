"""The stations of a traverse under way: which there are, which comes next, which were taken."""

from dataclasses import dataclass, replace

import numpy as np

from acquire.model.places import is_same_place
from acquire.model.traverse import Row, Setup, Stations
from acquire.reduce import places_in_order, places_meant
from acquire.reduce.tagging.positions import snap_reach_mm, snapped


@dataclass(frozen=True)
class Taken:
    """One station as the screen took it."""

    station_mm: float
    reading: float
    uncertainty: float
    time_s: float
    repeat: int = 1
    doubt: str | None = None


class Itinerary:
    """The places to go to in turn, and the stations taken."""

    def __init__(self, setup: Setup):
        self.places = [float(x) for x in places_in_order(setup)]
        self.turn = 0
        """Which place comes next."""
        self.taken: list[Taken] = []
        self._has_scale = setup.placed_by.scale is not None
        self._uncertainty = setup.described.uncertainty
        self._meant = places_meant(setup)
        self.reach_mm = snap_reach_mm(self._meant)
        """So near counts as standing at a station."""

    @property
    def next_mm(self) -> float | None:
        """The station to go to: the next in turn; with a scale, then whatever was passed over."""
        turn = self._next_turn()
        return None if turn is None else self.places[turn]

    @property
    def is_missed(self) -> bool:
        """Whether the next station lies behind: it was passed without being taken."""
        return self._has_scale and (self._next_turn() or 0) < self.turn

    def go_back(self) -> None:
        """The station before comes next (again)."""
        self.turn = max(0, self.turn - 1)

    def pass_over(self) -> None:
        """Leave the next station out."""
        self.turn = min(len(self.places), self.turn + 1)

    def turn_to(self, place_mm: float) -> None:
        """That place comes next; as before where it is none of the stations."""
        self.turn = self._index(place_mm, self.turn)

    def turn_beyond(self, place_mm: float) -> None:
        """The place after that one comes next."""
        self.turn = self._index(place_mm, self.turn - 1) + 1

    def is_meant(self, station_mm: float) -> bool:
        """Whether it is one of the stations, to the last digit."""
        return bool(np.isin(station_mm, self._meant))

    def nearest_mm(self, position_mm: float) -> float:
        """The station that a position was meant for; itself where none is within reach."""
        return float(snapped(np.array([position_mm]), self._meant)[0])

    def take(self, station_mm: float, reading: float, now_s: float) -> None:
        """One more station, a repeat where it was taken before."""
        repeat = 1 + sum(bool(is_same_place(t.station_mm, station_mm)) for t in self.taken)
        self.taken.append(Taken(station_mm, reading, self._uncertainty, now_s, repeat))
        beyond = self._index(station_mm, -1) + 1
        if beyond:
            self.turn = max(self.turn, beyond) if self._has_scale else beyond

    def take_back(self, place_mm: float) -> None:
        """The station taken last was none, if it was that one."""
        if self.taken and is_same_place(self.taken[-1].station_mm, place_mm):
            self.taken.pop()

    def question(self, index: int, doubt: str) -> None:
        """Say of a station taken that it cannot be; it is kept all the same."""
        self.taken[index] = replace(self.taken[index], doubt=doubt)

    def stations(self, count: int | None = None) -> Stations:
        """The stations taken so far (the first `count` of them), as whoever draws the profile wants them."""
        rows = (Row(t.station_mm, t.reading, time_s=t.time_s, repeat=t.repeat) for t in self.taken[:count])
        return Stations.of(rows, self._uncertainty)

    def _index(self, place_mm: float, otherwise: int) -> int:
        return next((k for k, place in enumerate(self.places) if is_same_place(place, place_mm)), otherwise)

    def _next_turn(self) -> int | None:
        ahead, behind = range(self.turn, len(self.places)), range(self.turn)
        if not self._has_scale:
            return ahead[0] if ahead else None
        had = {self._index(taken.station_mm, -1) for taken in self.taken}
        return next((k for k in (*ahead, *behind) if k not in had), None)
