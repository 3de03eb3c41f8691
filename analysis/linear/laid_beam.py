"""A straight beam laid on an uneven face: how it bends under its own weight, and the gap that is left.

Of all shapes w(t) that nowhere enter the face, h ≤ w, the beam takes the one of least energy,

    ½ ∫ w″² dt + β ∫ w dt,    t = place / length,    β = q·length⁴ / (E·I),

q its weight per length; β is in the unit of the heights.  For a rectangular section the width
falls out: q / (E·I) = 12·ρ·g / (E·depth²).  A beam on its two ends sags 5/384·β in its middle.

With cubic elements this is a quadratic programme in the gaps z = w − h ≥ 0, which is a problem
of non-negative least squares.  Derived here from the energy; the sag is a handbook value.
"""

from dataclasses import dataclass

import numpy as np
import scipy.linalg
from numpy.typing import ArrayLike, NDArray

STANDARD_GRAVITY = 9.80665
_STEADY = 1e-13
"""Stiffness against lifting as a whole, of the largest: keeps the factor regular where the beam rests on
one place, and shifts the balance of weight and support by less than 1 in 1e4."""
_MOST_ROUNDS = 100
"""Of the non-negative least squares, per node."""


@dataclass(frozen=True, eq=False)
class LaidBeam:
    """A beam at rest on a face."""

    gap: NDArray[np.float64]
    """Between beam and face at each node, shape (n,); never negative."""
    rests_on: NDArray[np.intp]
    """Nodes that it rests on."""
    rows: NDArray[np.float64]
    """How the heights make the gaps while it rests on these nodes, shape (n, n)."""


def self_weight_um(length_mm: float, depth_mm: float, density_kg_per_m3: float, modulus_pa: float) -> float:
    """β of a rectangular beam, in µm.

    Examples
    --------
    A steel edge 1 m long and 60 mm deep, laid on its ends, sags 16 µm in its middle:

    >>> beta_um = self_weight_um(1000, 60, 7850, 207e9)
    >>> round(5 / 384 * beta_um, 1)
    16.1
    """
    per_length = 12 * density_kg_per_m3 * STANDARD_GRAVITY / (modulus_pa * (depth_mm / 1000) ** 2)
    return per_length * (length_mm / 1000) ** 4 * 1e6


def lay_beam(place: ArrayLike, height: ArrayLike, self_weight: float) -> LaidBeam:
    """Lay a beam, as long as the face under it, on the heights of that face.

    Parameters
    ----------
    place : array, shape (n,)
        Rising, any unit; the first and the last are the ends of the beam.
    height : array, shape (n,)
        Of the face, straight between the places.
    self_weight : float
        β, in the unit of the heights, above 0.

    Examples
    --------
    On a parabolic hollow of 20 a beam that would sag 16 on its ends leaves 4 in the middle:

    >>> t = np.linspace(0, 1, 81)
    >>> laid = lay_beam(t, 20 * (2 * t - 1) ** 2, 16 * 384 / 5)
    >>> round(float(laid.gap[40]), 3), t[laid.rests_on].tolist()
    (4.0, [0.0, 1.0])
    """
    from scipy.optimize import nnls  # imported where used: it takes as long as all that other answers need

    x, face = np.asarray(place, float), np.asarray(height, float)
    if not self_weight > 0:
        raise ValueError(f"self_weight = {self_weight:g}: needed more than 0")
    stiffness, load = _condensed((x - x[0]) / (x[-1] - x[0]))
    steady = stiffness + _STEADY * float(stiffness.diagonal().max()) * np.eye(x.size)
    upper = scipy.linalg.cholesky(steady)
    pushed = stiffness @ face + self_weight * load
    gap, _ = nnls(
        upper, -scipy.linalg.solve_triangular(upper, pushed, trans=1), maxiter=_MOST_ROUNDS * x.size
    )
    rests = gap == 0.0
    return LaidBeam(gap, np.flatnonzero(rests), _rows(steady, stiffness, rests))


def _rows(steady: NDArray, stiffness: NDArray, rests: NDArray) -> NDArray[np.float64]:
    """The gaps' derivatives by the heights, from the balance of the nodes that hang free."""
    rows = np.zeros_like(stiffness)
    free = ~rests
    if free.any():
        rows[free] = -scipy.linalg.solve(steady[np.ix_(free, free)], stiffness[free], assume_a="pos")
    return rows


def _condensed(t: NDArray) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Stiffness and weight in the heights of the nodes, their slopes taken out by the balance of moments."""
    count = t.size
    stiffness, load = np.zeros((2 * count, 2 * count)), np.zeros(2 * count)
    for first, length in enumerate(np.diff(t).tolist()):
        own = slice(2 * first, 2 * first + 4)
        stiffness[own, own] += _element(length)
        load[own] += [length / 2, length**2 / 12, length / 2, -(length**2) / 12]
    height, slope = slice(0, None, 2), slice(1, None, 2)
    across = stiffness[height, slope]
    solved = np.linalg.solve(stiffness[slope, slope], np.column_stack([across.T, load[slope]]))
    condensed = stiffness[height, height] - across @ solved[:, :-1]
    return (condensed + condensed.T) / 2, load[height] - across @ solved[:, -1]


def _element(length: float) -> NDArray[np.float64]:
    """Bending stiffness of a cubic element, E·I = 1: height and slope at either end."""
    a, b = 6 * length, 2 * length**2
    rows = [[12, a, -12, a], [a, 2 * b, -a, b], [-12, -a, 12, -a], [a, b, -a, 2 * b]]
    return np.array(rows) / length**3
