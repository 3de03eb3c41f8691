"""A run of continuously sampled slopes, and how each reading weighs the heights beneath it.

Heights live on nodes a fortieth of a base apart, each the mean over its stretch of way, and
readings are gathered in cells as long: the mean of a cell of readings is exactly the
difference of two such heights.  A foot that stands between two nodes, or on a pad that
covers several, sees their weighted mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from acquire.model.errors import AnalysisError

Array = NDArray[np.float64]

LEAST_READINGS = 3
NODES_PER_BASE = 40
WIDEST_SPACING_MM = 10.0
FINEST_SPACING_MM = 1.0
"""Finer sampling brings no shape that a level's foot could follow."""


_COLUMNS = ("station_mm", "slope_um_per_m", "standard_uncertainty_um_per_m", "when", "readings")


@dataclass(frozen=True, eq=False)
class ContinuousRun:
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
    drifts_with: str = ""
    """Runs of one name share a steady drift, an unknown; empty: none is looked for."""
    when: Array | None = None
    """Time of each sample, in any unit that makes it about one in size, shape (n,); None: no drift."""
    readings: Array | None = None
    """How many readings each sample is the mean of, shape (n,); None: one."""

    @property
    def lowest_mm(self) -> float:
        """The least station that a foot touched."""
        return float(self.station_mm.min()) - (self.base_mm + self.pad_mm) / 2

    @property
    def highest_mm(self) -> float:
        """The greatest station that a foot touched."""
        return float(self.station_mm.max()) + (self.base_mm + self.pad_mm) / 2

    @property
    def columns(self) -> dict[str, Any]:
        """What there is of each sample."""
        return {name: column for name in _COLUMNS if (column := getattr(self, name)) is not None}

    def taken(self, which: Array | slice) -> "ContinuousRun":
        """These samples alone."""
        return replace(self, **{name: column[which] for name, column in self.columns.items()})

    def drifted(self, rate: float) -> Array:
        """What a drift of so many µm/m over one unit of `when` adds to each sample, shape (n,)."""
        return np.zeros(len(self.station_mm)) if self.when is None else rate * self.when


def continuous_run(
    station_mm: ArrayLike,
    slope_um_per_m: ArrayLike,
    standard_uncertainty_um_per_m: ArrayLike,
    base_mm: float,
    *,
    pad_mm: float = 0.0,
    name: str = "traverse",
    drifts_with: str = "",
    when: ArrayLike | None = None,
) -> ContinuousRun:
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
    drifts_with : str, optional
        Runs of one name drift at one rate, which is then an unknown; it needs runs that pass the same
        places at different times.
    when : array, shape (n,), optional
        Time of each sample, about one in size.

    Raises
    ------
    AnalysisError
        If a number is missing or not finite, lengths differ, fewer than three samples are
        there, or base, pad or uncertainty cannot be.

    Examples
    --------
    >>> run = continuous_run([104, 100, 102], [1, 3, 2], 2.0, base_mm=200)
    >>> run.slope_um_per_m, run.lowest_mm, run.highest_mm
    (array([3., 2., 1.]), 0.0, 204.0)
    """
    station, slope = (np.atleast_1d(np.asarray(a, dtype=float)) for a in (station_mm, slope_um_per_m))
    if station.ndim != 1 or station.shape != slope.shape or len(station) < LEAST_READINGS:
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
    taken = None if not drifts_with or when is None else _times(name, when, station)[order]
    return ContinuousRun(
        station[order], slope[order], uncertainty[order], float(base_mm), float(pad_mm), name,
        "" if taken is None else drifts_with, taken,
    )  # fmt: skip


def _times(name: str, when: ArrayLike, station: Array) -> Array:
    time = np.asarray(when, dtype=float)
    if time.shape != station.shape or not np.all(np.isfinite(time)):
        raise AnalysisError(name, f"found {time.size} times for {station.size} samples", "one of each")
    return time


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


@dataclass(frozen=True, eq=False)
class Cells:
    """The readings of a run, those that fall between the same nodes taken together."""

    station_mm: Array
    """Mean place of each cell's readings, in mm, shape (k,)."""
    slope_um_per_m: Array
    """Their mean, weighted by what each is worth."""
    standard_uncertainty_um_per_m: Array
    """Of that mean, the readings independent."""
    base_mm: float
    pad_mm: float
    when: Array | None = None
    """Mean time of each cell's readings, weighted likewise."""
    readings: Array | None = None
    """How many there are in each; None: one."""


