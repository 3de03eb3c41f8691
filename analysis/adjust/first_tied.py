"""Which line of heights is tied first, where several have places that nothing tells.

One line at a time, and only when nothing else is left to tie: what a reading tells by way of another
line must not be smoothed over.  Which comes first matters: the places of the other are then often told
by readings, through the first, and keep no error of a way between nodes.  Every order is honest, their ±
differ by two to six times, and none must hang on how a survey is written down.  So each is tried, and
the one that leaves its own places and those that it tells of the others known best comes first: least
mean variance of these heights, each off the straight line through the first and last node of its line.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.sparse

from acquire.model.bed import Bed
from analysis.adjust.assembly import Assembly
from analysis.adjust.between_nodes import Roughness
from analysis.adjust.estimability import Line, lines_of
from analysis.adjust.kinds_of_way import LEAST_FOR_CUBIC
from analysis.adjust.nodes import Key, Layout
from analysis.adjust.solution import Solution
from analysis.linear.fact import Fact

AS_GOOD = 1e-6
"""Of a variance: orders that differ by less are as good as each other."""
Solve = Callable[[Mapping[Key, Roughness]], tuple[Assembly, Solution]]
"""The adjustment with further ways tied."""


@dataclass(frozen=True, eq=False)
class Open:
    """A line whose nodes are known and that has places between them which nothing tells."""

    key: Key
    way: Roughness
    known: int
    """Of its heights."""
    at_mm: tuple[float, ...]

    @property
    def tied(self) -> dict[Key, Roughness]:
        """The way with all its places tied."""
        return {self.key: replace(self.way, untold_mm=(*self.way.untold_mm, *self.at_mm))}


@dataclass(frozen=True)
class JudgedByFew(Fact):
    """A line of which some heights rest on how it runs between few others, and on no reading."""

    face: str
    kind: str
    judged_by: int
    """Places that tell how rough it is."""
    rest_on_it: int
    """Heights."""


def judged_by_few(ways: Mapping[Key, Roughness]) -> tuple[JudgedByFew, ...]:
    """Lines whose tied heights rest on fewer places than a cubic can be taken off.

    Examples
    --------
    >>> way = Roughness(np.arange(5.0) * 200, np.ones(6), untold_mm=(100.0, 300.0))
    >>> judged_by_few({("height", "under"): way})
    (JudgedByFew(face='under', kind='height', judged_by=5, rest_on_it=2),)
    """
    return tuple(
        JudgedByFew(owner, kind, len(way.node_mm), len(way.untold_mm))
        for (kind, owner), way in ways.items()
        if way.untold_mm and len(way.node_mm) < LEAST_FOR_CUBIC
    )


def first_tied(assembly: Assembly, lines: Mapping[Key, Line], bed: Bed, solve: Solve) -> dict[Key, Roughness]:
    """The one line to be tied now, if there is any.

    A station that the readings left out is no place between nodes, and stays unknown unless a carrier
    stands on it.
    """
    found = open_lines(assembly, lines)
    if len(found) < 2:
        return found[0].tied if found else {}
    variance = np.array([_mean_variance(found, each, *solve(each.tied)) for each in found])
    best = [one for one, v in zip(found, variance, strict=True) if v <= variance.min() * (1 + AS_GOOD)]
    return min(best, key=lambda one: (-one.known, *_where(bed, one.key))).tied


def _where(bed: Bed, key: Key) -> tuple[float, str, str]:
    """Where a line lies across the bed; its name only where that is not told."""
    face = bed.faces.get(key[1])
    across = face.across_mm if face is not None else None
    return (np.inf if across is None else across, *key)


def open_lines(assembly: Assembly, lines: Mapping[Key, Line]) -> list[Open]:
    """Lines whose nodes are known and that have places between them which nothing tells."""
    found = []
    for key, way in assembly.ways.items():
        line = lines[key]
        known = _in_line_with(line, way.node_mm)
        at_mm = tuple(
            float(mm)
            for index, mm in enumerate(line.station_mm)
            if index not in known
            and mm not in way.untold_mm
            and _is_within(assembly.layout, key, way, float(mm))
        )
        if at_mm and known:
            found.append(Open(key, way, len(known), at_mm))
    return found


def _mean_variance(found: Sequence[Open], tied: Open, assembly: Assembly, solution: Solution) -> float:
    """Of all places of open lines that are told once one of these is tied, µm²."""
    layout = assembly.layout
    lines = lines_of(layout, solution.null_space[: len(layout.nodes)])
    rows = []
    for each in found:
        line = lines[each.key]
        known = _in_line_with(line, each.way.node_mm)
        for at_mm in each.at_mm:
            if each is tied or int(np.searchsorted(line.station_mm, at_mm)) in known:
                rows.append(_off_line(layout, each, at_mm, assembly.unknowns))
    return float(np.mean(solution.variance(scipy.sparse.csr_matrix(np.array(rows)))))


def _off_line(layout: Layout, each: Open, at_mm: float, unknowns: int) -> np.ndarray:
    """A height off the straight line through the first and last node of its line, as a row."""
    first, last = float(each.way.node_mm[0]), float(each.way.node_mm[-1])
    share = (at_mm - first) / (last - first)
    row = np.zeros(unknowns)
    for mm, weight in ((at_mm, 1.0), (first, share - 1.0), (last, -share)):
        row[layout.column_at(each.key, mm)] += weight
    return row


def _in_line_with(line: Line, node_mm: np.ndarray) -> set[int]:
    """Places of known shape together with the nodes of a way; there may be a larger part without them."""
    nodes = set(np.searchsorted(line.station_mm, node_mm).tolist())
    return next((found for part in line.parts if nodes <= (found := set(part.tolist()))), set())


def _is_within(layout: Layout, key: Key, way: Roughness, at_mm: float) -> bool:
    is_needed = layout.column_at(key, at_mm) in layout.carried
    return way.reaches(at_mm) if is_needed else way.is_regular(at_mm)
