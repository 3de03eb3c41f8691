"""A continuous traverse brought to the bed's stations: a parabola through what lies near each.

For readings that depend on the heights at one place (offset, roll, span). Neighbouring
bins are not independent: what is left over the parabolas tells how strongly they hang
together (as if each were a share ρ of the one before), with allowance for what the
parabolas themselves have taken up, and the uncertainty follows from that.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.linalg import toeplitz

from acquire.model.traverse import Stations

END_SLACK_MM = 2.0
"""A traverse that begins or ends as near as this to a station (or two of its own steps) reaches it."""
CORRELATIONS = np.array([*np.arange(0.0, 0.9, 0.05), 0.9, 0.93, 0.95, 0.97, 0.98])


@dataclass(frozen=True, eq=False)
class _Window:
    """The readings about one station and the parabola through them."""

    station_mm: float
    columns: np.ndarray
    value: float
    left: np.ndarray
    time_s: float

    def variance(self, rho: float) -> tuple[float, float]:
        """For noise of size 1: variance of the value, and expected sum of squares left over."""
        hang = toeplitz(rho ** np.arange(len(self.columns)))
        inverse = np.linalg.pinv(self.columns)
        return float(inverse[0] @ hang @ inverse[0]), float(np.sum(_over(self.columns) * hang))


def pitch_mm(station_mm: np.ndarray) -> float:
    """The usual distance between neighbouring stations."""
    return float(np.median(np.diff(np.asarray(station_mm, float))))


def at_stations(drawn: Stations, station_mm: np.ndarray, stated: float) -> Stations:
    """Readings of a continuous traverse at given stations.

    Parameters
    ----------
    drawn : Stations
        By rising station.
    station_mm : array
        Where values are wanted; those that no reading is near, or that lie beyond the
        traverse's reach, are left out.
    stated : float
        The instrument's stated uncertainty, added whole: more samples do not reduce it.

    Returns
    -------
    Stations
        `scatter` from what is left over the parabolas, neighbours' share included.
    """
    half_mm = pitch_mm(station_mm) / 2
    windows = [
        _window(drawn, near, float(station))
        for station in _within_reach(np.asarray(station_mm, float), drawn.station_mm)
        if _is_around(
            drawn.station_mm[near := np.abs(drawn.station_mm - station) <= half_mm], station, half_mm
        )
    ]
    if not windows:
        empty = np.zeros(0)
        return Stations(empty, empty, empty, empty, np.zeros(0, int), np.zeros(0, int), empty)
    scatter = _scatter(windows)
    return Stations(
        np.array([window.station_mm for window in windows]),
        np.array([window.value for window in windows]),
        np.hypot(scatter, stated),
        scatter,
        np.array([len(window.columns) for window in windows]),
        np.ones(len(windows), int),
        np.array([window.time_s for window in windows]),
    )


def _scatter(windows: list[_Window]) -> np.ndarray:
    """Standard uncertainty of each value by the noise that all windows show together."""
    rho = shared_part([(window.columns, window.left) for window in windows])
    parts = [window.variance(rho) for window in windows]
    free = sum(expected for _, expected in parts)
    size = sum(float(window.left @ window.left) for window in windows) / free if free > 1e-9 else 0.0
    return np.sqrt(size * np.array([variance for variance, _ in parts]))


def shared_part(fits: list[tuple[np.ndarray, np.ndarray]]) -> float:
    """What share ρ of its neighbour's noise each reading has, judged from what fits have left over.

    Parameters
    ----------
    fits : list of (columns, left)
        Columns of each least-squares fit, shape (n, p), and its leftovers, shape (n,).

    Returns
    -------
    float
        The ρ whose expected correlation of neighbouring leftovers, after the fit has taken
        its part, is the one seen; 0 where that is negative.

    Examples
    --------
    >>> shared_part([(np.ones((4, 1)), np.array([1.0, -1.0, 1.0, -1.0]))])
    0.0
    """
    power = sum(float(left @ left) for _, left in fits)
    columns, _ = sorted(fits, key=lambda fit: len(fit[0]))[len(fits) // 2]
    if power == 0.0 or len(columns) < columns.shape[1] + 3:
        return 0.0
    seen = sum(float(left[1:] @ left[:-1]) for _, left in fits) / power
    return float(np.interp(seen, _expected(*columns.shape), CORRELATIONS))


@lru_cache(maxsize=64)
def _expected(count: int, width: int) -> np.ndarray:
    """Correlation of neighbouring leftovers of a polynomial through evenly spaced readings, per ρ."""
    over = _over(np.vander(np.linspace(-1.0, 1.0, count), width))
    shifted = np.roll(over, -1, axis=0)
    shifted[-1] = 0.0
    # trace of over·R·over is the sum of over ∘ R, since over is a projection; its first
    # off-diagonal is that of the rows moved by one
    crossed = over @ shifted
    expected = []
    for rho in CORRELATIONS:
        hang = toeplitz(rho ** np.arange(count))
        expected.append(np.sum(crossed * hang) / np.sum(over * hang))
    return np.maximum.accumulate(expected)


def _over(columns: np.ndarray) -> np.ndarray:
    return np.eye(len(columns)) - columns @ np.linalg.pinv(columns)


def _within_reach(station_mm: np.ndarray, read_mm: np.ndarray) -> np.ndarray:
    if not len(read_mm):
        return np.zeros(0)
    step_mm = float(np.median(np.diff(read_mm))) if len(read_mm) > 1 else 0.0
    slack_mm = max(END_SLACK_MM, 2 * step_mm)
    return station_mm[(station_mm >= read_mm[0] - slack_mm) & (station_mm <= read_mm[-1] + slack_mm)]


def _is_around(near_mm: np.ndarray, station: float, half_mm: float) -> bool:
    return len(near_mm) >= 2 and float(np.min(np.abs(near_mm - station))) <= half_mm / 2


def _window(drawn: Stations, near: np.ndarray, station: float) -> _Window:
    away, reading = drawn.station_mm[near] - station, drawn.reading[near]
    degree = min(2, len(np.unique(away)) - 1)
    columns = np.vander(away, degree + 1, increasing=True)
    solution, *_ = np.linalg.lstsq(columns, reading, rcond=None)
    left = reading - columns @ solution
    return _Window(station, columns, float(solution[0]), left, float(np.mean(drawn.time_s[near])))
