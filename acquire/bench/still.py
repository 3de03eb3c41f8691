"""What an instrument that is left alone says of itself: noise, drift, and the step it shows.

A station is the mean of the samples of one dwell, so its uncertainty is how much such
means scatter while nothing moves.  Single samples tell another story: divided by √n their
scatter promises too much wherever the noise is slow (1/f, draughts, a floor), for slow
noise hardly changes within a dwell; undivided it promises too little wherever it is fast.

A steady drift is taken off first and told apart: runs there and back cancel it.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from acquire.model.errors import AcquireError
from acquire.reduce.tagging.dwells import smallest_step
from acquire.reduce.tagging.scatter import autocorrelation_time

DWELL_S = 3.0
"""How long one station is read, if nobody says otherwise."""
FEWEST_DWELLS = 12
DISTURBED_AT = 7.0
"""A change from one dwell to the next so many times the usual is no noise."""
FEWEST_PAIRS = 5
MOST_DECIMALS = 9


@dataclass(frozen=True)
class StillRecord:
    """What a still record shows, all in what the instrument reads."""

    samples: int
    lasted_s: float
    rate_hz: float
    dwell_s: float
    dwells: int
    sample_scatter: float
    """Standard deviation of single samples, drift taken off."""
    dwell_scatter: float
    """Standard deviation of the means of `dwell_s`, drift taken off."""
    dwell_scatter_uncertainty: float
    """Of `dwell_scatter`, by the number of dwells."""
    resolution: float | None
    """The step it shows; None where it never changed."""
    drift_per_hour: float
    drift_uncertainty_per_hour: float
    floor: float
    """What means scatter by from one to the next at best, however long they are."""
    floor_after_s: float
    """Longer means scatter no less."""
    disturbed_s: tuple[float, ...] = ()
    """Times from the start at which something moved it."""

    @property
    def is_stuck(self) -> bool:
        """Whether its noise is too small to carry it over half of one of its own steps."""
        return self.resolution is not None and self.sample_scatter**2 < self.resolution**2 / 3

    @property
    def standard_uncertainty(self) -> float:
        """Of one station's value: the scatter of the means, and the step where noise does not smooth it.

        A step q adds q²/12; where the noise is at least q/2 the readings flicker between
        steps and the scatter of the means holds it already.
        """
        step = self.resolution if self.is_stuck and self.resolution else 0.0
        return float(np.hypot(self.dwell_scatter, step / np.sqrt(12)))

    @property
    def has_drifted(self) -> bool:
        """Whether the drift is more than chance."""
        return abs(self.drift_per_hour) > 2 * self.drift_uncertainty_per_hour


def still_record(time_s: np.ndarray, value: np.ndarray, dwell_s: float = DWELL_S) -> StillRecord:
    """Evaluate a record of an instrument that nothing moves.

    Parameters
    ----------
    time_s, value : array, shape (n,)
        Good readings, rising in time.
    dwell_s : float
        How long the means are that a station is made of.

    Raises
    ------
    AcquireError
        If it holds fewer than twelve dwell lengths.

    Notes
    -----
    Scatters have n − 2 in the denominator for the line taken off; a scatter of n means is
    itself known to 1/√(2(n − 2)) of its size.

    Examples
    --------
    White noise of 1: means of 60 samples scatter by 1/√60 = 0.13.

    >>> t = np.arange(0, 600, 0.05)
    >>> record = still_record(t, np.random.default_rng(5).normal(40, 1.0, t.size).round(1))
    >>> round(record.sample_scatter, 1), round(record.standard_uncertainty, 2), record.resolution
    (1.0, 0.13, 0.1)
    """
    middle_s, mean = dwell_means(time_s, value, dwell_s)
    if len(mean) < FEWEST_DWELLS:
        raise AcquireError(
            "still record",
            f"found {len(mean)} stretches of {dwell_s:g} s",
            f"{FEWEST_DWELLS} at least, with readings in each",
            f"let it stand for {max(1.0, FEWEST_DWELLS * dwell_s / 60):.0f} min or more",
        )
    step = shown_step(value)
    slope, rest = _line_off(middle_s, mean)
    scatter = _deviation(rest)
    correlated = autocorrelation_time([rest])
    slope_uncertainty = scatter * np.sqrt(correlated / float(((middle_s - middle_s.mean()) ** 2).sum()))
    lengths_s, deviations = averaging(time_s, value)
    best = int(np.argmin(deviations))
    lasted_s = float(time_s[-1] - time_s[0])
    return StillRecord(
        samples=len(value),
        lasted_s=lasted_s,
        rate_hz=(len(value) - 1) / lasted_s,
        dwell_s=dwell_s,
        dwells=len(mean),
        sample_scatter=_deviation(value - value.mean() - slope * (time_s - time_s.mean())),
        dwell_scatter=scatter,
        dwell_scatter_uncertainty=scatter / float(np.sqrt(2 * (len(mean) - 2))),
        resolution=step,
        drift_per_hour=slope * 3600,
        drift_uncertainty_per_hour=float(slope_uncertainty) * 3600,
        floor=float(deviations[best]),
        floor_after_s=float(lengths_s[best]),
        disturbed_s=disturbances(middle_s - time_s[0], mean, step or 0.0),
    )


def dwell_means(time_s: np.ndarray, value: np.ndarray, dwell_s: float) -> tuple[np.ndarray, np.ndarray]:
    """Means over stretches of `dwell_s` laid end to end, and the middle of each.

    Stretches that hold less than half the usual number of readings are left out, and so
    is the unfinished last.

    Examples
    --------
    >>> middle_s, mean = dwell_means(np.arange(0, 6.5, 0.5), np.arange(13.0), 2.0)
    >>> middle_s.tolist(), mean.tolist()
    ([1.0, 3.0, 5.0], [1.5, 5.5, 9.5])
    """
    if len(time_s) < 2:
        return np.array([]), np.array([])
    number = np.floor((time_s - time_s[0]) / dwell_s + 1e-9).astype(int)
    usual_s = float(np.median(np.diff(time_s)))
    whole = int((time_s[-1] - time_s[0] + usual_s) / dwell_s + 1e-9)
    inside = number < whole
    count = np.bincount(number[inside], minlength=whole)
    total = np.bincount(number[inside], value[inside], minlength=whole)
    kept = count >= max(1.0, 0.5 * float(np.median(count[count > 0]))) if whole else count > 0
    return time_s[0] + (np.flatnonzero(kept) + 0.5) * dwell_s, total[kept] / count[kept]


def averaging(time_s: np.ndarray, value: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How much means of growing length differ from one to the next: the Allan deviation.

    Lengths are those of 1, 2, 4, ... samples, as long as there are five pairs of means.
    For white noise the deviation falls as 1/√length; where it stops falling is the floor.

    Returns
    -------
    length_s, deviation : array, shape (m,)

    Examples
    --------
    >>> t = np.arange(0, 600, 0.1)
    >>> length_s, deviation = averaging(t, np.random.default_rng(3).normal(0, 1, t.size))
    >>> (deviation[[0, 6]] * [1, 8]).round(1).tolist(), float(length_s[6].round(1))
    ([1.0, 1.0], 6.4)
    """
    one_s = float(time_s[-1] - time_s[0]) / (len(time_s) - 1)
    sizes = [1]
    while len(value) // (2 * sizes[-1]) > FEWEST_PAIRS:
        sizes.append(2 * sizes[-1])
    return np.array(sizes) * one_s, np.array([allan_deviation(value, size) for size in sizes])


