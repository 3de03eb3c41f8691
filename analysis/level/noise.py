"""Are the readings of a drawn level as independent, and as good, as claimed?

Slow noise and shape look alike over a short way: judged from the residuals of a fit that
took readings for independent, part of the noise would already have gone into the shape.
Noise is therefore judged together with the way, neighbouring cells of readings correlated
(a first-order autoregression), by restricted likelihood over a few smoothness priors.  How
surely that tells the correlation is counted (`Noise.doubt`): a texture of the way may hide it.

Noise counts as stated unless the readings contradict it: every small correlation found by
chance would otherwise be added, and none ever taken off.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtri, ndtri

from acquire.model.errors import AnalysisError
from analysis.level.evidence import Evidence, Factor, likeliest
from analysis.level.fit import Problem, normal_for
from analysis.level.smoothness import Stationary

Array = NDArray[np.float64]

CORRELATIONS = (0.0, 0.2, 0.4, 0.6, 0.8, 0.92, 0.97)
"""Looked at first, about evenly far apart by what they do to means (artanh); then between the likeliest:
picked from a list alone, ρ = 0.15 is now 0 and now 0.35, and means 15 % too sure or 30 % too unsure."""
FIRST = 0.4
"""Of these, looked at first; then its neighbours, until none is likelier (of 259 invented surveys, of all
kinds of ways and up to three runs, that ended where trying all of them does)."""
MOST_INFLATION = 10.0
"""Slow noise is believed up to so many times the jitter: what is more is the way, a ledge perhaps."""
UNLIKELY = 1.0
"""Beforehand, noise that makes the variance of long means k times larger is 1/k, to this power, as likely.
Where a rough way hides all of the noise but its jitter, readings alone would allow any correlation."""
TURNS = 10_000
"""Correlations averaged over, evenly far apart by artanh."""
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
    doubt: float = 1.0
    """By what variances are larger on average because the correlations are not quite known; 1 or more."""

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
        return rho, self.inflation[run] * (self.doubt * (1 - rho) / (1 + rho)) ** 0.5

    def with_run_like(self, number: int) -> "Noise":
        """The same for one run more, as noisy as run `number` (from 0)."""
        return replace(self, rho=(*self.rho, self.rho[number]))


def as_stated(problem: Problem) -> Noise:
    """The noise of readings that are independent and as good as claimed."""
    return Noise((0.0,) * problem.runs, 1.0, problem.spacing_mm)


def judge_noise(problem: Problem, wavelength_mm: float) -> Noise:
    """How far neighbouring cells share their noise, and its size, with the way free."""
    believed = MOST_INFLATION**2 * max(1.0, jitter(problem) ** 2)
    judged: dict[tuple[float, ...], Evidence] = {}
    near: dict[Stationary, float | None] = dict.fromkeys(_kinds(wavelength_mm))

    def cost(rho: tuple[float, ...]) -> float:
        if rho not in judged:
            factor = _factor_within(problem.freedom, believed * min((1 - each) / (1 + each) for each in rho))
            judged[rho] = _best(problem, rho, wavelength_mm, factor, near)
        return judged[rho].minus_two_log_likelihood

    def unlikelihood(rho: tuple[float, ...]) -> float:
        likelihood, factor = cost(rho), max(1.0, judged[rho].variance_factor)
        return likelihood + 2 * UNLIKELY * float(np.sum(np.log(factor * _of_means(np.array(rho)))))

    best, every = (FIRST,) * problem.runs, range(problem.runs)
    for alike in (every, *((run,) for run in every)):  # all runs together, then each by itself
        while (other := min(_nearby(best, alike), key=unlikelihood)) != best:
            best = other
    none = (0.0,) * problem.runs
    stated = _best(problem, none, wavelength_mm, lambda misfit: 1.0, near).minus_two_log_likelihood
    if stated - min(each.minus_two_log_likelihood for each in judged.values()) <= chdtri(
        problem.runs + 1, AS_STATED_ABOVE
    ):
        return as_stated(problem)
    rho, doubt = best, []
    for run in range(problem.runs):
        costs = [cost(each) for each in _nearby(best, (run,))]
        own = int(np.sum(problem.run_of == run))
        between, uncertain = likely_correlation(_about(best[run]), costs, own, len(problem.run_of))
        rho = _with(rho, (run,), between)
        doubt.append(uncertain)
    rho = min((best, rho), key=unlikelihood)
    return Noise(rho, max(1.0, judged[rho].variance_factor), problem.spacing_mm, float(np.mean(doubt)))


def _with(rho: tuple[float, ...], runs: Sequence[int], other: float) -> tuple[float, ...]:
    return tuple(other if run in runs else each for run, each in enumerate(rho))


def _nearby(rho: tuple[float, ...], runs: Sequence[int]) -> list[tuple[float, ...]]:
    """The same, and with its neighbours in the list for some runs, which have one in common."""
    return [_with(rho, runs, other) for other in _about(rho[runs[0]])]


def _of_means(rho: Array) -> Array:
    """Variance of means over long stretches, over that of independent readings."""
    return (1 + rho) / (1 - rho)


def _about(rho: float) -> tuple[float, ...]:
    """A correlation in the list and its neighbours there, three."""
    first = min(max(CORRELATIONS.index(rho) - 1, 0), len(CORRELATIONS) - 3)
    return CORRELATIONS[first : first + 3]


def likely_correlation(
    three: Sequence[float], costs: Sequence[float], own: int, cells: int
) -> tuple[float, float]:
    """The likeliest correlation about three, and by what variances of means exceed its own on average.

    Of an autoregression without a way the likeliest variance factor is a parabola in ρ over 1 − ρ², and
    −2 log likelihood is N·log of it + n·log(1 − ρ²) where n cells of N have that ρ (derived); both are
    taken so here.  Beforehand every artanh ρ that the list spans is as likely as `UNLIKELY` has it.

    Parameters
    ----------
    three, costs : sequence of float
        Correlations, and −2 log likelihood of each.
    own, cells : int
        How many cells have that correlation, and how many there are.

    Examples
    --------
    Of 400 cells with ρ = 0.5, and of 40:

    >>> three = np.array([0.4, 0.6, 0.8])
    >>> for n in (400, 40):
    ...     costs = n * np.log(1.25 - three + (three - 0.5) ** 2 + three - 0.5)
    ...     print([round(each, 2) for each in likely_correlation(three, costs, n, n)])
    [0.49, 1.04]
    [0.44, 1.36]
    """
    rho = np.asarray(three, dtype=np.float64)
    free = np.log1p(-(rho**2))
    seen = np.exp((np.array(costs) - np.min(costs) - own * free) / cells + free)
    parabola = np.polyfit(rho, seen, 2)
    span = np.arctanh(CORRELATIONS if parabola[0] > 0 else rho)
    every = np.tanh(np.linspace(span[0], span[-1], TURNS))
    factor = np.maximum(np.polyval(parabola, every), seen.min() / 2) / (1 - every**2)
    means = factor * _of_means(every)
    half = -(cells * np.log(factor) + own * np.log1p(-(every**2))) / 2 - UNLIKELY * np.log(means)
    weight, likeliest_one = np.exp(half - half.max()), int(np.argmax(half))
    mean = float(weight @ means / weight.sum() / means[likeliest_one])
    return float(every[likeliest_one]), max(1.0, mean)


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


def jitter(problem: Problem) -> float:
    """By how much neighbouring cells differ, over what independent ones as good as claimed would."""
    later = np.flatnonzero(problem.follows)
    change = (problem.rise_um[later] - problem.rise_um[later - 1]) / problem.sigma_um[later]
    if not len(change):
        return 0.0
    usual = float(np.median(np.abs(change))) / float(ndtri(0.75))  # ledges leave the median alone
    return usual / 2**0.5
