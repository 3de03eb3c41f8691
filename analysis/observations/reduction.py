"""A dense traverse brought to the bed's stations: a parabola through what lies near each.

For readings that depend on the heights at one place (offset, roll, span). Neighbouring
bins are not independent; the autocorrelation of what is left over the parabolas
inflates the uncertainty.
"""

import numpy as np

from acquire.traverse_file import Stations

MOST_AUTOCORRELATION = 0.95


def pitch_mm(station_mm: np.ndarray) -> float:
    """The usual distance between neighbouring stations."""
    return float(np.median(np.diff(np.asarray(station_mm, float))))


def at_stations(dense: Stations, station_mm: np.ndarray, stated: float) -> Stations:
    """Readings of a dense traverse at given stations.

    Parameters
    ----------
    dense : Stations
        By rising station.
    station_mm : array
        Where values are wanted; those that no reading is near are left out.
    stated : float
        The instrument's stated uncertainty, added whole: more samples do not reduce it.

    Returns
    -------
    Stations
        `scatter` from what is left over the parabolas, inflated for autocorrelation.
    """
    half_mm = pitch_mm(station_mm) / 2
    found, leftovers, freedom = [], [], 0
    for station in np.asarray(station_mm, float):
        near = np.abs(dense.station_mm - station) <= half_mm
        if not _is_around(dense.station_mm[near], station, half_mm):
            continue
        height, share, left, free, when_s = _parabola(dense, near, station)
        found.append((station, height, share, np.count_nonzero(near), when_s))
        leftovers.append(left)
        freedom += free
    if not found:
        return _none()
    at, value, factor, count, time_s = np.array(found, float).T
    over = np.concatenate(leftovers)
    spread = float(np.sqrt(over @ over / freedom)) if freedom > 0 else 0.0
    scatter = spread * np.sqrt(factor * autocorrelation_factor(over))
    total = np.hypot(scatter, stated)
    return Stations(at, value, total, scatter, count.astype(int), np.ones(len(at), int), time_s)


def autocorrelation_factor(left: np.ndarray) -> float:
    """(1 + ρ) / (1 − ρ) of the first-lag autocorrelation, never below 1.

    Examples
    --------
    >>> autocorrelation_factor(np.array([1.0, -1.0, 1.0, -1.0]))
    1.0
    """
    power = float(left @ left)
    if len(left) < 3 or power == 0.0:
        return 1.0
    rho = min(max(float(left[1:] @ left[:-1]) / power, 0.0), MOST_AUTOCORRELATION)
    return (1 + rho) / (1 - rho)


def _is_around(near_mm: np.ndarray, station: float, half_mm: float) -> bool:
    return len(near_mm) >= 2 and float(np.min(np.abs(near_mm - station))) <= half_mm / 2


def _parabola(
    dense: Stations, near: np.ndarray, station: float
) -> tuple[float, float, np.ndarray, int, float]:
    """Value at the station, its variance factor, leftovers, their freedom, and the time."""
    away, reading = dense.station_mm[near] - station, dense.reading[near]
    degree = min(2, len(np.unique(away)) - 1)
    columns = np.vander(away, degree + 1, increasing=True)
    solution, *_ = np.linalg.lstsq(columns, reading, rcond=None)
    factor = float(np.linalg.pinv(columns.T @ columns)[0, 0])
    left = reading - columns @ solution
    return float(solution[0]), factor, left, len(away) - degree - 1, float(np.mean(dense.time_s[near]))


def _none() -> Stations:
    empty = np.zeros(0)
    return Stations(empty, empty, empty, empty, np.zeros(0, int), np.zeros(0, int), empty)
