"""The sums behind heights from continuous slopes: one banded least-squares problem per prior.

Model: y = A h + B z + e.  y (µm) is base × slope of each cell of readings, h (µm) the mean
height of the way over each node's stretch, z (µm/m) the zero of each run and the drift that
runs have in common, wholly unknown, e the noise, correlated from cell to cell of a run.  h has
a smoothness prior of variance q.

−2 log likelihood (restricted: z integrated out) = misfit/s² + (n − columns of B)·log s² +
log-determinants, s² the variance factor of the noise and q in units of s².  Least squares
and likelihood are the usual ones; rounding is bounded and taken back (`refined`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from acquire.model.errors import AnalysisError
from analysis.level.slopes import Cells, ContinuousRun, cells_of, difference_weights, nodes_for
from analysis.level.smoothness import Kind, Prior, Stationary
from analysis.linear.banded import BandFactor, factor, to_band, width

Array = NDArray[np.float64]

MOST_BAND_ENTRIES = 40_000_000
TARGETS_AT_A_TIME = 64
COMPUTABLE = 1e11
"""By how much one part of the problem may outweigh another before rounding tells."""
ROUNDING = 3e-14
"""Added to the diagonal, in parts of it: no more than rounding does, and the factor exists for sure."""
REFINED_TIMES = 3
LEAST_WIDTH = 3
"""What the widest smoothness prior needs."""


@dataclass(frozen=True, eq=False)
class Problem:
    """Runs of one face on common nodes, uncertainties as stated."""

    node_mm: Array
    design: sparse.csr_array
    """Heights at the nodes to base × slope, shape (cells, nodes)."""
    rise_um: Array
    """Base × slope, each run's mean slope taken out, shape (cells,)."""
    sigma_um: Array
    """Stated standard uncertainty of each rise, its readings independent, shape (cells,)."""
    readings: Array
    """How many readings each is the mean of, shape (cells,)."""
    run_of: NDArray[np.intp]
    """Which run a cell belongs to, shape (cells,)."""
    follows: NDArray[np.bool_]
    """Whether a cell comes next to the one before it in the same run, shape (cells,)."""
    zero: Array
    """A column for the zero of each run, then one for each drift, shape (cells, runs + drifts)."""
    band_width: int
    drifts: tuple[str, ...] = ()
    """Names of the drifts (`ContinuousRun.drifts_with`)."""

    @property
    def spacing_mm(self) -> float:
        """Distance between nodes, in mm."""
        return float(self.node_mm[1] - self.node_mm[0])

    @property
    def runs(self) -> int:
        """How many runs there are."""
        return self.zero.shape[1] - len(self.drifts)

    @cached_property
    def usual_sigma_um(self) -> float:
        """Median of the stated standard uncertainties."""
        return float(np.median(self.sigma_um))

    @cached_property
    def scatter_of_rises_um(self) -> float:
        """Standard deviation of the rises."""
        return float(np.std(self.rise_um))

    @property
    def freedom(self) -> int:
        """Cells less zeros and drifts."""
        return len(self.rise_um) - self.zero.shape[1]


@dataclass(frozen=True, eq=False)
class Normal:
    """The readings' part of the normal equations, for one correlation of the noise."""

    rows: sparse.csr_array
    """The design over the noise, neighbours decorrelated."""
    outer: Array
    """[y, B], likewise."""
    band: Array
    right: Array
    corner: Array
    log_determinant: float
    """Of the noise's correlation."""


@dataclass(frozen=True, eq=False)
class Solution:
    """The heights at the nodes under one prior, for noise as large as stated."""

    height_um: Array
    zero_um_per_m: Array
    """Zeros, then drifts over one unit of `when`."""
    factored: BandFactor
    border: Array
    """(Normal matrix)⁻¹ × its columns for zeros and drifts, shape (nodes, runs + drifts)."""
    zero_covariance: Array
    misfit: float
    """The sum that was made least."""
    log_determinants: float
    """The part of −2 log likelihood that the readings play no part in."""

    def minus_two_log_likelihood(self, freedom: int, variance_factor: float) -> float:
        """For noise of that variance factor, up to a constant of the runs."""
        return self.misfit / variance_factor + freedom * np.log(variance_factor) + self.log_determinants


