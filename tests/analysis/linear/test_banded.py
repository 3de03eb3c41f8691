"""Banded matrices in another order, against full matrices."""

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.csgraph import reverse_cuthill_mckee

from analysis.linear.banded import factor, to_band, width


def tied(nodes, period):
    """A matrix that ties neighbours two apart and nodes one period apart."""
    second = np.diff(np.eye(nodes), 2, axis=0)
    base = np.eye(nodes)[period:] - np.eye(nodes)[:-period]
    return second.T @ second + base.T @ base + 1e-3 * np.eye(nodes)


@pytest.mark.parametrize(("nodes", "period"), [(50, 7), (101, 20), (64, 30)])
def test_solution_determinant_and_inverse_agree_with_the_full_matrix(nodes, period):
    full = tied(nodes, period)
    matrix = sparse.coo_array(full)
    place = np.argsort(reverse_cuthill_mckee(sparse.csr_matrix(matrix), symmetric_mode=True))
    factored = factor(to_band(matrix, place, width(matrix, place)), place)
    right = np.random.default_rng(1).normal(size=(nodes, 3))
    np.testing.assert_allclose(factored.solve(right), np.linalg.solve(full, right), rtol=1e-8, atol=1e-8)
    assert factored.log_determinant() == pytest.approx(np.linalg.slogdet(full)[1], rel=1e-10)
    near = np.zeros(matrix.shape)
    near[matrix.row, matrix.col] = factored.inverse_near_diagonal().at(matrix.row, matrix.col)
    seen = full != 0
    np.testing.assert_allclose(near[seen], np.linalg.inv(full)[seen], rtol=1e-7, atol=1e-9)
