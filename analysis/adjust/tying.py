"""Every place that was read gets a height: which lines of heights can be interpolated, and which cannot.

The readings are adjusted first with each place off a node as a height that nothing ties.
Where that tells the shape of a line, its nodes say how the way runs between them
(`between_nodes`), and its other places are tied to them, each with its own error; which may
make further lines known, until no more are.  Only then are nodes tied that still nothing
tells (`first_tied`), as where a level's feet miss the stations that others read.

What is left are carriers on ways whose shape nothing tells (`carriers_as_points`).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.places import PLACED_MM
from analysis.adjust.assembly import Assembly, assemble, tied_places
from analysis.adjust.between_nodes import Roughness, well_apart
from analysis.adjust.carriers_as_points import PointCarrier, point_by_point, points_of
from analysis.adjust.estimability import Line, lines_of
from analysis.adjust.first_tied import first_tied
from analysis.adjust.judge import Judge, judged_by_heights
from analysis.adjust.nodes import FOOT_MM, ON_THE_BED, Key, Layout
from analysis.adjust.solution import Solution, solve
from analysis.linear.bordered import stacked
from analysis.linear.profile import nearest_place
from analysis.observe import Observations, Place

NOISE_DOUBTED_BELOW = 0.01
LEAST_TO_JUDGE = 5


@dataclass(frozen=True, eq=False)
class Tied:
    """All readings, ready for one adjustment, and the adjustment itself."""

    observations: tuple[Observations, ...]
    assembly: Assembly
    solution: Solution
    points: tuple[PointCarrier, ...]

    @property
    def variance_factor(self) -> float:
        """By what the readings scatter more than claimed, squared; 1 where that is not beyond doubt."""
        redundancy, chi_square = fit_of(self.assembly, self.solution)
        return variance_factor(redundancy, chi_square)


def fit_of(assembly: Assembly, solution: Solution) -> tuple[float, float]:
    """Redundancy of the readings and the sum of their squared residuals over claimed variances.

    Heights off the nodes are tied by what the nodes show, which is no reading and must
    neither hide noise nor look like it: their rows' part of the redundancy is left out.
    """
    ties = solution.blocks[assembly.readings :]
    redundancy: float = solution.redundancy  # a count where nothing is tied
    if ties:
        rows = stacked([block.whitened for block in ties])
        redundancy -= float(np.sum(1.0 - solution.fit.between(rows)))
    return redundancy, float(sum(left @ left for left in solution.leftover[: assembly.readings]))


def variance_factor(redundancy: float, chi_square: float) -> float:
    """What claimed variances are multiplied by: more than 1 only where chance would hardly do it."""
    if redundancy < LEAST_TO_JUDGE or chdtrc(redundancy, chi_square) >= NOISE_DOUBTED_BELOW:
        return 1.0
    return chi_square / redundancy


def tie_together(
    observations: Sequence[Observations],
    bed: Bed,
    *,
    variance_factors: Mapping[str, float] | None = None,
    judge: Judge = judged_by_heights,
    extra: Sequence[Place] = (),
    imagined: frozenset[int] = frozenset(),
    noise: float = 1.0,
) -> Tied:
    """One adjustment of all readings in which each place is a height of its own.

    Parameters
    ----------
    observations : sequence of Observations
    bed : Bed
    variance_factors : mapping, optional
        Multiply the variance of an instrument's readings.
    judge : callable
        Says how rough a line of known heights is.
    extra : sequence of Place
        Further heights that are asked for.
    imagined : frozenset of int
        Traverses whose readings mean nothing: `judge` alone says how rough what they ride is.
    noise : float
        By what all variances are enlarged afterwards.
    """
    ways: dict[Key, Roughness] = {}
    asked: dict[Key, int] = {}
    further = frozenset((place.kind, place.owner) for place in extra)

    def solved(
        readings: Sequence[Observations], more: Mapping[Key, Roughness] | None = None
    ) -> tuple[Assembly, Solution]:
        assembly = assemble(
            readings,
            bed,
            variance_factors=variance_factors,
            ways=ways | dict(more or {}),
            extra=extra,
            imagined=imagined,
            noise=noise,
        )
        return assembly, solve(assembly.blocks, assembly.unknowns, assembly.layout.heights)

    while True:
        assembly, solution = solved(observations)
        lines = lines_of(assembly.layout, solution.null_space[: len(assembly.layout.nodes)])
        new = _newly_judged(assembly, solution, lines, asked, further, judge, bed.joints_mm) or first_tied(
            assembly, lines, bed, lambda more: solved(observations, more)
        )
        if not new:
            break
        ways |= new
    told = _told(assembly, lines)
    kept = tuple(
        point_by_point(
            each,
            assembly.layout,
            told,
            judge if each.traverse in imagined else judged_by_heights,
            bed.joints_mm,
        )
        for each in observations
    )
    if any(one is not other for one, other in zip(kept, observations, strict=True)):
        assembly, solution = solved(kept)
    return Tied(kept, assembly, solution, tuple(points_of(kept, observations)))


def _newly_judged(
    assembly: Assembly,
    solution: Solution,
    lines: Mapping[Key, Line],
    asked: dict[Key, int],
    further: frozenset[Key],
    judge: Judge,
    joints_mm: Sequence[float],
) -> dict[Key, Roughness]:
    """Lines that are known now, were not before, and have places that must be tied to them."""
    found = {}
    for key, line in lines.items():
        known = line.parts[0] if line.parts else np.zeros(0, int)
        if key in assembly.ways or asked.get(key, 0) >= len(known):
            continue
        asked[key] = len(known)
        chosen = known[well_apart(line.station_mm[known], assembly.layout.lines[key].is_station[known])]
        is_alone = key not in further and _is_levels_alone(assembly.observations, key)
        if is_alone or not _has_more(assembly.layout, key, chosen):
            continue
        columns = assembly.layout.first[key] + chosen
        picked = scipy.sparse.identity(assembly.unknowns, format="csr")[columns]
        way = judge(
            key,
            line.station_mm[chosen],
            solution.estimate[columns],
            solution.covariance(picked),
            joints_mm if key[0] in ON_THE_BED else (),
        )
        if way is not None:
            found[key] = way
    return found


def _has_more(layout: Layout, key: Key, chosen: np.ndarray) -> bool:
    """Whether a line has places besides its chosen nodes."""
    at_mm = layout.columns[key][0]
    node_mm = layout.lines[key].station_mm[chosen]
    if not len(node_mm):
        return len(at_mm) > 0
    return bool(np.any(np.abs(at_mm - node_mm[nearest_place(node_mm, at_mm)]) > PLACED_MM))


def _is_levels_alone(observations: Sequence[Observations], key: Key) -> bool:
    """Whether nothing but feet one base apart stand on a line.

    Its heights are sums of steps then, and chains half a base apart stay chains of their own.
    """
    bases: list[float] = []
    for each in observations:
        for form in each.forms:
            mine = [place for place in form if (place.kind, place.owner) == key]
            if any(place.role != "foot" for place in mine):
                return False
            if len(mine) == 2:
                bases.append(abs(mine[1].station_mm - mine[0].station_mm))
    return not bases or max(bases) - min(bases) <= FOOT_MM / 2


def _told(assembly: Assembly, lines: Mapping[Key, Line]) -> frozenset[int]:
    """Columns of heights whose line is known there."""
    layout = assembly.layout
    told = [layout.first[key] + line.parts[0] for key, line in lines.items() if line.parts]
    told += [
        np.array([column for _, column in tied_places(layout, key, way)], int)
        for key, way in assembly.ways.items()
    ]
    return frozenset(np.concatenate([np.zeros(0, int), *told]).tolist())
