"""One map of the whole bed from every traverse, with what it is sure of and what it is not.

All traverses are observations of the same heights; one least-squares adjustment gives
them with their covariance. No line is taken off any face: wind between ways and taper
between faces are results. Only what the readings leave free is free, and is said.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.quantity import BY
from acquire.model.traverse import Traverse
from analysis.adjust.bed_map import BedMap
from analysis.adjust.carriers_as_points import shapes_missed
from analysis.adjust.first_tied import judged_by_few
from analysis.adjust.reliability import contested_facts
from analysis.adjust.run_slips import find_run_slips, runs_contradict
from analysis.adjust.tying import Tied, tie_together, variance_factor
from analysis.adjust.variance_components import (
    VarianceComponent,
    factors_of,
    told_components,
    variance_components,
)
from analysis.linear.fact import Fact
from analysis.observe import Observations, joined, observe_all, state_warnings

_WITH = {"level": "a level", "cross-level": "a level across", "indicator": "an indicator"}


@dataclass(frozen=True)
class ScattersMore(Fact):
    """All readings together scatter more than claimed, and every uncertainty is enlarged by that."""

    times: float


@dataclass(frozen=True)
class KeepsItsClaim(Fact):
    """An instrument of which the readings do not tell how much it scatters."""

    instrument: str


def combine(
    traverses: Sequence[Traverse],
    bed: Bed,
    *,
    by: str = "all",
    use_variance_components: bool = False,
) -> BedMap:
    """Combine traverses into one map of the bed.

    Parameters
    ----------
    traverses : sequence of Traverse
    bed : Bed
        The present bed: faces and stations as described now.
    by : str
        all | level (slope) | cross-level (roll) | indicator (offset and span): which readings take part.
    use_variance_components : bool
        Weigh each instrument by the noise that its readings show instead of what it claims.

    Raises
    ------
    AnalysisError
        Where no such traverse is there, or one cannot be used.
    """
    if by not in BY:
        raise ValueError(f"by = {by!r}: needed one of {', '.join(BY)}")
    chosen = [traverse for traverse in traverses if traverse.setup.measures.is_by(by)]
    if not chosen:
        kind = "" if by == "all" else f" with {_WITH[by]}"
        raise AnalysisError(bed.name, f"found no traverse{kind}", "one at least", "record or import one")
    bed_map = adjusted(observe_all(chosen, bed), bed, use_variance_components)
    slips = find_run_slips(bed_map.tied, bed_map.as_observed, bed)
    contested: tuple[Fact, ...] = ()
    if not slips and bed_map.contests:
        contested = tuple(contested_facts(bed_map.contests, bed_map.residuals))
        bed_map = _as_contested(bed_map, use_variance_components)
    contradict = () if slips else runs_contradict(bed_map.tied)
    warnings = (*slips, *contradict, *contested, *bed_map.warnings, *state_warnings(chosen))
    return replace(bed_map, slips=slips, warnings=warnings)


def _as_contested(bed_map: BedMap, use_variance_components: bool) -> BedMap:
    """The map with each contested reading as uncertain as what it would be off by, were it wrong."""
    error = np.zeros(len(bed_map.residuals))
    for contest in bed_map.contests:
        for index, size in contest.error.items():
            error[index] = max(error[index], abs(size))
    parts = np.split(error, np.cumsum([len(each) for each in bed_map.observations])[:-1])
    widened = [
        each.less_sure(part) if np.any(part) else each
        for each, part in zip(bed_map.as_observed, parts, strict=True)
    ]
    return replace(adjusted(widened, bed_map.bed, use_variance_components), before=bed_map)


def adjusted(observations: Sequence[Observations], bed: Bed, use_variance_components: bool = False) -> BedMap:
    """The map from observations already made of the traverses."""
    observations = tuple(joined(observations, bed))
    tied = tie_together(observations, bed)
    components: tuple[VarianceComponent, ...] = ()
    doubtful: tuple[str, ...] = ()
    if use_variance_components:
        components, doubtful = told_components(tied.observations, bed, tied.assembly.ways)
        tied = tie_together(observations, bed, variance_factors=factors_of(components))
    noise = tied.variance_factor
    if noise > 1.0 and any(each.bow_sd_um > 0.0 for each in tied.assembly.returns):
        # noise makes bows between runs: by what is claimed each would count as a bed that bent
        tied = tie_together(observations, bed, variance_factors=factors_of(components), noise=noise)
    return replace(_mapped(bed, observations, tied, components, doubtful), noise=noise)


def noise_of(bed_map: BedMap) -> tuple[VarianceComponent, ...]:
    """How much each instrument scatters of what it claims, by the map that its readings made."""
    made = bed_map.before or bed_map
    return variance_components(made.observations, made.bed, made.assembly.ways)


def _mapped(
    bed: Bed,
    observations: Sequence[Observations],
    tied: Tied,
    components: tuple[VarianceComponent, ...],
    doubtful: Sequence[str] = (),
) -> BedMap:
    """The map of an adjustment, its uncertainties enlarged where the readings scatter too much."""
    bed_map = BedMap(bed, tuple(observations), tied.assembly, tied.solution, 1.0, (), components, tied.points)
    factor = variance_factor(bed_map.redundancy, bed_map.chi_square)
    scatter = (ScattersMore(factor**0.5),) if factor > 1 else ()
    kept = (KeepsItsClaim(name) for name in doubtful)
    few = judged_by_few(tied.assembly.ways)
    warnings = (*tied.assembly.warnings, *shapes_missed(tied.points), *few, *scatter, *kept)
    return replace(bed_map, variance_factor=factor, warnings=warnings)
