"""A finer map seen through a coarser instrument, so that like is compared with like.

Source: the area under straight lines between stations, derived here.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError

Array = NDArray[np.float64]


def moving_average_weights(station_mm: ArrayLike, base_mm: float, at_mm: ArrayLike) -> Array:
    """Weights that average heights, joined by straight lines, over one base around each place.

    Parameters
    ----------
    station_mm : array, shape (k,)
        Rising stations of the finer map, in mm.
    base_mm : float
        Length to average over, in mm.
    at_mm : array, shape (n,)
        Middles; each at least half a base inside the map.

    Returns
    -------
    weights : array, shape (n, k)
        Each row adds up to one.

    Raises
    ------
    AnalysisError
        If stations do not rise, the base is not above zero, or a middle is too near an end.

    Examples
    --------
    >>> moving_average_weights([0, 100, 200], 200, [100])
    array([[0.25, 0.5 , 0.25]])
    """
    station, at = np.asarray(station_mm, dtype=float), np.asarray(at_mm, dtype=float)
    if len(station) < 2 or not np.all(np.diff(station) > 0) or not base_mm > 0:
        raise AnalysisError(
            "smoothing by a base",
            f"{len(station)} stations, base {base_mm:g} mm",
            "rising stations, a base above 0",
        )
    outside = at[(at - base_mm / 2 < station[0] - 1e-9) | (at + base_mm / 2 > station[-1] + 1e-9)]
    if len(outside):
        raise AnalysisError(
            f"station {outside[0]:g} mm",
            f"is less than half of {base_mm:g} mm from an end of the map",
            f"{station[0] + base_mm / 2:g} to {station[-1] - base_mm / 2:g} mm",
        )
    integral = _integral_weights(station, at + base_mm / 2) - _integral_weights(station, at - base_mm / 2)
    return integral / base_mm


def _integral_weights(station: Array, upto: Array) -> Array:
    """Weights that give the area under the heights from the first station up to each place."""
    step = np.diff(station)
    part = np.clip((upto[:, None] - station[:-1]) / step, 0.0, 1.0)
    weights = np.zeros((len(upto), len(station)))
    weights[:, :-1] += step * (part - part**2 / 2)
    weights[:, 1:] += step * part**2 / 2
    return weights
