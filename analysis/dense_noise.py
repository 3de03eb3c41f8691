"""Are the readings of a drawn level as independent, and as good, as claimed?

Slow noise and shape look alike over a short way: judged from the residuals of a fit that
took samples for independent, part of the noise would already have gone into the shape.
Noise is therefore judged together with the way, neighbouring samples correlated (a
first-order autoregression), by likelihood.  The heights are afterwards solved for with
independent samples whose uncertainty is inflated to what such noise does to averages.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import optimize
from scipy.special import chdtri

from analysis.dense_fit import Normal, Problem, decades_of_q, likeliest, normal_for, product, solve, weighted

Array = NDArray[np.float64]

HIGHEST_RHO = 0.98
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
    rows, outer = weighted(problem, 1 / problem.sigma_um)
    mine = problem.run_of == run
    first, later = np.flatnonzero(mine & ~problem.follows), np.flatnonzero(mine & problem.follows)

    def part(one, other) -> Normal:
        if one is other:
            a, b = rows[one], outer[one]
            return product(problem, a, b, a, b)
        return product(problem, rows[one], outer[one], rows[other], outer[other])

    before = later - 1
    return _CorrelatedParts(
        part(first, first), part(later, later), part(later, before), part(before, before), len(later)
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


def _likeliest_noise(problem: Problem, kind: int) -> tuple[float, Array, float]:
    """−2 log likelihood up to a constant, correlation of each traverse's noise, its size (a variance)."""
    parts = [_correlated_parts(problem, k) for k in range(problem.runs)]
    free = _free(problem)

    def fitted(point: Array) -> tuple[float, float]:
        normal = parts[0].normal(point[1])
        for part, rho in zip(parts[1:], point[2:], strict=True):
            normal = normal + part.normal(rho)
        solution = solve(problem, normal, 10.0 ** point[0], kind)
        volume = sum(part.following * np.log(1 - rho**2) for part, rho in zip(parts, point[1:], strict=True))
        size = max(solution.misfit, 1e-300) / free
        return free * np.log(size) + solution.volume + volume, size

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
