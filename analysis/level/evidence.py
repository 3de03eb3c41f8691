"""How well priors explain the readings: −2 log likelihood over variances in quarter decades."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from analysis.level.fit import Normal, Problem, Solution, bounds_of_q, solve
from analysis.level.smoothness import Kind, Prior

Array = NDArray[np.float64]

STEPS_PER_DECADE = 2
"""Of q, a variance: quarter decades of the amplitude."""
FINE_STEPS_PER_DECADE = 4
"""Where the likeliest alone counts. Between half decades −2 log likelihood is higher by up to 14: chance
would then say which of several correlations of the noise is the likeliest."""
COARSE_PER_DECADE = 0.5
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

    It is looked for step by step about `near_q`, or from the middle on in wide steps first; then
    between the steps, where a parabola through the least and its neighbours has its lowest.
    """
    cost = _Costs(problem, normal, kind, wavelength_mm, factor, FINE_STEPS_PER_DECADE)
    if not cost.lattice:
        return None
    if near_q is None:
        best = cost.lowest_from(len(cost.lattice) // 2)
    else:
        start = int(np.argmin(np.abs(np.log(cost.lattice) - np.log(near_q))))
        best = cost.lowest_from(start, is_near=True)
    return cost.between(best)


def lowest_of_parabola(at: ArrayLike, cost: ArrayLike) -> tuple[float, float]:
    """Where the parabola through three points is lowest, and how low; not beyond the points.

    Examples
    --------
    >>> [round(each, 9) for each in lowest_of_parabola([0.0, 1.0, 2.0], [1.0, 0.5, 1.0])]
    [1.0, 0.5]
    """
    where, values = np.asarray(at, dtype=np.float64), np.asarray(cost, dtype=np.float64)
    least = int(np.argmin(values))
    unit = float(np.ptp(where))
    at_0, at_1, at_2 = (where - where[least]) / unit
    rise, further = np.diff(values) / (at_1 - at_0, at_2 - at_1)
    bend = (further - rise) / (at_2 - at_0)
    slope = rise - bend * (at_0 + at_1)
    if bend <= 0:
        return float(where[least]), float(values[least])
    off = float(np.clip(-slope / (2 * bend), *((where[[0, -1]] - where[least]) / unit)))
    return float(where[least] + off * unit), float(values[least] + (bend * off + slope) * off)


class _Costs:
    """−2 log likelihood of one prior at the steps of a lattice of variances, each worked out once."""

    def __init__(
        self,
        problem: Problem,
        normal: Normal,
        kind: Kind,
        wavelength_mm: float,
        factor: Factor,
        steps_per_decade: int = STEPS_PER_DECADE,
    ) -> None:
        self.lattice = _lattice(problem, kind, wavelength_mm, steps_per_decade)
        self._coarse = round(steps_per_decade / COARSE_PER_DECADE)
        self._kind, self._prior = kind, kind.on(problem.node_mm)
        self._given, self._factor = (problem, normal), factor
        self._at: dict[int, tuple[float, float]] = {}

    def __call__(self, step: int) -> float:
        if not 0 <= step < len(self.lattice):
            return np.inf
        if step not in self._at:
            self._at[step] = _cost(*self._given, self._prior, self.lattice[step], self._factor)
        return self._at[step][0]

    def lowest_from(self, start: int, is_near: bool = False) -> int:
        """The lowest step of the valley."""
        best = start
        for wide in (1,) if is_near else (self._coarse, 1):
            while self(lower := min((best - wide, best + wide), key=self)) < self(best):
                best = lower
        return best

    def between(self, best: int) -> Evidence | None:
        """The lowest of the valley, between the steps about the lowest of them."""
        at = self._evidence(best)
        three = [best - 1, best, best + 1]
        if at is None or not np.all(np.isfinite([self(step) for step in three])):
            return at
        logs = np.log([self.lattice[step] for step in three])
        where, low = lowest_of_parabola(logs, [self(step) for step in three])
        factors = np.log([self._at[step][1] for step in three])
        return replace(
            at,
            q=float(np.exp(where)),
            minus_two_log_likelihood=low,
            variance_factor=float(np.exp(np.interp(where, logs, factors))),
        )

    def _evidence(self, step: int) -> Evidence | None:
        cost, factor = self(step), self._at.get(step, (np.inf, 1.0))[1]
        return (
            Evidence(self._kind, self._prior, self.lattice[step], cost, factor) if np.isfinite(cost) else None
        )

    def found(self) -> list[Evidence]:
        """All that was worked out and could be."""
        return [one for step in sorted(self._at) if (one := self._evidence(step)) is not None]


def _cost(problem: Problem, normal: Normal, prior: Prior, q: float, factor: Factor) -> tuple[float, float]:
    """−2 log likelihood, and the variance factor of the noise that it was taken at."""
    try:
        solution: Solution = solve(problem, normal, prior, q)
    except linalg.LinAlgError:  # rounding: such a prior has no say
        return np.inf, 1.0
    noise = factor(solution.misfit)
    return solution.minus_two_log_likelihood(problem.freedom, noise), noise


def _lattice(problem: Problem, kind: Kind, wavelength_mm: float, steps_per_decade: int) -> list[float]:
    """Variances from a shape that can hardly be told to one rougher than the readings."""
    sigma = problem.usual_sigma_um
    length = float(problem.node_mm[-1] - problem.node_mm[0])
    chained = sigma * (length / wavelength_mm * problem.spacing_mm / wavelength_mm) ** 0.5
    rise = sigma + problem.scatter_of_rises_um * max(length / wavelength_mm, 1.0)
    low, high = (SMALLEST_SHAPE * chained) ** 2, (1e3 * rise) ** 2
    unit, bounds = kind.variance_over(length), bounds_of_q(problem, kind, wavelength_mm)
    steps = np.arange(
        np.floor(steps_per_decade * np.log10(max(low / unit, bounds[0]))),
        np.ceil(steps_per_decade * np.log10(min(high / unit, bounds[1]))) + 1,
    )
    return (10.0 ** (steps / steps_per_decade)).tolist()
