"""Are the readings of a drawn level as independent, and as good, as claimed?

Slow noise and shape look alike over a short way: judged from the residuals of a fit that
took samples for independent, part of the noise would already have gone into the shape.
Noise is therefore judged together with the way, neighbouring samples correlated (a
first-order autoregression), by likelihood.  The heights are afterwards solved for with
independent samples whose uncertainty is inflated to what such noise does to averages.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.special import chdtri

from analysis.level.fit import Normal, Problem, decades_of_q, likeliest, normal_for, product, solve, weighted

Array = NDArray[np.float64]

HIGHEST_RHO = 0.98
MOST_INFLATION = 10.0
"""Slow noise is believed up to so many times the jitter: what is more is the way, a ledge perhaps."""
AS_STATED_ABOVE = 0.05
"""Noise counts as stated where readings like these come at least this often from such noise."""


@dataclass(frozen=True)
class Noise:
    """What the residuals say of the noise of each traverse."""

    rho: tuple[float, ...]
    """Correlation of neighbouring samples' noise, 0 to 0.98."""
    inflation: tuple[float, ...]
    """What to multiply the stated uncertainties by, so that averages get theirs right."""
    size: tuple[float, ...]
    """What to multiply them by for a sample by itself; 1 or more."""


@dataclass(frozen=True, eq=False)
class _CorrelatedParts:
    """The normal equations, split so that any correlation of neighbours is a sum of the parts."""

    bands: Array
    """Of samples that follow none; then for each traverse of the following ones, of these with the
    one before, and of the one before: each laid out in one row."""
    rights: Array
    corners: Array
    shape: tuple[int, ...]
    """Of a band."""
    following: tuple[int, ...]
    """How many samples of each traverse follow another."""

    def normal(self, rho: Array) -> Normal:
        """The normal equations with neighbouring samples of each traverse correlated by `rho`."""
        shares = np.stack([np.ones_like(rho), -rho, rho**2]) / (1 - rho**2)
        share = np.r_[1.0, shares.T.ravel()]
        band = (share @ self.bands).reshape(self.shape, order="F")
        return Normal(band, np.tensordot(share, self.rights, 1), np.tensordot(share, self.corners, 1))

    def volume(self, rho: Array) -> float:
        """Logarithm of the determinant of the noise's correlation."""
        return float(np.array(self.following) @ np.log(1 - rho**2))


def _correlated_parts(problem: Problem) -> _CorrelatedParts:
    rows, outer = weighted(problem, 1 / problem.sigma_um)

    def alone(which: NDArray[np.intp]) -> Normal:
        a, b = rows[which], outer[which]
        return product(problem, a, b, a, b)

    parts = [alone(np.flatnonzero(~problem.follows))]
    following = []
    for run in range(problem.runs):
        later = np.flatnonzero((problem.run_of == run) & problem.follows)
        before = later - 1
        crossed = product(problem, rows[later], outer[later], rows[before], outer[before])
        parts += [alone(later), crossed, alone(before)]
        following.append(len(later))
    return _CorrelatedParts(
        np.stack([part.band.ravel(order="F") for part in parts]),
        np.stack([part.right for part in parts]),
        np.stack([part.corner for part in parts]),
        parts[0].band.shape,
        tuple(following),
    )


def judge_noise(problems: Sequence[Problem]) -> Noise:
    """How far neighbouring samples share their noise, with its size, q and the kind of way free.

    Noise counts as stated unless the readings contradict it: every small correlation found
    by chance would otherwise be added, and none ever taken off.
    The problems must be of the same traverses and have been set up `paired`.
    """
    found = [_likeliest_noise(each, kind) for each in problems for kind in range(len(each.bendings))]
    unlikeliness, rho, size = min(found, key=lambda each: each[0])
    stated = min(likeliest(each, normal_for(each, each.sigma_um)).unlikeliness for each in problems)
    one = problems[0]
    if stated - _free(one) - unlikeliness <= chdtri(one.runs + 1, AS_STATED_ABOVE):
        return as_stated(one.runs)
    return _noise(rho, size)


def _free(problem: Problem) -> int:
    return len(problem.rise_um) - problem.runs


def _jitter(problem: Problem) -> float:
    """By how much neighbouring samples differ, over what independent ones as good as claimed would."""
    later = np.flatnonzero(problem.follows)
    change = (problem.rise_um[later] - problem.rise_um[later - 1]) / problem.sigma_um[later]
    if not len(change):
        return 0.0
    usual = float(np.median(np.abs(change))) / NormalDist().inv_cdf(0.75)  # ledges leave the median alone
    return usual / 2**0.5


def _likeliest_noise(problem: Problem, kind: int) -> tuple[float, Array, float]:
    """−2 log likelihood up to a constant, correlation of each traverse's noise, its size (a variance)."""
    parts, free = _correlated_parts(problem), _free(problem)
    most = MOST_INFLATION**2 * max(1.0, _jitter(problem) ** 2)

    def fitted(point: Array) -> tuple[float, float]:
        solution = solve(problem, parts.normal(point[1:]), 10.0 ** point[0], kind)
        believed = most * np.min((1 - point[1:]) / (1 + point[1:]))
        size = min(max(solution.misfit, 1e-300) / free, believed)
        noise = free * np.log(size) + solution.misfit / size - free
        return noise + solution.volume + parts.volume(point[1:]), size

    def cost(point: Array) -> float:
        return fitted(point)[0]

    decades = decades_of_q(problem, kind)
    starts = [np.r_[d, np.full(problem.runs, rho)] for d in decades[::2] for rho in (0.0, 0.6)]
    point = _descend(cost, min(starts, key=cost), (decades[0], decades[-1]))
    least, size = fitted(point)
    return least, point[1:], size


def as_stated(runs: int) -> Noise:
    """The noise of samples that are independent and as good as claimed."""
    return Noise((0.0,) * runs, (1.0,) * runs, (1.0,) * runs)


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
