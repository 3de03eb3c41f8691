"""The sums behind the heights from dense slopes: one sparse least-squares problem, solved in bands.

The unknowns are the heights at the nodes and, for every traverse but the first, its zero
(the first zero cannot be told from the tilt of the whole).  The height of the whole is
pinned at one node, which changes nothing else.  Noise is first judged with neighbouring
samples correlated (a first-order autoregression, its size free), so that slow noise is
not taken for shape; the heights are then solved for with independent samples whose
uncertainty is inflated to what such noise does to averages.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse

from acquire.errors import AnalysisError
from analysis.banded import BandFactor, Places, factor, narrowest, to_band, width
from analysis.dense_slopes import DenseTraverse, difference_weights, nodes_for

Array = NDArray[np.float64]

HIGHEST_RHO = 0.98
GAP = 3.0
"""Samples farther apart than this many usual spacings count as independent."""
MOST_BAND_ENTRIES = 40_000_000
TARGETS_AT_A_TIME = 64
HELD_OVER = 0.2
"""Share of the shortest base over which curvature holds in a way that is smooth at its finest."""


@dataclass(frozen=True, eq=False)
class Problem:
    """The traverses as one least-squares problem on the nodes, uncertainties as stated."""

    node_mm: Array
    design: sparse.csr_array
    """Heights at the nodes to base × slope, shape (samples, nodes)."""
    rise_um: Array
    """Base × slope, a common tilt taken out, shape (samples,)."""
    sigma_um: Array
    """Stated standard uncertainty of each rise, shape (samples,)."""
    run_of: NDArray[np.intp]
    """Which traverse a sample belongs to, shape (samples,)."""
    follows: NDArray[np.bool_]
    """Whether a sample comes next to the one before it in the same traverse, shape (samples,)."""
    zero: Array
    """A column for the zero of each traverse but the first, shape (samples, traverses − 1)."""
    pattern: sparse.coo_array
    """Where the normal matrix has entries."""
    place: Places
    """The order of the nodes in which it is narrow."""
    rough: Array
    """D₂ᵀD₂/dx³ as a band: what bending costs where the curvature of each node is its own."""
    smooth: Array
    """The same where curvature holds over a fifth of the base: bending within it costs far more."""
    smooth_volume: float
    """Logarithm of the determinant of that curvature's covariance at q = 1, over that of its own."""

    @property
    def spacing_mm(self) -> float:
        """Distance between nodes, in mm."""
        return float(self.node_mm[1] - self.node_mm[0])

    @property
    def runs(self) -> int:
        """How many traverses there are."""
        return self.zero.shape[1] + 1


@dataclass(frozen=True, eq=False)
class Normal:
    """The data's part of the normal equations, which does not change with q."""

    band: Array
    """AᵀWA as a band."""
    right: Array
    """AᵀW[d, zeros], shape (nodes, traverses)."""
    corner: Array
    """[d, zeros]ᵀW[d, zeros], shape (traverses, traverses)."""

    def __add__(self, other: "Normal") -> "Normal":
        return Normal(self.band + other.band, self.right + other.right, self.corner + other.corner)

    def __mul__(self, times: float) -> "Normal":
        return Normal(self.band * times, self.right * times, self.corner * times)


@dataclass(frozen=True, eq=False)
class Solution:
    """The heights at the nodes for one q."""

    q: float
    height_um: Array
    zero_um_per_m: Array
    """Zero of each traverse but the first, against the first."""
    factored: BandFactor
    border: Array
    """(Normal matrix)⁻¹ × its columns for the zeros, shape (nodes, traverses − 1)."""
    zero_covariance: Array
    misfit: float
    """The sum that was made least."""
    volume: float
    """The part of −2 log marginal likelihood that does not hang on the readings."""


@dataclass(frozen=True)
class Noise:
    """What the residuals say of the noise of each traverse."""

    rho: tuple[float, ...]
    """Correlation of neighbouring samples' noise, 0 to 0.98."""
    inflation: tuple[float, ...]
    """What to multiply the stated uncertainties by, so that averages get theirs right."""
    size: tuple[float, ...]
    """What to multiply them by for a sample by itself; 1 or more."""


def _second_differences(nodes: int) -> sparse.csr_array:
    """D₂ for evenly spaced nodes."""
    ones = np.ones(nodes - 2)
    return sparse.csr_array(
        sparse.diags_array([ones, -2 * ones, ones], offsets=[0, 1, 2], shape=(nodes - 2, nodes))
    )


