"""Tilt that a level on a moving carriage shows because it is accelerated, taken out in weak form.

A level cannot tell tilt from acceleration: 1 mm/s² reads as 101.97 µm/m (standard
gravity, 9.80665 m/s²).  Differentiating a position stream twice would drown everything
in noise; under a smooth window φ of 1 to 2 s the derivatives move onto φ:

    tilt = Σ φ·y − (10⁶/g)·Σ φ̈·x_f

with x_f the position passed through the level's own lag.  Simulation only: oil film,
chatter and the pull of a hand are not in this; stepped is the better way to use a level.
"""

import numpy as np

from acquire.model.columns import IN_MEMORY, Columns
from acquire.reduce.tagging.positions import interpolated

STANDARD_GRAVITY = 9.80665
SLOWEST_RATE_HZ = 5.0
AT_ONCE = 1 << 16
"""So many readings are corrected at a time: a long recording is not held in memory."""


def window_seconds(interval_s: float) -> float:
    """Length of φ for readings this far apart: 1 s, for slower ones up to 2 s."""
    return float(np.clip(25 * interval_s, 1.0, 2.0))


def bump(offset_s: np.ndarray, width_s: float) -> tuple[np.ndarray, np.ndarray]:
    """φ = c·(1 − s²)⁴ over `width_s` and its second derivative, as weights that sum to 1 and 0."""
    half = width_s / 2
    s = offset_s / half
    inside = np.clip(1 - s**2, 0.0, None)
    weight = inside**4
    second = (48 * s**2 * inside**2 - 8 * inside**3) / half**2
    total = weight.sum()
    second = second - weight * (second.sum() / total)
    return weight / total, second / total


def lagged(time_s: np.ndarray, values: np.ndarray, lag_s: float) -> np.ndarray:
    """`values` as a first-order lag of `lag_s` shows them, exact for straight lines between samples."""
    if lag_s <= 0:
        return values
    out = np.empty(len(values))
    out[0] = values[0]
    for index, step in enumerate(np.diff(time_s), start=1):
        decay = np.exp(-step / lag_s)
        rate = (values[index] - values[index - 1]) / step
        behind = values[index - 1] - rate * lag_s
        out[index] = behind + rate * step + (out[index - 1] - behind) * decay
    return out


def tilt_without_acceleration(
    time_s: np.ndarray,
    reading_um_per_m: np.ndarray,
    position_mm: np.ndarray,
    lag_s: float = 0.0,
    columns: Columns = IN_MEMORY,
) -> np.ndarray:
    """Slope at each reading with the carriage's acceleration taken out; NaN within half a window of an end.

    Parameters
    ----------
    time_s : array, shape (n,)
        Rising; the lag already taken off.
    reading_um_per_m, position_mm : array, shape (n,)
        The level's readings and where it was; finite.
    lag_s : float
        Of the level, as a first-order lag.
    columns : Columns, optional
        Where what is as long as the readings is put.

    Examples
    --------
    >>> t = np.arange(0, 6, 0.02)
    >>> x = 5 * t + 2 / np.pi * np.sin(np.pi * t)
    >>> y = 7 - 2 * np.pi * np.sin(np.pi * t) * 1e3 / 9.80665
    >>> bool(np.nanmax(np.abs(tilt_without_acceleration(t, y, x) - 7)) < 0.25)
    True
    """
    interval = float(np.median(np.diff(time_s), overwrite_input=True))
    width = window_seconds(interval)
    even_s = columns.keep(np.arange(time_s[0], time_s[-1] + interval / 2, interval))
    reach = int(width / 2 / interval)
    if reach < 2 or len(even_s) < 2 * reach + 1:
        return np.full(len(time_s), np.nan)
    weight, second = bump(np.arange(-reach, reach + 1) * interval, width)
    lagging_mm = lagged(even_s, np.interp(even_s, time_s, position_mm), lag_s) if lag_s > 0 else None

    def shown_mm(part: slice) -> np.ndarray:
        if lagging_mm is None:
            return interpolated(even_s[part], time_s, position_mm)
        return interpolated(even_s[part] + lag_s, even_s, lagging_mm)

    start_mm = shown_mm(slice(0, 1))[0]
    middle_s = even_s[reach : len(even_s) - reach]
    tilt, at_readings = columns.column(float), columns.column(float)
    for begin in range(0, len(middle_s), AT_ONCE):
        part = slice(begin, min(begin + AT_ONCE, len(middle_s)) + 2 * reach)
        found = np.convolve(interpolated(even_s[part], time_s, reading_um_per_m), weight, "valid")
        found -= 1e3 / STANDARD_GRAVITY * np.convolve(shown_mm(part) - start_mm, second, "valid")
        tilt.append(found)
        columns.let_go()
    even_tilt = tilt.whole()
    for begin in range(0, len(time_s), AT_ONCE):
        at_s = time_s[begin : begin + AT_ONCE]
        at_readings.append(interpolated(at_s, middle_s, even_tilt, outside=np.nan))
        columns.let_go()
    return at_readings.whole()
