"""Which heights are unknowns: every place that a reading depends on.

Nodes are what a map shows: the bed's stations that were read, other places that were
touched, and the feet of stepped levels.  A place off a node, such as the foot of a carrier
between two stations, is a further unknown height.  Where the nodes of its line are known
well enough to judge how the way runs between them (`between_nodes`), every such place is an
unknown by itself; where they are not, a place close to a node is taken as that node.
"""

import bisect
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np

from acquire.model.bed import Bed
from acquire.model.places import PLACED_MM, ROUNDING_MM
from analysis.adjust.between_nodes import Roughness
from analysis.observe import Observations, Place

FOOT_MM = 2.0
"""Feet of a level closer than this stand on one node: its slope is taken as that between the nodes, so only
the bend of the way over the distance is lost, which is counted (`moved_feet`)."""
NEAR_MM = 3.0
"""A reading this near to a station makes that station a node."""

Key = tuple[str, str]
"""Kind and owner of a line of heights."""
ON_THE_BED = ("height", "side")
"""Lines that lie on bed pieces; edges, wires and optical lines run over a joint."""


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
    """All nodes in order, the unknown heights besides them, and the unknown of each place."""

    nodes: tuple[Node, ...]
    lines: Mapping[Key, _Line]
    first: Mapping[Key, int]
    """Index of the first node of each line."""
    between: tuple[Node, ...]
    """Unknown heights off the nodes; their columns follow those of the nodes."""
    columns: Mapping[Key, tuple[np.ndarray, np.ndarray]]
    """Places of each line, rising, and the column of each."""
    carried: frozenset[int] = frozenset()
    """Columns of heights that a carrier stands on, or that were asked for besides the readings."""
    beyond: tuple[str, ...] = field(default=())
    """Faces that a carrier overhung at the bed's end."""

    @property
    def heights(self) -> int:
        """How many columns are heights."""
        return len(self.nodes) + len(self.between)

    def column(self, place: Place) -> int | None:
        """Index of a place's unknown; None where it has none."""
        at_mm, columns = self._rising.get((place.kind, place.owner), ([], []))
        right = bisect.bisect_left(at_mm, place.station_mm)
        beside = [k for k in (right - 1, right) if 0 <= k < len(at_mm)]
        nearest = min(beside, key=lambda k: abs(at_mm[k] - place.station_mm), default=None)
        if nearest is None or abs(at_mm[nearest] - place.station_mm) > 2 * PLACED_MM:
            return None
        return columns[nearest]

    @cached_property
    def _rising(self) -> dict[Key, tuple[list[float], list[int]]]:
        """`columns` as plain numbers: places are looked up one by one, thousands of times."""
        return {key: (at_mm.tolist(), own.tolist()) for key, (at_mm, own) in self.columns.items()}

    def spans(self, place: Place) -> bool:
        """Whether a place lies between the nodes of its line, or as good as on the first or last."""
        line = self.lines.get((place.kind, place.owner))
        if line is None:
            return False
        first, last = line.station_mm[[0, -1]]
        return bool(first - FOOT_MM <= place.station_mm <= last + FOOT_MM)

    def holds(self, place: Place) -> bool:
        """Whether the height at a place is an unknown of this layout.

        A foot that is set down beyond the last node stands on metal that nothing has measured.
        """
        return self.column(place) is not None

    def column_at(self, key: Key, station_mm: float) -> int:
        """Column of the height at a place that is known to have one."""
        column = self.column(Place(*key, station_mm, "touched"))
        assert column is not None
        return column

    def unknowns_of(self, key: Key) -> list[tuple[float, int]]:
        """Where the unknown heights of a line are, and their columns."""
        if key not in self.columns:
            return []
        return [(self.unknown(column).station_mm, column) for column in np.unique(self.columns[key][1])]

    def indices(self, kind: str, owner: str) -> np.ndarray:
        """Indices of one line's nodes."""
        if (kind, owner) not in self.lines:
            return np.zeros(0, int)
        first = self.first[(kind, owner)]
        return np.arange(first, first + len(self.lines[(kind, owner)].station_mm))

    def unknown(self, column: int) -> Node:
        """What height a column is."""
        return self.nodes[column] if column < len(self.nodes) else self.between[column - len(self.nodes)]


def lay_out(
    observations: Sequence[Observations],
    bed: Bed,
    extra: Iterable[Place] = (),
    ways: Mapping[Key, Roughness] | None = None,
) -> Layout:
    """The unknown heights that a set of observations needs, and those at the places in `extra`.

    Parameters
    ----------
    ways : mapping, optional
        Lines whose places off the nodes are to be unknowns of their own.
    """
    roles: dict[Key, dict[str, set[float]]] = {}
    for place in (*_places(observations), *(each._replace(role="carried") for each in extra)):
        of_line = roles.setdefault((place.kind, place.owner), {})
        of_line.setdefault(place.role, set()).add(place.station_mm)
    station_mm = np.array(bed.station_mm)
    parted = {
        key: _parted(roles[key], station_mm, key in (ways or {})) for key in sorted(roles, key=_rank(bed))
    }
    lines = {key: _line(nodes, station_mm) for key, (nodes, _, _) in parted.items() if nodes}
    nodes = tuple(Node(*key, float(mm)) for key, line in lines.items() for mm in line.station_mm)
    first: dict[Key, int] = {}
    columns: dict[Key, tuple[np.ndarray, np.ndarray]] = {}
    between: list[Node] = []
    start = 0
    for key, (node_mm, off_mm, taken_as) in parted.items():
        own = {mm: start + k for k, mm in enumerate(node_mm)}
        own |= {mm: len(nodes) + len(between) + k for k, mm in enumerate(off_mm)}
        first[key], start = start, start + len(node_mm)
        between += [Node(*key, mm) for mm in off_mm]
        own |= {at: own[mm] for at, mm in taken_as.items()}
        rising = sorted(own)
        columns[key] = np.array(rising), np.array([own[mm] for mm in rising])
    beyond = [
        key[1]
        for key, of_line in roles.items()
        if any(not -0.5 <= at <= bed.length_mm + 0.5 for each in of_line.values() for at in each)
    ]
    carried = frozenset(
        int(column)
        for key, (at_mm, own) in columns.items()
        for at, column in zip(at_mm.tolist(), own, strict=True)
        if at in roles[key].get("carried", ())
    )
    return Layout(nodes, lines, first, tuple(between), columns, carried, tuple(dict.fromkeys(beyond)))


