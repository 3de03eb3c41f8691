"""A continuous traverse as means over each millimetre, pass by pass."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.reduce.tagging.scatter import autocorrelation_time, noise_of

BIN_MM = 1.0
AT_ONCE = 1 << 16
"""So many readings are sorted at a time: a long recording is not held in memory."""
TURN_MM = 20.0
"""How far the carriage must come back before it counts as another pass."""
COURSE_WIDTH = 25
"""Readings that the course of the way is averaged over, before their noise is looked at."""


@dataclass(frozen=True, eq=False)
class Bins:
    """Means over bins, ordered by pass and place."""

    position_mm: np.ndarray
    """Mean position of the readings in each bin, not its middle."""
    reading: np.ndarray
    scatter: np.ndarray
    """Standard error of each mean, autocorrelation included."""
    samples: np.ndarray
    time_s: np.ndarray
    passing: np.ndarray
    """1, 2, ...: over the bed for the first, second ... time."""


def passes(position_mm: np.ndarray) -> np.ndarray:
    """Number of the pass each position belongs to; a new one begins where the carriage turned back.

    Examples
    --------
    >>> passes(np.array([0, 30, 60, 59, 61, 30, 0.0]))
    array([1, 1, 1, 1, 1, 2, 2])
    """
    number = np.ones(len(position_mm), int)
    if len(position_mm) == 0:
        return number
    direction, extreme, where = 0, float(position_mm[0]), 0
    for index, here in _turning(position_mm):
        if direction == 0 and abs(here - extreme) > TURN_MM:
            direction, extreme, where = (1 if here > extreme else -1), here, index
        elif direction * (here - extreme) > 0:
            extreme, where = here, index
        elif direction and direction * (extreme - here) > TURN_MM:
            number[where + 1 :] += 1
            direction, extreme, where = -direction, here, index
    return number


def _turning(position_mm: np.ndarray) -> Iterator[tuple[int, float]]:
    """Index and place of every position from which the carriage does not just go on, and of some more."""
    for begin in range(0, len(position_mm), AT_ONCE):
        part = position_mm[begin : begin + AT_ONCE]
        steps = np.sign(np.diff(part))
        turns = np.flatnonzero(np.concatenate([[True], steps[1:] != steps[:-1], [True]])[: len(part)])
        yield from zip((begin + turns).tolist(), part[turns].tolist(), strict=True)


def binned(
    time_s: np.ndarray,
    position_mm: np.ndarray,
    reading: np.ndarray,
    smoothed_over: int = 1,
    let_go: Callable[[], None] = lambda: None,
) -> Bins:
    """Mean reading of every millimetre that holds one.

    Readings without a position or value (NaN) are left out.  `smoothed_over` says over
    how many samples the readings were smoothed before: at least so many count as one.
    `let_go` is called when times and positions are no longer looked at.

    Examples
    --------
    >>> b = binned(np.arange(4.0), np.array([0.1, 0.3, 1.2, 30]), np.array([1, 3, 5, np.nan]))
    >>> b.position_mm, b.reading, b.samples
    (array([0.2, 1.2]), array([2., 5.]), array([2, 1]))
    """
    known = np.isfinite(position_mm) & np.isfinite(reading)
    means, counts, passing = _means([time_s, position_mm, reading], position_mm, known)
    let_go()
    y = reading if known.all() else reading[known]
    correlated = autocorrelation_time([_detrended(y)]) if len(y) > 8 else 1.0
    alike = max(smoothed_over, min(correlated, 10.0))
    scatter = noise_of(y, smoothed_over) * np.sqrt(np.minimum(1.0, alike / counts))
    mean_s, mean_mm, mean = means
    return Bins(mean_mm, mean, scatter, counts, mean_s, passing)


def _means(
    columns: Sequence[np.ndarray], position_mm: np.ndarray, known: np.ndarray
) -> tuple[list[np.ndarray], np.ndarray, np.ndarray]:
    """Means of each column over each bin and pass, how many readings are in it, and which pass it is."""
    parts = [slice(begin, begin + AT_ONCE) for begin in range(0, len(known), AT_ONCE)]
    passing = np.zeros(len(known), np.int32)
    passing[known] = passes(position_mm[known])

    def place_of(part: slice) -> np.ndarray:
        return np.floor(position_mm[part][known[part]] / BIN_MM + 1e-9).astype(np.int64)

    lowest = min((int(place_of(part).min(initial=0)) for part in parts), default=0)
    span = max((int(place_of(part).max(initial=0)) for part in parts), default=0) - lowest + 1

    def key_of(part: slice) -> np.ndarray:
        return passing[part][known[part]].astype(np.int64) * span + (place_of(part) - lowest)

    keys = np.unique(np.concatenate([np.zeros(0, np.int64), *(np.unique(key_of(part)) for part in parts)]))
    counts = np.zeros(len(keys), np.int64)
    totals = [np.zeros(len(keys)) for _ in columns]
    for part in parts:
        at = np.searchsorted(keys, key_of(part))
        counts += np.bincount(at, minlength=len(keys))
        for total, column in zip(totals, columns, strict=True):
            np.add.at(total, at, column[part][known[part]])
    return [total / counts for total in totals], counts, keys // span


def _detrended(reading: np.ndarray) -> np.ndarray:
    width = min(COURSE_WIDTH, len(reading) // 2 * 2 - 1)
    course = np.convolve(np.pad(reading, width // 2, mode="edge"), np.ones(width) / width, "valid")
    return reading - course
