"""Are the readings of a drawn level as independent, and as good, as claimed?

Slow noise and shape look alike over a short way: judged from the residuals of a fit that
took readings for independent, part of the noise would already have gone into the shape.
Noise is therefore judged together with the way, neighbouring cells of readings correlated
(a first-order autoregression), by restricted likelihood over a few smoothness priors.

Noise counts as stated unless the readings contradict it: every small correlation found by
chance would otherwise be added, and none ever taken off.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtri

from acquire.model.errors import AnalysisError
from analysis.level.evidence import Evidence, Factor, likeliest
from analysis.level.fit import Problem, normal_for
from analysis.level.smoothness import Stationary

Array = NDArray[np.float64]

CORRELATIONS = (0.0, 0.35, 0.6, 0.8, 0.92, 0.97)
MOST_INFLATION = 10.0
"""Slow noise is believed up to so many times the jitter: what is more is the way, a ledge perhaps."""
AS_STATED_ABOVE = 0.05
"""Noise counts as stated where readings like these come at least this often from such noise."""


@dataclass(frozen=True)
class Noise:
    """What the readings say of their noise, cell by cell."""

    rho: tuple[float, ...]
    """Correlation of the noise of neighbouring cells, for each run."""
    variance_factor: float
    """What to multiply the stated variances by; 1 or more."""
    spacing_mm: float
    """How far apart cells are."""

    @property
    def inflation(self) -> tuple[float, ...]:
        """By what uncertainties of means over long stretches exceed the stated, for each run."""
        return tuple((self.variance_factor * (1 + rho) / (1 - rho)) ** 0.5 for rho in self.rho)

    def between_readings(self, run: int, apart_mm: float) -> tuple[float, float]:
        """Correlation of readings `apart_mm` apart, and their size over the stated.

        Means over long stretches are as uncertain with these as with those of the cells.

        Examples
        --------
        >>> [round(each, 3) for each in Noise((0.25,), 1.0, 2.0).between_readings(0, 1.0)]
        [0.5, 0.745]
        """
        rho = self.rho[run] ** min(apart_mm / self.spacing_mm, 1.0) if self.rho[run] else 0.0
        return rho, self.inflation[run] * ((1 - rho) / (1 + rho)) ** 0.5

    def with_run_like(self, number: int) -> "Noise":
        """The same for one run more, as noisy as run `number` (from 0)."""
        return replace(self, rho=(*self.rho, self.rho[number]))


def as_stated(problem: Problem) -> Noise:
    """The noise of readings that are independent and as good as claimed."""
    return Noise((0.0,) * problem.runs, 1.0, problem.spacing_mm)


def judge_noise(problem: Problem, wavelength_mm: float) -> Noise:
    """How far neighbouring cells share their noise, and its size, with the way free."""
    believed = MOST_INFLATION**2 * max(1.0, _jitter(problem) ** 2)
    judged: dict[tuple[float, ...], Evidence] = {}
    near: dict[Stationary, float | None] = dict.fromkeys(_kinds(wavelength_mm))

    def cost(rho: tuple[float, ...]) -> float:
        if rho not in judged:
            factor = _factor_within(problem.freedom, believed * min((1 - each) / (1 + each) for each in rho))
            judged[rho] = _best(problem, rho, wavelength_mm, factor, near)
        return judged[rho].minus_two_log_likelihood

    none = (0.0,) * problem.runs
    stated = _best(problem, none, wavelength_mm, lambda misfit: 1.0, near).minus_two_log_likelihood
    best = min(((rho,) * problem.runs for rho in CORRELATIONS), key=cost)
    for run in range(problem.runs if problem.runs > 1 else 0):
        best = min(((*best[:run], rho, *best[run + 1 :]) for rho in CORRELATIONS), key=cost)
    if stated - cost(best) <= chdtri(problem.runs + 1, AS_STATED_ABOVE):
        return as_stated(problem)
    return Noise(best, max(1.0, judged[best].variance_factor), problem.spacing_mm)


def _best(
    problem: Problem,
    rho: tuple[float, ...],
    wavelength_mm: float,
    factor: Factor,
    near: dict[Stationary, float | None],
) -> Evidence:
    """The likeliest way where these are the correlations, each kind looked for near where it was last."""
    normal = normal_for(problem, np.array(rho))
    found = []
    for kind, q in near.items():
        one = likeliest(problem, normal, kind, wavelength_mm, factor, q)
        if one is not None:
            near[kind] = one.q
            found.append(one)
    if not found:
        raise AnalysisError(
            "continuous slopes", "no shape fits these readings within rounding", "slopes as a way has them"
        )
    return min(found, key=lambda one: one.minus_two_log_likelihood)


def _kinds(wavelength_mm: float) -> tuple[Stationary, ...]:
    """A few ways unlike each other, to judge noise against."""
    pairs = ((1, 0.2), (2, 0.5), (3, 0.5), (3, 3.0))
    return tuple(Stationary(order, share * wavelength_mm) for order, share in pairs)


def _factor_within(freedom: int, most: float) -> Factor:
    """The likeliest variance factor for a misfit, no larger than what is believed."""
    return lambda misfit: float(np.clip(misfit / freedom, 1e-12, most))


def _jitter(problem: Problem) -> float:
    """By how much neighbouring cells differ, over what independent ones as good as claimed would."""
    later = np.flatnonzero(problem.follows)
    change = (problem.rise_um[later] - problem.rise_um[later - 1]) / problem.sigma_um[later]
    if not len(change):
        return 0.0
    usual = float(np.median(np.abs(change))) / float(ndtri(0.75))  # ledges leave the median alone
    return usual / 2**0.5
