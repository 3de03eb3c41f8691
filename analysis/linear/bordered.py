"""Symmetric positive matrices of two kinds of unknowns: a band, and a border that touches everything.

    N = [ N_ii  N_ib ]      i: many unknowns, each tied to its neighbours alone
        [ N_bi  N_bb ]      b: few unknowns, each tied to many

With N_ii = L Lᵀ (banded), G = N_ii⁻¹ N_ib and S = N_bb − N_bi G, a solution costs as much as
the band is long, and the inverse where N has entries is

    (N⁻¹)_ii = N_ii⁻¹ + G S⁻¹ Gᵀ,   (N⁻¹)_ib = −G S⁻¹,   (N⁻¹)_bb = S⁻¹,

N_ii⁻¹ being worked out within its band only.  The block inverse is textbook algebra; nothing
here forms a full matrix of the banded unknowns.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse
from scipy.sparse.csgraph import reverse_cuthill_mckee

from analysis.linear.banded import BandFactor, InverseNearDiagonal, factor, to_band, width

Array = NDArray[np.float64]
Places = NDArray[np.intp]

NONE: Places = np.zeros(0, np.intp)
FULL = 0.3
"""Share of entries above which rows of the border are multiplied as full ones."""
MOST_AT_A_TIME = 2_000_000
"""Entries of the dense part of rows that are held at once."""


@dataclass(frozen=True, eq=False)
class BorderedMatrix:
    """A symmetric matrix cut into a band, a border and the corner where the border meets itself."""

    inner: Places
    """The unknowns of the band."""
    border: Places
    band: sparse.csr_matrix
    """N_ii, shape (n_i, n_i)."""
    side: Array
    """N_ib, shape (n_i, n_b)."""
    corner: Array
    """N_bb, shape (n_b, n_b)."""
    pattern: sparse.csr_matrix
    """Which unknowns of the band are tied to which, those included whose entry happens to be zero."""
    place: Places
    """The order in which the band is narrow."""

    def __len__(self) -> int:
        return len(self.inner) + len(self.border)

    def factored(self, held: Places = NONE, ridge: float = 0.0) -> "BorderedFactor":
        """Cholesky factors of the band and of what the border has besides it.

        Parameters
        ----------
        held : array of int, optional
            Unknowns held at zero: the matrix is that of the others, with a one on the diagonal of these.
        ridge : float
            Added to every diagonal entry.

        Raises
        ------
        numpy.linalg.LinAlgError
            If the matrix is not positive definite.
        """
        kept = np.ones(len(self))
        kept[held] = 0.0
        inner, border = kept[self.inner], kept[self.border]
        side = self.side * np.outer(inner, border)
        corner = self.corner * np.outer(border, border) + np.diag(1 - border + ridge)
        if len(self.inner) == 0:
            return BorderedFactor(self.inner, self.border, None, side, _lower(corner))
        band = factor(self._band_of(inner, ridge), self.place)
        reach = band.solve(side) if side.size else side
        return BorderedFactor(self.inner, self.border, band, reach, _lower(corner - side.T @ reach))

    def _band_of(self, kept: Array, ridge: float) -> Array:
        """LAPACK's band of the unknowns kept (one; of those held zero)."""
        band, count = self._lower_band.copy(order="F"), len(kept)
        ordered = np.empty(count)
        ordered[self.place] = kept
        for below in range(len(band) if not kept.all() else 0):
            band[below, : count - below] *= ordered[: count - below] * ordered[below:]
        band[0] += 1 - ordered + ridge
        return band

    @cached_property
    def _lower_band(self) -> Array:
        return to_band(sparse.coo_array(self.band), self.place, self._width)

    @property
    def _width(self) -> int:
        return width(sparse.coo_array(self.pattern), self.place)

    def dependent(self, tolerance: float) -> Places:
        """Unknowns of the band that those before them leave nothing to tell about.

        Elimination in the order of the band: where what is left of a diagonal entry is below
        `tolerance`, the unknown is held and the others go on without it.
        """
        rows = self._width
        band = np.hstack([self._lower_band, np.zeros((rows + 1, rows))])
        held = []
        for j in range(len(self.inner)):
            if band[0, j] < tolerance:
                held.append(j)
                continue
            column = band[1:, j].copy()
            for k in np.flatnonzero(column):
                band[: rows - k, j + 1 + k] -= column[k:] * (column[k] / band[0, j])
        return np.sort(self.inner[np.argsort(self.place)[np.array(held, dtype=np.intp)]])


