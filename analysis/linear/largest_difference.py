"""The largest difference between any two places of a result, with an interval that holds for it.

The largest of many noisy differences is too large: of a bed without any twist, read at 21
stations, it is nearly four standard uncertainties on average.  So it is held against what noise
alone would show (R the difference found, e the error, u its standard uncertainty):

- R ≤ Q95, the range that noise alone exceeds once in twenty: nothing was seen, the interval
  reaches from 0 to R + 2·u(difference).
- Otherwise upwards R + 2·u(difference), since the pair that differs most in truth was read as
  no more than R; and downwards R − Q97.5 of the largest e_i − e_j over the pairs that may be the
  largest in truth, since R was read of one of these.

Derived; simulated in `tests/benchmarks/largest_difference.py`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.linear.profile import COVERAGE_FACTOR, error_draws

Groups = Sequence[tuple[NDArray, NDArray]]
"""Pairs as (places that may be the higher, places that may be the lower)."""
CHANCE_OF_ALARM = 0.05
"""Share of results without any difference in which one would be said to be seen."""
BEYOND = 0.025
"""Share of intervals that may end too high (or too low)."""
MAY_BE_LARGEST = 3.0
"""Places within so many standard uncertainties (of a difference) of an extreme may be the extreme."""
POWER = 0.8
BISECTIONS = 12
"""Of four times what would be seen: to a thousandth of that."""


@dataclass(frozen=True)
class LargestDifference:
    """The largest difference as read, the interval for the true one, and what would have been seen."""

    value: float
    interval: tuple[float, float]
    """Holds the true largest difference in 95 % of results or more."""
    is_seen: bool
    """Whether noise alone would show as much in fewer than one result in twenty."""
    highest: int
    lowest: int
    """The pair that it was read of."""

    @property
    def expanded(self) -> float:
        """The interval as a ±: the greater of its two sides."""
        return max(self.value - self.interval[0], self.interval[1] - self.value)


def largest_difference(value: NDArray, covariance: NDArray, near: NDArray | None = None) -> LargestDifference:
    """Find the largest difference between two places, and how well it is known.

    Parameters
    ----------
    value : array, shape (n,)
        Along the bed, rising.
    covariance : array, shape (n, n)
        Joint covariance; only differences need to mean anything.
    near : array of bool, shape (n, n), optional
        Which two places count as a pair; all by default.

    Examples
    --------
    Two places 10 apart, each known to 1: the difference is known to √2.

    >>> found = largest_difference(np.array([0.0, 10.0]), np.eye(2))
    >>> found.value, [round(end) for end in found.interval]
    (10.0, [7, 13])
    """
    value = np.asarray(value, float)
    noise = error_draws(covariance)
    pairs = _all_pairs(len(value), near)
    spread = _spread(covariance)
    high, low = _largest_pair(value, pairs)
    found = float(value[high] - value[low])
    widest = float(_widest(spread, pairs))
    seen_from = float(np.quantile(_largest(noise, pairs), 1 - CHANCE_OF_ALARM))
    is_seen = found > max(seen_from, 1e3 * np.finfo(float).eps * float(np.max(np.abs(value), initial=0.0)))
    interval = 0.0, found + COVERAGE_FACTOR * widest
    if is_seen:
        likely = _may_be_largest(value, found, widest, pairs, near is None)
        below = float(np.quantile(_largest(noise, likely), 1 - BEYOND))
        interval = (
            min(max(found - below, 0.0), found),
            found + COVERAGE_FACTOR * float(_widest(spread, likely)),
        )
    return LargestDifference(found, interval, is_seen, high, low)


def detectable_difference(covariance: NDArray) -> float:
    """The largest difference that would have been seen four times in five.

    Of a steady change from end to end and of one place apart from the rest, whichever has to
    be larger.

    Examples
    --------
    Among ten places, each known to 1, a difference of 4 is seen; 2 is lost in the noise:

    >>> 3.5 < detectable_difference(np.eye(10)) < 4.5
    True
    """
    count = len(covariance)
    noise = error_draws(covariance)
    seen_from = float(np.quantile(np.ptp(noise, axis=1), 1 - CHANCE_OF_ALARM))
    alone = np.zeros(count)
    alone[int(np.argmax(np.diag(covariance) - 2 * covariance.mean(axis=0)))] = 1.0
    return max(_seen_from(noise, shape, seen_from) for shape in (np.linspace(0, 1, count), alone))


def _all_pairs(count: int, near: NDArray | None) -> Groups:
    everywhere = np.arange(count)
    if near is None:
        return [(everywhere, everywhere)]
    return [(np.array([i]), np.flatnonzero(near[i])) for i in range(count)]


def _spread(covariance: NDArray) -> NDArray[np.float64]:
    """Standard uncertainty of the difference of any two places, shape (n, n)."""
    variance = np.diag(covariance)
    return np.sqrt(np.clip(variance[:, None] + variance[None, :] - 2 * covariance, 0.0, None))


def _largest_pair(value: NDArray, pairs: Groups) -> tuple[int, int]:
    best = max(pairs, key=lambda pair: float(value[pair[0]].max() - value[pair[1]].min()))
    return int(best[0][value[best[0]].argmax()]), int(best[1][value[best[1]].argmin()])


def _widest(spread: NDArray, pairs: Groups) -> float:
    return max(float(spread[np.ix_(*pair)].max()) for pair in pairs)


def _largest(noise: NDArray, pairs: Groups) -> NDArray[np.float64]:
    """Largest difference of each draw over these pairs."""
    largest = np.full(len(noise), -np.inf)
    for higher, lower in pairs:
        np.maximum(largest, noise[:, higher].max(axis=1) - noise[:, lower].min(axis=1), out=largest)
    return largest


def _may_be_largest(value: NDArray, found: float, widest: float, pairs: Groups, is_all: bool) -> Groups:
    """The pairs that may differ most in truth."""
    slack = MAY_BE_LARGEST * widest
    if is_all:
        return [(np.flatnonzero(value >= value.max() - slack), np.flatnonzero(value <= value.min() + slack))]
    kept = [
        (higher, lower[value[higher] - value[lower] >= found - np.sqrt(2) * slack]) for higher, lower in pairs
    ]
    return [pair for pair in kept if pair[1].size]


def _seen_from(noise: NDArray, shape: NDArray, seen_from: float) -> float:
    """The size of a shape of unit range that, with noise, exceeds `seen_from` four times in five."""
    low, high = 0.0, 4 * seen_from
    for _ in range(BISECTIONS):
        size = (low + high) / 2
        share = float(np.mean(np.ptp(noise + size * shape, axis=1) > seen_from))
        low, high = (low, size) if share >= POWER else (size, high)
    return high
