"""The straight line that touches points from below: lines arrive late, never early."""

import numpy as np


def lower_line(index: np.ndarray, arrival_s: np.ndarray) -> tuple[float, float]:
    """Intercept and slope of the line below all points with the least sum of distances.

    It is the edge of the lower convex hull above the mean index.

    Examples
    --------
    >>> lower_line(np.arange(4.0), np.array([0.3, 1.0, 2.2, 3.0]))
    (0.0, 1.0)
    """
    hull: list[int] = []
    x, y = index.tolist(), arrival_s.tolist()
    for point in range(len(x)):
        while len(hull) > 1:
            a, b = hull[-2], hull[-1]
            if (y[b] - y[a]) * (x[point] - x[a]) < (y[point] - y[a]) * (x[b] - x[a]):
                break
            hull.pop()
        hull.append(point)
    middle = sum(x) / len(x)
    edge = next((k for k in range(1, len(hull)) if x[hull[k]] >= middle), len(hull) - 1)
    a, b = hull[edge - 1], hull[edge]
    slope = (y[b] - y[a]) / (x[b] - x[a])
    return y[a] - slope * x[a], slope
