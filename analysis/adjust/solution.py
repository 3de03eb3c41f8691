"""Weighted least squares of all traverses together: y = A x + e, Cov(e) = C.

x: heights at nodes (µm), then what else the readings depend on (zeros, drifts, scales).  Rows are
multiplied by W with WᵀW = C⁻¹, one traverse after another.  C is diagonal, or small groups of
readings are correlated (repeats at one station), or a whole traverse is (heights that a drawn
level was turned into).  The algebra is that of `analysis.linear.least_squares`: heights are a
band, other unknowns its border; heights that a large correlated group ties all to each other
belong to the border, and cost what a full matrix of theirs costs.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.linalg
import scipy.sparse

from analysis.linear.bordered import rows_times, stacked
from analysis.linear.least_squares import LeastSquares, least_squares

MOST_IN_THE_BAND = 100
"""Readings of one correlated group, up to which the heights they tie stay in the band."""
FEW = 16
"""Readings that an unknown which is no height may be in and still belong to the band."""


@dataclass(frozen=True, eq=False)
class Block:
    """Rows of one traverse: their coefficients, values and covariance."""

    rows: scipy.sparse.csr_matrix
    value: np.ndarray
    covariance: np.ndarray | scipy.sparse.spmatrix
    """(m,), or (m, m), full or sparse."""

    @cached_property
    def variance(self) -> np.ndarray:
        """Variance of each reading, shape (m,)."""
        if _is_diagonal(self.covariance):
            return np.asarray(self.covariance)
        return np.array(self.covariance.diagonal())

    @cached_property
    def groups(self) -> tuple[np.ndarray, ...]:
        """Indices of readings that are correlated with each other, a group a row; an array for each size."""
        if _is_diagonal(self.covariance):
            return ()
        _, label = scipy.sparse.csgraph.connected_components(
            scipy.sparse.csr_matrix(self.covariance), directed=False
        )
        size = np.bincount(label)[label]
        order = np.argsort(label, kind="stable")
        return tuple(order[size[order] == each].reshape(-1, each) for each in np.unique(size) if each > 1)

    @cached_property
    def whitener(self) -> scipy.sparse.csr_matrix:
        """W, lower triangular within each group: the inverse of the Cholesky factor of the covariance."""
        single, count = 1 / np.sqrt(self.variance), len(self.value)
        if not self.groups:
            return scipy.sparse.csr_matrix((single, np.arange(count), np.arange(count + 1)), (count, count))
        entries = [(single, np.arange(count), np.arange(count))]
        for groups in self.groups:
            single[groups] = 0.0
            inverse = _inverse_roots(_among(self.covariance, groups))
            i, j = np.tril_indices(groups.shape[1])
            entries.append((inverse[:, i, j].ravel(), groups[:, i].ravel(), groups[:, j].ravel()))
        value, row, column = (np.concatenate(parts) for parts in zip(*entries, strict=True))
        found = scipy.sparse.csr_matrix((value, (row, column)), shape=(count, count))
        found.eliminate_zeros()
        return found

    def white(self, column: np.ndarray) -> np.ndarray:
        """W times a column."""
        return np.asarray(self.whitener @ column) if self.groups else column / np.sqrt(self.variance)

    def pull_of(self, white: np.ndarray) -> np.ndarray:
        """Wᵀ times a column."""
        return np.asarray(self.whitener.T @ white) if self.groups else white / np.sqrt(self.variance)

    @cached_property
    def whitened(self) -> scipy.sparse.csr_matrix:
        """The rows with unit covariance."""
        if not self.groups:
            return rows_times(self.rows, 1 / np.sqrt(self.variance))
        return scipy.sparse.csr_matrix(self.whitener @ self.rows)

    @cached_property
    def pulled(self) -> scipy.sparse.csr_matrix:
        """C⁻¹ times the rows."""
        if not self.groups:
            return rows_times(self.rows, 1 / self.variance)
        return scipy.sparse.csr_matrix(self.whitener.T @ self.whitened)

    @property
    def precision(self) -> np.ndarray:
        """Diagonal of C⁻¹."""
        if not self.groups:
            return 1 / self.variance
        return np.asarray(self.whitener.multiply(self.whitener).sum(axis=0)).ravel()

    @cached_property
    def tied_together(self) -> np.ndarray:
        """Unknowns that one large correlated group ties all to each other."""
        large = [groups.ravel() for groups in self.groups if groups.shape[1] > MOST_IN_THE_BAND]
        return np.unique(np.concatenate([np.zeros(0, np.intp), *(self.rows[each].indices for each in large)]))


def _is_diagonal(covariance: np.ndarray | scipy.sparse.spmatrix) -> bool:
    return isinstance(covariance, np.ndarray) and covariance.ndim == 1


def _among(covariance: np.ndarray | scipy.sparse.spmatrix, groups: np.ndarray) -> np.ndarray:
    """Covariance within each group, shape (groups, size, size)."""
    if isinstance(covariance, np.ndarray):
        return np.asarray(covariance[groups[:, :, None], groups[:, None, :]])
    entries = scipy.sparse.coo_matrix(covariance)
    number, position = np.full(covariance.shape[0], -1), np.zeros(covariance.shape[0], int)
    number[groups] = np.arange(len(groups))[:, None]
    position[groups] = np.arange(groups.shape[1])
    inside = number[entries.row] >= 0
    row, column = entries.row[inside], entries.col[inside]
    found = np.zeros((*groups.shape, groups.shape[1]))
    found[number[row], position[row], position[column]] = entries.data[inside]
    return found


def _inverse_roots(covariance: np.ndarray) -> np.ndarray:
    """Inverse of the lower Cholesky factor of each of several matrices."""
    roots = np.linalg.cholesky(covariance)
    if len(roots) == 1:
        return np.asarray(scipy.linalg.lapack.dtrtri(roots[0], lower=1)[0])[None]
    return np.asarray(np.linalg.solve(roots, np.broadcast_to(np.eye(roots.shape[1]), roots.shape)))


@dataclass(frozen=True, eq=False)
class Solution:
    """Estimates, what is known of them and how well."""

    blocks: tuple[Block, ...]
    fit: LeastSquares

    @property
    def estimate(self) -> np.ndarray:
        """One of all solutions; only known functions of it mean anything."""
        return self.fit.estimate

    @property
    def null_space(self) -> np.ndarray:
        """Shape (n, k): basis of the directions that the data do not determine."""
        return self.fit.null_space

    @cached_property
    def leftover(self) -> tuple[np.ndarray, ...]:
        """Whitened residuals per block."""
        return tuple(block.white(left) for block, left in zip(self.blocks, self.residuals, strict=True))

    @cached_property
    def residuals(self) -> tuple[np.ndarray, ...]:
        """Readings less what the estimate makes of them, per block."""
        return tuple(block.value - block.rows @ self.estimate for block in self.blocks)

    @property
    def rank(self) -> int:
        """How many directions the data determine."""
        return self.fit.rank

    @property
    def redundancy(self) -> int:
        """Readings (and stated priors) beyond what is needed."""
        return sum(len(block.value) for block in self.blocks) - self.rank

    @property
    def chi_square(self) -> float:
        """Sum of squares of the whitened residuals."""
        return float(sum(left @ left for left in self.leftover))

    def is_known(self, functions: np.ndarray | scipy.sparse.spmatrix) -> np.ndarray:
        """Which rows of `functions` (k, n) the data determine."""
        return self.fit.is_known(functions)

    def covariance(self, functions: np.ndarray | scipy.sparse.spmatrix) -> np.ndarray:
        """Covariance of known functions, rows of (k, n): shape (k, k)."""
        return self.fit.covariance(functions)

    def variance(self, functions: np.ndarray | scipy.sparse.spmatrix) -> np.ndarray:
        """Variance of each known function, rows of (k, n): shape (k,)."""
        rows = scipy.sparse.csr_matrix(functions)
        parts = [rows[k : k + AT_A_TIME] for k in range(0, rows.shape[0], AT_A_TIME)]
        return np.concatenate([np.diag(self.fit.covariance(part)) for part in parts] or [np.zeros(0)])

    @cached_property
    def reliability(self) -> tuple["Reliability", ...]:
        """How far an error in each reading shows, per block."""
        inverse = np.concatenate([b.precision for b in self.blocks])
        share = self.redundancies(self.blocks)
        if not any(b.groups for b in self.blocks):  # C is diagonal: both are one sum
            weight = share * inverse
        else:
            weight = np.clip(inverse - self.fit.between(stacked([b.pulled for b in self.blocks])), 0.0, None)
        last = np.cumsum([len(block.value) for block in self.blocks])
        return tuple(
            Reliability(*both)
            for both in zip(np.split(share, last[:-1]), np.split(weight, last[:-1]), strict=True)
        )

    def redundancies(self, blocks: Sequence[Block]) -> np.ndarray:
        """Share of an error in each reading of some blocks that shows in its own residual."""
        if not any(b.groups for b in blocks):
            met = self.fit.between(stacked([b.whitened for b in blocks]))
        else:
            met = self.fit.between(stacked([b.rows for b in blocks]), stacked([b.pulled for b in blocks]))
        return np.asarray(np.clip(1.0 - met, 0.0, 1.0))


AT_A_TIME = 256
"""Functions whose variance is worked out at once."""


@dataclass(frozen=True, eq=False)
class Reliability:
    """Of each reading of one block, shapes (m,)."""

    redundancy: np.ndarray
    """Share of an error in it that shows in its own residual: diagonal of I − A N⁻ Aᵀ C⁻¹."""
    weight: np.ndarray
    """Inverse variance of what the others make of it less itself: diagonal of C⁻¹ − C⁻¹ A N⁻ Aᵀ C⁻¹."""


def solve(blocks: Sequence[Block], unknowns: int, heights: int | None = None) -> Solution:
    """Least-squares solution of all blocks together.

    Parameters
    ----------
    blocks : sequence of Block
    unknowns : int
    heights : int, optional
        How many of the unknowns, from the first, are heights: tied to few others each.
    """
    is_border = np.arange(unknowns) >= (unknowns if heights is None else heights)
    is_border &= np.bincount(np.concatenate([b.rows.indices for b in blocks]), minlength=unknowns) > FEW
    for block in blocks:
        is_border[block.tied_together] = True
    # one sparse product for all blocks but those that are full
    large = [block for block in blocks if len(block.tied_together)]
    small = [block for block in blocks if not len(block.tied_together)]
    parts = [part for part in (small, *([block] for block in large)) if part]
    whitened = [stacked([block.whitened for block in part]) for part in parts]
    values = [np.concatenate([block.white(block.value) for block in part]) for part in parts]
    return Solution(tuple(blocks), least_squares(whitened, values, is_border))
