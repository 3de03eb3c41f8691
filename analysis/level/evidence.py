"""How well priors explain the readings: −2 log likelihood over variances in quarter decades."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg

from analysis.level.fit import Normal, Problem, Solution, bounds_of_q, solve
from analysis.level.smoothness import Kind, Prior

Array = NDArray[np.float64]

STEPS_PER_DECADE = 2
"""Of q, a variance: quarter decades of the amplitude."""
COARSE = 4
NOTHING_LEFT = 16.0
"""Where −2 log likelihood exceeds the least by so much, a prior has no say."""
SMALLEST_SHAPE = 0.3
"""Least amplitude tried, in parts of what the readings can tell of a height a length away."""

Factor = Callable[[float], float]
"""From the misfit to the variance factor of the noise."""


@dataclass(frozen=True, eq=False)
class Evidence:
    """One prior, one variance, and how well they explain the readings."""

    kind: Kind
    prior: Prior
    q: float
    """In units of the noise's variance factor."""
    minus_two_log_likelihood: float
    variance_factor: float
    """Of the noise."""


def evidence_for(
    problem: Problem, normal: Normal, kind: Kind, wavelength_mm: float, factor: Factor
) -> list[Evidence]:
    """The variances of one prior that have a say, on a lattice of half decades.

    Likelihood has one valley: it is walked down, in wide steps first, then up both sides
    until nothing is left.
    """
    cost = _Costs(problem, normal, kind, wavelength_mm, factor)
    if not cost.lattice:
        return []
    best = cost.lowest_from(len(cost.lattice) // 2)
    for way in (-1, 1):
        step = best + way
        while cost(step) < cost(best) + NOTHING_LEFT:
            step += way
    return cost.found()


def likeliest(
    problem: Problem,
    normal: Normal,
    kind: Kind,
    wavelength_mm: float,
    factor: Factor,
    near_q: float | None = None,
) -> Evidence | None:
    """The likeliest variance of one prior; None where none can be computed.

    It is looked for step by step about `near_q`, or from the middle on in wide steps first.
    """
    cost = _Costs(problem, normal, kind, wavelength_mm, factor)
    if not cost.lattice:
        return None
    if near_q is None:
        cost.lowest_from(len(cost.lattice) // 2)
    else:
        cost.lowest_from(int(np.argmin(np.abs(np.log(cost.lattice) - np.log(near_q)))), steps=(1,))
    return min(cost.found(), key=lambda one: one.minus_two_log_likelihood, default=None)


class _Costs:
    """−2 log likelihood of one prior at the steps of a lattice of variances, each worked out once."""

    def __init__(
        self, problem: Problem, normal: Normal, kind: Kind, wavelength_mm: float, factor: Factor
    ) -> None:
        self.lattice = _lattice(problem, kind, wavelength_mm)
        self._kind, self._prior = kind, kind.on(problem.node_mm)
        self._given, self._factor = (problem, normal), factor
        self._at: dict[int, tuple[float, float]] = {}

    def __call__(self, step: int) -> float:
        if not 0 <= step < len(self.lattice):
            return np.inf
        if step not in self._at:
            self._at[step] = _cost(*self._given, self._prior, self.lattice[step], self._factor)
        return self._at[step][0]

    def lowest_from(self, start: int, steps: Sequence[int] = (COARSE, 1)) -> int:
        """The lowest step of the valley."""
        best = start
        for wide in steps:
            while self(lower := min((best - wide, best + wide), key=self)) < self(best):
                best = lower
        return best

    def found(self) -> list[Evidence]:
        """All that was worked out and could be."""
        return [
            Evidence(self._kind, self._prior, self.lattice[step], cost, factor)
            for step, (cost, factor) in sorted(self._at.items())
            if np.isfinite(cost)
        ]


def _cost(problem: Problem, normal: Normal, prior: Prior, q: float, factor: Factor) -> tuple[float, float]:
    """−2 log likelihood, and the variance factor of the noise that it was taken at."""
    try:
        solution: Solution = solve(problem, normal, prior, q)
    except linalg.LinAlgError:  # rounding: such a prior has no say
        return np.inf, 1.0
    noise = factor(solution.misfit)
    return solution.minus_two_log_likelihood(problem.freedom, noise), noise


def _lattice(problem: Problem, kind: Kind, wavelength_mm: float) -> list[float]:
    """Variances from a shape that can hardly be told to one rougher than the readings."""
    sigma = problem.usual_sigma_um
    length = float(problem.node_mm[-1] - problem.node_mm[0])
    chained = sigma * (length / wavelength_mm * problem.spacing_mm / wavelength_mm) ** 0.5
    rise = sigma + problem.scatter_of_rises_um * max(length / wavelength_mm, 1.0)
    low, high = (SMALLEST_SHAPE * chained) ** 2, (1e3 * rise) ** 2
    return _within(kind, low, high, bounds_of_q(problem, kind, wavelength_mm), length)


def _within(kind: Kind, low: float, high: float, bounds: tuple[float, float], length: float) -> list[float]:
    unit = kind.variance_over(length)
    steps = np.arange(
        np.floor(STEPS_PER_DECADE * np.log10(max(low / unit, bounds[0]))),
        np.ceil(STEPS_PER_DECADE * np.log10(min(high / unit, bounds[1]))) + 1,
    )
    return (10.0 ** (steps / STEPS_PER_DECADE)).tolist()
