"""The weighted adjustment against full matrices: correlated readings, few and many."""

import numpy as np
import pytest
import scipy.linalg
from scipy import sparse

from analysis.adjust.solution import Block, solve


def steps(count, zero, unknowns):
    """Rows of a level stepped along `count` heights, its zero in column `zero`."""
    i = np.arange(count - 1)
    weight = np.concatenate([-np.ones(count - 1), np.ones(count - 1), np.full(count - 1, 0.1)])
    place = np.tile(i, 3), np.concatenate([i, i + 1, np.full(count - 1, zero)])
    return sparse.csr_matrix((weight, place), shape=(count - 1, unknowns))


def heights(count, unknowns, zero):
    """Rows of `count` heights given directly, a tilt left free: as a drawn level gives them."""
    i = np.arange(count)
    weight = np.concatenate([np.ones(count), np.linspace(-1, 1, count)])
    place = np.tile(i, 2), np.concatenate([i, np.full(count, zero)])
    return sparse.csr_matrix((weight, place), shape=(count, unknowns))


def smooth_covariance(count):
    """Of heights that err together over some tenth of their length, and a little by themselves."""
    x = np.arange(count)
    return np.exp(-np.abs(x[:, None] - x[None, :]) / (0.1 * count)) + 0.05 * np.eye(count)


def mixed(count):
    """A stepped and a drawn level over the same heights; blocks, unknowns, number of heights."""
    rng = np.random.default_rng(count)
    unknowns = count + 2
    blocks = [
        Block(steps(count, count, unknowns), rng.normal(size=count - 1), rng.uniform(0.5, 2, count - 1)),
        Block(heights(count, unknowns, count + 1), rng.normal(size=count), smooth_covariance(count)),
    ]
    return blocks, unknowns, count


@pytest.mark.parametrize("count", [12, 130])
def test_correlated_heights_are_adjusted_as_by_full_matrices(count):
    """130 heights of one drawn level are a border of their own, 12 stay in the band; both exact."""
    blocks, unknowns, last = mixed(count)
    assert bool(len(blocks[1].tied_together)) == (count > 100)
    solution = solve(blocks, unknowns, last)
    rows = np.vstack([block.rows.toarray() for block in blocks])
    covariance = scipy.linalg.block_diag(np.diag(blocks[0].covariance), blocks[1].covariance)
    weight = np.linalg.inv(covariance)
    inverse = np.linalg.pinv(rows.T @ weight @ rows, rcond=1e-13, hermitian=True)
    estimate = inverse @ rows.T @ weight @ np.concatenate([block.value for block in blocks])
    null = scipy.linalg.null_space(rows, rcond=1e-10)
    known = np.eye(unknowns) - null @ null.T
    np.testing.assert_allclose(known @ solution.estimate, known @ estimate, atol=1e-9)
    np.testing.assert_allclose(solution.covariance(known), known @ inverse @ known.T, atol=1e-9)
    share = np.diag(np.eye(len(rows)) - rows @ inverse @ rows.T @ weight)
    precision = np.diag(weight - weight @ rows @ inverse @ rows.T @ weight)
    found = solution.reliability
    np.testing.assert_allclose(np.concatenate([each.redundancy for each in found]), share, atol=1e-9)
    np.testing.assert_allclose(np.concatenate([each.weight for each in found]), precision, atol=1e-8)


def test_repeats_cost_no_full_matrix_and_change_nothing():
    """Groups of two and three correlated readings, given in full and sparse."""
    count = 30
    size = np.array([2] * 10 + [3] * 3)
    label = np.repeat(np.arange(len(size)), size)[: count - 1]
    shuffled = np.random.default_rng(2).permutation(label)
    full = np.where(shuffled[:, None] == shuffled[None, :], 0.6, 0.0) + 0.4 * np.eye(count - 1)
    rows, value = steps(count, count, count + 1), np.random.default_rng(3).normal(size=count - 1)
    both = [solve([Block(rows, value, c), Block(rows, -value, c)], count + 1, count)
            for c in (full, sparse.csr_matrix(full))]  # fmt: skip
    assert both[0].chi_square == pytest.approx(both[1].chi_square, rel=1e-12)
    assert both[0].chi_square == pytest.approx(2 * value @ np.linalg.solve(full, value))
    np.testing.assert_allclose(both[0].reliability[0].weight, both[1].reliability[0].weight, rtol=1e-12)


def test_ten_thousand_repeats_are_whitened_within_a_band():
    count = 10_000
    pairs = np.arange(count) // 2
    covariance = sparse.csr_matrix(
        sparse.csr_matrix((np.ones(count), (pairs, np.arange(count)))).T
        @ sparse.csr_matrix((np.ones(count), (pairs, np.arange(count))))
    ) + sparse.identity(count)
    block = Block(sparse.identity(count, format="csr"), np.ones(count), covariance)
    whitened = block.whitener @ covariance @ block.whitener.T
    assert block.whitener.nnz == count + count // 2
    assert abs(whitened - sparse.identity(count)).max() < 1e-12
