"""A round of scraping in passes: the deepest place first, then wider and wider.

With N passes of p each, N = ⌈greatest depth / p⌉, pass k goes over all places where more than (N - k) p is to
come off, so that every place gets as many passes as its depth holds, to within one.  Depths run straight
from station to station.  That a pass takes 2 to 10 µm (0.1 to 0.4 thou) is common practice.
"""

from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import ArrayLike, NDArray

PASS_UM = 5.0
LEAST_UM = 0.5
"""Less than this at the deepest place is no work."""


@dataclass(frozen=True)
class Pass:
    """One pass of the scraper."""

    number: int
    stretches_mm: tuple[tuple[float, float], ...]
    """From and to, rising."""


def passes_of(station_mm: ArrayLike, depth_um: ArrayLike, pass_um: float = PASS_UM) -> tuple[Pass, ...]:
    """The passes of one round on one face, in order of work.

    Parameters
    ----------
    station_mm, depth_um : array, shape (n,)
        What is to come off this round.
    pass_um : float
        What one pass takes.

    Examples
    --------
    10 µm in the middle, 5 at its neighbours:

    >>> for each in passes_of([0, 100, 200, 300, 400], [0, 5, 10, 5, 0]):
    ...     print(each.number, each.stretches_mm)
    1 ((100.0, 300.0),)
    2 ((0.0, 400.0),)
    """
    x, depth = np.asarray(station_mm, float), np.asarray(depth_um, float)
    most = float(depth.max(initial=0.0))
    if most < LEAST_UM:
        return ()
    count = ceil(most / pass_um - 1e-9)
    return tuple(Pass(k, _where_above(x, depth, (count - k) * pass_um)) for k in range(1, count + 1))


def _where_above(x: NDArray, depth: NDArray, level: float) -> tuple[tuple[float, float], ...]:
    """Stretches over which straight lines from place to place lie above a level."""
    above = depth > level + 1e-9
    edges = []
    if above[0]:
        edges.append(float(x[0]))
    for i in np.flatnonzero(above[1:] != above[:-1]):
        share = (level - depth[i]) / (depth[i + 1] - depth[i])
        edges.append(float(x[i] + share * (x[i + 1] - x[i])))
    if above[-1]:
        edges.append(float(x[-1]))
    return tuple(zip(edges[::2], edges[1::2], strict=True))