def allan_deviation(value: np.ndarray, size: int) -> float:
    """Root of half the mean square difference of successive means of `size` samples."""
    whole = len(value) // size
    means = value[: whole * size].reshape(whole, size).mean(axis=1)
    return float(np.sqrt(0.5 * np.mean(np.diff(means) ** 2)))


def shown_step(value: ArrayLike) -> float | None:
    """The step that readings are shown in, or None where they never change.

    Readings written as decimals are whole multiples of one step apart: it is the largest
    number that divides all their differences.  Others (converted from another unit) give
    the smallest difference seen.

    Examples
    --------
    >>> shown_step([12.5, 13.0, 11.5]), shown_step([3.0, 3.0])
    (0.5, None)
    """
    levels = np.unique(np.round(np.asarray(value, float), MOST_DECIMALS))
    if len(levels) < 2:
        return None
    for decimals in range(MOST_DECIMALS):
        scaled = levels * 10.0**decimals
        if np.abs(scaled).max() > 1e14:
            break
        if np.abs(scaled - np.rint(scaled)).max() < 1e-4:
            common = int(np.gcd.reduce(np.diff(np.rint(scaled).astype(np.int64))))
            return round(common / 10**decimals, decimals)
    return smallest_step(levels)


def disturbances(middle_s: np.ndarray, mean: np.ndarray, step: float) -> tuple[float, ...]:
    """Times at which the means jump by more than noise: somebody leaned on the bed.

    Examples
    --------
    >>> mean = np.array([0.1, -0.1] * 10 + [9.1, 8.9] * 10)
    >>> disturbances(np.arange(40) * 3.0, mean, 0.1)
    (58.5,)
    """
    change = np.diff(mean)
    usual = 1.4826 * float(np.median(np.abs(change - np.median(change))))
    limit = max(DISTURBED_AT * usual, 2 * step, 1e-12)
    places = np.flatnonzero(np.abs(change) > limit)
    return tuple(float((middle_s[k] + middle_s[k + 1]) / 2) for k in places)


def _line_off(time_s: np.ndarray, value: np.ndarray) -> tuple[float, np.ndarray]:
    """Slope of the least-squares line, and what is left without it."""
    t, y = time_s - time_s.mean(), value - value.mean()
    slope = float(t @ y) / float(t @ t)
    return slope, y - slope * t


def _deviation(rest: np.ndarray) -> float:
    return float(np.sqrt((rest @ rest) / max(len(rest) - 2, 1)))