def problem_for(runs: Sequence[ContinuousRun], spacing_mm: float) -> Problem:
    """Gather the readings of each run in cells and set up the least squares on nodes.

    Raises
    ------
    AnalysisError
        If the normal matrix would be too large.

    Examples
    --------
    >>> from analysis.level.slopes import continuous_run
    >>> run = continuous_run(np.arange(50, 251, 1.0), np.zeros(201), 1.0, base_mm=100)
    >>> problem_for([run], 2.0).design.shape
    (101, 151)
    """
    node = nodes_for(runs, spacing_mm)
    cells = [cells_of(run, spacing_mm, node[0]) for run in runs]
    base_m = np.concatenate([np.full(len(each.station_mm), each.base_mm / 1000) for each in cells])
    run_of = np.repeat(np.arange(len(runs)), [len(each.station_mm) for each in cells])
    from_mean = np.concatenate([each.slope_um_per_m - each.slope_um_per_m.mean() for each in cells])
    design = sparse.csr_array(sparse.vstack([difference_weights(each, node) for each in cells], format="csr"))
    follows = np.concatenate([_follows(each, spacing_mm) for each in cells])
    reach = _width(design, follows)
    _refuse_too_large(len(node), reach, spacing_mm)
    drifts = tuple(dict.fromkeys(run.drifts_with for run in runs if run.drifts_with))
    zero = np.column_stack([run_of[:, None] == np.arange(len(runs)), _drift_columns(runs, cells, drifts)])
    return Problem(
        node_mm=node,
        design=design,
        rise_um=base_m * from_mean,
        sigma_um=base_m * np.concatenate([each.standard_uncertainty_um_per_m for each in cells]),
        readings=np.concatenate([_readings(each) for each in cells]),
        run_of=run_of,
        follows=follows,
        zero=base_m[:, None] * zero,
        band_width=reach,
        drifts=drifts,
    )


def _drift_columns(runs: Sequence[ContinuousRun], cells: Sequence[Cells], drifts: Sequence[str]) -> Array:
    """What each drift adds to the slope of each cell, shape (cells, drifts)."""
    parts = []
    for run, each in zip(runs, cells, strict=True):
        when = np.zeros(len(each.station_mm)) if each.when is None else each.when
        parts.append(when[:, None] * (np.array([run.drifts_with]) == np.array(drifts, dtype=object)))
    return np.vstack(parts).astype(np.float64)


def _readings(cells: Cells) -> Array:
    return np.ones(len(cells.station_mm)) if cells.readings is None else cells.readings


def _follows(cells: Cells, spacing_mm: float) -> NDArray[np.bool_]:
    """Which cells stand beside the one before: noise is taken as new beyond a gap."""
    usual = max(float(np.median(np.diff(cells.station_mm))), spacing_mm)
    return np.r_[False, np.diff(cells.station_mm) <= 2 * usual]


def _width(design: sparse.csr_array, follows: NDArray[np.bool_]) -> int:
    """How far the normal matrix reaches from its diagonal, neighbouring cells correlated."""
    reach = abs(design)
    later = np.flatnonzero(follows)
    pair = reach[later] + reach[later - 1]
    widths = [width(sparse.coo_array(each.T @ each), np.arange(design.shape[1])) for each in (reach, pair)]
    return max(*widths, LEAST_WIDTH)


def _refuse_too_large(nodes: int, rows: int, spacing_mm: float) -> None:
    if nodes * (rows + 1) > MOST_BAND_ENTRIES:
        raise AnalysisError(
            "continuous slopes",
            f"{nodes} nodes {spacing_mm:g} mm apart need {nodes * (rows + 1) / 1e6:.0f} million numbers",
            f"at most {MOST_BAND_ENTRIES / 1e6:.0f} million",
            "draw a shorter stretch, or with one base",
        )


def normal_for(problem: Problem, rho: Array) -> Normal:
    """The normal equations where the noise of neighbouring cells is correlated, by `rho` for each run."""
    kept = np.where(problem.follows, rho[problem.run_of], 0.0)
    sigma = problem.sigma_um * _within_cells(problem, rho)
    own = 1 / (sigma * np.sqrt(1 - kept**2))
    last = np.r_[0.0, kept[1:] / (sigma[:-1] * np.sqrt(1 - kept[1:] ** 2))]
    white = sparse.diags_array([own, -last[1:]], offsets=[0, -1], format="csr")
    rows = sparse.csr_array(white @ problem.design)
    outer = white @ np.column_stack([problem.rise_um, problem.zero])
    place = np.arange(len(problem.node_mm))
    return Normal(
        rows=rows,
        outer=outer,
        band=to_band(sparse.coo_array(rows.T @ rows), place, problem.band_width),
        right=rows.T @ outer,
        corner=outer.T @ outer,
        log_determinant=float(np.log(1 - kept**2).sum() + 2 * np.log(sigma / problem.sigma_um).sum()),
    )


