"""A round of scraping: its passes, the deepest place first, then wider and wider; and what it did.

With N passes of p each, N = ⌈greatest depth / p⌉, pass k goes over all places where more than (N - k) p is to
come off, so that every place gets as many passes as its depth holds, to within one.  Depths run straight
from station to station.  That a pass takes 2 to 10 µm (0.1 to 0.4 thou) is common practice.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.linear.pieces import side_of

PASS_UM = 5.0
LEAST_UM = 0.5
"""Less than this at the deepest place is no work."""


@dataclass(frozen=True)
class Pass:
    """One pass of the scraper."""

    number: int
    stretches_mm: tuple[tuple[float, float], ...]
    """From and to, rising."""


def passes_of(
    station_mm: ArrayLike, depth_um: ArrayLike, *, joints_mm: Sequence[float] = ()
) -> tuple[Pass, ...]:
    """The passes of one round on one face, in order of work.

    Parameters
    ----------
    station_mm, depth_um : array, shape (n,)
        What is to come off this round.
    joints_mm : sequence of float
        Where bed pieces meet: a stretch ends at the joint, or goes on beyond it as that piece wants.

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
    count = ceil(most / PASS_UM - 1e-9)
    pieces = [_with_its_ends(x, depth, joints_mm, side) for side in np.unique(side_of(joints_mm, x))]
    return tuple(
        Pass(k, tuple(each for piece in pieces for each in _where_above(*piece, (count - k) * PASS_UM)))
        for k in range(1, count + 1)
    )


def _with_its_ends(
    x: NDArray, depth: NDArray, joints_mm: Sequence[float], side: int
) -> tuple[NDArray, NDArray]:
    """The places of one piece, its own end held up to the joint."""
    mine = side_of(joints_mm, x) == side
    ends = [mm for mm in joints_mm if x[0] <= mm < x[-1]]
    before = [mm for mm in ends[side - 1 : side] if side and mm < x[mine][0]]
    after = [mm for mm in ends[side : side + 1] if mm > x[mine][-1]]
    at = np.r_[before, x[mine], after]
    return at, np.interp(at, x[mine], depth[mine])


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


SHARE = 0.5
"""Of the depth, to cut in one round. Simulated with scrapers that err by 30 % (33 stations, 30 to 70 µm
worn): all at once takes three times the metal that is needed, half a round hardly more than that."""
SURE_SHARE = 0.7
SURE_BELOW = 0.25
"""Error of the scraper below which more may be cut a round."""


@dataclass(frozen=True, eq=False)
class AfterRound:
    """One face since the survey before the round."""

    face: str
    station_mm: NDArray[np.float64]
    asked_um: NDArray[np.float64]
    """What was to come off in the round."""
    done_um: NDArray[np.float64]
    expanded_um: NDArray[np.float64]
    """Of what came off."""
    overshot_um: NDArray[np.float64]
    """By how much more came off than the whole plan; 0 where that is not seen."""
    taken: float | None
    """Of what was asked, on the whole; None where hardly anything was asked that could be seen."""
    error: float | None
    """Relative error of the depths taken, bias and scatter together."""
    error_at_most: float | None
    """What it may be within the uncertainty."""

    @property
    def share(self) -> float:
        """Of each depth, to cut in the next round."""
        is_sure = self.error_at_most is not None and self.error_at_most < SURE_BELOW
        return SURE_SHARE if is_sure and not np.any(self.overshot_um) else SHARE
