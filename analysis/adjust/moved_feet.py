"""Feet of a stepped level that stood a little off the node where they are taken to stand.

Positions read off a scale scatter by a millimetre or two about the station that was meant.
Both feet of a reading are off alike, by δ, so that the level read the slope a little further
on: s(x + δ) ≈ s(x) + δ·ds/dx. How fast the slope changes, the level's own neighbouring
readings tell; what that makes is counted as a further uncertainty of each reading.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.sparse

from acquire.model.places import PLACED_MM
from analysis.adjust.nodes import Layout
from analysis.linear.fact import Fact
from analysis.observe import Observations

LEAST_READINGS = 3
WORTH_A_WORD = 0.5
"""Of a reading's standard uncertainty."""


@dataclass(frozen=True)
class FeetOffStations(Fact):
    """A level whose feet stood off the stations where they are taken to have stood, on a way that bends."""

    traverse: int
    off_mm: float


def error_of_moved_feet(each: Observations, layout: Layout) -> np.ndarray:
    """By what each reading may be off because its feet are taken as standing on nodes, shape (m,)."""
    off_mm = _off_mm(each, layout)
    at_mm, index = np.unique(np.round(each.station_mm, 3), return_inverse=True)
    if not np.any(off_mm) or len(at_mm) < LEAST_READINGS:
        return np.zeros(len(each))
    slope = np.bincount(index, each.reading) / np.bincount(index)
    return np.abs(off_mm * np.gradient(slope, at_mm)[index])


def with_moved_feet(
    covariance: np.ndarray | scipy.sparse.spmatrix, error: np.ndarray
) -> np.ndarray | scipy.sparse.spmatrix:
    """The covariance of readings with these errors besides, each by itself."""
    if not np.any(error):
        return covariance
    if isinstance(covariance, np.ndarray) and covariance.ndim == 1:
        return covariance + error**2
    if isinstance(covariance, np.ndarray):
        return covariance + np.diag(error**2)
    return scipy.sparse.csr_matrix(covariance + scipy.sparse.diags(error**2))


def moved_feet(observations: Sequence[Observations], layout: Layout) -> Iterable[FeetOffStations]:
    """The traverses whose feet stood so far off that it matters."""
    for each in observations:
        error = error_of_moved_feet(each, layout)
        if np.any(error > WORTH_A_WORD * np.sqrt(each.variance)):
            yield FeetOffStations(each.traverse, float(np.max(np.abs(_off_mm(each, layout)))))


def _off_mm(each: Observations, layout: Layout) -> np.ndarray:
    """How far the feet of each reading stood beyond their nodes; 0 where they are no feet of a level."""
    nothing = np.zeros(len(each))
    key = ("height", each.faces[0]) if each.faces else ("", "")
    if not each.is_stepped_level or key not in layout.lines:
        return nothing
    at_mm, columns = layout.columns[key]
    is_node = columns < len(layout.nodes)
    node_mm = at_mm.copy()
    node_mm[is_node] = layout.lines[key].station_mm[columns[is_node] - layout.first[key]]
    beyond_mm = at_mm - node_mm
    if np.max(np.abs(beyond_mm), initial=0.0) <= PLACED_MM:
        return nothing
    far_mm = np.array(
        [max((p.station_mm for p in form if p.role == "foot"), default=np.nan) for form in each.forms]
    )
    nearest = np.clip(np.searchsorted(at_mm, far_mm - PLACED_MM), 0, len(at_mm) - 1)
    is_off = np.isfinite(far_mm) & (np.abs(beyond_mm[nearest]) > PLACED_MM)
    return np.where(is_off, beyond_mm[nearest], 0.0)
