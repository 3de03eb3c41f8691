"""Where along the bed the instrument was at each reading, by time alone; and where it was meant to be."""

import numpy as np

from acquire.model.places import SNAP_MM

LONGEST_GAP_S = 1.0
"""Between two positions farther apart in time than this nothing is said of what lies between."""


AT_ONCE = 1 << 16
"""So many readings are looked up at a time: a long recording is not held in memory."""


def longest_gap_of(time_s: np.ndarray) -> float:
    """The gap a position stream is allowed: `LONGEST_GAP_S`, or five of its own intervals if slower."""
    if len(time_s) < 3:
        return LONGEST_GAP_S
    return max(LONGEST_GAP_S, 5 * float(np.median(np.diff(time_s), overwrite_input=True)))


def positions_at(
    time_s: np.ndarray,
    position_time_s: np.ndarray,
    position_mm: np.ndarray,
    longest_gap_s: float = LONGEST_GAP_S,
) -> np.ndarray:
    """Position at each of `time_s`, by straight interpolation between the positions read.

    Not known (NaN) before the first position, after the last, and inside a gap of the
    position stream longer than `longest_gap_s`: nothing is extrapolated.

    Parameters
    ----------
    time_s : array, shape (n,)
        When the readings were true.
    position_time_s, position_mm : array, shape (m,)
        The position stream, rising in time, finite.

    Examples
    --------
    >>> positions_at(np.array([-1, 0.25, 5, 9.0]), np.array([0, 1, 9.0]), np.array([0, 10, 20.0]))
    array([ nan,  2.5,  nan, 20. ])
    """
    time_s = np.asarray(time_s, float)
    out = np.full(len(time_s), np.nan)
    if len(position_time_s) < 2:
        return out
    for begin in range(0, len(time_s), AT_ONCE):
        part = slice(begin, begin + AT_ONCE)
        found = interpolated(time_s[part], position_time_s, position_mm, outside=np.nan)
        after = np.clip(np.searchsorted(position_time_s, time_s[part]), 1, len(position_time_s) - 1)
        in_gap = position_time_s[after] - position_time_s[after - 1] > longest_gap_s
        found[in_gap & (position_time_s[after] != time_s[part])] = np.nan
        out[part] = found
    return out


def interpolated(
    at_s: np.ndarray, time_s: np.ndarray, values: np.ndarray, outside: float | None = None
) -> np.ndarray:
    """`numpy.interp`, looking only at what lies about `at_s`; beyond the ends the end's value or `outside`.

    By itself it copies the whole of columns that are read only.

    Examples
    --------
    >>> interpolated(np.array([1.5, 2.0]), np.arange(1000.0), 10 * np.arange(1000.0))
    array([15., 20.])
    """
    before = int(np.searchsorted(time_s, at_s.min()))
    behind = int(np.searchsorted(time_s, at_s.max(), side="right"))
    near = slice(max(before - 1, 0), behind + 1)
    return np.interp(at_s, time_s[near], values[near], left=outside, right=outside)


def positions_by_feed(
    time_s: np.ndarray, start_s: float, end_s: float, start_mm: float, feed_mm_per_s: float
) -> np.ndarray:
    """Position under a constant feed between two marks; NaN outside them.

    `feed_mm_per_s` is negative towards station 0.

    Examples
    --------
    >>> positions_by_feed(np.array([0, 2, 4, 9.0]), 1, 5, 100, -10)
    array([nan, 90., 70., nan])
    """
    time_s = np.asarray(time_s, float)
    return np.where(
        (time_s >= start_s) & (time_s <= end_s), start_mm + feed_mm_per_s * (time_s - start_s), np.nan
    )


def places_of(
    station_mm: np.ndarray,
    base_mm: float | None = None,
    direction: str = "forward",
    length_mm: float | None = None,
) -> np.ndarray:
    """Where the instrument is read, in the order of the traverse.

    Stations of the bed for whatever reads at one place; for a level stepped foot to foot
    (`base_mm`) the middles of its steps, from the first station as far as they fit on the
    bed (`length_mm`; without it: up to the last station).

    Examples
    --------
    >>> places_of(np.array([0, 100, 200, 300.0]), base_mm=100)
    array([ 50., 150., 250.])
    >>> places_of(np.array([0, 100, 200.0]), direction="reverse")
    array([200., 100.,   0.])
    """
    station_mm = np.asarray(station_mm, float)
    if base_mm:
        end_mm = station_mm[-1] if length_mm is None else max(length_mm, station_mm[-1])
        steps = int((end_mm - station_mm[0]) / base_mm + 1e-9)
        station_mm = station_mm[0] + base_mm * (np.arange(steps) + 0.5)
    return station_mm[::-1].copy() if direction == "reverse" else station_mm


def candidate_places(
    station_mm: np.ndarray, base_mm: float | None = None, length_mm: float | None = None
) -> np.ndarray:
    """Every place a dwell may have been meant for: also a level with a foot on any station."""
    if not base_mm:
        return np.asarray(station_mm, float)
    station_mm = np.asarray(station_mm, float)
    by_foot = np.concatenate([station_mm + base_mm / 2, station_mm - base_mm / 2])
    every = np.concatenate([places_of(station_mm, base_mm, length_mm=length_mm), by_foot])
    inside = (every >= station_mm[0]) & (every <= max(length_mm or 0.0, station_mm[-1]))
    return np.unique(np.round(every[inside], 6))


def snap_reach_mm(place_mm: np.ndarray) -> float:
    """How far from a place a stop may be and still be meant for it: 2 mm, or a tenth of their pitch."""
    pitch_mm = float(np.min(np.diff(place_mm))) if len(place_mm) > 1 else np.inf
    return min(SNAP_MM, pitch_mm / 10)


def snapped(position_mm: np.ndarray, place_mm: np.ndarray) -> np.ndarray:
    """The place each position was meant for; itself where none is within the tolerance.

    The tolerance is 2 mm, or a tenth of the closest places' distance if that is less.

    Examples
    --------
    >>> snapped(np.array([99.2, 130.0]), np.array([0, 100, 200.0]))
    array([100., 130.])
    """
    position_mm, place_mm = np.asarray(position_mm, float), np.asarray(place_mm, float)
    if len(place_mm) == 0 or len(position_mm) == 0:
        return position_mm
    nearest = place_mm[np.argmin(np.abs(position_mm[:, None] - place_mm[None, :]), axis=1)]
    return np.where(np.abs(nearest - position_mm) <= snap_reach_mm(place_mm), nearest, position_mm)
