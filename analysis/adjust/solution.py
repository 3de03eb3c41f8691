"""Weighted least squares in which only what the data leave free is free.

Rows are divided by their uncertainty (correlated ones by the Cholesky factor of their
covariance), columns by their length; a Cholesky factorisation with pivots of the normal
matrix gives the rank, a basis of what stays free, and the covariance of the rest.  Any
linear function F·x is known exactly when F meets none of the free directions.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg
import scipy.sparse
from scipy.linalg import lapack

SMALLEST_PIVOT = 1e-9
"""Of a normal matrix with ones on its diagonal: below it a direction counts as free."""
KNOWN_WITHIN = 1e-6
REFINEMENTS = 3


@dataclass(frozen=True, eq=False)
class Block:
    """Rows of one traverse: their coefficients, values and covariance."""

    rows: scipy.sparse.csr_matrix
    value: np.ndarray
    covariance: np.ndarray
    """(m,) or (m, m)."""

    @cached_property
    def factor(self) -> np.ndarray:
        """Square root of the covariance: (m,) or lower triangular (m, m)."""
        if self.covariance.ndim == 1:
            return np.sqrt(self.covariance)
        return np.asarray(scipy.linalg.cholesky(self.covariance, lower=True))

    def whitened(self) -> tuple[scipy.sparse.csr_matrix, np.ndarray]:
        """Rows and values with unit covariance."""
        if self.covariance.ndim == 1:
            return scipy.sparse.diags(1 / self.factor) @ self.rows, self.value / self.factor
        solved = scipy.linalg.solve_triangular(self.factor, self.rows.toarray(), lower=True)
        return (
            scipy.sparse.csr_matrix(solved),
            scipy.linalg.solve_triangular(self.factor, self.value, lower=True),
        )


@dataclass(frozen=True, eq=False)
class Solution:
    """Estimates, covariance and what is free."""

    blocks: tuple[Block, ...]
    whitened: tuple[scipy.sparse.csr_matrix, ...]
    estimate: np.ndarray
    """One of all solutions; only known functions of it mean anything."""
    covariance: np.ndarray
    free: np.ndarray
    """Shape (n, k): basis of the free directions, orthonormal after division by `length`."""
    length: np.ndarray
    """Length of each column of the whitened rows, 1 for empty ones."""
    leftover: tuple[np.ndarray, ...]
    """Whitened residuals per block."""
    rows: int

    @property
    def rank(self) -> int:
        """How many directions the data determine."""
        return len(self.estimate) - self.free.shape[1]

    @property
    def redundancy(self) -> int:
        """Readings (and stated priors) beyond what is needed."""
        return self.rows - self.rank

    @property
    def chi_square(self) -> float:
        """Sum of squares of the whitened residuals."""
        return float(sum(left @ left for left in self.leftover))

    def is_known(self, functions: np.ndarray | scipy.sparse.spmatrix) -> np.ndarray:
        """Which rows of `functions` (k, n) the data determine."""
        rows = scipy.sparse.csr_matrix(functions)
        scaled = rows @ scipy.sparse.diags(1 / self.length)
        size = np.sqrt(np.asarray(scaled.multiply(scaled).sum(axis=1)).ravel())
        met = np.linalg.norm(np.asarray(rows @ self.free), axis=1)
        return met <= KNOWN_WITHIN * np.maximum(size, 1e-300)


def solve(blocks: Sequence[Block], unknowns: int) -> Solution:
    """Least-squares solution of all blocks together."""
    pairs = [block.whitened() for block in blocks]
    rows = scipy.sparse.vstack([pair[0] for pair in pairs], format="csr")
    value = np.concatenate([pair[1] for pair in pairs])
    normal = np.asarray((rows.T @ rows).toarray())
    length = np.sqrt(np.diag(normal))
    length[length == 0.0] = 1.0
    scaled = normal / np.outer(length, length)
    factor, pivot, rank, _ = lapack.dpstrf(scaled, tol=SMALLEST_PIVOT, lower=0)
    kept, free = pivot[:rank] - 1, pivot[rank:] - 1
    upper = np.triu(factor[:rank, :rank])
    inside = _inverse(upper)
    estimate = _refined(rows, value, length, kept, inside, unknowns)
    covariance = np.zeros((unknowns, unknowns))
    covariance[np.ix_(kept, kept)] = inside / np.outer(length[kept], length[kept])
    basis = np.zeros((unknowns, len(free)))
    if len(free):
        basis[kept] = -scipy.linalg.solve_triangular(upper, factor[:rank, rank:])
        basis[free, np.arange(len(free))] = 1.0
        basis = np.linalg.qr(basis)[0] / length[:, None]
    leftover = tuple(pair[1] - pair[0] @ estimate for pair in pairs)
    return Solution(
        tuple(blocks),
        tuple(pair[0] for pair in pairs),
        estimate,
        covariance,
        basis,
        length,
        leftover,
        len(value),
    )


def _inverse(upper: np.ndarray) -> np.ndarray:
    if not len(upper):
        return np.zeros((0, 0))
    inverse, _ = lapack.dpotri(upper, lower=0)
    return np.triu(inverse) + np.triu(inverse, 1).T


def _refined(
    rows: scipy.sparse.csr_matrix,
    value: np.ndarray,
    length: np.ndarray,
    kept: np.ndarray,
    inside: np.ndarray,
    unknowns: int,
) -> np.ndarray:
    """The estimate, corrected by its own residuals until rounding is all that is left."""
    estimate = np.zeros(unknowns)
    for _ in range(REFINEMENTS):
        gradient = (rows.T @ (value - rows @ estimate)) / length
        estimate[kept] += (inside @ gradient[kept]) / length[kept]
    return estimate