def bordered(rows: Iterable[sparse.csr_matrix], is_border: NDArray[np.bool_]) -> BorderedMatrix:
    """The normal matrix RᵀR of several blocks of rows.

    Parameters
    ----------
    rows : csr matrices, shapes (m_k, n)
    is_border : bool array, shape (n,)
        Unknowns that go into the border; all others should be tied to few others each.

    Examples
    --------
    Heights 0 1 2 by their two differences, and a zero that both share:

    >>> rows = sparse.csr_matrix([[-1.0, 1, 0, 1], [0, -1, 1, 1]])
    >>> matrix = bordered([rows], np.array([False, False, False, True]))
    >>> matrix.side.ravel(), matrix.corner
    (array([-1.,  0.,  1.]), array([[2.]]))
    """
    inner, border = np.flatnonzero(~is_border), np.flatnonzero(is_border)
    side, corner = np.zeros((len(inner), len(border))), np.zeros((len(border), len(border)))
    blocks = [(block[:, inner], block[:, border]) for block in rows]
    for own, other in blocks:
        used = np.unique(other.indices)
        kept = other[:, used]
        if kept.nnz > FULL * kept.shape[0] * kept.shape[1]:
            kept = kept.toarray()
        side[:, used] += _full(own.T @ kept)
        corner[np.ix_(used, used)] += _full(kept.T @ kept)
    every = stacked([own for own, _ in blocks])
    ones = _ones(every)
    band, pattern = every.T @ every, ones.T @ ones
    return BorderedMatrix(inner, border, band, side, corner, pattern, _narrow(pattern))


def weighted_sum(matrices: Sequence[BorderedMatrix], weights: Iterable[float]) -> BorderedMatrix:
    """Σ w M of matrices cut alike.

    Examples
    --------
    >>> one = bordered([sparse.csr_matrix([[1.0, 2]])], np.array([False, True]))
    >>> weighted_sum([one, one], [1.0, 0.5]).corner
    array([[6.]])
    """
    pairs = list(zip(matrices, weights, strict=True))
    band = sparse.csr_matrix(sum(weight * each.band for each, weight in pairs))
    side = sum(weight * each.side for each, weight in pairs)
    corner = sum(weight * each.corner for each, weight in pairs)
    pattern = sparse.csr_matrix(sum(each.pattern for each in matrices))
    return replace(
        matrices[0],
        band=band,
        side=np.asarray(side),
        corner=np.asarray(corner),
        pattern=pattern,
        place=_narrow(pattern),
    )


def _narrow(pattern: sparse.csr_matrix) -> Places:
    """Where each unknown goes so that entries lie near the diagonal."""
    if not pattern.shape[0]:
        return np.zeros(0, np.intp)
    place = np.empty(pattern.shape[0], np.intp)
    order = reverse_cuthill_mckee(sparse.csr_matrix(pattern), symmetric_mode=True)
    place[order] = np.arange(pattern.shape[0])
    return place


def _full(product: Array | sparse.spmatrix) -> Array:
    return product if isinstance(product, np.ndarray) else np.asarray(product.toarray())


def _lower(matrix: Array) -> Array:
    if not len(matrix):
        return matrix
    return np.asarray(linalg.cholesky(matrix, lower=True, check_finite=False))