def _within_cells(problem: Problem, rho: Array) -> Array:
    """By what each cell is less sure, its readings going together, beside the usual cell of its run.

    Cells of one and of two readings are about equally sure where neighbouring cells share most of their
    noise; weighted as √2 apart, heights would be off by a third more than they are said to be.
    """
    found = np.ones(len(problem.readings))
    for run, each in enumerate(rho):
        mine = problem.run_of == run
        size = (problem.readings[mine] * variance_of_mean(problem.readings[mine], each)) ** 0.5
        found[mine] = size / np.median(size)
    return found


def variance_of_mean(count: Array, rho: float) -> Array:
    """Variance of the mean of so many readings of variance 1, spread over a cell of a first-order
    autoregression of which neighbouring cells share ρ (textbook, from memory).

    Examples
    --------
    >>> variance_of_mean(np.array([1.0, 2.0, 4.0]), 0.0).tolist()
    [1.0, 0.5, 0.25]
    >>> variance_of_mean(np.array([1.0, 2.0]), 0.81).round(9).tolist()  # (1 + √0.81) / 2
    [1.0, 0.95]
    """
    if rho == 0.0:
        return np.asarray(1 / count, dtype=np.float64)
    kept = rho ** (1 / count)
    return np.asarray(
        ((1 + kept) / (1 - kept) - 2 * kept * (1 - kept**count) / (count * (1 - kept) ** 2)) / count
    )


def solve(problem: Problem, normal: Normal, prior: Prior, q: float) -> Solution:
    """The heights and zeros under one prior of variance q, with what the likelihood needs."""
    place = np.arange(len(problem.node_mm))
    band = normal.band.copy(order="F")
    band[: len(prior.band)] += prior.band / q
    band[0] *= 1 + ROUNDING
    factored = factor(band, place)
    inner = factored.solve(normal.right)
    schur = normal.corner - normal.right.T @ inner
    zero_covariance = np.asarray(np.linalg.inv(schur[1:, 1:]), dtype=np.float64)
    zero = zero_covariance @ schur[1:, 0]
    return Solution(
        height_um=inner[:, 0] - inner[:, 1:] @ zero,
        zero_um_per_m=zero,
        factored=factored,
        border=inner[:, 1:],
        zero_covariance=zero_covariance,
        misfit=float(schur[0, 0] - schur[1:, 0] @ zero),
        log_determinants=float(
            factored.log_determinant()
            - prior.log_determinant
            + len(place) * np.log(q)
            - np.linalg.slogdet(zero_covariance)[1]
            + normal.log_determinant
        ),
    )


def refined_height_um(normal: Normal, prior: Prior, q: float, solution: Solution) -> Array:
    """The heights with what rounding took from them put back.

    A bed that drops by millimetres would else be off by more than its uncertainty: the
    equations themselves, unlike their product, are met to the last digit.
    """
    height, zero = solution.height_um, solution.zero_um_per_m
    for _ in range(REFINED_TIMES):
        left = normal.outer[:, 0] - normal.rows @ height - normal.outer[:, 1:] @ zero
        pull = normal.rows.T @ left - prior.root.T @ (prior.root @ height) / q
        change = solution.zero_covariance @ (normal.outer[:, 1:].T @ left - solution.border.T @ pull)
        zero = zero + change
        height = height + solution.factored.solve(pull) - solution.border @ change
    return height


def bounds_of_q(problem: Problem, kind: Kind, wavelength_mm: float) -> tuple[float, float]:
    """Within what q a stationary prior can be computed with.

    Its cost of a zigzag must not drown what the readings say of the longest shapes, nor may
    the readings drown its cost of a ripple that they cannot see.
    """
    if not isinstance(kind, Stationary):
        return 0.0, np.inf
    noise = problem.usual_sigma_um**2
    length = problem.node_mm[-1] - problem.node_mm[0]
    longest = min(1.0, (10 * wavelength_mm / length) ** 2)
    return (
        kind.stiffest(problem.spacing_mm) * noise / (COMPUTABLE * longest),
        kind.of_ripple(problem.spacing_mm, wavelength_mm) * noise * COMPUTABLE,
    )


def covariance_at(solution: Solution, target: sparse.csr_array) -> Array:
    """Covariance of the heights that `target` makes of the nodes', for noise as large as stated."""
    starts = range(0, target.shape[0], TARGETS_AT_A_TIME)
    parts = [target[k : k + TARGETS_AT_A_TIME].toarray().T for k in starts]
    inner = np.hstack([target @ solution.factored.solve(part) for part in parts])
    outer = target @ solution.border
    covariance = inner + outer @ solution.zero_covariance @ outer.T
    return (covariance + covariance.T) / 2
