"""Smoothness priors: what a way may be like between the stations that readings tie.

A prior says that root @ h holds independent normal numbers of variance q (µm²), `root` a
square banded matrix; its log-determinant lets priors be held against each other.  Level and
tilt of the whole are free in every one: the zeros of the runs take them up.

`Stationary`: heights alike all along, Matérn's covariance of half-integer order ν = p − ½.
Along evenly spaced nodes that is a recursion whose p roots are all φ = exp(−√(2ν)·dx/length):
(1 − φS)ᵖ h = e, S the shift by one node; q is then the variance of the heights.

`FewPlaces`: straight except where it bends; second differences are independent, their
variance q·weight·dx³, the weights known from a first look at the way.

Sources: Matérn's covariances of half-integer order as autoregressions are textbook matter
(from memory); the recursion is their limit for close nodes, checked against plain matrices.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import comb

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from analysis.linear.banded import to_band, width

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Prior:
    """A smoothness prior on evenly spaced nodes, for q = 1."""

    root: sparse.csr_array
    """Heights to independent numbers of variance 1, shape (nodes, nodes)."""
    log_determinant: float
    """Logarithm of the determinant of rootᵀ·root."""

    @property
    def precision(self) -> sparse.coo_array:
        """Inverse of the heights' covariance."""
        return sparse.coo_array(self.root.T @ self.root)

    @cached_property
    def band(self) -> Array:
        """The precision as LAPACK's lower band."""
        place, precision = np.arange(self.root.shape[1]), self.precision
        return to_band(precision, place, width(precision, place))


def _root(first: Array, steps: Array) -> sparse.csr_array:
    """Rows over the first nodes, shape (p, p), then rows from each node in turn on, shape (nodes − p, p + 1).

    Examples
    --------
    >>> _root(np.array([[2.0]]), np.array([[-1.0, 1.0], [-3.0, 3.0]])).toarray()
    array([[ 2.,  0.,  0.],
           [-1.,  1.,  0.],
           [ 0., -3.,  3.]])
    """
    p, nodes = len(first), len(first) + len(steps)
    later = np.arange(nodes - p)
    column = [np.tile(np.arange(p), p), (later[:, None] + np.arange(p + 1)).ravel()]
    begin = [p * np.arange(p), p * p + (p + 1) * np.arange(nodes - p + 1)]
    data = np.concatenate([first.ravel(), steps.ravel()])
    return sparse.csr_array((data, np.concatenate(column), np.concatenate(begin)), shape=(nodes, nodes))


@dataclass(frozen=True)
class Stationary:
    """Heights that go together over a length, the same all along the way."""

    order: int
    """p = ν + ½: 1 rough, 2 with a slope everywhere, 3 with a curvature everywhere."""
    length_mm: float

    def kept(self, spacing_mm: float) -> float:
        """The root φ of the recursion.

        Examples
        --------
        >>> round(Stationary(1, 100.0).kept(10.0), 4)
        0.9048
        """
        return float(np.exp(-((2 * self.order - 1) ** 0.5) * spacing_mm / self.length_mm))

    def on(self, node_mm: Array) -> Prior:
        """The prior on nodes; q is the variance of a height.

        Examples
        --------
        >>> prior = Stationary(2, 100.0).on(np.arange(0.0, 200.0, 5.0))
        >>> covariance = np.linalg.inv(prior.precision.toarray())
        >>> np.allclose(np.diag(covariance), 1.0), round(float(covariance[0, 20]), 2)  # Matérn's: 0.48
        (True, 0.48)
        """
        return _on(self, len(node_mm), float(node_mm[1] - node_mm[0]))

    def _recursion(self, nodes: int, spacing_mm: float) -> Prior:
        p, kept = self.order, self.kept(spacing_mm)
        change = (1 - kept**2) ** (2 * p - 1) / sum(comb(p - 1, k) ** 2 * kept ** (2 * k) for k in range(p))
        steps = np.array([comb(p, k) * (-kept) ** k for k in range(p, -1, -1)]) / change**0.5
        start = np.linalg.cholesky(self._first(kept, change))
        log_determinant = -2 * np.log(np.diag(start)).sum() - (nodes - p) * np.log(change)
        root = _root(np.linalg.inv(start), np.broadcast_to(steps, (nodes - p, p + 1)))
        return Prior(root, float(log_determinant))

    def _first(self, kept: float, change: float) -> Array:
        """Covariance of the first heights, such that all others have the same."""
        p = self.order
        reach = np.arange(int(60 / (1 - kept)) + 60 * p)  # until what is kept is below rounding
        answer = kept**reach
        for k in range(1, p):
            answer = answer * (reach + k) / k
        lagged = [change * float(answer[: len(answer) - k] @ answer[k:]) for k in range(p)]
        apart = np.abs(np.subtract.outer(np.arange(p), np.arange(p)))
        return np.array(lagged)[apart]

    def variance_over(self, length_mm: float) -> float:
        """Variance of the heights at q = 1, whatever the length."""
        return 1.0

    def stiffest(self, spacing_mm: float) -> float:
        """The most that a shape of unit size costs at q = 1: a zigzag's."""
        return self._cost(spacing_mm, np.pi)

    def of_ripple(self, spacing_mm: float, wavelength_mm: float) -> float:
        """What a ripple of unit size costs a node at q = 1."""
        return self._cost(spacing_mm, 2 * np.pi * spacing_mm / wavelength_mm)

    def _cost(self, spacing_mm: float, turn: float) -> float:
        p, kept = self.order, self.kept(spacing_mm)
        change = (1 - kept**2) ** (2 * p - 1) / sum(comb(p - 1, k) ** 2 * kept ** (2 * k) for k in range(p))
        return float(abs(1 - kept * np.exp(1j * turn)) ** (2 * p) / change)


@lru_cache(maxsize=32)
def _on(kind: Stationary, nodes: int, spacing_mm: float) -> Prior:
    """A stationary prior, remembered: noise is judged with the same few many times over."""
    return kind._recursion(nodes, spacing_mm)


@dataclass(frozen=True, eq=False)
class FewPlaces:
    """A way that is straight but for some places, more or less sharp, where it bends."""

    at_mm: Array
    """Places, in mm, shape (k,)."""
    weight: Array
    """How readily it bends there, 1 on average, shape (k,)."""

    def on(self, node_mm: Array) -> Prior:
        """The prior on nodes; q is the variance of the curvature per mm of way, in µm²/mm³.

        Examples
        --------
        >>> prior = FewPlaces(np.array([0.0, 9.0]), np.ones(2)).on(np.arange(10.0))
        >>> bool(np.isclose(prior.log_determinant, np.linalg.slogdet(prior.precision.toarray())[1]))
        True
        """
        spacing = float(node_mm[1] - node_mm[0])
        size = np.sqrt(np.interp(node_mm[1:-1], self.at_mm, self.weight) * spacing**3)
        # level and tilt at the first nodes: of any size, as the zeros are free
        level = self.variance_over(float(np.ptp(node_mm))) ** 0.5
        first = np.array([[1.0, 0.0], [-1.0, 1.0]]) / level
        log_determinant = -2 * float(np.log(size).sum()) - 4 * np.log(level)
        return Prior(_root(first, np.array([1.0, -2.0, 1.0]) / size[:, None]), log_determinant)

    def variance_over(self, length_mm: float) -> float:
        """About the variance of the heights over such a length at q = 1: curvature summed up twice."""
        return length_mm**3 / 100


Kind = Stationary | FewPlaces
