"""Step and kink where two pieces of a bed meet, beside a way that is worn.

Either side is carried on to the joint, bending as much as the way is likely to (`smooth_way`).  By how
much that is wrong the way tells by itself: cut at a place where nothing meets, it shows no step and no
kink, so that what the same estimate finds there is its error.  With V found at such a place, N the
variance that the errors of the map give it and B what a way of q = 1 does,

    V ~ N + τ B,        τ² = Σ (V⁴ - 3 N²) / (N + q B)²  :  Σ B² / (N + q B)²

over all places with two stations or more on either side.  Fourth powers, because wear bends in few
places: where it ends in a corner the one place that shows it counts for more than the many that do not,
and the joint may be such another.  The ± is that of τ, or of q where the places show less.

What nothing here tells: wear that ends within about a station of the joint.  It shows in no other place,
and looks like a kink.  Derived; simulated in `tests/benchmarks/joints_held.py`.
"""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from acquire.model.units import MM_PER_M
from analysis.linear.smooth_way import (
    LEAST_SHARE,
    Sought,
    bending_covariance,
    estimate_on_smooth_way,
    estimate_over_sizes,
    polynomial,
)

KINK_UM_PER_M = 50.0
"""Kinks to be expected at a joint, standard deviation: before the readings, to weigh a kink against bends."""
BOW = 2
"""Degree of the polynomial that runs on over a joint: beds sag as a whole."""
LEAST_BESIDE = 2
"""Stations on either side of a place that is tried: a line on each."""
MOST_PLACES = 24
"""Tried on each piece; more would tell the same again."""
ANY, FEW_PLACES = 1.4, np.array([2.0, 30.0])
"""Of few places the worst is likely missing: τ of step and kink counts 1.4 + 2 and 30 / places as large.
By simulation."""
FARTHER = np.array([1 / 3, 1.0])
"""Where heights beside the joint are hardly known it is farther from those that are than the places tried
are.  White bends grow with the third power of that distance (variance of a step; of a kink with the
first), those of a smooth way with the fourth (second)."""


def joint_columns(station_mm: NDArray, at_mm: float) -> NDArray[np.float64]:
    """What a step of 1 µm and a kink of 1 µm/m at a joint make of the heights, shape (n, 2).

    Examples
    --------
    >>> joint_columns(np.array([0.0, 500.0]), 300.0).tolist()
    [[0.0, 0.0], [1.0, 0.2]]
    """
    beyond = station_mm > at_mm
    return np.column_stack([beyond.astype(float), np.where(beyond, station_mm - at_mm, 0.0) / MM_PER_M])


def step_and_kink(station_mm: NDArray, height_um: NDArray, covariance: NDArray, at_mm: float) -> Sought:
    """Step (µm) and kink (µm/m) at a joint.

    Parameters
    ----------
    station_mm, height_um : array, shape (n,)
        Rising; four stations or more on either side, none on the joint.
    covariance : array, shape (n, n)
        Of heights that may be known up to a line alone.
    at_mm : float

    Examples
    --------
    A bow that runs on over a joint without a step or kink: neither is seen.

    >>> x = np.arange(0.0, 1600.0, 100.0)
    >>> found = step_and_kink(x, 40 * (x / 750 - 1) ** 2, 0.01 * np.eye(16), 750.0)
    >>> sure = 2 * np.sqrt(np.diag(found.covariance(0.01 * np.eye(16))))
    >>> bool(np.all(np.abs(found.value) < sure)), bool(sure[0] < 0.5)
    (True, True)
    """
    columns, bow = joint_columns(station_mm, at_mm), polynomial(station_mm, BOW)[:, BOW:]
    known = station_mm, height_um, covariance
    made = estimate_over_sizes(*known, columns, degree=BOW, expected=KINK_UM_PER_M)
    size = estimate_on_smooth_way(*known, np.hstack([bow, columns]), q=made.q).value[:1]
    straight = station_mm, height_um - bow @ size, covariance
    tried = np.array(list(_where_nothing_meets(*straight, at_mm, made.q)))
    bends = made.rows @ bending_covariance(station_mm) @ made.rows.T
    root = np.sqrt(_bending(tried, np.diag(bends), made.q))
    return replace(made, from_bends=np.outer(root, root) * bends)


def _where_nothing_meets(
    station_mm: NDArray, height_um: NDArray, covariance: NDArray, at_mm: float, q: float
) -> Iterator[tuple[NDArray, NDArray, NDArray]]:
    """V, N and B of step and kink at places on either piece that lie in their gap as the joint in its own."""
    beyond = station_mm > at_mm
    before_mm, after_mm = station_mm[~beyond][-1], station_mm[beyond][0]
    share = (at_mm - before_mm) / (after_mm - before_mm)
    for piece in (np.flatnonzero(~beyond), np.flatnonzero(beyond)):
        x, h, errors = station_mm[piece], height_um[piece], covariance[np.ix_(piece, piece)]
        cuts = np.arange(LEAST_BESIDE, x.size - LEAST_BESIDE + 1)
        for cut in cuts[:: max(-(-cuts.size // MOST_PLACES), 1)]:
            columns = joint_columns(x, x[cut - 1] + share * (x[cut] - x[cut - 1]))
            found = estimate_on_smooth_way(x, h, errors, columns, q=q)
            bends = found.rows @ bending_covariance(x) @ found.rows.T
            yield found.value, np.diag(found.rows @ errors @ found.rows.T), np.diag(bends)


def _bending(tried: NDArray, at_joint: NDArray, q: float) -> NDArray[np.float64]:
    """τ of step and kink; `tried` of shape (places, 3, 2), `at_joint` B of the joint itself."""
    seen, errors, bends = tried.transpose(1, 0, 2)
    weight = 1.0 / np.maximum(errors + q * bends, LEAST_SHARE) ** 2
    square = np.sum(weight * (seen**4 - 3 * errors**2), axis=0) / np.sum(weight * bends**2, axis=0)
    shown = np.sqrt(np.maximum(square, 0.0)) * (ANY + FEW_PLACES / len(tried))
    farther = np.maximum(at_joint / np.median(bends, axis=0), 1.0) ** FARTHER
    return np.asarray(farther * np.maximum(shown, q))