def cells_of(run: ContinuousRun, spacing_mm: float, first_node_mm: float) -> Cells:
    """Gather readings in cells `spacing_mm` long whose near foot stands about a node.

    Examples
    --------
    >>> run = continuous_run(np.arange(100.0, 110.0), np.arange(10.0), 2.0, base_mm=200)
    >>> cells_of(run, 4.0, 0.0).station_mm
    array([101. , 104. , 107.5])
    """
    cell = np.rint((run.station_mm - run.base_mm / 2 - first_node_mm) / spacing_mm).astype(np.intp)
    cell -= cell[0]
    weight = run.standard_uncertainty_um_per_m**-2.0
    total = np.bincount(cell, weight)
    seen = total > 0
    # about the first station, so that no digits are lost far along the bed
    away = np.bincount(cell, weight * (run.station_mm - run.station_mm[0]))[seen] / total[seen]
    slope = np.bincount(cell, weight * run.slope_um_per_m)[seen] / total[seen]
    when = None if run.when is None else np.bincount(cell, weight * run.when)[seen] / total[seen]
    readings = np.bincount(cell, run.readings)[seen].astype(np.float64)
    return Cells(
        run.station_mm[0] + away, slope, 1 / np.sqrt(total[seen]), run.base_mm, run.pad_mm, when, readings
    )


def gathered(run: ContinuousRun, spacing_mm: float = FINEST_SPACING_MM) -> ContinuousRun:
    """The run with readings closer than `spacing_mm` taken together; as it is where none are.

    Examples
    --------
    >>> run = continuous_run(np.arange(100.0, 110.0, 0.1), np.zeros(100), 2.0, base_mm=200)
    >>> len(gathered(run).station_mm), len(gathered(gathered(run)).station_mm)
    (13, 13)
    """
    if np.ptp(run.station_mm) >= (len(run.station_mm) - 1.5) * spacing_mm:
        return run
    run = replace(run, readings=np.ones(len(run.station_mm)) if run.readings is None else run.readings)
    cells = cells_of(run.taken(slice(1, -1)), spacing_mm, float(run.station_mm[0]) - run.base_mm / 2)
    # the first and the last reading stay by themselves: they say how far the feet came
    columns = {name: np.r_[each[0], getattr(cells, name), each[-1]] for name, each in run.columns.items()}
    return replace(run, **columns)


def spacing_for(runs: Sequence[ContinuousRun]) -> float:
    """Distance between nodes, in mm: a fortieth of the shortest base, all bases near whole numbers of it.

    Examples
    --------
    >>> spacing_for([continuous_run([100, 101.5, 103], [0, 0, 0], 1.0, base_mm=200)])
    5.0
    """
    bases = sorted({run.base_mm for run in runs})
    wanted = min(
        float(np.clip(bases[0] / NODES_PER_BASE, FINEST_SPACING_MM, WIDEST_SPACING_MM)), bases[0] / 20
    )
    least = int(np.ceil(bases[-1] / wanted - 1e-6))
    counts = np.arange(least, max(int(1.25 * least), least) + 1)
    off = [sum(abs(base * k / bases[-1] - round(base * k / bases[-1])) for base in bases) for k in counts]
    return bases[-1] / int(counts[int(np.argmin(np.round(off, 6)))])


def nodes_for(runs: Sequence[ContinuousRun], spacing_mm: float) -> Array:
    """The nodes that carry the heights, in mm, from the first foot to the last.

    Examples
    --------
    >>> nodes_for([continuous_run([100, 102, 104], [0, 0, 0], 1.0, base_mm=10)], 4.0)
    array([ 95.,  99., 103., 107., 111.])
    """
    lowest = min(run.lowest_mm for run in runs)
    highest = max(run.highest_mm for run in runs)
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


def difference_weights(run: Cells, node_mm: Array) -> sparse.csr_array:
    """Weights that give base × slope, the height of the far foot over the near one, for each cell.

    Each foot sees the mean height under its pad, taken at points at most half a node apart.

    Examples
    --------
    >>> cell = Cells(np.array([2.0]), np.zeros(1), np.ones(1), base_mm=4, pad_mm=0)
    >>> difference_weights(cell, np.array([0.0, 2.0, 4.0])).toarray()[0]
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
