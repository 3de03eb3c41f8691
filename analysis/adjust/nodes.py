"""Which heights are unknowns, and how a place between them depends on them.

Nodes are the bed's stations that a reading touches and the feet of levels; a place
near a node is that node, a place between nodes is read off a cubic through the four
around it, and a place with no nodes around becomes one itself.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from acquire.model.bed import Bed
from analysis.observe import Observations, Place
from analysis.observe.interpolating import SAME_MM, interpolation

FOOT_MM = 2.0
"""Feet of a level closer than this stand on one place: both its feet are off by the same, so only the
bend of the way over the distance is lost, some hundredths of a micrometre."""
NEAR_MM = 3.0
"""A reading this near to a station makes that station a node."""
WIDEST_GAP = 1.5
"""Readings are interpolated across gaps up to this many pitches."""


class Node(NamedTuple):
    """One unknown height."""

    kind: str
    owner: str
    station_mm: float


@dataclass(frozen=True, eq=False)
class _Line:
    """The nodes of one face (or of its sideways deviation, or of one edge) by rising station."""

    station_mm: np.ndarray
    is_station: np.ndarray
    """Which of them are stations of the bed."""


@dataclass(frozen=True, eq=False)
class Layout:
    """All nodes in order, and the way from a place to its nodes."""

    nodes: tuple[Node, ...]
    lines: Mapping[tuple[str, str], _Line]
    first: Mapping[tuple[str, str], int]
    """Index of the first node of each line."""
    widest_mm: float
    """Gap between nodes across which a height that was read may be interpolated."""
    beyond: tuple[str, ...] = field(default=())
    """Faces that a carrier overhung at the bed's end."""

    def weights(self, place: Place) -> dict[int, float]:
        """Indices of the nodes that a place depends on, and how much; empty where it has none near."""
        key = (place.kind, place.owner)
        if key not in self.lines:
            return {}
        line = self.lines[key]
        if place.role == "touched" and not _reaches(line.station_mm, place.station_mm, self.widest_mm):
            return {}
        tolerance = FOOT_MM if place.role == "foot" else SAME_MM
        local = interpolation(line.station_mm, place.station_mm, tolerance, line.is_station)
        return {self.first[key] + index: weight for index, weight in local.items()}

    def holds(self, place: Place) -> bool:
        """Whether the height at a place is one of the nodes, or read off nodes on both sides of it.

        A foot that is set down where no node is stands on metal that nothing has measured:
        the curve through its neighbours, carried on beyond the last of them, is a guess.
        """
        key = (place.kind, place.owner)
        if key not in self.lines:
            return False
        node_mm = self.lines[key].station_mm
        if place.role == "foot":
            return float(np.min(np.abs(node_mm - place.station_mm))) <= FOOT_MM
        return _reaches(node_mm, place.station_mm, self.widest_mm)

    def indices(self, kind: str, owner: str) -> np.ndarray:
        """Indices of one line's nodes."""
        if (kind, owner) not in self.lines:
            return np.zeros(0, int)
        first = self.first[(kind, owner)]
        return np.arange(first, first + len(self.lines[(kind, owner)].station_mm))


def lay_out(observations: Sequence[Observations], bed: Bed, extra: Iterable[Place] = ()) -> Layout:
    """The nodes that a set of observations needs; places in `extra` count as touched."""
    places = [place for each in observations for form in each.forms for place in form]
    lines: dict[tuple[str, str], _Line] = {}
    beyond: list[str] = []
    station_mm = np.array(bed.station_mm)
    for key in sorted({(place.kind, place.owner) for place in (*places, *extra)}, key=_rank(bed)):
        mine = {place for place in (*places, *extra) if (place.kind, place.owner) == key}
        lines[key] = _line(mine, station_mm)
        if any(not -SAME_MM <= place.station_mm <= bed.length_mm + SAME_MM for place in mine):
            beyond.append(key[1])
    first, count = {}, 0
    for key, line in lines.items():
        first[key] = count
        count += len(line.station_mm)
    nodes = tuple(Node(*key, float(mm)) for key, line in lines.items() for mm in line.station_mm)
    return Layout(nodes, lines, first, _widest_mm(station_mm), tuple(dict.fromkeys(beyond)))


def _widest_mm(station_mm: np.ndarray) -> float:
    return WIDEST_GAP * float(np.median(np.diff(station_mm)))


def _reaches(node_mm: np.ndarray, at_mm: float, widest_mm: float) -> bool:
    """Whether nodes lie near enough about a place to say its height."""
    return float(np.min(np.abs(node_mm - at_mm))) <= NEAR_MM or _is_between(node_mm, at_mm, widest_mm)


def _rank(bed: Bed) -> Callable[[tuple[str, str]], tuple[int, int, str]]:
    order = {name: index for index, name in enumerate(bed.faces)}
    kinds = {"height": 0, "side": 1, "edge": 2}
    return lambda key: (kinds[key[0]], order.get(key[1], len(order)), key[1])


def _line(places: set[Place], station_mm: np.ndarray) -> _Line:
    nodes: list[float] = []
    by_role = {
        role: sorted(place.station_mm for place in places if place.role == role)
        for role in ("foot", "touched", "carried")
    }
    for at in by_role["foot"]:
        _add(nodes, at, station_mm, FOOT_MM)
    left = [at for at in by_role["touched"] if not _add_station(nodes, at, station_mm)]
    gap_mm = _widest_mm(station_mm)
    anchors = np.array(sorted(nodes))
    for at in left:
        if not _is_between(anchors, at, gap_mm):
            _add(nodes, at, station_mm, SAME_MM)
    anchors = np.array(sorted(nodes))
    for at in by_role["carried"]:
        if len(anchors) < 2 or not anchors[0] - SAME_MM <= at <= anchors[-1] + SAME_MM:
            _add_around(nodes, at, station_mm)
    rising = np.array(sorted(nodes))
    near = np.min(np.abs(rising[:, None] - station_mm[None, :]), axis=1) < 1e-6
    return _Line(rising, near)


def _nearest(values: np.ndarray, at: float) -> float:
    return float(values[np.argmin(np.abs(values - at))])


def _add(nodes: list[float], at: float, station_mm: np.ndarray, same_mm: float) -> None:
    station = _nearest(station_mm, at)
    place = station if abs(station - at) <= same_mm else at
    if not nodes or abs(_nearest(np.array(nodes), place) - place) > (1e-6 if place == station else same_mm):
        nodes.append(place)


def _add_station(nodes: list[float], at: float, station_mm: np.ndarray) -> bool:
    station = _nearest(station_mm, at)
    if abs(station - at) > NEAR_MM:
        return False
    if station not in nodes:
        nodes.append(station)
    return True


def _add_around(nodes: list[float], at: float, station_mm: np.ndarray) -> None:
    for index in interpolation(station_mm, min(max(at, station_mm[0]), station_mm[-1])):
        if station_mm[index] not in nodes:
            nodes.append(float(station_mm[index]))


def _is_between(anchors: np.ndarray, at: float, gap_mm: float) -> bool:
    if len(anchors) < 2 or not anchors[0] <= at <= anchors[-1]:
        return False
    right = int(np.searchsorted(anchors, at))
    return right == 0 or float(anchors[right] - anchors[right - 1]) <= gap_mm
