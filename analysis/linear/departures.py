"""How far faces depart from straight, told apart from each other: unbiased, with all covariances.

M takes the least-squares line off n heights h of covariance C.  Noise alone makes the sum of
squares hᵀMh too large by tr(MC), so

    q = hᵀMh − tr(MC),    var q = 2 tr(MCMC) + 4 hᵀMCMh,

and of two faces, C_AB between them, cov(q_A, q_B) = 2 tr(M_A C_AB M_B C_BA) + 4 h_AᵀM_A C_AB M_B h_B.
Moments of a quadratic form of normal variables (textbook result, from memory; checked by draws).
"""

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

TOLD_APART = 2.58
"""Standard deviations of a difference that chance exceeds once in a hundred, either way."""


@dataclass(frozen=True, eq=False)
class Departures:
    """Mean squared departures of k faces from their least-squares lines."""

    mean_square: NDArray[np.float64]
    """Noise taken off, shape (k,); a little below 0 where nothing but noise is there."""
    covariance: NDArray[np.float64]
    """Shape (k, k)."""

    def z(self, a: int, b: int) -> float:
        """By how many standard deviations a departs more than b."""
        variance = self.covariance[a, a] + self.covariance[b, b] - 2 * self.covariance[a, b]
        difference = float(self.mean_square[a] - self.mean_square[b])
        return difference / float(np.sqrt(variance)) if variance > 0 else float(np.sign(difference) * np.inf)


def departures(stations: list[NDArray], heights: list[NDArray], covariance: ArrayLike) -> Departures:
    """Departures of faces from straight, with what they share.

    Parameters
    ----------
    stations, heights : list of array, shape (n_i,)
        Face by face, three stations at least.
    covariance : array, shape (sum n_i, sum n_i)
        Of all heights, in the same order.

    Examples
    --------
    >>> x = np.arange(0, 1001, 200.0)
    >>> y = [np.array([0, -6, -11, -9, -2, 1.0]), np.array([3, 1, -3, -4, -8, 2.0])]
    >>> found = departures([x, x], y, np.eye(12))
    >>> (6 * found.mean_square).round(3), round(found.z(0, 1), 2)
    (array([112.343,  69.943]), 1.52)
    """
    cov = np.asarray(covariance, float)
    ends = np.cumsum([0, *(x.size for x in stations)])
    parts = [slice(a, b) for a, b in itertools.pairwise(ends.tolist())]
    flat = [_without_line(x) for x in stations]
    left = [m @ y for m, y in zip(flat, heights, strict=True)]
    count = [x.size for x in stations]
    noise = [float(np.trace(m @ cov[p, p])) for m, p in zip(flat, parts, strict=True)]
    square = np.array([(r @ r - t) / n for r, t, n in zip(left, noise, count, strict=True)])
    shared = np.zeros((len(parts), len(parts)))
    for i, a in enumerate(parts):
        for j, b in enumerate(parts):
            across = flat[i] @ cov[a, b] @ flat[j]
            shared[i, j] = (2 * np.sum(across**2) + 4 * left[i] @ across @ left[j]) / (count[i] * count[j])
    return Departures(square, shared)


def _without_line(station_mm: NDArray) -> NDArray[np.float64]:
    """M, which takes the least-squares line off."""
    columns = np.column_stack([np.ones(station_mm.size), station_mm - station_mm.mean()])
    return np.eye(station_mm.size) - columns @ np.linalg.pinv(columns)
