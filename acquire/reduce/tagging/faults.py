"""Readings that cannot be trusted though they decode: frozen streams and bumped indicators."""

from dataclasses import dataclass

import numpy as np

FROZEN_S = 5.0
FROZEN_MM = 20.0
FROZEN_READINGS = 10
STEP_SAMPLES = 12
AT_ONCE = 1 << 16
"""So many readings are compared at a time: a long recording is not held in memory."""


def frozen(time_s: np.ndarray, value: np.ndarray, position_mm: np.ndarray) -> np.ndarray:
    """Which readings repeat one value to the last digit for too long while the position moves.

    Too long is five seconds and 20 mm of travel and ten readings: a real reading flickers.

    Examples
    --------
    >>> t = np.arange(0, 10, 0.5)
    >>> moving, standing = frozen(t, np.full(20, 3.2), 10 * t), frozen(t, np.full(20, 3.2), 0 * t)
    >>> int(moving.sum()), int(standing.sum())
    (20, 0)
    """
    out = np.zeros(len(value), bool)
    for start, end in _repeats(value):
        where = position_mm[start:end]
        where = where[np.isfinite(where)]
        is_long = time_s[end - 1] - time_s[start] >= FROZEN_S
        if is_long and len(where) and np.ptp(where) >= FROZEN_MM:
            out[start:end] = True
    return out


def _repeats(value: np.ndarray) -> list[tuple[int, int]]:
    """Index ranges in which one value stands at least `FROZEN_READINGS` times in turn."""
    is_same = np.zeros(len(value) + 1, bool)  # as the one before; the first and the end are not
    for begin in range(0, len(value) - 1, AT_ONCE):
        steps = np.diff(value[begin : begin + AT_ONCE + 1])
        is_same[begin + 1 : begin + 1 + len(steps)] = steps == 0
    edges = np.flatnonzero(is_same[1:] != is_same[:-1]) + 1
    starts, ends = edges[::2] - 1, edges[1::2]
    many = ends - starts >= FROZEN_READINGS
    return list(zip(starts[many].tolist(), ends[many].tolist(), strict=True))


@dataclass(frozen=True)
class Step:
    """A step that stayed while the instrument was at rest."""

    index: int
    """First reading after it."""
    size: float


def step_at_rest(reading: np.ndarray, noise: float, resolution: float = 0.0) -> Step | None:
    """The largest step that stays within readings taken at rest, if it cannot be chance.

    `noise` is the readings' own standard deviation.  At least eight of it, four steps of
    the resolution, and done within two readings: settling is slower.

    Examples
    --------
    >>> step_at_rest(np.array([1.0] * 20 + [9.0] * 20), noise=0.2)
    Step(index=20, size=8.0)
    """
    width = min(STEP_SAMPLES, len(reading) // 3)
    if width < 3:
        return None
    places = np.arange(width, len(reading) - width + 1)
    sums = np.concatenate([[0.0], np.cumsum(reading)])
    before = (sums[places] - sums[places - width]) / width
    after = (sums[places + width] - sums[places]) / width
    best = int(np.argmax(np.abs(after - before)))
    size, place = float(after[best] - before[best]), int(places[best])
    near = reading[max(0, place - 2) : place + 2]
    limit = max(8 * noise, 4 * resolution)
    if abs(size) < limit or limit == 0 or np.abs(np.diff(near)).max() < 0.6 * abs(size):
        return None
    return Step(place, size)
