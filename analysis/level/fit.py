"""The sums behind the heights from dense slopes: one sparse least-squares problem, solved in bands.

The unknowns are the heights at the nodes and, for every traverse but the first, its zero
(the first zero cannot be told from the tilt of the whole).  The height of the whole is
pinned at one node, which changes nothing else.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, sparse

from acquire.model.errors import AnalysisError
from analysis.level.bending import ANEW, Bending, Kind, bending, gradual, textured
from analysis.level.slopes import DenseTraverse, difference_weights, nodes_for
from analysis.linear.banded import BandFactor, Places, factor, narrowest, to_band, width

Array = NDArray[np.float64]

GAP = 3.0
"""Samples farther apart than this many usual spacings count as independent."""
MOST_BAND_ENTRIES = 40_000_000
TARGETS_AT_A_TIME = 64
NODES_PER_BASE = 20
"""How closely the nodes of a way that bends gradually stand."""
COMPUTABLE = 1e11
"""By how much one part of the problem may outweigh another before rounding tells."""
ROUNDING = 3e-14
"""Added to the diagonal, in parts of it: no more than rounding does, and the factor exists for sure."""
REFINED_TIMES = 3
SEEN = 40.0
"""Bending by which the bow of a way is on average as large as the readings can tell, σ²/(n·base²·length)."""
LONG_BED = 10.0
"""From how many bases on the readings say ever less of the longest shapes."""


@dataclass(frozen=True, eq=False)
class Problem:
    """The traverses as one least-squares problem on the nodes, uncertainties as stated."""

    node_mm: Array
    longest_base_mm: float
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
    bendings: tuple[Bending, ...]
    """The kinds of way that are tried."""
    costs: tuple[Array, ...]
    """What shapes cost in each, as bands."""

    @property
    def spacing_mm(self) -> float:
        """Distance between nodes, in mm."""
        return float(self.node_mm[1] - self.node_mm[0])

    @property
    def runs(self) -> int:
        """How many traverses there are."""
        return self.zero.shape[1] + 1

    @property
    def band_width(self) -> int:
        """How far from its diagonal the normal matrix reaches."""
        return self.costs[0].shape[0] - 1


@dataclass(frozen=True, eq=False)
class Normal:
    """The data's part of the normal equations, which does not change with q."""

    band: Array
    """AᵀWA as a band."""
    right: Array
    """AᵀW[d, zeros], shape (nodes, traverses)."""
    corner: Array
    """[d, zeros]ᵀW[d, zeros], shape (traverses, traverses)."""


@dataclass(frozen=True, eq=False)
class Solution:
    """The heights at the nodes for one q."""

    q: float
    height_um: Array
    bending: Bending
    """What the way was taken to be like."""
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

    @property
    def unlikeliness(self) -> float:
        """−2 log marginal likelihood, up to a number that hangs on the traverses alone."""
        return self.misfit + self.volume


def _follows(traverses: Sequence[DenseTraverse]) -> NDArray[np.bool_]:
    """Which samples stand within a few usual spacings of the one before."""
    steps = [np.diff(run.station_mm) for run in traverses]
    return np.concatenate([np.r_[False, step <= GAP * max(float(np.median(step)), 1e-9)] for step in steps])


def _pattern(
    design: sparse.csr_array, costs: Sequence[sparse.coo_array], paired: NDArray[np.intp] | None
) -> sparse.coo_array:
    """Where the normal matrix may have entries; `paired` samples may be correlated with the one before."""
    reach = abs(design)
    pair = reach if paired is None else reach[paired] + reach[paired - 1]
    return sparse.coo_array(sum((abs(each) for each in costs), start=reach.T @ reach + pair.T @ pair))


def problems_for(
    traverses: Sequence[DenseTraverse], spacing_mm: float, *, paired: bool = False
) -> tuple[Problem, Problem]:
    """The problem on nodes `spacing_mm` apart, and that of a way that bends gradually, on wider ones.

    Such a way needs no fine nodes, and on these its stiffness could not be computed with.
    """
    shortest_mm = min(run.base_mm for run in traverses)
    kinds = (ANEW, textured(shortest_mm)), (gradual(shortest_mm),)
    fine, wide = (
        problem_for(traverses, spacing_of(some[-1], traverses, spacing_mm), some, paired=paired)
        for some in kinds
    )
    return fine, wide