def _bending(nodes: int, kept: float) -> sparse.coo_array:
    """What curvature costs whose neighbours are correlated by `kept` (a first-order autoregression)."""
    second = _second_differences(nodes)
    if kept == 0:
        return sparse.coo_array(second.T @ second)
    change = (second[1:] - kept * second[:-1]) / np.sqrt(1 - kept**2)
    return sparse.coo_array(second[:1].T @ second[:1] + change.T @ change)


def _follows(traverses: Sequence[DenseTraverse]) -> NDArray[np.bool_]:
    """Which samples stand within a few usual spacings of the one before."""
    steps = [np.diff(run.station_mm) for run in traverses]
    return np.concatenate([np.r_[False, step <= GAP * max(float(np.median(step)), 1e-9)] for step in steps])


def _pattern(
    design: sparse.csr_array, rough: sparse.coo_array, paired: NDArray[np.intp] | None
) -> sparse.coo_array:
    """Where the normal matrix may have entries; `paired` samples may be correlated with the one before."""
    reach = abs(design)
    pair = reach if paired is None else reach[paired] + reach[paired - 1]
    return sparse.coo_array(reach.T @ reach + pair.T @ pair + abs(rough))


def problem_for(traverses: Sequence[DenseTraverse], spacing_mm: float, *, paired: bool = False) -> Problem:
    """Set up the problem on nodes `spacing_mm` apart; `paired` leaves room for correlated neighbours.

    Raises
    ------
    AnalysisError
        If the normal matrix would be too large even in its narrowest order.

    Examples
    --------
    >>> from analysis.dense_slopes import dense_traverse
    >>> run = dense_traverse(np.arange(50, 251, 2.0), np.zeros(101), 1.0, base_mm=100)
    >>> problem_for([run], 2.0).design.shape
    (101, 151)
    """
    node = nodes_for(traverses, spacing_mm)
    design = sparse.csr_array(
        sparse.vstack([difference_weights(run, node) for run in traverses], format="csr")
    )
    run_of = np.repeat(np.arange(len(traverses)), [len(run.station_mm) for run in traverses])
    base_m = np.array([run.base_mm for run in traverses])[run_of] / 1000
    slope = np.concatenate([run.slope_um_per_m for run in traverses])
    sigma = base_m * np.concatenate([run.standard_uncertainty_um_per_m for run in traverses])
    held = float(np.exp(-spacing_mm / (HELD_OVER * min(run.base_mm for run in traverses)))) if paired else 0.0
    rough, smooth, follows = _bending(len(node), 0.0), _bending(len(node), held), _follows(traverses)
    pattern = _pattern(design, abs(rough) + abs(smooth), np.flatnonzero(follows) if paired else None)
    place = narrowest(pattern, sorted({round(run.base_mm / spacing_mm) for run in traverses}))
    rows = width(pattern, place)
    _refuse_too_large(len(node), rows, spacing_mm)
    return Problem(
        node_mm=node,
        design=design,
        rise_um=base_m * (slope - traverses[0].slope_um_per_m.mean()),
        sigma_um=sigma,
        run_of=run_of,
        follows=follows,
        zero=base_m[:, None] * (run_of[:, None] == np.arange(1, len(traverses))),
        pattern=pattern,
        place=place,
        rough=to_band(rough, place, rows) / spacing_mm**3,
        smooth=to_band(smooth, place, rows) / spacing_mm**3,
        smooth_volume=(len(node) - 3) * float(np.log(1 - held**2)),
    )


def _refuse_too_large(nodes: int, rows: int, spacing_mm: float) -> None:
    if nodes * (rows + 1) > MOST_BAND_ENTRIES:
        raise AnalysisError(
            "dense slopes",
            f"{nodes} nodes {spacing_mm:g} mm apart need {nodes * (rows + 1) / 1e6:.0f} million numbers",
            f"at most {MOST_BAND_ENTRIES / 1e6:.0f} million",
            "bin the samples to 1 or 2 mm, or set the nodes wider apart",
        )


def _product(problem: Problem, one: sparse.csr_array, one_outer: Array, other, other_outer) -> Normal:
    """The symmetric product of two sets of weighted rows, as a part of the normal equations."""
    matrix = one.T @ other
    right, corner = one.T @ other_outer, one_outer.T @ other_outer
    if one is not other:
        matrix, corner = matrix + matrix.T, corner + corner.T
        right = right + other.T @ one_outer
    return Normal(to_band(sparse.coo_array(matrix), problem.place, len(problem.rough) - 1), right, corner)


