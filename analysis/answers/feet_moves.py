"""Which feet to move by how much: how a bed follows its feet, and the moves that a hand can set.

The bed stands on F pairs of feet; foot i at station x_i, across p_i, is lifted by u_i (µm).  A stiff
bed on stiff feet follows each pair: in the middle between its feet it rises by z, across it rolls by θ,

    θ = (u_rear - u_front) / (p_rear - p_front),    z = (u_front + u_rear) / 2

linear in θ and a natural cubic spline in z from pair to pair.  Three motions are the bed's as a
body; what is left are the *shapes*, feet - 3 of them: F - 1 twists from one pair to the next and
F - 2 bends of an inner pair off the chord of its neighbours.  With the shapes s that the bed is
in now, their covariance C, and S the shapes that lifting each foot by 1 µm makes, the moves are

    min | B (s + S u) |²,  B = pinv(S of the stiff bed),  |u_i| <= bound_i

that is, the least height left at the feet once the best plane is taken off; of all such moves the
smallest.  Shapes of S in units of noise (singular vectors of C^(-1/2) S) that hold less than three
times their noise are left alone.  Moves are rounded to what a hand can set and one step more and
less of every foot is tried.  Derived.  False where feet or floor give: a first move then errs by
about 30 %, and more rounds, or measured responses, mend it.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg

from acquire.model.bed import Foot
from acquire.model.units import MM_PER_M

LEAST_FEET = 4
SEEN = 3.0
"""Standard uncertainties that a shape must hold to be worth a move."""
FLAT = 1e-9
"""Share of the largest singular value below which nothing answers."""
LEAST_MOVE = 1e-6
"""Weight of the moves beside what they leave: decides only between moves that leave the same."""
TRIED = np.array([0.0, -1.0, 1.0])


def pair_rows(pairs: Sequence[Sequence[Foot]]) -> tuple[np.ndarray, np.ndarray]:
    """Rise (µm) in the middle of each pair and its roll (µm/m), a row a pair, per µm of each foot.

    Parameters
    ----------
    pairs : sequence of pairs of Foot
        In order along the bed; the columns are the feet of the pairs in turn.

    Examples
    --------
    One foot of a pair 400 mm apart, raised by 27.8 µm, rolls that end by 69 µm/m:

    >>> ends = [[Foot("a", 0, 0), Foot("b", 0, 400)], [Foot("c", 3000, 0), Foot("d", 3000, 400)]]
    >>> rise, roll = pair_rows(ends)
    >>> (roll @ [0, 27.8, 0, 0]).round(1).tolist(), (rise @ [0, 27.8, 0, 0]).round(1).tolist()
    ([69.5, 0.0], [13.9, 0.0])
    """
    count = len(pairs)
    rise, roll = np.zeros((2, count, 2 * count))
    for row, (one, other) in enumerate(pairs):
        rise[row, 2 * row : 2 * row + 2] = 0.5
        per_um = MM_PER_M / (other.across_mm - one.across_mm)
        roll[row, 2 * row : 2 * row + 2] = [-per_um, per_um]
    return rise, roll


def shape_rows(station_mm: Sequence[float]) -> tuple[np.ndarray, np.ndarray]:
    """Twists of the rolls at the pairs, (F - 1, F); bends of the rises there, (F - 2, F).

    Examples
    --------
    >>> twists, bends = shape_rows([0, 500, 1000])
    >>> bends.tolist()
    [[-0.5, 1.0, -0.5]]
    """
    count = len(station_mm)
    twists = np.diff(np.eye(count), axis=0)
    bends = np.zeros((max(count - 2, 0), count))
    for row in range(len(bends)):
        first, here, last = station_mm[row : row + 3]
        share = (here - first) / (last - first)
        bends[row, row : row + 3] = [share - 1, 1.0, -share]
    return twists, bends


def stiff_response(pairs: Sequence[Sequence[Foot]]) -> np.ndarray:
    """Shapes that a stiff bed takes per µm of each foot, shape (feet - 3, feet): twists µm/m, bends µm.

    Raises
    ------
    ValueError
        For fewer than two pairs: three feet change neither bend nor twist.
    """
    if len(pairs) < 2:
        raise ValueError(f"{len(pairs)} pair of feet; needed: two or more")
    station = [(one.station_mm + other.station_mm) / 2 for one, other in pairs]
    rise, roll = pair_rows(pairs)
    twists, bends = shape_rows(station)
    return np.vstack([twists @ roll, bends @ rise])


def seen_shapes(shapes: np.ndarray, covariance: np.ndarray, response: np.ndarray) -> tuple[np.ndarray, int]:
    """What of the shapes stands out of their noise, and how many independent ones that is.

    Parameters
    ----------
    shapes : array, shape (m,)
        Of the bed now.
    covariance : array, shape (m, m)
        Positive definite.
    response : array, shape (m, feet)
        Shapes per µm of each foot.

    Examples
    --------
    >>> kept, count = seen_shapes(np.array([50.0, 1.0]), np.eye(2), np.array([[2.0, 0], [0, 1.0]]))
    >>> kept.tolist(), count
    ([50.0, 0.0], 1)
    """
    lower = np.linalg.cholesky(covariance)
    white = scipy.linalg.solve_triangular(lower, response, lower=True)
    left, strength, _ = np.linalg.svd(white, full_matrices=False)
    amount = left.T @ scipy.linalg.solve_triangular(lower, shapes, lower=True)
    kept = (np.abs(amount) >= SEEN) & (strength > FLAT * strength[0])
    return lower @ (left[:, kept] @ amount[kept]), int(np.count_nonzero(kept))


@dataclass(frozen=True, eq=False)
class Moves:
    """Lifts of the feet, and what they leave."""

    lift_um: np.ndarray
    """A whole number of hand steps each."""
    left_um: np.ndarray
    """At each foot, once the best plane is taken off."""
    is_bounded: bool
    """Whether a bound stopped them: more is to be moved in a later round."""


def bounded_moves(now_um: np.ndarray, response: np.ndarray, most_um: np.ndarray) -> np.ndarray:
    """u with the least | now + response u |² and |u| <= most; the smallest of those that leave the same.

    Parameters
    ----------
    now_um : array, shape (n,)
    response : array, shape (n, feet)
        Per µm of each foot.
    most_um : array, shape (feet,)
        Above 0.

    Examples
    --------
    >>> twist = np.outer([1, -1, -1, 1], [1, -1, -1, 1]) / 4
    >>> bounded_moves(np.array([30.0, -30, -30, 30]), twist, np.full(4, 100.0)).round(3).tolist()
    [-30.0, 30.0, 30.0, -30.0]
    """
    from scipy.optimize import (
        lsq_linear,  # imported where used: it takes as long as all that other answers need
    )

    feet = response.shape[1]
    wide = np.vstack([response, LEAST_MOVE * np.eye(feet)])
    wanted = np.concatenate([-now_um, np.zeros(feet)])
    return np.asarray(lsq_linear(wide, wanted, (-most_um, most_um), method="bvls").x)


def hand_moves(now_um: np.ndarray, response: np.ndarray, most_um: np.ndarray, step_um: np.ndarray) -> Moves:
    """The bounded moves rounded to whole hand steps; of one step more or less of every foot, the best.

    Parameters
    ----------
    now_um : array, shape (n,)
        What is to be taken out.
    response : array, shape (n, feet)
        Per µm of each foot.
    most_um, step_um : array, shape (feet,)
        Largest lift either way, and the lift that a hand can set. Where a step is larger than the
        bound, that foot is not moved.
    """
    exact = bounded_moves(now_um, response, most_um)
    near = np.round(exact / step_um)
    tried = near + np.array(list(itertools.product(TRIED, repeat=len(near))))
    lift = tried * step_um
    lift = lift[(np.abs(lift) <= most_um * (1 + FLAT)).all(axis=1)]
    left = now_um + lift @ response.T
    cost = np.sum(left**2, axis=1) + LEAST_MOVE**2 * np.sum(lift**2, axis=1)
    best = int(np.argmin(cost))
    return Moves(lift[best], left[best], bool(np.any(np.abs(exact) >= most_um * (1 - FLAT))))
