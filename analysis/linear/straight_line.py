"""Straight lines through heights, each a linear function of them.

Every reference line used here gives its height and slope as weighted sums of the
heights, so one small matrix carries both the line itself and, through the heights'
covariance, how well it is known.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import is_in_stretches
from analysis.linear.minimum_zone import minimum_zone

Stretches = Sequence[Sequence[float]]
KINDS = ("ends", "least-squares", "minimum-zone", "unworn")


@dataclass(frozen=True, eq=False)
class StraightLine:
    """A line `intercept + slope·x` and the joint covariance of the two."""

    intercept: float
    """Height at x = 0, in the unit of y."""
    slope: float
    """Slope, in the unit of y per unit of x."""
    covariance: NDArray[np.float64]
    """Covariance of (intercept, slope), shape (2, 2)."""
    residual_standard_deviation: float
    """Scatter of the points about the line, n - 2 in the denominator; 0 with two points."""

    @property
    def correlation(self) -> float:
        """Correlation of intercept and slope; 0 where one of them is exact."""
        scale = float(np.sqrt(self.covariance[0, 0] * self.covariance[1, 1]))
        return float(self.covariance[0, 1]) / scale if scale else 0.0

    def at(self, x: ArrayLike) -> NDArray[np.float64]:
        """Height of the line at `x`."""
        return self.intercept + self.slope * np.asarray(x, float)

    def standard_uncertainty_at(self, x: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of the line's height at `x`, intercept and slope taken together."""
        design = np.stack([np.ones_like(np.asarray(x, float)), np.asarray(x, float)], axis=-1)
        return np.sqrt(np.clip(np.einsum("...i,ij,...j", design, self.covariance, design), 0, None))


def fit_line(
    x: ArrayLike, y: ArrayLike, *, weight: ArrayLike | None = None, covariance: ArrayLike | None = None
) -> StraightLine:
    """Fit the least-squares line, with the joint uncertainty of its two coefficients.

    Parameters
    ----------
    x, y : array, shape (n,)
        The points, at two or more different x.
    weight : array, shape (n,), optional
        Weight of each squared residual; all equal if left out.
    covariance : array, shape (n, n), optional
        Covariance of y.  Left out, the points are taken as independent with variance
        s²/weight, s² from the residuals themselves.

    Raises
    ------
    AnalysisError
        If all x are equal, or a weight is negative.

    Examples
    --------
    >>> line = fit_line([0, 1, 2, 3], [1, 3, 5, 7])
    >>> round(line.intercept, 12), round(line.slope, 12)
    (1.0, 2.0)
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    w = np.ones_like(x) if weight is None else np.asarray(weight, float)
    rows = least_squares_rows(x, w)
    middle_height, slope = rows @ y
    middle = np.mean(x)
    freedom = max(int(np.count_nonzero(w)) - 2, 0)
    residual = y - middle_height - slope * (x - middle)
    spread = float(np.sqrt(np.sum(w * residual**2) / freedom)) if freedom else 0.0
    if covariance is None:
        known = (rows * np.divide(spread**2, w, out=np.zeros_like(w), where=w > 0)) @ rows.T
    else:
        known = rows @ np.asarray(covariance, float) @ rows.T
    to_zero = np.array([[1.0, -middle], [0.0, 1.0]])
    return StraightLine(
        float(middle_height - slope * middle), float(slope), to_zero @ known @ to_zero.T, spread
    )


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
