"""How fast the minimum zone of a long noisy record is found, against a general convex hull.

Run: python tests/benchmarks/minimum_zone.py
The claim: a million noisy points at least 50 times faster than scipy's ConvexHull alone,
which still lacks the zone, and the same width to 1e-8.
"""

import sys
from time import perf_counter

import numpy as np
from scipy.spatial import ConvexHull

from analysis.linear.minimum_zone import minimum_zone

POINTS = 1_000_000


def best_of(times, function):
    """Shortest of several runs in seconds, and what the function returned."""
    lasted = []
    for _ in range(times):
        start = perf_counter()
        result = function()
        lasted.append(perf_counter() - start)
    return min(lasted), result


def main() -> int:
    x = np.linspace(0, 1500, POINTS)
    noise = np.random.default_rng(1).normal(size=POINTS)
    forms = {
        "flat": 0 * x,
        "tilted by 10 µm/m": 0.01 * x,
        "hollow by 40": 40 * ((x / 750 - 1) ** 2),
        "crowned by 40": -40 * ((x / 750 - 1) ** 2),
        "waves of 10": 10 * np.sin(x / 50),
    }
    print(
        f"{POINTS} points, noise 1\n{'form':20}{'zone, ms':>10}{'hull, ms':>10}{'ratio':>8}{'difference':>12}"
    )
    slow = False
    for name, form in forms.items():
        y = form + noise
        points = np.column_stack([x, y])
        ours, zone = best_of(15, lambda y=y: minimum_zone(x, y))
        theirs, hull = best_of(3, lambda points=points: ConvexHull(points))
        difference = zone.width - minimum_zone(*points[hull.vertices].T).width
        slow |= theirs < 50 * ours or abs(difference) > 1e-8
        print(f"{name:20}{ours * 1e3:10.2f}{theirs * 1e3:10.0f}{theirs / ours:8.0f}{difference:12.1e}")
    return int(slow)


if __name__ == "__main__":
    sys.exit(main())
