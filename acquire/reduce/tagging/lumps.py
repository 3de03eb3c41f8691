"""Lines that an adapter or a network bridge hands over in lumps, seconds after they were sent.

Of a lump only its last line came when it was sent.  Where the instrument sends at a steady rate, the
lines' times lie on one straight line of index that touches the lumps' ends from below; where it does
not, nothing tells when each line was sent.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from acquire.reduce.tagging.sample_times import WINDOW_S, faded, lower_line, windows_over

TOGETHER_S = 0.02
"""Lines that come so close together came in one lump."""
SHORTEST_GAP_S = 0.1
FEWEST_LINES, FEWEST_LUMPS = 3, 3
AT_ONCE = 0.2
"""Of the gap before it, the time within which a lump must be handed over."""
MOSTLY = 0.6
"""Share of all lines that must have come in lumps."""
MOST_APART = MOSTLY / FEWEST_LINES + 1 - MOSTLY
"""Gaps for each line, beyond which so many cannot have come in lumps."""
PAUSE = 3.0
"""Usual gaps between lumps, beyond which the stream had stopped."""
MOST_LATE_S = 0.2
"""How late, at most, the last line of a lump may be against a steady rate (or two of its intervals)."""
LUMPS_IN_WINDOW = 6


@dataclass(frozen=True, eq=False)
class Lumps:
    """How lines came in lumps, and what that leaves of their times."""

    length_s: float
    """Usual time from lump to lump."""
    lines: float
    """Usual number of lines in one."""
    time_s: np.ndarray
    """When each line was sent; its arrival where that is not known."""
    is_known: np.ndarray
    slack_s: float
    """How far the known times may be out."""


def lumps_of(arrival_s: np.ndarray) -> Lumps | None:
    """What came in lumps; None where most lines came one by one.

    Parameters
    ----------
    arrival_s : array, shape (n,)
        When each line came, rising.

    Examples
    --------
    Twenty lines a second, handed over every three seconds:

    >>> sent = np.arange(600) * 0.05
    >>> lumps = lumps_of(np.ceil((sent + 0.01) / 3) * 3)
    >>> round(lumps.length_s, 3), bool(lumps.is_known.all()), bool(np.ptp(lumps.time_s - sent) < 0.001)
    (3.0, True, True)
    >>> lumps_of(sent) is None
    True
    """
    arrival_s = np.asarray(arrival_s, float)
    is_apart = np.diff(arrival_s) > TOGETHER_S
    apart = int(np.count_nonzero(is_apart))
    if not FEWEST_LUMPS <= apart <= MOST_APART * len(arrival_s):  # columns are made of what may be lumps only
        return None
    begins = np.concatenate([[0], np.flatnonzero(is_apart) + 1]).astype(int)
    ends = np.append(begins[1:], len(arrival_s))
    count = ends - begins
    gap_s = np.diff(arrival_s[begins], prepend=-np.inf)
    took_s = arrival_s[ends - 1] - arrival_s[begins]
    is_lump = (count >= FEWEST_LINES) & (gap_s >= SHORTEST_GAP_S) & (took_s <= AT_ONCE * gap_s)
    later = is_lump[1:]
    if later.sum() < FEWEST_LUMPS or count[1:][later].sum() < MOSTLY * count[1:].sum():
        return None
    length_s = float(np.median(gap_s[1:][later]))
    time_s, is_known, slack_s = _times(arrival_s, ends, length_s)
    return Lumps(length_s, float(np.median(count[1:][later])), time_s, is_known, slack_s)


def _times(arrival_s: np.ndarray, ends: np.ndarray, length_s: float) -> tuple[np.ndarray, np.ndarray, float]:
    """Times by a steady rate, which of them are known, and how far those may be out."""
    time_s, is_known, slack_s = arrival_s.copy(), np.zeros(len(arrival_s), bool), 0.0
    for first, last in _unbroken(arrival_s, length_s):
        inside = ends[(ends > first) & (ends <= last)] - first
        if len(inside) <= FEWEST_LUMPS:
            continue
        part = slice(first, last)
        time_s[part], is_known[part], late_s = _steady(arrival_s[part], inside, length_s)
        slack_s = max(slack_s, late_s)
    return np.maximum.accumulate(time_s), is_known, slack_s


def _unbroken(arrival_s: np.ndarray, length_s: float) -> Iterator[tuple[int, int]]:
    """Parts between which the stream had stopped."""
    stopped = np.flatnonzero(np.diff(arrival_s) > PAUSE * length_s) + 1
    return pairwise([0, *stopped.tolist(), len(arrival_s)])


def _steady(arrival_s: np.ndarray, ends: np.ndarray, length_s: float) -> tuple[np.ndarray, np.ndarray, float]:
    """One part in windows blended into each other; without a steady rate in one its lines stay unknown."""
    ends = ends[:-1]  # the last lump may have waited for lines that never came
    index = np.arange(len(arrival_s), dtype=float)
    total, weight = np.zeros(len(index)), np.zeros(len(index))
    is_known, slack_s = np.ones(len(index), bool), 0.0
    for window in windows_over(arrival_s, max(WINDOW_S, LUMPS_IN_WINDOW * length_s)):
        inside = ends[(ends > window.start) & (ends <= window.stop)] - 1
        intercept, slope = lower_line(index[window], arrival_s[window])
        late_s = float(np.max(arrival_s[inside] - intercept - slope * inside, initial=0.0))
        if len(inside) < FEWEST_LUMPS - 1 or not slope > 0 or late_s > max(MOST_LATE_S, 2 * slope):
            is_known[window] = False
            continue
        slack_s = max(slack_s, late_s, slope)
        share = faded(window.stop - window.start)
        total[window] += share * (intercept + slope * index[window])
        weight[window] += share
    time_s = np.where(is_known, total / np.maximum(weight, 1e-12), arrival_s)
    return time_s, is_known, slack_s