@dataclass(frozen=True, eq=False)
class BorderedFactor:
    """What solves with a bordered matrix, and gives its inverse where rows of it need it."""

    inner: Places
    border: Places
    band: BandFactor | None
    """None where everything is border."""
    reach: Array
    """G = N_ii⁻¹ N_ib, shape (n_i, n_b)."""
    corner: Array
    """Lower Cholesky factor of S, shape (n_b, n_b)."""

    def solve(self, right: Array) -> Array:
        """The solution for right sides of shape (n,) or (n, k).

        Examples
        --------
        >>> matrix = bordered([sparse.csr_matrix([[1.0, 2], [0, 1]])], np.array([False, True]))
        >>> matrix.factored().solve(np.array([3.0, 7.0])).round(12)
        array([1., 1.])
        """
        solution = np.array(right, dtype=np.float64)
        if self.band is not None:
            solution[self.inner] = self.band.solve(solution[self.inner])
        if len(self.border):
            left = solution[self.border] - self._side_times(right)
            # LAPACK itself, as for the band: the border is small, and solved with hundreds of times
            solution[self.border] = linalg.lapack.dpotrs(self.corner, left, lower=1)[0]
            solution[self.inner] -= self.reach @ solution[self.border]
        return solution

    def _side_times(self, right: Array) -> Array:
        """N_bi N_ii⁻¹ of a right side."""
        return self.reach.T @ right[self.inner]

    @cached_property
    def _near(self) -> InverseNearDiagonal | None:
        return None if self.band is None else self.band.inverse_near_diagonal()

    def diagonal(self) -> Array:
        """The diagonal of the inverse, shape (n,).

        Examples
        --------
        >>> matrix = bordered([sparse.csr_matrix([[1.0, 2], [0, 1]])], np.array([False, True]))
        >>> matrix.factored().diagonal().round(12)
        array([5., 1.])
        """
        unit = sparse.identity(len(self.inner) + len(self.border), format="csr")
        return self.between(unit, unit)

    def between(self, rows: sparse.csr_matrix, other: sparse.csr_matrix) -> Array:
        """a N⁻¹ bᵀ for each row a of `rows` and the row b of `other` beside it.

        Parameters
        ----------
        rows, other : csr matrices, shape (m, n)
            Rows like those that the matrix was made of: whatever two unknowns of the band
            appear in a and b must be tied to each other in the matrix.

        Raises
        ------
        ValueError
            If they are farther apart than the band is wide.
        """
        own = rows[:, self.inner]
        every = (rows, other, own, own if other is rows else other[:, self.inner])
        most = int(np.max(np.diff(own.indptr) * np.diff(every[-1].indptr), initial=1))
        step = max(MOST_AT_A_TIME // (len(self.border) + most), 1)
        if step >= rows.shape[0]:
            return self._between(*every)
        starts = range(0, rows.shape[0], step)
        return np.concatenate([self._between(*(each[k : k + step] for each in every)) for k in starts])

    def _between(
        self,
        rows: sparse.csr_matrix,
        other: sparse.csr_matrix,
        own: sparse.csr_matrix,
        others: sparse.csr_matrix,
    ) -> Array:
        found = np.zeros(rows.shape[0])
        if self._near is not None:
            row, one, two = _pairs(own, others)
            value = own.data[one] * others.data[two] * self._near.at(own.indices[one], others.indices[two])
            found += np.bincount(row, value, minlength=len(found))
        if len(self.border):
            first, second = self._against_border(rows, own), self._against_border(other, others)
            found += np.sum(first * second, axis=0)
        return found

    def _against_border(self, rows: sparse.csr_matrix, own: sparse.csr_matrix) -> Array:
        left = rows[:, self.border].toarray() - own @ self.reach
        return np.asarray(linalg.solve_triangular(self.corner, left.T, lower=True, check_finite=False))

    def trace(self, matrix: BorderedMatrix) -> float:
        """Trace of N⁻¹M for a matrix cut alike, its band within that of N.

        Examples
        --------
        >>> matrix = bordered([sparse.csr_matrix([[1.0, 2], [0, 1]])], np.array([False, True]))
        >>> round(matrix.factored().trace(matrix), 12)
        2.0
        """
        found = 0.0
        if self._near is not None:
            entries = sparse.coo_array(matrix.band)
            found += float(self._near.at(entries.row, entries.col) @ entries.data)
        across = self.reach.T @ matrix.side
        left = matrix.corner - across - across.T + self.reach.T @ (matrix.band @ self.reach)
        return found + float(np.trace(linalg.cho_solve((self.corner, True), left))) if len(left) else found

    def log_determinant(self) -> float:
        """The logarithm of the determinant of the matrix.

        Examples
        --------
        >>> matrix = bordered([sparse.csr_matrix([[2.0, 5], [0, 3]])], np.array([False, True]))
        >>> round(float(np.exp(matrix.factored().log_determinant())), 9)  # (2 · 3)²
        36.0
        """
        band = 0.0 if self.band is None else self.band.log_determinant()
        return band + 2.0 * float(np.sum(np.log(np.diag(self.corner))))


def _pairs(first: sparse.csr_matrix, second: sparse.csr_matrix) -> tuple[Places, Places, Places]:
    """Every entry of a row with every entry of the row beside it: the row, and which entries of each."""
    own = np.repeat(np.arange(first.shape[0]), np.diff(first.indptr))
    times = np.diff(second.indptr)[own]
    one = np.repeat(np.arange(len(own)), times)
    start = second.indptr[own] - np.cumsum(times) + times
    return own[one], one, np.arange(len(one)) + start[one]


def _ones(rows: sparse.csr_matrix) -> sparse.csr_matrix:
    """The pattern of rows, so that no entry cancels in a product."""
    return sparse.csr_matrix((np.ones(len(rows.data)), rows.indices, rows.indptr), shape=rows.shape)


def columns_times(rows: sparse.csr_matrix, factor: Array) -> sparse.csr_matrix:
    """The rows with each column multiplied by a number.

    Examples
    --------
    >>> columns_times(sparse.csr_matrix([[1.0, 0, 3]]), np.array([2.0, 2, 10])).toarray()
    array([[ 2.,  0., 30.]])
    """
    return sparse.csr_matrix((rows.data * factor[rows.indices], rows.indices, rows.indptr), shape=rows.shape)


def rows_times(rows: sparse.csr_matrix, factor: Array) -> sparse.csr_matrix:
    """Each row multiplied by a number.

    Examples
    --------
    >>> rows_times(sparse.csr_matrix([[1.0, 2], [0, 3]]), np.array([1.0, 10])).toarray()
    array([[ 1.,  2.],
           [ 0., 30.]])
    """
    data = rows.data * np.repeat(factor, np.diff(rows.indptr))
    return sparse.csr_matrix((data, rows.indices, rows.indptr), shape=rows.shape)


def stacked(parts: Sequence[sparse.csr_matrix]) -> sparse.csr_matrix:
    """Blocks of rows below one another."""
    return sparse.csr_matrix(sparse.vstack(parts, format="csr"))


def block_diagonal(parts: Sequence[Array]) -> sparse.csr_matrix:
    """Square matrices along the diagonal of one.

    Examples
    --------
    >>> block_diagonal([np.array([[1.0, 2], [3, 4]]), np.array([[5.0]])]).toarray()
    array([[1., 2., 0.],
           [3., 4., 0.],
           [0., 0., 5.]])
    """
    size = np.array([len(part) for part in parts])
    entries = np.repeat(size, size)
    first = np.repeat(np.cumsum(size) - size, size**2)
    within = np.concatenate([np.tile(np.arange(each), each) for each in size])
    data = np.concatenate([part.ravel() for part in parts])
    return sparse.csr_matrix((data, first + within, np.concatenate([[0], np.cumsum(entries)])))
