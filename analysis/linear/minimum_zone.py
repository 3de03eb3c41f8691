"""The two closest parallel lines that hold all points between them, measured along the ordinate.

By the duality of linear programming the least width equals the largest vertical gap
between the upper and the lower convex hull of the points, and the lines there run
along one edge of one hull and through one corner of the other: two points touch one
line, one point between them touches the other.

Long records are thinned before any hull is made: the highest point of each block
spans a preliminary hull, a block that nowhere rises above it is dropped whole, and
of the rest only the points above it are kept.  No point of the true hull can be lost
that way, because every dropped point lies under a chord between two kept ones.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError

_WORTH_THINNING = 256


@dataclass(frozen=True)
class MinimumZone:
    """The minimum zone of a set of points."""

    width: float
    """Vertical distance of the two lines, in the unit of y."""
    slope: float
    """Slope of both lines, in the unit of y per unit of x."""
    intercept: float
    """Height at x = 0 of the line midway between them."""
    pair: tuple[int, int]
    """Indices of the two points that touch one line, in order of x."""
    opposite: int
    """Index of the point between them that touches the other line."""


@dataclass(frozen=True, eq=False)
class _Chain:
    """One side of the convex hull: indices into the points, x rising, y as given."""

    index: NDArray[np.intp]
    x: NDArray[np.float64]
    y: NDArray[np.float64]


def minimum_zone(x: ArrayLike, y: ArrayLike) -> MinimumZone:
    """Find the exact minimum zone of points; repeated x and any order are allowed.

    Parameters
    ----------
    x, y : array, shape (n,)
        The points; any units.

    Raises
    ------
    AnalysisError
        If a value is not finite or there are fewer than two different x.

    Examples
    --------
    The best straight line to x² on [0, 1] is x - 1/8, off by 1/8 each way (a textbook
    case of uniform approximation):

    >>> zone = minimum_zone([0, 0.5, 1], [0, 0.25, 1])
    >>> zone.width, zone.slope, zone.intercept
    (0.25, 1.0, -0.125)
    """
    xs, ys, order = _ordered(np.asarray(x, float), np.asarray(y, float))
    upper, lower = _chain(xs, ys, 1.0), _chain(xs, ys, -1.0)
    return _named(_best(upper, lower), order)


def minimum_zone_widths(x: ArrayLike, samples: ArrayLike) -> NDArray[np.float64]:
    """Widths of the minimum zones of many sets of heights over the same x.

    The range of `y - s·x` is convex in the slope s, and its derivative is the distance
    between the places of the lowest and the highest point: all sets are bisected side
    by side, to a few parts in 1e6.  For drawing from a covariance, where `minimum_zone`
    set by set would take a thousand times longer.

    Parameters
    ----------
    x : array, shape (n,)
        Positions, at least two of them different.
    samples : array, shape (m, n)
        Heights, a row for each set.

    Examples
    --------
    >>> minimum_zone_widths([0, 1, 2], [[0, 1, 2], [0, 1, 0]]).round(4)
    array([0., 1.])
    """
    place = np.asarray(x, float)
    place = place - np.mean(place)
    level = np.asarray(samples, float)
    level = level - np.outer(level @ place / (place @ place), place)
    high = 2 * np.ptp(level, axis=1) / np.ptp(place)
    low = -high
    for _ in range(20):
        slope = (low + high) / 2
        rest = level - slope[:, None] * place
        falling = place[rest.argmax(axis=1)] > place[rest.argmin(axis=1)]
        low, high = np.where(falling, slope, low), np.where(falling, high, slope)
    return np.ptp(level - ((low + high) / 2)[:, None] * place, axis=1)


def _ordered(x: NDArray, y: NDArray) -> tuple[NDArray, NDArray, NDArray[np.intp] | None]:
    if x.ndim != 1 or x.shape != y.shape:
        raise AnalysisError("minimum zone", f"x of shape {x.shape}, y of shape {y.shape}", "pairs of x and y")
    order = None
    if not np.all(x[1:] >= x[:-1]):
        order = np.argsort(x, kind="stable")
        x, y = x[order], y[order]
    # A NaN sorts last and both infinities sort to the ends, so the ends speak for all of x.
    if x.size and not np.isfinite(x[[0, -1]]).all():
        raise AnalysisError("minimum zone", "an x that is not a finite number", "finite numbers only")
    if x.size < 2 or x[0] == x[-1]:
        raise AnalysisError("minimum zone", "points at fewer than two different x", "two or more different x")
    return x, y, order


def _chain(x: NDArray, y: NDArray, side: float) -> _Chain:
    """Upper (side 1) or lower (side -1) convex hull of points with x in order."""
    index = _corners(x, y, side)
    return _Chain(index, x[index], y[index])


def _corners(x: NDArray, y: NDArray, side: float) -> NDArray[np.intp]:
    if x.size <= _WORTH_THINNING:
        # The tops of all blocks come by here, and a NaN or an infinity is the top of its block.
        if not np.isfinite(y).all():
            raise AnalysisError("minimum zone", "a y that is not a finite number", "finite numbers only")
        return _hull(np.arange(x.size), x, y, side)
    return _hull(_thinned(x, y, side), x, y, side)


def _thinned(x: NDArray, y: NDArray, side: float) -> NDArray[np.intp]:
    """Indices of the points that can still be corners, those of a preliminary hull among them."""
    size = int(np.sqrt(x.size) / 2)
    blocks = y[: size * (x.size // size)].reshape(-1, size)
    first = size * np.arange(len(blocks))
    top = first + (blocks.argmax(axis=1) if side > 0 else blocks.argmin(axis=1))
    some = np.concatenate(([0], top, np.arange(blocks.size, x.size), [x.size - 1]))
    rough = some[_corners(x[some], y[some], side)]
    # A hull seen from inside is lowest at one end of a block.
    roof = np.minimum(*(side * np.interp(x[edge], x[rough], y[rough]) for edge in (first, first + size - 1)))
    alive = np.flatnonzero(side * y[top] > roof)
    outside = np.greater if side > 0 else np.less
    row, column = np.nonzero(outside(blocks[alive], side * roof[alive, None]))
    point = first[alive][row] + column
    beyond = outside(y[point], np.interp(x[point], x[rough], y[rough]))
    return np.concatenate((rough, point[beyond]))


def _hull(index: NDArray[np.intp], x: NDArray, y: NDArray, side: float) -> NDArray[np.intp]:
    order = np.lexsort((-side * y[index], x[index]))
    index = index[order]
    index = index[np.concatenate(([True], np.diff(x[index]) > 0))]
    return index[upper_hull((x[index] - x[index[0]]).tolist(), (side * (y[index] - y[index[0]])).tolist())]


def upper_hull(x: list[float], y: list[float]) -> list[int]:
    """Positions of the corners of the upper hull of points with strictly rising x; ends among them."""
    keep: list[int] = []
    for i in range(len(x)):
        while len(keep) > 1:
            a, b = keep[-2], keep[-1]
            if (x[b] - x[a]) * (y[i] - y[a]) < (x[i] - x[a]) * (y[b] - y[a]):
                break
            keep.pop()
        keep.append(i)
    return keep


def _best(upper: _Chain, lower: _Chain) -> MinimumZone:
    """Look along the hull edges that meet where the hulls are farthest apart."""
    corners = np.union1d(upper.x, lower.x)
    gap = np.interp(corners, upper.x, upper.y) - np.interp(corners, lower.x, lower.y)
    widest = corners[gap.argmax()]
    zones = [
        _along(edge, chain, other, upper, lower)
        for chain, other in ((upper, lower), (lower, upper))
        for edge in _edges_at(chain, widest)
    ]
    return min(zones, key=lambda zone: zone.width)


def _edges_at(chain: _Chain, x: float) -> list[int]:
    """Numbers of the edges that hold x: one inside an edge, two at an inner corner."""
    last = chain.x.size - 2
    left, right = np.searchsorted(chain.x, x, "left") - 1, np.searchsorted(chain.x, x, "right") - 1
    return [int(edge) for edge in np.unique(np.clip([left, right], 0, last))]


def _along(edge: int, chain: _Chain, other: _Chain, upper: _Chain, lower: _Chain) -> MinimumZone:
    x0, y0 = chain.x[edge], chain.y[edge]
    slope = (chain.y[edge + 1] - y0) / (chain.x[edge + 1] - x0)
    above = upper.y - y0 - slope * (upper.x - x0)
    below = lower.y - y0 - slope * (lower.x - x0)
    top, bottom = above.max(), below.min()
    touching = lower.index[below.argmin()] if other is lower else upper.index[above.argmax()]
    return MinimumZone(
        width=float(top - bottom),
        slope=float(slope),
        intercept=float(y0 - slope * x0 + (top + bottom) / 2),
        pair=(int(chain.index[edge]), int(chain.index[edge + 1])),
        opposite=int(touching),
    )


def _named(zone: MinimumZone, order: NDArray[np.intp] | None) -> MinimumZone:
    """The same zone with the indices of the points as they were given."""
    if order is None:
        return zone
    a, b = (int(order[i]) for i in zone.pair)
    return MinimumZone(zone.width, zone.slope, zone.intercept, (a, b), int(order[zone.opposite]))