def spacing_of(kind: Kind, traverses: Sequence[DenseTraverse], spacing_mm: float) -> float:
    """Distance between nodes for a kind of way: wider than `spacing_mm` where it bends gradually."""
    if kind.times < 2:
        return spacing_mm
    longest_mm = max(run.base_mm for run in traverses)
    wanted_mm = max(min(run.base_mm for run in traverses) / NODES_PER_BASE, spacing_mm)
    return longest_mm / max(round(longest_mm / wanted_mm), 1)


def problem_for(
    traverses: Sequence[DenseTraverse],
    spacing_mm: float,
    kinds: Sequence[Kind] = (ANEW,),
    *,
    paired: bool = False,
) -> Problem:
    """Set up the problem on nodes `spacing_mm` apart; `paired` leaves room for correlated neighbours.

    Raises
    ------
    AnalysisError
        If the normal matrix would be too large even in its narrowest order.

    Examples
    --------
    >>> from analysis.level.slopes import dense_traverse
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
    bendings = tuple(bending(kind, len(node), spacing_mm) for kind in kinds)
    follows = _follows(traverses)
    pattern = _pattern(design, [each.cost for each in bendings], np.flatnonzero(follows) if paired else None)
    place = narrowest(pattern, sorted({round(run.base_mm / spacing_mm) for run in traverses}))
    rows = width(pattern, place)
    _refuse_too_large(len(node), rows, spacing_mm)
    return Problem(
        node_mm=node,
        longest_base_mm=max(run.base_mm for run in traverses),
        design=design,
        rise_um=base_m * (slope - traverses[0].slope_um_per_m.mean()),
        sigma_um=sigma,
        run_of=run_of,
        follows=follows,
        zero=base_m[:, None] * (run_of[:, None] == np.arange(1, len(traverses))),
        pattern=pattern,
        place=place,
        bendings=bendings,
        costs=tuple(to_band(each.cost, place, rows) for each in bendings),
    )


def _refuse_too_large(nodes: int, rows: int, spacing_mm: float) -> None:
    if nodes * (rows + 1) > MOST_BAND_ENTRIES:
        raise AnalysisError(
            "dense slopes",
            f"{nodes} nodes {spacing_mm:g} mm apart need {nodes * (rows + 1) / 1e6:.0f} million numbers",
            f"at most {MOST_BAND_ENTRIES / 1e6:.0f} million",
            "bin the samples to 1 or 2 mm, or set the nodes wider apart",
        )


def product(problem: Problem, one: sparse.csr_array, one_outer: Array, other, other_outer) -> Normal:
    """The symmetric product of two sets of weighted rows, as a part of the normal equations."""
    matrix = one.T @ other
    right, corner = one.T @ other_outer, one_outer.T @ other_outer
    if one is not other:
        matrix, corner = matrix + matrix.T, corner + corner.T
        right = right + other.T @ one_outer
    return Normal(to_band(sparse.coo_array(matrix), problem.place, problem.band_width), right, corner)


def weighted(problem: Problem, weight: Array) -> tuple[sparse.csr_array, Array]:
    """Rows of the design and of [d, zeros], each multiplied by its weight."""
    outer = np.column_stack([problem.rise_um, problem.zero])
    return sparse.csr_array(sparse.diags_array(weight) @ problem.design), outer * weight[:, None]


def normal_for(problem: Problem, sigma_um: Array) -> Normal:
    """The normal equations of independent samples with the given uncertainties."""
    rows, outer = weighted(problem, 1 / sigma_um)
    return product(problem, rows, outer, rows, outer)


def solve(problem: Problem, normal: Normal, q: float, kind: int = 0) -> Solution:
    """The heights and zeros for one q and one of the kinds of way, with what the likelihood needs.

    The pin on the middle node is as heavy as all samples together: it only fixes the
    height of the whole.
    """
    band = normal.band + problem.costs[kind] / q
    band[0, problem.place[len(problem.node_mm) // 2]] += _pin(problem)
    band[0] *= 1 + ROUNDING
    factored = factor(band, problem.place)
    inner = factored.solve(normal.right)
    schur = normal.corner - normal.right.T @ inner
    zero_covariance: Array = np.linalg.inv(schur[1:, 1:]).astype(np.float64)
    zero = zero_covariance @ schur[1:, 0]
    curvatures = len(problem.node_mm) - 2
    volume = factored.log_determinant() + curvatures * np.log(q) + problem.bendings[kind].volume
    # height and tilt are free by the mm, not by the node
    volume += 2 * np.log(problem.spacing_mm)
    return Solution(
        q=q,
        bending=problem.bendings[kind],
        height_um=inner[:, 0] - inner[:, 1:] @ zero,
        zero_um_per_m=zero,
        factored=factored,
        border=inner[:, 1:],
        zero_covariance=zero_covariance,
        misfit=float(schur[0, 0] - schur[1:, 0] @ zero),
        volume=float(volume - np.linalg.slogdet(zero_covariance)[1]),
    )


def _pin(problem: Problem) -> float:
    return float(np.sum(problem.sigma_um**-2))


def refined(problem: Problem, sigma_um: Array, solution: Solution) -> Solution:
    """The same with what rounding took from the heights put back.

    A bed that drops by millimetres would else be off by more than its uncertainty: the
    equations themselves, unlike their product, are met to the last digit.
    """
    height, zero = solution.height_um, solution.zero_um_per_m
    root, middle = solution.bending.root, len(height) // 2
    for _ in range(REFINED_TIMES):
        left = (problem.rise_um - problem.design @ height - problem.zero @ zero) / sigma_um**2
        pull = problem.design.T @ left - root.T @ (root @ height) / solution.q
        pull[middle] -= _pin(problem) * height[middle]
        change = solution.zero_covariance @ (problem.zero.T @ left - solution.border.T @ pull)
        zero = zero + change
        height = height + solution.factored.solve(pull) - solution.border @ change
    return replace(solution, height_um=height, zero_um_per_m=zero)


def likeliest(problem: Problem, normal: Normal) -> Solution:
    """The solution with the likeliest q, of the likeliest of the problem's kinds of way."""
    found = [_likeliest_of(problem, normal, kind) for kind in range(len(problem.bendings))]
    return min(found, key=lambda solution: solution.unlikeliness)


