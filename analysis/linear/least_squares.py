"""Least squares with few unknowns tied to many and many tied to few, where not all need be determined.

    minimise |y − R x|²,   R whitened rows, x unknowns

Columns are divided by their length, so that ones stand on the diagonal of N = RᵀR.  The null
space of R is found by inverse iteration: random columns V (seeded, always the same) are replaced
by an orthonormal basis of (N + εI)⁻¹V until they are the directions of the smallest singular
values of R; a direction with |R v|² < 1e-14 |v|² is not determined (N itself is rounded to 1e-16,
so what lies in between cannot be told from nothing).  As many unknowns as there are such
directions are then held at zero, those in which the directions show most, and N of the others is
factored as it is.  Any linear function f x with |Vᵀf| ≤ 1e-9 |f| is determined: its value and
its variance f N⁻ fᵀ do not depend on which unknowns were held.

Inverse iteration and generalised inverses are textbook algebra (as common in geodetic free networks).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, sparse

from analysis.linear.bordered import BorderedFactor, BorderedMatrix, bordered, columns_times, stacked

Array = NDArray[np.float64]
Places = NDArray[np.intp]

UNDETERMINED_BELOW = 1e-14
"""|R v|² of a unit direction v, columns of R having unit length: below it v is not determined."""
KNOWN_WITHIN = 1e-9
RIDGE = 1e-10
FIRST_COLUMNS = 8
ITERATIONS = 8
REFINEMENTS = 3
NOTHING_LEFT = 1e-12
"""Of a diagonal of one, in eliminating the unknowns one after the other."""
SEED = 20


@dataclass(frozen=True, eq=False)
class LeastSquares:
    """One of all solutions, and what every determined function of it is known by."""

    rows: tuple[sparse.csr_matrix, ...]
    """R in blocks, columns not scaled."""
    estimate: Array
    """Shape (n,), the unknowns held being zero; only determined functions of it mean anything."""
    null_space: Array
    """Shape (n, k): basis of the directions that are not determined."""
    length: Array
    """Length of each column of R, 1 for empty ones."""
    held: Places
    """The unknowns held at zero."""
    factor: BorderedFactor
    """Of the scaled normal matrix of the others."""

    @property
    def rank(self) -> int:
        """How many directions are determined."""
        return len(self.estimate) - self.null_space.shape[1]

    def is_known(self, functions: Array | sparse.spmatrix) -> NDArray[np.bool_]:
        """Which rows of `functions`, shape (k, n), are determined."""
        rows = sparse.csr_matrix(functions)
        size = np.sqrt(_squares_by_row(columns_times(rows, 1 / self.length)))
        met = np.sqrt(np.sum(np.asarray(rows @ self.null_space) ** 2, axis=1))
        return np.asarray(met <= KNOWN_WITHIN * np.maximum(size, 1e-300))

    def solve(self, right: Array) -> Array:
        """N⁻ of right sides, shape (n,) or (n, k), for the generalised inverse that holds `held` at zero."""
        scale = self.scale if right.ndim == 1 else self.scale[:, None]
        return scale * self.factor.solve(scale * right)

    def covariance(self, functions: Array | sparse.spmatrix) -> Array:
        """Covariance of determined functions, shape (k, n): (k, k)."""
        rows = sparse.csr_matrix(functions)
        found = np.asarray(rows @ self.solve(rows.T.toarray()))
        return (found + found.T) / 2

    def variances(self) -> Array:
        """Variance of every unknown, shape (n,); of those held, zero."""
        return self.scale**2 * self.factor.diagonal()

    def between(self, rows: sparse.csr_matrix, other: sparse.csr_matrix | None = None) -> Array:
        """Covariance of each row with the row of `other` beside it (by default itself), shape (m,).

        For rows like those of R alone: the unknowns of both must meet in some row of R.
        """
        first = columns_times(rows, self.scale)
        second = first if other is None else columns_times(other, self.scale)
        return self.factor.between(first, second)

    @cached_property
    def scale(self) -> Array:
        """What one unit of each scaled unknown is worth; zero of those held."""
        scale = 1 / self.length
        scale[self.held] = 0.0
        return np.asarray(scale)


def least_squares(
    rows: Sequence[sparse.csr_matrix], values: Sequence[Array], is_border: NDArray[np.bool_]
) -> LeastSquares:
    """Solve blocks of whitened rows together.

    Parameters
    ----------
    rows : csr matrices, shapes (m_k, n)
    values : arrays, shapes (m_k,)
    is_border : bool array, shape (n,)
        Unknowns that are tied to many others.

    Examples
    --------
    Three heights by two steps: only differences are determined.

    >>> steps = sparse.csr_matrix([[-1.0, 1, 0], [0, -1, 1]])
    >>> found = least_squares([steps], [np.array([2.0, 3.0])], np.zeros(3, bool))
    >>> found.is_known(np.array([[-1.0, 0, 1], [0, 0, 1]]))
    array([ True, False])
    >>> ends = np.array([[-1.0, 0, 1]])
    >>> (ends @ found.estimate).round(12), found.covariance(ends).round(12)
    (array([5.]), array([[2.]]))
    """
    length = np.sqrt(sum(_squares_by_column(block) for block in rows))
    length[length == 0.0] = 1.0
    scaled = [columns_times(block, 1 / length) for block in rows]
    matrix = bordered(scaled, is_border)
    every = stacked(scaled)
    null, held, factor = _determined(matrix, every)
    estimate = _refined(every, np.concatenate(list(values)), factor, held)
    return LeastSquares(tuple(rows), estimate / length, null / length[:, None], length, held, factor)


def _determined(matrix: BorderedMatrix, rows: sparse.csr_matrix) -> tuple[Array, Places, BorderedFactor]:
    """Null space, the unknowns to hold, and the factor of the normal matrix with those held.

    Where all of the first few directions are free, whole places are (a way that was only read
    against another is free at every station): elimination finds those, and the rest is few again.
    """
    nothing = np.zeros(0, np.intp)
    directions, all_free = _smallest_directions(matrix, rows, FIRST_COLUMNS, nothing)
    if all_free:
        found = _by_elimination(matrix, rows)
        if found is not None:
            return found
        directions = _all_directions(matrix, rows)
    return _held_at_zero(matrix, rows, directions, nothing)


def _by_elimination(
    matrix: BorderedMatrix, rows: sparse.csr_matrix
) -> tuple[Array, Places, BorderedFactor] | None:
    """Whole places that elimination finds free, and the few directions left; None where rounding hides one.

    Of many ways that nothing ties, height and tilt of each are free: elimination may take the last
    place of one for determined, and the matrix with the others held is still singular.
    """
    held = matrix.dependent(NOTHING_LEFT)
    directions, all_free = _smallest_directions(matrix, rows, FIRST_COLUMNS, held)
    if all_free:
        return None
    try:
        found = _held_at_zero(matrix, rows, directions, held)
    except linalg.LinAlgError:
        return None
    return found if np.max(_squared_size(rows @ found[0])) < UNDETERMINED_BELOW else None


def _all_directions(matrix: BorderedMatrix, rows: sparse.csr_matrix) -> Array:
    """All that is not determined, however much it is."""
    columns, all_free = FIRST_COLUMNS, True
    directions = np.zeros((len(matrix), 0))
    while all_free:
        columns = 4 * columns
        directions, all_free = _smallest_directions(matrix, rows, columns, np.zeros(0, np.intp))
    return directions


def _held_at_zero(
    matrix: BorderedMatrix, rows: sparse.csr_matrix, directions: Array, held: Places
) -> tuple[Array, Places, BorderedFactor]:
    """Hold as many unknowns more as there are directions, where those show most."""
    if directions.shape[1]:
        _, _, order = linalg.qr(directions.T, mode="economic", pivoting=True, check_finite=False)
        held = np.concatenate([held, order[: directions.shape[1]]])
    held = np.sort(held)
    factor = matrix.factored(held)
    return _null_space(rows, factor, held), held, factor


def _smallest_directions(
    matrix: BorderedMatrix, rows: sparse.csr_matrix, columns: int, held: Places
) -> tuple[Array, bool]:
    """Of the `columns` least directions those not determined, orthonormal; whether there may be more."""
    factor = matrix.factored(held, RIDGE)
    left = len(matrix) - len(held)
    columns = min(columns, left)
    direction = np.random.default_rng(SEED).standard_normal((len(matrix), columns))
    for _ in range(ITERATIONS):
        direction[held] = 0.0
        direction = np.linalg.qr(factor.solve(direction))[0]
    direction[held] = 0.0
    _, size, turn = np.linalg.svd(np.linalg.qr(rows @ direction, mode="r"), full_matrices=True)
    size = np.concatenate([size, np.zeros(columns - len(size))])
    is_free = size**2 < UNDETERMINED_BELOW
    return direction @ turn[is_free].T, bool(np.all(is_free)) and columns < left


def _null_space(rows: sparse.csr_matrix, factor: BorderedFactor, held: Places) -> Array:
    """Basis in which each held unknown moves by one and the others follow, to rounding; unit columns."""
    basis = np.zeros((rows.shape[1], len(held)))
    basis[held, np.arange(len(held))] = 1.0
    across = rows.T
    for _ in range(REFINEMENTS if len(held) else 0):
        pull = across @ (rows @ basis)
        pull[held] = 0.0
        basis -= factor.solve(pull)
    return basis / np.sqrt(_squared_size(basis))


def _refined(rows: sparse.csr_matrix, value: Array, factor: BorderedFactor, held: Places) -> Array:
    """The estimate, corrected by its own residuals until rounding is all that is left."""
    estimate, across = np.zeros(rows.shape[1]), rows.T
    for _ in range(REFINEMENTS):
        pull = across @ (value - rows @ estimate)
        pull[held] = 0.0
        estimate += factor.solve(pull)
    return estimate


def _squared_size(columns: Array) -> Array:
    return np.asarray(np.sum(columns**2, axis=0))


def _squares_by_column(rows: sparse.csr_matrix) -> Array:
    return np.asarray(np.bincount(rows.indices, rows.data**2, minlength=rows.shape[1]), np.float64)


def _squares_by_row(rows: sparse.csr_matrix) -> Array:
    row = np.repeat(np.arange(rows.shape[0]), np.diff(rows.indptr))
    return np.asarray(np.bincount(row, rows.data**2, minlength=rows.shape[0]), np.float64)
