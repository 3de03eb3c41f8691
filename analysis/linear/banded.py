"""Symmetric positive matrices that are narrow once their unknowns are put in the right order.

Sources: the factorisation is LAPACK's (through scipy); the entries of the inverse near
the diagonal follow from the factor by the backward recursion for block tridiagonal
matrices, derived here: with L the factor's blocks and G = L[i+1,i] L[i,i]⁻¹,
Z[i+1,i] = −Z[i+1,i+1] G and Z[i,i] = (L[i,i] L[i,i]ᵀ)⁻¹ + Gᵀ Z[i+1,i+1] G.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

Array = NDArray[np.float64]
Places = NDArray[np.intp]

LEAST_BLOCK = 16
"""Blocks of the inverse are no smaller, so that a narrow band does not cost a step for every unknown."""


def width(matrix: sparse.coo_array, place: Places) -> int:
    """How far from the diagonal the farthest entry of `matrix` lies in the order `place`.

    Examples
    --------
    >>> width(sparse.coo_array(np.eye(4) + np.eye(4, k=3) + np.eye(4, k=-3)), np.array([0, 2, 3, 1]))
    1
    """
    return int(np.max(np.abs(place[matrix.row] - place[matrix.col]), initial=0))


def to_band(matrix: sparse.coo_array, place: Places, rows: int) -> Array:
    """The lower half of a symmetric sparse matrix as LAPACK's band, in the order `place`.

    `band[k, j]` is the entry `k` below the diagonal in column `j`; entries of the matrix
    that appear more than once must have been summed before.

    Examples
    --------
    >>> to_band(sparse.coo_array(np.array([[2.0, 1.0], [1.0, 3.0]])), np.array([1, 0]), 1)
    array([[3., 2.],
           [1., 0.]])
    """
    band = np.zeros((rows + 1, matrix.shape[0]), order="F")
    row, column = place[matrix.row], place[matrix.col]
    lower = row >= column
    band[(row - column)[lower], column[lower]] = matrix.data[lower]
    return band


@dataclass(frozen=True, eq=False)
class BandFactor:
    """The Cholesky factor of a symmetric positive banded matrix, its unknowns reordered."""

    lower: Array
    """The factor as LAPACK's lower band, shape (width + 1, n)."""
    place: Places
    """Where each unknown stands in the factor, shape (n,)."""

    def solve(self, right: Array) -> Array:
        """The solution for one right side, shape (n,), or several, shape (n, k).

        Examples
        --------
        >>> factor(np.array([[4.0, 2.0]]), np.array([1, 0])).solve(np.array([4.0, 8.0]))
        array([2., 2.])
        """
        turned = np.empty_like(right, dtype=np.float64, order="F")
        turned[self.place] = right
        solution, _ = linalg.lapack.dpbtrs(self.lower, turned, lower=1, overwrite_b=1)
        return np.asarray(solution[self.place])

    def log_determinant(self) -> float:
        """The logarithm of the determinant of the matrix that was factored.

        Examples
        --------
        >>> round(factor(np.array([[4.0, 9.0]]), np.array([0, 1])).log_determinant(), 6)  # log(4 · 9)
        3.583519
        """
        return 2.0 * float(np.log(self.lower[0]).sum())

    def inverse_near_diagonal(self) -> "InverseNearDiagonal":
        """The inverse within the band, to be asked more than once."""
        size = max(self.lower.shape[0] - 1, LEAST_BLOCK)
        return InverseNearDiagonal(*_inverse_blocks(self.lower, size), self.place)


@dataclass(frozen=True, eq=False)
class InverseNearDiagonal:
    """Entries of the inverse of a banded matrix that lie within the band, in square blocks."""

    diagonal: Array
    """Shape (blocks, size, size)."""
    below: Array
    """The block just below each of `diagonal`, same shape."""
    place: Places

    def at(self, first: Places, second: Places) -> Array:
        """The inverse in rows `first` and the columns `second` beside them, shapes (k,).

        Raises
        ------
        ValueError
            If an entry lies outside the band, where the inverse is not worked out.
        """
        size = self.diagonal.shape[1]
        one, other = self.place[first], self.place[second]
        row, column = np.maximum(one, other), np.minimum(one, other)
        block, i, j = column // size, row % size, column % size
        ahead = row // size - block
        if np.any(ahead > 1):
            raise ValueError("an entry of the inverse was asked for that lies outside the band")
        return np.where(
            ahead == 0,
            self.diagonal[block, np.maximum(i, j), np.minimum(i, j)],
            self.below[np.minimum(block, len(self.below) - 1), i, j],
        )


def factor(band: Array, place: Places) -> BandFactor:
    """Factor a banded matrix; `band` is used up.

    Raises
    ------
    numpy.linalg.LinAlgError
        If the matrix is not positive definite.

    Examples
    --------
    >>> factor(np.array([[4.0, 9.0]]), np.array([0, 1])).lower
    array([[2., 3.]])
    """
    # LAPACK itself: scipy's own functions take as long to check a small band as it takes to factor it
    lower, failed = linalg.lapack.dpbtrf(band, lower=1, overwrite_ab=1)
    if failed:
        raise linalg.LinAlgError(f"the matrix is not positive definite: row {failed} of its order")
    return BandFactor(lower, place)


def _factor_blocks(lower: Array, size: int) -> tuple[Array, Array]:
    """The factor cut into square blocks: those on the diagonal and those just below it."""
    rows, nodes = lower.shape
    count = -(-nodes // size)
    diagonal = np.zeros((count, size, size))
    below = np.zeros((count, size, size))
    for k in range(rows):
        column = np.arange(nodes - k)
        row = column + k
        block = column // size
        same = row // size == block
        value = lower[k, : nodes - k]
        diagonal[block[same], row[same] % size, column[same] % size] = value[same]
        below[block[~same], row[~same] % size, column[~same] % size] = value[~same]
    spare = np.arange(nodes, count * size)
    diagonal[-1, spare % size, spare % size] = 1.0
    return diagonal, below


def _inverse_blocks(lower: Array, size: int) -> tuple[Array, Array]:
    """The blocks of the inverse on the diagonal and just below it, from the last to the first."""
    diagonal, below = _factor_blocks(lower, size)
    eye = np.eye(size)
    last = len(diagonal) - 1
    for i in range(last, -1, -1):
        root = linalg.solve_triangular(diagonal[i], eye, lower=True, check_finite=False)
        diagonal[i] = root.T @ root
        if i < last:
            step = below[i] @ root
            below[i] = -diagonal[i + 1] @ step
            diagonal[i] -= step.T @ below[i]
    return diagonal, below
