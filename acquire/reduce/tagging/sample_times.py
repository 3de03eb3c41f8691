"""When each sample of a fixed-rate stream was taken, from when its line arrived.

Lines arrive late by varying amounts (a USB bridge holds them up to 16 ms), never early.
The sample times are the straight line of arrival against index that touches the
arrivals from below, in windows of 30 s blended into each other.  No estimator repairs a
sample interval that equals the bridge's own: set its latency to 1 ms.
"""

import itertools
from collections.abc import Mapping
from functools import lru_cache

import numpy as np

WINDOW_S = 30.0
FEWEST_SAMPLES = 20
MOST_LATENESS_S = 0.06
"""Usual lateness of a fixed-rate stream; one that is later than this most of the time has no fixed rate."""
FEW_POINTS, WORTH_IT = 50, 0.9
"""So few points are looked at one by one, as are those of which another look would leave this part."""
MOST_UNEVEN = 0.75
"""Spread of the arrivals' intervals, in intervals, up to which a missing sample can be told."""


def sample_times(arrival_s: np.ndarray) -> np.ndarray:
    """Sample times of a fixed-rate stream; the arrivals themselves where it has no fixed rate.

    Samples that never came, or came melted together by a lost line end, are counted where
    the lines arrive evenly enough to tell (`sample_numbers`).  A pause parts the
    stream; a part of fewer than 20 samples keeps its arrivals.  A constant delay (the
    shortest latency, the time on the wire) remains.

    Examples
    --------
    >>> true = np.arange(400) * 0.05
    >>> arrival = true + np.random.default_rng(4).uniform(0.001, 0.016, 400)
    >>> float(np.ptp(sample_times(arrival) - true)) < 0.001 < float(np.ptp(arrival - true))
    True
    """
    arrival_s = np.asarray(arrival_s, float)
    out = arrival_s.copy()
    if len(arrival_s) < FEWEST_SAMPLES:
        return out
    pauses = np.flatnonzero(np.diff(arrival_s) > _pause_s(arrival_s)) + 1
    for first, last in itertools.pairwise([0, *pauses.tolist(), len(arrival_s)]):
        if last - first >= FEWEST_SAMPLES:
            _put_in_time(out[first:last])
    return np.maximum.accumulate(out, out=out)


def _pause_s(arrival_s: np.ndarray) -> float:
    """An interval longer than this is a pause: six times the mean of all but the longest."""
    steps = np.diff(arrival_s)
    steps.sort()
    return max(0.3, 6 * float(np.mean(steps[: -max(1, len(steps) // 50)])))


def sample_numbers(arrival_s: np.ndarray) -> np.ndarray:
    """Number of each sample among all that were sent, the missing ones counted.

    A missing sample leaves everything after it later by one interval for good, a late one
    only itself: the least lateness of the ten samples from here on is held against that of
    the ten before.  Where lines arrive too unevenly for their interval, nothing is counted.

    Examples
    --------
    >>> sample_numbers(np.delete(np.arange(100) * 0.05, [40, 41]))[38:42]
    array([38., 39., 42., 43.])
    """
    index = np.arange(len(arrival_s), dtype=float)
    steps = np.diff(arrival_s)
    interval_s = float(np.median(steps))
    if interval_s <= 0 or np.ptp(np.quantile(steps, [0.05, 0.95])) > MOST_UNEVEN * interval_s:
        return index
    late = np.flatnonzero(steps > 1.5 * interval_s) + 1
    del steps
    missing: dict[int, float] = {}
    for at in late.tolist():
        start = max(0, at - 10)
        counted = np.array([missing.get(k, 0.0) for k in range(start, min(at + 10, len(index)))])
        nearby = slice(start, at + 10)
        late_s = arrival_s[nearby] - interval_s * (index[nearby] + np.cumsum(counted))
        before = at - start
        missing[at] = max(0, round((late_s[before:].min() - late_s[:before].min()) / interval_s))
    return _counted_on(index, missing)


def _counted_on(index: np.ndarray, missing: Mapping[int, float]) -> np.ndarray:
    """Indices with the missing samples counted from where they are missing."""
    bounds = [*missing, len(index)]
    total = 0.0
    for (at, count), end in zip(missing.items(), bounds[1:], strict=True):
        total += count
        index[at:end] += total
    return index


def _put_in_time(arrival_s: np.ndarray) -> None:
    """Replace the arrivals of a part without pauses by its sample times, in place: it may be long."""
    index = sample_numbers(arrival_s)
    total, weight = np.zeros(len(index)), np.zeros(len(index))
    for inside in windows_over(arrival_s, WINDOW_S):
        intercept, slope = lower_line(index[inside], arrival_s[inside])
        line = intercept + slope * index[inside]
        late_s = arrival_s[inside] - line
        if late_s.max() > MOST_LATENESS_S and np.quantile(late_s, 0.9) > MOST_LATENESS_S:
            line = arrival_s[inside]
        share = faded(len(line))
        total[inside] += share * line
        weight[inside] += share
    np.divide(total, weight, out=arrival_s)


def windows_over(arrival_s: np.ndarray, width_s: float) -> list[slice]:
    """Windows of so many seconds that overlap by half; one over all where that is no longer.

    Examples
    --------
    >>> windows_over(np.arange(0.0, 61.0), 30.0)
    [slice(0, 30, None), slice(15, 45, None), slice(30, 61, None)]
    """
    count = max(1, int(np.ceil((arrival_s[-1] - arrival_s[0]) / (width_s / 2))) - 1)
    half = len(arrival_s) / (count + 1)
    ends = [*(int((k + 2) * half) for k in range(count - 1)), len(arrival_s)]
    return [slice(int(k * half), end) for k, end in enumerate(ends)]


@lru_cache(maxsize=4)
def faded(count: int) -> np.ndarray:
    """Weights that fall from the middle of a window to its ends, so that windows blend into each other."""
    return 1e-6 + 1 - np.abs(np.linspace(-1, 1, count))


def lower_line(index: np.ndarray, arrival_s: np.ndarray) -> tuple[float, float]:
    """Intercept and slope of the line below all points with the least sum of distances.

    It is the edge of the lower convex hull above the mean index: lines arrive late, never early.

    Examples
    --------
    >>> lower_line(np.arange(4.0), np.array([0.3, 1.0, 2.2, 3.0]))
    (0.0, 1.0)
    """
    hull: list[int] = []
    middle = index.mean()
    index, arrival_s = _perhaps_lowest(index, arrival_s)
    x, y = index.tolist(), arrival_s.tolist()
    for point in range(len(x)):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            if (y[b] - y[a]) * (x[point] - x[a]) < (y[point] - y[a]) * (x[b] - x[a]):
                break
            hull.pop()
        hull.append(point)
    edge = next((k for k in range(1, len(hull)) if x[hull[k]] >= middle), len(hull) - 1)
    a, b = hull[edge - 1], hull[edge]
    slope = (y[b] - y[a]) / (x[b] - x[a])
    return y[a] - slope * x[a], slope


def _perhaps_lowest(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The points without most of those that lie on or above the line between their neighbours."""
    while len(x) > FEW_POINTS:
        is_below = np.ones(len(x), bool)
        a, b, c = slice(None, -2), slice(1, -1), slice(2, None)
        is_below[b] = (y[b] - y[a]) * (x[c] - x[a]) < (y[c] - y[a]) * (x[b] - x[a])
        if np.count_nonzero(is_below) > WORTH_IT * len(x):
            break
        x, y = x[is_below], y[is_below]
    return x, y
