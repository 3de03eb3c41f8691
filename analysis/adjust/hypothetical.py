"""Readings that need not have been taken: what a map makes of them, and what they would make of the map."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.adjust.bed_map import BedMap
from analysis.adjust.between_nodes import LEAST_NODES, Roughness, judged
from analysis.adjust.further import rows_for
from analysis.adjust.judge import Judge
from analysis.adjust.nodes import Key
from analysis.adjust.tying import tie_together
from analysis.adjust.variance_components import factors_of
from analysis.observe import Observations, joined


@dataclass(frozen=True, eq=False)
class Prediction:
    """What the map makes of readings; NaN where it cannot say."""

    value: np.ndarray
    standard_uncertainty: np.ndarray
    """Of the prediction alone, the new reading's own uncertainty not included."""
    is_known: np.ndarray


def predict(bed_map: BedMap, observations: Observations) -> Prediction:
    """What a map makes of readings that need not have been taken.

    Where the readings would have a zero of their own that the map does not know, nothing
    can be said of one reading by itself.
    """
    bed_map = bed_map.reaching(place for form in observations.forms for place in form)
    rows, expressible = rows_for(bed_map.assembly, observations)
    known = expressible & bed_map.solution.is_known(rows)
    value = rows @ bed_map.solution.estimate + observations.correction
    variance = bed_map.solution.variance(rows)
    spread = np.sqrt(np.clip(bed_map.variance_factor * variance, 0.0, None))
    return Prediction(np.where(known, value, np.nan), np.where(known, spread, np.nan), known)


def covariance_with(bed_map: BedMap, hypothetical: Observations | Sequence[Observations]) -> BedMap:
    """The map as it would be with further traverses: its covariance and what it could tell.

    Only covariances, words and redundancy of the result mean anything.  Neither heights nor
    how rough a way is are taken from the further traverses; but an error of scale acts on what
    is read, so their readings are to be what the map expects (`expected_readings`).  A block
    of drawn runs that is already in the map is replaced by one of the same number.
    """
    further = (hypothetical,) if isinstance(hypothetical, Observations) else tuple(hypothetical)
    redone = {each.traverse for each in further}
    known = {number for each in bed_map.as_observed for number in (each.traverse, *each.with_traverses)}
    new = {number for each in further for number in (each.traverse, *each.with_traverses)} - known
    observed = (*(each for each in bed_map.as_observed if each.traverse not in redone), *further)
    tied = tie_together(
        joined(observed, bed_map.bed),
        bed_map.bed,
        variance_factors=factors_of(bed_map.variance_components),
        judge=_as_rough_as_known(bed_map.roughness),
        imagined=frozenset(new),
        noise=bed_map.noise,
    )
    return BedMap(
        bed_map.bed,
        observed,
        tied.assembly,
        tied.solution,
        bed_map.variance_factor,
        tied.assembly.warnings,
        bed_map.variance_components,
        tied.points,
        noise=bed_map.noise,
    )


def _as_rough_as_known(ways: Mapping[Key, Roughness]) -> Judge:
    """Lines that have not been read yet are taken to be as rough as the roughest that has."""
    roughest = max(ways.values(), key=lambda way: float(way.variance_um2.sum()), default=None)

    def judge(
        key: Key,
        node_mm: np.ndarray,
        height: np.ndarray,
        covariance: np.ndarray,
        joints_mm: Sequence[float],
    ) -> Roughness | None:
        if len(node_mm) >= LEAST_NODES and key in ways:
            return ways[key].with_nodes(node_mm, joints_mm)
        if roughest is None:
            return judged(node_mm, 0.0 * height, covariance, joints_mm)
        enough = len(node_mm) >= LEAST_NODES
        return Roughness(node_mm, roughest.variance_um2, joints_mm=tuple(joints_mm)) if enough else None

    return judge