def _likeliest_of(problem: Problem, normal: Normal, kind: int) -> Solution:
    """The best of a coarse round over decades, then refined."""

    def cost(decade: float) -> float:
        return solve(problem, normal, 10.0**decade, kind).unlikeliness

    coarse = decades_of_q(problem, kind)
    best = int(np.argmin([cost(decade) for decade in coarse]))
    bounds = (coarse[max(best - 1, 0)], coarse[min(best + 1, len(coarse) - 1)])
    found = optimize.minimize_scalar(cost, bounds=bounds, method="bounded", options={"xatol": 0.01})
    return solve(problem, normal, 10.0**found.x, kind)


def decades_of_q(problem: Problem, kind: int) -> Array:
    """log₁₀ q from a way whose bow could just be seen to one rougher than the readings.

    Below that a way would be called straight more surely than its readings can tell.
    Rounding sets limits too: the stiffest shape of a way must not drown what the readings
    say of the longest, nor may the readings drown the cost of what they cannot see, a
    ripple as long as the base.
    """
    sigma, spacing = float(np.median(problem.sigma_um)), problem.spacing_mm
    length, base = problem.node_mm[-1] - problem.node_mm[0], problem.longest_base_mm
    rise = sigma + float(np.std(problem.rise_um))
    longest = min(1.0, (LONG_BED * base / length) ** 2)
    ripple = (2 * np.pi * spacing / base) ** 4 / spacing**3
    lowest = max(
        SEEN * sigma**2 / (len(problem.rise_um) * base**2 * length),
        problem.bendings[kind].stiffest * sigma**2 / (COMPUTABLE * longest),
    )
    highest = min(100 * rise**2 / spacing**3, ripple * sigma**2 * COMPUTABLE)
    decades = np.log10([lowest, max(highest, 10 * lowest)])
    return np.linspace(decades[0], decades[1], int(np.ceil(decades[1] - decades[0])) + 1)


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
