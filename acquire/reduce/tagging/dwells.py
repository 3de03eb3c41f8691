"""Where the instrument stood still: from the position stream, from the reading itself, or from marks."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.reduce.tagging.scatter import noise_of

STILL_WINDOW_S = 0.5
STILL_RANGE_MM = 0.020
DEPARTURE_S = 0.3
"""Left off at the end: the push that starts the next move tilts the level before it is seen."""
SHORTEST_DWELL_S = 2.0
NUDGE_MM = 5.0
AT_ONCE = 1 << 16
"""So many positions are looked at a time: a long recording is not held in memory."""
MARK_REACH_S = 10.0
"""How long after a mark the instrument may take to come to rest and still be meant by it."""


@dataclass(frozen=True)
class Dwell:
    """A stretch of time in which nothing moved."""

    start_s: float
    end_s: float
    position_mm: float = float("nan")
    """Mean position; NaN where there is no position stream."""

    @property
    def length_s(self) -> float:
        """How long it lasted."""
        return self.end_s - self.start_s


def smallest_step(values: np.ndarray) -> float:
    """The smallest difference between two distinct values: the resolution as seen (0: none)."""
    steps = np.diff(np.unique(np.round(values[:20_000], 9)))
    return float(steps.min()) if len(steps) else 0.0


def dwells_by_position(
    time_s: np.ndarray,
    position_mm: np.ndarray,
    longest_gap_s: float = 1.0,
) -> list[Dwell]:
    """Unions of consecutive windows of half a second in which the position stays put.

    Put means a range of at most the larger of 20 µm and 8 σ + 2·resolution, σ being the
    stream's own noise.  A stream slower than 6 Hz gets windows of three of its intervals.

    Examples
    --------
    >>> t = np.arange(0, 12, 0.05)
    >>> x = np.interp(t, [0, 4, 6, 12], [0, 0, 100, 100])
    >>> [(round(d.start_s, 1), round(d.end_s, 1), round(d.position_mm, 3)) for d in dwells_by_position(t, x)]
    [(0.0, 4.0, 0.0), (6.0, 12.0, 100.0)]
    """
    if len(time_s) < 3:
        return []
    window_s = max(STILL_WINDOW_S, 3 * float(np.median(np.diff(time_s))))
    resolution = smallest_step(position_mm)
    allowed_mm = max(STILL_RANGE_MM, 8 * noise_of(position_mm) + 2 * min(resolution, 0.1))
    is_still = _is_put(time_s, position_mm, window_s, allowed_mm, longest_gap_s)
    return [
        Dwell(float(time_s[a]), float(time_s[min(b, len(time_s)) - 1]), float(np.median(position_mm[a:b])))
        for a, b in _unions(
            is_still, lambda first: np.searchsorted(time_s, time_s[first] + window_s, "right")
        )
    ]


def _is_put(
    time_s: np.ndarray, position_mm: np.ndarray, window_s: float, allowed_mm: float, longest_gap_s: float
) -> np.ndarray:
    """Whether the window that begins at each position is filled, without a gap, and no wider than allowed."""
    steps = np.diff(time_s)
    shortest_s = window_s - 2 * float(np.median(steps))
    gaps = np.flatnonzero(steps > longest_gap_s)
    del steps
    is_put = np.zeros(len(time_s), bool)
    for begin in range(0, len(time_s), AT_ONCE):
        first = np.arange(begin, min(begin + AT_ONCE, len(time_s)))
        last = np.searchsorted(time_s, time_s[first] + window_s, side="right")
        is_narrow = _window_range(position_mm, first, last) <= allowed_mm
        is_filled = time_s[last - 1] - time_s[first] >= shortest_s
        is_whole = np.searchsorted(gaps, last - 1) == np.searchsorted(gaps, first)
        is_put[first] = is_narrow & is_filled & is_whole
    return is_put


def _window_range(values: np.ndarray, first: np.ndarray, last: np.ndarray) -> np.ndarray:
    """Largest minus smallest of `values[first:last]`, for each of both; they rise."""
    near = values[first[0] : last[-1]]
    bounds = np.column_stack([first, last]).ravel() - first[0]
    padded = np.append(near, near[-1])
    return np.maximum.reduceat(padded, bounds)[::2] - np.minimum.reduceat(padded, bounds)[::2]


def _unions(is_still: np.ndarray, last: Callable[[np.ndarray], np.ndarray]) -> list[tuple[int, int]]:
    """Index ranges covered by each run of consecutive still windows; `last` says where each window ends."""
    edges = np.diff(np.concatenate([[0], is_still.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    return list(zip(starts.tolist(), last(ends - 1).tolist(), strict=True))


def dwells_by_reading(time_s: np.ndarray, reading: np.ndarray, resolution: float = 0.0) -> list[Dwell]:
    """Stretches in which the reading itself is quiet: steady, or settling smoothly.

    Used where no position stream tells.  A second of readings counts as quiet when it
    leaves a straight line by no more than five times what the quietest fifth of the
    record does (and two steps of its resolution).

    Examples
    --------
    >>> t = np.arange(0, 12, 0.05)
    >>> y = np.where(t < 6, 20.0, 35.0) + np.random.default_rng(2).normal(0, 0.3, t.size)
    >>> [(round(d.start_s), round(d.end_s)) for d in dwells_by_reading(t, y)]
    [(0, 6), (6, 12)]
    """
    if len(time_s) < 8:
        return []
    width = int(np.clip(round(1.0 / max(float(np.median(np.diff(time_s))), 1e-4)), 5, 2000))
    if len(time_s) < 2 * width:
        width = max(5, len(time_s) // 2)
    departure = _departure_from_line(reading, width)
    quiet = float(np.quantile(departure, 0.2))
    is_still = departure <= max(5 * quiet, 2 * resolution, 1e-12)
    steps = np.diff(time_s)
    longest_gap_s = max(1.0, 5 * float(np.median(steps)))
    gaps = np.concatenate([[0], np.cumsum(steps > longest_gap_s)])
    is_still &= gaps[width - 1 : width - 1 + len(departure)] == gaps[: len(departure)]
    parts = [
        part
        for a, b in _unions(is_still, lambda first: first + width)
        for part in _parted(reading, a, b, width, quiet)
    ]
    return [Dwell(float(time_s[a]), float(time_s[b - 1])) for a, b in parts]


def _departure_from_line(reading: np.ndarray, width: int) -> np.ndarray:
    """Root mean square departure of each window of `width` samples from its own line."""
    windows = np.lib.stride_tricks.sliding_window_view(reading - np.median(reading), width)
    x = np.linspace(-1, 1, width)
    x_hat = x / np.sqrt(x @ x)
    total = np.einsum("ij,ij->i", windows, windows) - width * windows.mean(axis=1) ** 2
    explained = (windows @ x_hat) ** 2
    return np.sqrt(np.maximum(total - explained, 0.0) / width)


def _parted(reading: np.ndarray, start: int, end: int, width: int, quiet: float) -> list[tuple[int, int]]:
    """One quiet stretch, parted where it steps within one sample from one smooth course to another.

    The straight lines through the half second before and after are continued to the place
    between: settling, however fast, is continued by them, a step is not.
    """
    half = max(4, width // 2)
    if end - start < 4 * half:
        return [(start, end)]
    part = reading[start:end]
    x = np.arange(half) - (half - 1) / 2
    onward = 1 / half + (half / 2) * x / (x @ x)
    before = np.convolve(part, onward[::-1], "valid")[:-half]
    after = np.convolve(part, onward, "valid")[half:]
    jump = np.abs(after - before)
    one_step = np.abs(np.diff(part))[half - 1 : len(part) - half]
    chance = quiet * float(np.sqrt(2 * (onward @ onward)))
    candidates = np.where(one_step > 0.5 * jump, jump, 0.0)
    best = int(np.argmax(candidates))
    if candidates[best] <= 6 * chance:
        return [(start, end)]
    cut = start + half + best
    return _parted(reading, start, cut, width, quiet) + _parted(reading, cut, end, width, quiet)


def dwells_by_marks(quiet: Sequence[Dwell], mark_s: Sequence[float], end_s: float) -> list[Dwell | None]:
    """The quiet stretch meant by each mark, in order; None where the instrument never came to rest.

    A mark says "it stands at its station": the stretch that holds the mark, else the next
    one that begins before the following mark within ten seconds, else the one that ended
    at most three seconds before.  Two marks in one stretch share it, parted midway.

    Examples
    --------
    >>> quiet = [Dwell(0, 5), Dwell(8, 14)]
    >>> [(d.start_s, d.end_s) for d in dwells_by_marks(quiet, [3, 7], 20)]
    [(0, 5), (8, 14)]
    """
    found: list[Dwell | None] = []
    limits = [*mark_s[1:], end_s]
    for mark, following in zip(mark_s, limits, strict=True):
        holding = [d for d in quiet if d.start_s <= mark <= d.end_s]
        coming = [d for d in quiet if mark < d.start_s < min(following, mark + MARK_REACH_S)]
        gone = [d for d in quiet if mark - 3.0 <= d.end_s < mark]
        meant = holding or coming or gone[-1:]
        found.append(meant[0] if meant else None)
    return _shared_parted(found, mark_s)


def _shared_parted(found: list[Dwell | None], mark_s: Sequence[float]) -> list[Dwell | None]:
    for index in range(len(found) - 1):
        here, after = found[index], found[index + 1]
        if here is None or after is None or here.end_s <= after.start_s:
            continue
        middle = (mark_s[index] + mark_s[index + 1]) / 2
        found[index] = replace(here, end_s=middle)
        found[index + 1] = replace(after, start_s=middle)
    return found


def worth_keeping(dwells: Sequence[Dwell]) -> list[Dwell]:
    """The departure dropped, those under two seconds left out, and of nudges the later kept.

    Two dwells one after the other less than 5 mm apart are one station and a nudge; coming
    back to a station later is a repeat and stays.
    """
    shortened = [replace(d, end_s=d.end_s - DEPARTURE_S) for d in dwells]
    long_enough = [d for d in shortened if d.length_s >= SHORTEST_DWELL_S - 1e-9]
    kept: list[Dwell] = []
    for dwell in long_enough:
        if kept and abs(dwell.position_mm - kept[-1].position_mm) < NUDGE_MM:
            kept[-1] = dwell
        else:
            kept.append(dwell)
    return kept
