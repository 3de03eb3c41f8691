"""A traverse of densely sampled slopes, and how each sample weighs the heights beneath it.

Heights live on nodes a millimetre or two apart, straight lines between them; a foot that
stands between two nodes, or on a pad that covers several, sees their weighted mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from acquire.model.errors import AnalysisError

Array = NDArray[np.float64]

WIDEST_SPACING_MM = 2.0
FINEST_SPACING_MM = 1.0


@dataclass(frozen=True, eq=False)
class DenseTraverse:
    """Slopes sampled far more often than once per base, along one face, with one zero."""

    station_mm: Array
    """Middle of the base at each sample, in mm, shape (n,); in any order."""
    slope_um_per_m: Array
    """Slope at each sample, zero of the instrument left in, in µm/m, shape (n,)."""
    standard_uncertainty_um_per_m: Array
    """Standard uncertainty of each sample by itself, in µm/m, shape (n,)."""
    base_mm: float
    """Distance between the middles of the two feet, in mm."""
    pad_mm: float = 0.0
    """Length of each foot along the way, in mm: it sees the mean height beneath it."""
    name: str = "traverse"
    """What messages call it."""

    @property
    def lowest_mm(self) -> float:
        """The least station that a foot touched."""
        return float(self.station_mm.min()) - (self.base_mm + self.pad_mm) / 2

    @property
    def highest_mm(self) -> float:
        """The greatest station that a foot touched."""
        return float(self.station_mm.max()) + (self.base_mm + self.pad_mm) / 2


def dense_traverse(
    station_mm: ArrayLike,
    slope_um_per_m: ArrayLike,
    standard_uncertainty_um_per_m: ArrayLike,
    base_mm: float,
    *,
    pad_mm: float = 0.0,
    name: str = "traverse",
) -> DenseTraverse:
    """Check the samples of a traverse and put them in order of station.

    Parameters
    ----------
    station_mm, slope_um_per_m : array, shape (n,)
        Middle of the base and slope of each sample.
    standard_uncertainty_um_per_m : float or array, shape (n,)
        Standard uncertainty of one sample by itself, above zero.
    base_mm, pad_mm : float
        Distance between the feet, and length of each foot along the way (less than the base).
    name : str
        What messages call this traverse.

    Raises
    ------
    AnalysisError
        If a number is missing or not finite, lengths differ, fewer than three samples are
        there, or base, pad or uncertainty cannot be.

    Examples
    --------
    >>> run = dense_traverse([104, 100, 102], [1, 3, 2], 2.0, base_mm=200)
    >>> run.slope_um_per_m, run.lowest_mm, run.highest_mm
    (array([3., 2., 1.]), 0.0, 204.0)
    """
    station, slope = (np.atleast_1d(np.asarray(a, dtype=float)) for a in (station_mm, slope_um_per_m))
    if station.ndim != 1 or station.shape != slope.shape or len(station) < 3:
        raise AnalysisError(
            name, f"found {station.size} stations and {slope.size} slopes", "at least three, one of each"
        )
    try:
        uncertainty = np.broadcast_to(np.asarray(standard_uncertainty_um_per_m, dtype=float), station.shape)
    except ValueError as error:
        raise AnalysisError(name, "uncertainties and slopes differ in number", "one of each") from error
    _refuse_impossible(name, station, slope, uncertainty)
    if not (np.isfinite(base_mm) and base_mm > 0 and 0 <= pad_mm < base_mm):
        raise AnalysisError(
            name,
            f"found a base of {base_mm} mm and feet {pad_mm} mm long",
            "a base above 0, longer than its feet",
        )
    order = np.argsort(station, kind="stable")
    return DenseTraverse(
        station[order], slope[order], uncertainty[order], float(base_mm), float(pad_mm), name
    )


def _refuse_impossible(name: str, station: Array, slope: Array, uncertainty: Array) -> None:
    """Refuse numbers that are missing, infinite, or an uncertainty of zero or less."""
    for what, values in (("station", station), ("slope", slope), ("uncertainty", uncertainty)):
        bad = ~np.isfinite(values)
        if bad.any():
            raise AnalysisError(
                name, f"{what} of sample {int(np.argmax(bad)) + 1} is missing or not finite", "finite numbers"
            )
    if uncertainty.min() <= 0:
        raise AnalysisError(name, f"found an uncertainty of {uncertainty.min():g} µm/m", "one above 0")


def spacing_for(traverses: Sequence[DenseTraverse]) -> float:
    """Distance between nodes, in mm: one to two, a whole number to the longest base.

    Finer sampling than a millimetre brings no shape that a level's foot could follow.

    Examples
    --------
    >>> spacing_for([dense_traverse([100, 101.5, 103], [0, 0, 0], 1.0, base_mm=200)])
    1.5037593984962405
    """
    sampled = min(float(np.median(np.diff(run.station_mm))) for run in traverses)
    shortest = min(run.base_mm for run in traverses)
    longest = max(run.base_mm for run in traverses)
    wanted = min(float(np.clip(sampled, FINEST_SPACING_MM, WIDEST_SPACING_MM)), shortest / 20)
    return longest / round(longest / wanted)


def nodes_for(traverses: Sequence[DenseTraverse], spacing_mm: float) -> Array:
    """The nodes that carry the heights, in mm, from the first foot to the last.

    Examples
    --------
    >>> nodes_for([dense_traverse([100, 102, 104], [0, 0, 0], 1.0, base_mm=10)], 4.0)
    array([ 95.,  99., 103., 107., 111.])
    """
    lowest = min(run.lowest_mm for run in traverses)
    highest = max(run.highest_mm for run in traverses)
    count = int(np.ceil((highest - lowest) / spacing_mm - 1e-6)) + 1
    return lowest + spacing_mm * np.arange(count, dtype=np.float64)


def height_weights(at_mm: Array, node_mm: Array) -> sparse.csr_array:
    """Weights that give the heights at `at_mm` from those at evenly spaced nodes, straight between them.

    Examples
    --------
    >>> height_weights(np.array([2.5]), np.array([0.0, 2.0, 4.0])).toarray()
    array([[0.  , 0.75, 0.25]])
    """
    spacing = node_mm[1] - node_mm[0]
    place = (at_mm - node_mm[0]) / spacing
    place = np.where(np.abs(place - np.round(place)) < 1e-6, np.round(place), place)
    left = np.clip(np.floor(place).astype(int), 0, len(node_mm) - 2)
    part = place - left
    row = np.repeat(np.arange(len(at_mm)), 2)
    column = np.stack([left, left + 1], axis=1).ravel()
    weights = sparse.csr_array(
        (np.stack([1 - part, part], axis=1).ravel(), (row, column)), shape=(len(at_mm), len(node_mm))
    )
    weights.eliminate_zeros()
    return weights


def difference_weights(run: DenseTraverse, node_mm: Array) -> sparse.csr_array:
    """Weights that give base × slope, the height of the far foot over the near one, for each sample.

    Each foot sees the mean height under its pad, taken at points at most half a node apart.

    Examples
    --------
    >>> run = dense_traverse([2, 2, 2], [0, 0, 0], 1.0, base_mm=4)
    >>> difference_weights(run, np.array([0.0, 2.0, 4.0])).toarray()[0]
    array([-1.,  0.,  1.])
    """
    spacing = node_mm[1] - node_mm[0]
    count = 1 if run.pad_mm == 0 else int(np.ceil(2 * run.pad_mm / spacing)) + 1
    across_pad = ((np.arange(count) + 0.5) / count - 0.5) * run.pad_mm
    total = sparse.csr_array((len(run.station_mm), len(node_mm)))
    for offset in across_pad:
        far = height_weights(run.station_mm + run.base_mm / 2 + offset, node_mm)
        near = height_weights(run.station_mm - run.base_mm / 2 + offset, node_mm)
        total = total + (far - near) / count
    return sparse.csr_array(total)
