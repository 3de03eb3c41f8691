"""Straight lines through heights, each a linear function of them.

Every reference line used here gives its height and slope as weighted sums of the
heights, so one small matrix carries both the line itself and, through the heights'
covariance, how well it is known.
"""

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import is_in_stretches
from analysis.linear.minimum_zone import minimum_zone

Stretches = Sequence[Sequence[float]]
KINDS = ("ends", "least-squares", "minimum-zone", "unworn")


def line_rows(kind: str, x: ArrayLike, y: ArrayLike, unworn_mm: Stretches = ()) -> NDArray[np.float64]:
    """Give the weights with which the heights make the reference line.

    Parameters
    ----------
    kind : str
        ``ends`` (through the first and the last point), ``least-squares``,
        ``minimum-zone`` (midway between the two closest parallel lines that hold all
        points; its weights are those of the three points that touch), or ``unworn``
        (least squares through the stretches `unworn_mm` alone).
    x, y : array, shape (n,)
        Stations, rising, and heights (needed by ``minimum-zone`` only).
    unworn_mm : sequence of (from, to)
        Stretches, ends included.

    Returns
    -------
    array, shape (2, n)
        First row: height of the line at the mean of x; second row: its slope.

    Examples
    --------
    >>> line_rows("ends", [0, 100, 200], [0, 0, 0])
    array([[ 0.5  ,  0.   ,  0.5  ],
           [-0.005,  0.   ,  0.005]])
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    if kind not in KINDS:
        raise AnalysisError("reference line", f"found {kind!r}", " | ".join(KINDS))
    if x.size < 2:
        raise AnalysisError("reference line", f"{x.size} station", "two stations or more")
    rules: dict[str, Callable[[], NDArray]] = {
        "ends": lambda: _through(x, 0, x.size - 1),
        "least-squares": lambda: least_squares_rows(x, np.ones_like(x)),
        "minimum-zone": lambda: _midway(x, y),
        "unworn": lambda: least_squares_rows(x, _inside(x, unworn_mm)),
    }
    return rules[kind]()


def least_squares_rows(x: NDArray, weight: NDArray) -> NDArray[np.float64]:
    """Rows of the weighted least-squares line: its height at the plain mean of x, and its slope."""
    if np.any(weight < 0) or np.unique(x[weight > 0]).size < 2:
        raise AnalysisError(
            "least-squares line", "fewer than two different places with weight", "two or more"
        )
    share = weight / np.sum(weight)
    arm = x - share @ x
    slope = share * arm / np.sum(share * arm**2)
    return np.stack([share + slope * (np.mean(x) - share @ x), slope])


def line_free_contrasts(station_mm: ArrayLike) -> NDArray[np.float64]:
    """Orthonormal combinations of heights at `station_mm` that a line added to them does not change.

    Their transpose times themselves takes the least-squares line off.

    Parameters
    ----------
    station_mm : array, shape (k,)
        At least three different stations.

    Returns
    -------
    matrix : array, shape (k − 2, k)

    Examples
    --------
    Three heights have one: how far the middle is off the chord.

    >>> matrix = line_free_contrasts([0, 100, 200])
    >>> (matrix / matrix[0, 0]).round(9)
    array([[ 1., -2.,  1.]])
    """
    station = np.asarray(station_mm, dtype=float)
    centred = station - station.mean()
    lines = np.stack([np.ones_like(centred), centred / np.abs(centred).max()], axis=1)
    return np.linalg.qr(lines, mode="complete")[0][:, 2:].T


def _through(x: NDArray, a: int, b: int) -> NDArray[np.float64]:
    slope = np.zeros_like(x)
    slope[a], slope[b] = -1 / (x[b] - x[a]), 1 / (x[b] - x[a])
    height = slope * (np.mean(x) - x[a])
    height[a] += 1
    return np.stack([height, slope])


def _midway(x: NDArray, y: NDArray) -> NDArray[np.float64]:
    zone = minimum_zone(x, y)
    rows = _through(x, *zone.pair)
    gap = -rows[0] - rows[1] * (x[zone.opposite] - np.mean(x))
    gap[zone.opposite] += 1
    return np.stack([rows[0] + gap / 2, rows[1]])


def _inside(x: NDArray, stretches: Stretches) -> NDArray[np.float64]:
    inside = np.asarray(is_in_stretches(stretches, x))
    if np.count_nonzero(inside) < 2:
        raise AnalysisError(
            "unworn line",
            f"{np.count_nonzero(inside)} of the stations lie in the unworn stretches",
            "two or more",
            "name longer stretches as unworn_mm of the face, or choose another line",
        )
    return inside.astype(float)
