"""The straight line that rests on heights from above.

A straightedge laid on a face rests, by its weight, along the edge of the upper convex hull
under its middle: of all lines over the points the one that stands lowest there.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from analysis.linear.minimum_zone import upper_hull

_SAME_PLACE = 1e-9


@dataclass(frozen=True, eq=False)
class TouchingLine:
    """A line that touches points, all of them on one side of it."""

    intercept: float
    """Height at x = 0, in the unit of y."""
    slope: float
    """Slope, in the unit of y per unit of x."""
    touching: tuple[int, ...]
    """Points that it was laid on, in order of x: two, or one where it would rock or its slope is given."""
    rows: NDArray[np.float64]
    """How the heights make intercept and slope, shape (2, n)."""

    def at(self, x: ArrayLike) -> NDArray[np.float64]:
        """Height of the line at `x`."""
        return self.intercept + self.slope * np.asarray(x, float)

    def deviation_rows(self, x: ArrayLike) -> NDArray[np.float64]:
        """How the heights make what lies between the points and the line, shape (n, n)."""
        x = np.asarray(x, float)
        return np.eye(x.size) - self.rows[0] - np.outer(x, self.rows[1])


def line_above(x: ArrayLike, y: ArrayLike, at: float) -> TouchingLine:
    """The line over all points that stands lowest at `at`.

    Where `at` is the place of a corner, every line between the two edges there stands
    as low; of these the one whose largest distance to a point is least is taken.

    Parameters
    ----------
    x, y : array, shape (n,)
        Points, x rising.
    at : float
        Strictly between the first and the last x.

    Raises
    ------
    AnalysisError
        If there are fewer than two points, or `at` does not lie between them.

    Examples
    --------
    >>> line = line_above([0, 200, 400, 600, 800, 1000], [0, 6, 11, 9, 2, -1], 500)
    >>> round(line.intercept, 9), round(line.slope, 9), line.touching
    (15.0, -0.01, (2, 3))
    """
    x, y = np.asarray(x, float), np.asarray(y, float)
    if x.size < 2 or not x[0] < at < x[-1]:
        raise AnalysisError(
            "touching line", f"{x.size} points and the place {at:g}", "two points or more and a place between"
        )
    upper = _hull(x, y)
    corner = int(np.argmin(np.abs(x[upper] - at)))
    if abs(x[upper[corner]] - at) > _SAME_PLACE * (x[-1] - x[0]):
        edge = int(np.searchsorted(x[upper], at)) - 1
        return _along(x, y, upper[edge], upper[edge + 1])
    return _over_corner(x, y, upper, corner)


def _hull(x: NDArray, y: NDArray) -> list[int]:
    return upper_hull((x - x[0]).tolist(), (y - y[0]).tolist())


def _along(x: NDArray, y: NDArray, a: int, b: int) -> TouchingLine:
    return _through(x, y, a, (a, b), (a, b))


def _over_corner(x: NDArray, y: NDArray, upper: list[int], corner: int) -> TouchingLine:
    """Through a corner, parallel to the chord of the lower hull under it, as far as the edges allow."""
    v = upper[corner]
    edges = [_along(x, y, upper[i], upper[i + 1]) for i in (corner - 1, corner)]
    lower = _hull(x, -y)
    far = min(int(np.searchsorted(x[lower], x[v], "right")), len(lower) - 1)
    p, q = lower[far - 1], lower[far]
    slope = (y[q] - y[p]) / (x[q] - x[p])
    if slope >= edges[0].slope:
        return edges[0]
    if slope <= edges[1].slope:
        return edges[1]
    return _through(x, y, v, (p, q), (v,))


def _through(
    x: NDArray, y: NDArray, point: int, along: tuple[int, int], touching: tuple[int, ...]
) -> TouchingLine:
    """The line through one point with the slope from one point to another."""
    a, b = along
    rows = np.zeros((2, x.size))
    rows[1, b], rows[1, a] = 1 / (x[b] - x[a]), -1 / (x[b] - x[a])
    rows[0, point] = 1.0
    rows[0] -= x[point] * rows[1]
    slope = float((y[b] - y[a]) / (x[b] - x[a]))
    return TouchingLine(float(y[point] - slope * x[point]), slope, touching, rows)