def _weighted(problem: Problem, weight: Array) -> tuple[sparse.csr_array, Array]:
    """Rows of the design and of [d, zeros], each multiplied by its weight."""
    outer = np.column_stack([problem.rise_um, problem.zero])
    return sparse.csr_array(sparse.diags_array(weight) @ problem.design), outer * weight[:, None]


def normal_for(problem: Problem, sigma_um: Array) -> Normal:
    """The normal equations of independent samples with the given uncertainties."""
    rows, outer = _weighted(problem, 1 / sigma_um)
    return _product(problem, rows, outer, rows, outer)


def solve(problem: Problem, normal: Normal, q: float, *, is_smooth: bool = False) -> Solution:
    """The heights and zeros for one q, with what the likelihood needs; `is_smooth`: curvature holds on.

    The pin on the middle node is as heavy as all samples together: it only fixes the
    height of the whole.
    """
    band = normal.band + (problem.smooth if is_smooth else problem.rough) / q
    band[0, problem.place[len(problem.node_mm) // 2]] += np.sum(problem.sigma_um**-2)
    factored = factor(band, problem.place)
    inner = factored.solve(normal.right)
    schur = normal.corner - normal.right.T @ inner
    zero_covariance: Array = np.linalg.inv(schur[1:, 1:]).astype(np.float64)
    zero = zero_covariance @ schur[1:, 0]
    volume = factored.log_determinant() + (len(problem.node_mm) - 2) * np.log(q)
    volume += problem.smooth_volume if is_smooth else 0.0
    return Solution(
        q=q,
        height_um=inner[:, 0] - inner[:, 1:] @ zero,
        zero_um_per_m=zero,
        factored=factored,
        border=inner[:, 1:],
        zero_covariance=zero_covariance,
        misfit=float(schur[0, 0] - schur[1:, 0] @ zero),
        volume=float(volume - np.linalg.slogdet(zero_covariance)[1]),
    )


def likeliest(problem: Problem, normal: Normal) -> Solution:
    """The solution with the likeliest q: the best of a coarse round over decades, then refined."""

    def cost(decade: float) -> float:
        solution = solve(problem, normal, 10.0**decade)
        return solution.misfit + solution.volume

    coarse = _decades(problem)
    best = int(np.argmin([cost(decade) for decade in coarse]))
    bounds = (coarse[max(best - 1, 0)], coarse[min(best + 1, len(coarse) - 1)])
    found = optimize.minimize_scalar(cost, bounds=bounds, method="bounded", options={"xatol": 0.01})
    return solve(problem, normal, 10.0**found.x)


def _decades(problem: Problem) -> Array:
    """log₁₀ q from a way straight within what can be seen (and computed) to one rougher than the readings."""
    sigma = float(np.median(problem.sigma_um))
    length = problem.node_mm[-1] - problem.node_mm[0]
    unseen = sigma**2 / len(problem.rise_um) / length**3
    computable = 16 * sigma**2 / (1e11 * problem.spacing_mm**3)
    rise = sigma + float(np.std(problem.rise_um))
    lowest = float(np.log10(max(unseen, computable)))
    highest = float(np.log10(100 * rise**2 / problem.spacing_mm**3))
    return np.linspace(lowest, highest, int(np.ceil(highest - lowest)) + 1)


@dataclass(frozen=True, eq=False)
class _CorrelatedParts:
    """One traverse's normal equations, split so that any correlation is a sum of the three."""

    first: Normal  # samples that follow none
    own: Normal  # each following sample, and the one before it
    cross: Normal
    before: Normal
    following: int

    def normal(self, rho: float) -> Normal:
        """The normal equations with neighbouring samples correlated by `rho`."""
        share = self.own + self.cross * -rho + self.before * rho**2
        return self.first + share * (1 / (1 - rho**2))


def _correlated_parts(problem: Problem, run: int) -> _CorrelatedParts:
    rows, outer = _weighted(problem, 1 / problem.sigma_um)
    mine = problem.run_of == run
    first, later = np.flatnonzero(mine & ~problem.follows), np.flatnonzero(mine & problem.follows)

    def part(one, other) -> Normal:
        if one is other:
            a, b = rows[one], outer[one]
            return _product(problem, a, b, a, b)
        return _product(problem, rows[one], outer[one], rows[other], outer[other])

    before = later - 1
    return _CorrelatedParts(
        part(first, first), part(later, later), part(later, before), part(before, before), len(later)
    )


def judge_noise(problem: Problem) -> Noise:
    """How far neighbouring samples share their noise, by likelihood, with its size and q free.

    Slow noise and shape look alike over a short way: judged from the residuals of a fit
    that took samples for independent, part of the noise would already have gone into the shape.
    For the same reason the way may here be smooth at its finest (as scraped and ground ways
    are) or not, whichever is likelier: one that may bend anew at every node takes up slow noise.
    The problem must have been set up `paired`.
    """
    parts = [_correlated_parts(problem, k) for k in range(problem.runs)]
    free = len(problem.rise_um) - problem.runs

    def fitted(point: Array, is_smooth: bool) -> tuple[float, float]:
        normal = parts[0].normal(point[1])
        for part, rho in zip(parts[1:], point[2:], strict=True):
            normal = normal + part.normal(rho)
        solution = solve(problem, normal, 10.0 ** point[0], is_smooth=is_smooth)
        volume = sum(part.following * np.log(1 - rho**2) for part, rho in zip(parts, point[1:], strict=True))
        size = max(solution.misfit, 1e-300) / free
        return free * np.log(size) + solution.volume + volume, size

    decades = _decades(problem)
    starts = [np.r_[d, np.full(problem.runs, rho)] for d in decades[::2] for rho in (0.0, 0.6)]
    bounds = decades[0], decades[-1]
    found = []
    for kind in (False, True):

        def cost(point: Array, kind: bool = kind) -> float:
            return fitted(point, kind)[0]

        found.append((_descend(cost, min(starts, key=cost), bounds), kind))
    point, kind = min(found, key=lambda each: fitted(*each)[0])
    return _noise(point[1:], fitted(point, kind)[1])


def _noise(rho: Array, size: float) -> Noise:
    """Stated noise counts as stated, larger noise as found; what neighbours share comes on top."""
    inflation = tuple(float(np.sqrt(max(1.0, size) + 2 * r / (1 - r) * size)) for r in rho)
    return Noise(tuple(rho.tolist()), inflation, (max(1.0, size) ** 0.5,) * len(rho))


def _descend(cost, start: Array, decades: tuple[float, float]) -> Array:
    """The least cost near `start`, q within its decades, correlations from 0 to the highest."""
    runs = len(start) - 1
    simplex = np.tile(start, (runs + 2, 1))
    simplex[1, 0] += 0.5 if start[0] + 0.5 <= decades[1] else -0.5
    for k in range(runs):
        simplex[k + 2, k + 1] += 0.15
    options = {"initial_simplex": simplex, "xatol": 0.02, "fatol": 0.05, "maxfev": 60 * (runs + 1)}
    bounds = [decades, *[(0.0, HIGHEST_RHO)] * runs]
    return optimize.minimize(cost, start, method="Nelder-Mead", bounds=bounds, options=options).x


def standardised_residuals(problem: Problem, solution: Solution) -> Array:
    """Residuals over the stated uncertainties, shape (samples,)."""
    fitted = problem.design @ solution.height_um + problem.zero @ solution.zero_um_per_m
    return (problem.rise_um - fitted) / problem.sigma_um


def leverage(problem: Problem, solution: Solution, sigma_um: Array) -> Array:
    """How much of each sample its own fitted value takes up, 0 to 1, shape (samples,)."""
    near = solution.factored.inverse_where(problem.pattern)
    inner = np.asarray((problem.design @ near).multiply(problem.design).sum(axis=1)).ravel()
    outer = problem.zero - problem.design @ solution.border
    return (inner + np.sum((outer @ solution.zero_covariance) * outer, axis=1)) / sigma_um**2


def covariance_at(solution: Solution, target: sparse.csr_array) -> Array:
    """Covariance of the heights that `target` makes of the nodes', the pinned height still in it."""
    starts = range(0, target.shape[0], TARGETS_AT_A_TIME)
    parts = [target[k : k + TARGETS_AT_A_TIME].toarray().T for k in starts]
    inner = np.hstack([target @ solution.factored.solve(part) for part in parts])
    outer = target @ solution.border
    return inner + outer @ solution.zero_covariance @ outer.T