def _places(observations: Sequence[Observations]) -> Iterator[Place]:
    return (place for each in observations for form in each.forms for place in form)


def _rank(bed: Bed) -> Callable[[Key], tuple[int, int, str]]:
    order = {name: index for index, name in enumerate(bed.faces)}
    kinds = {"height": 0, "side": 1, "edge": 2}
    return lambda key: (kinds[key[0]], order.get(key[1], len(order)), key[1])


def _line(nodes: Sequence[float], station_mm: np.ndarray) -> _Line:
    rising = np.array(sorted(nodes))
    right = np.searchsorted(station_mm, rising).clip(1, len(station_mm) - 1) if len(station_mm) > 1 else 0
    beside = station_mm[np.array([right - 1, right]).clip(0)]
    return _Line(rising, np.min(np.abs(rising - beside), axis=0) < 1e-6)


def _parted(
    roles: Mapping[str, set[float]], station_mm: np.ndarray, is_exact: bool
) -> tuple[list[float], list[float], dict[float, float]]:
    """Nodes of a line, its other unknown heights, and at which of both each further place is taken."""
    taken = _feet(sorted(roles.get("foot", ())), station_mm)
    nodes = sorted(set(taken.values()))
    for at in sorted(roles.get("touched", ())):
        taken[at] = _touched(at, nodes, station_mm)
        if np.isnan(_within(nodes, taken[at], 0.0)):
            bisect.insort(nodes, taken[at])
    off: list[float] = []
    for at in sorted(roles.get("carried", ())):
        taken[at] = _within(nodes, at, PLACED_MM if is_exact else NEAR_MM)
    places = sorted(taken)
    for at in places:
        if abs(taken[at] - at) <= PLACED_MM:
            continue
        near = None if np.isnan(taken[at]) else taken[at]
        if is_exact or near is None:
            same = PLACED_MM if is_exact else NEAR_MM
            reach_mm = same if near is None else PLACED_MM
            found = _nearer(_within(nodes, at, reach_mm), _within(off[-1:], at, reach_mm), at)
            if np.isnan(found):
                off.append(at)
                found = at
            taken[at] = found
    return nodes, off, {at: mm for at, mm in taken.items() if at != mm}


def _feet(places: Sequence[float], station_mm: np.ndarray) -> dict[float, float]:
    """The node of each foot: feet that all but coincide are one, at the station where there is one."""
    groups: list[list[float]] = []
    for at in places:
        if groups and at - groups[-1][-1] <= FOOT_MM:
            groups[-1].append(at)
        else:
            groups.append([at])
    # feet that meet exactly stay where they are, as a sum by hand has them, but where a station was
    # written with other digits; positions read off a scale scatter, and mean the station
    scatters = any(group[-1] - group[0] > PLACED_MM for group in groups)
    reach_mm = FOOT_MM if scatters else ROUNDING_MM
    return {at: _middle(group, station_mm, reach_mm) for group in groups for at in group}


def _middle(group: Sequence[float], station_mm: np.ndarray, reach_mm: float) -> float:
    middle = (group[0] + group[-1]) / 2
    station = _within(station_mm, middle, np.inf)
    return station if abs(station - middle) <= reach_mm else middle


def _touched(at: float, nodes: Sequence[float], station_mm: np.ndarray) -> float:
    same = _within(nodes, at, PLACED_MM)
    if not np.isnan(same):
        return same
    station = _within(station_mm, at, np.inf)
    if abs(station - at) <= NEAR_MM:
        return station
    near = _within(nodes, at, NEAR_MM)
    return at if np.isnan(near) else near


def _within(rising: Sequence[float] | np.ndarray, at: float, reach_mm: float) -> float:
    """The nearest of some places in rising order; NaN where none is within reach."""
    right = bisect.bisect_left(rising, at)
    beside = [float(rising[k]) for k in (right - 1, right) if 0 <= k < len(rising)]
    nearest = min(beside, key=lambda mm: abs(mm - at), default=math.inf)
    return nearest if abs(nearest - at) <= reach_mm else math.nan


def _nearer(one: float, other: float, at: float) -> float:
    """The nearer of two places, either of which may be NaN."""
    if math.isnan(one) or math.isnan(other):
        return other if math.isnan(one) else one
    return min(one, other, key=lambda mm: abs(mm - at))
