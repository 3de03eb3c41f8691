"""Banded and bordered least squares against full matrices, on random networks with and without gaps."""

import numpy as np
import pytest
import scipy.linalg
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import sparse
from scipy.sparse.linalg import splu

from analysis.linear import bordered as bordered_module
from analysis.linear.bordered import bordered
from analysis.linear.least_squares import least_squares


def step_rows(first, second, zero, shape, rng):
    """Rows like a level's or a dial's: one height less another, and a zero."""
    i = np.arange(len(first))
    ones = np.ones(len(first))
    weights = [-ones, ones, np.full(len(first), 0.1)]
    row, column = np.tile(i, 3), np.concatenate([first, second, np.full(len(first), zero)])
    rows = sparse.csr_matrix((np.concatenate(weights), (row, column)), shape=shape)
    return sparse.csr_matrix(sparse.diags(1 / rng.uniform(0.2, 2.0, len(first))) @ rows)


def network(seed, *, stations=None):
    """Random ways, stepped by levels of random bases, read against each other, with gaps; invented."""
    rng = np.random.default_rng(seed)
    faces = int(rng.integers(1, 4))
    count = int(rng.integers(3, 40)) if stations is None else stations
    runs = int(rng.integers(1, 7))
    unknowns = faces * count + runs + 1
    blocks = []
    for run in range(runs):
        base = int(rng.integers(1, 3))
        at = np.arange(count - base)[rng.random(count - base) > 0.05]
        zero = faces * count + run
        face, other = rng.integers(0, faces, 2)
        shape = (len(at), unknowns)
        if face == other:
            rows = step_rows(face * count + at, face * count + at + base, zero, shape, rng)
        else:
            rows = step_rows(face * count + at, other * count + at, zero, shape, rng)
        drift = sparse.csr_matrix((np.ones(len(at)), (np.arange(len(at)), np.full(len(at), unknowns - 1))),
                                  shape=shape)  # fmt: skip
        if rng.random() < 0.5:
            rows = rows + sparse.diags(np.linspace(0, 3, len(at))) @ drift
        blocks.append(sparse.csr_matrix(rows))
    values = [rng.normal(0, 3, block.shape[0]) for block in blocks]
    return blocks, values, np.arange(unknowns) >= faces * count


def full(blocks):
    """Full rows, length of their columns; null space and row space of unit columns by singular values."""
    rows = sparse.vstack(blocks).toarray()
    length = np.sqrt(np.sum(rows**2, axis=0))
    length[length == 0] = 1.0
    _, size, turn = scipy.linalg.svd(rows / length)
    rank = np.count_nonzero(size > 1e-9 * size[0])
    return rows, length, turn[rank:].T, turn[:rank]


@pytest.mark.statistics
@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_random_networks_agree_with_the_pseudo_inverse_of_the_full_matrix(seed):
    blocks, values, is_border = network(seed)
    rows, length, null, seen = full(blocks)
    found = least_squares(blocks, values, is_border)
    assert found.null_space.shape[1] == null.shape[1]
    assert np.linalg.norm(rows @ found.null_space) < 1e-12
    determined = seen * length
    inverse = np.linalg.pinv(rows / length, rcond=1e-9) / length[:, None]
    assert found.is_known(determined).all()
    size = max(1.0, np.max(np.abs(determined @ inverse)))
    np.testing.assert_allclose(
        determined @ found.estimate, determined @ inverse @ np.concatenate(values), atol=1e-9 * size
    )
    covariance = determined @ inverse @ inverse.T @ determined.T
    np.testing.assert_allclose(found.covariance(determined), covariance, atol=1e-9 * size**2)


@pytest.mark.statistics
@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**6))
def test_variances_of_all_readings_agree_with_the_hat_matrix(seed):
    blocks, values, is_border = network(seed)
    rows, length, _, _ = full(blocks)
    found = least_squares(blocks, values, is_border)
    hat = np.diag(rows / length @ np.linalg.pinv(rows / length, rcond=1e-9))
    fitted = np.concatenate([found.between(block) for block in blocks])
    np.testing.assert_allclose(fitted, hat, atol=1e-10)
    assert np.sum(fitted) == pytest.approx(found.rank, abs=1e-8)


@pytest.mark.statistics
@settings(max_examples=30, deadline=None, derandomize=True)
@given(st.integers(0, 10**6), st.integers(0, 10**6))
def test_a_function_is_known_where_no_free_direction_changes_it_and_not_elsewhere(seed, draw):
    blocks, values, is_border = network(seed)
    _, length, null, seen = full(blocks)
    known = np.random.default_rng(draw).normal(size=(1, len(seen))) @ seen * length
    moved = known + 1e-6 * (null[:, 0] * length)
    found = least_squares(blocks, values, is_border)
    assert found.is_known(known).tolist() == [True]
    assert found.is_known(moved).tolist() == [False]


@pytest.mark.statistics
def test_two_thousand_stations_agree_with_a_sparse_factorisation_of_the_same_matrix():
    """Second method: SuperLU of the normal matrix with the same unknowns held, every column solved."""
    blocks, values, is_border = network(5, stations=500)
    found = least_squares(blocks, values, is_border)
    kept = np.setdiff1d(np.arange(len(is_border)), found.held)
    rows = sparse.vstack(blocks).tocsc()[:, kept]
    factored = splu(sparse.csc_matrix(rows.T @ rows))
    inverse = factored.solve(np.eye(len(kept)))
    np.testing.assert_allclose(found.variances()[kept], np.diag(inverse), rtol=1e-8)
    solution = factored.solve(rows.T @ np.concatenate(values))
    solution += factored.solve(rows.T @ (np.concatenate(values) - rows @ solution))
    np.testing.assert_allclose(found.estimate[kept], solution, atol=1e-9 * np.max(np.abs(solution)))


def test_long_chain_of_steps_is_free_in_height_and_tilt_alone():
    """The least singular value falls as the square of the length; free ones stay far below it."""
    count = 20_000
    i = np.arange(count - 1)
    rows = step_rows(i, i + 1, count, (count - 1, count + 1), np.random.default_rng(0))
    found = least_squares([rows], [np.zeros(count - 1)], np.arange(count + 1) == count)
    assert found.null_space.shape[1] == 2
    third = np.zeros((2, count + 1))
    third[0, [0, count // 2, count - 1]] = 0.5, -1, 0.5
    third[0, count // 2 - 1 : count // 2 + 1] -= 0.5
    third[0, count // 2] += 1.0
    third[1, [0, count - 1]] = -1, 1
    assert found.is_known(third).tolist() == [True, False]


def test_a_way_read_only_against_another_is_free_at_every_station():
    """Half the unknowns are free: those are found by elimination, and nothing is held without need."""
    count = 60
    i = np.arange(count)
    rows = step_rows(i, count + i, 2 * count, (count, 2 * count + 1), np.random.default_rng(0))
    found = least_squares([rows], [np.arange(count) * 1.0], np.arange(2 * count + 1) == 2 * count)
    assert found.null_space.shape[1] == count + 1
    differences = np.zeros((count - 1, 2 * count + 1))
    differences[i[:-1], i[:-1]], differences[i[:-1], i[:-1] + 1] = 1, -1
    differences[i[:-1], count + i[:-1]], differences[i[:-1], count + i[:-1] + 1] = -1, 1
    assert found.is_known(differences).all()
    assert not found.is_known(np.eye(2 * count + 1)).any()


@pytest.mark.parametrize("faces", [6, 10, 14, 20])
def test_many_ways_that_nothing_ties_are_free_in_height_and_tilt_each(faces):
    """Twenty lines on one bed, each stepped there and back by a level of its own zero, are common."""
    count, rng = 21, np.random.default_rng(1)
    steps, unknowns = np.arange(count - 1), faces * (count + 2)
    rows, values = [], []
    for face in range(faces):
        height = rng.normal(0, 10, count)
        for run in range(2):
            at, zero = face * count + steps, faces * count + 2 * face + run
            weights = np.column_stack([-np.ones(count - 1), np.ones(count - 1), np.full(count - 1, 0.15)])
            places = np.column_stack([at, at + 1, np.full(count - 1, zero)])
            each = np.repeat(steps, 3), places.ravel()
            rows.append(sparse.csr_matrix((weights.ravel() / 0.3, each), shape=(count - 1, unknowns)))
            values.append(np.diff(height) / 0.3)
    found = least_squares(rows, values, np.arange(unknowns) >= faces * count)
    assert found.null_space.shape[1] == 2 * faces
    bends = np.zeros((faces, unknowns))
    for face in range(faces):
        bends[face, face * count + np.array([0, 10, 20])] = 0.5, -1, 0.5
    assert found.is_known(bends).all()


def test_the_same_rows_give_the_same_bits():
    blocks, values, is_border = network(11)
    first, second = (least_squares(blocks, values, is_border) for _ in range(2))
    assert np.array_equal(first.estimate, second.estimate)
    assert np.array_equal(first.null_space, second.null_space)
    assert np.array_equal(first.variances(), second.variances())


def test_column_that_no_row_touches_is_free():
    rows = sparse.csr_matrix([[1.0, 0.0], [1.0, 0.0]])
    found = least_squares([rows], [np.array([1.0, 3.0])], np.zeros(2, bool))
    assert found.is_known(np.eye(2)).tolist() == [True, False]
    assert found.estimate[0] == pytest.approx(2.0)


@pytest.mark.parametrize("border", [[], [0], [0, 1, 2, 3, 4]])
def test_bordered_factor_is_the_inverse_wherever_the_border_lies(border):
    rng = np.random.default_rng(3)
    rows = sparse.csr_matrix(np.vstack([np.eye(5), rng.normal(size=(3, 5))]))
    matrix = bordered([rows], np.isin(np.arange(5), border))
    normal = (rows.T @ rows).toarray()
    factor = matrix.factored()
    np.testing.assert_allclose(factor.solve(np.eye(5)), np.linalg.inv(normal), atol=1e-12)
    np.testing.assert_allclose(factor.diagonal(), np.diag(np.linalg.inv(normal)), atol=1e-12)
    assert factor.log_determinant() == pytest.approx(np.linalg.slogdet(normal)[1])


def test_rows_taken_a_few_at_a_time_have_the_same_covariances(monkeypatch):
    blocks, values, is_border = network(3, stations=12)
    found, rows = least_squares(blocks, values, is_border), sparse.vstack(blocks, format="csr")
    other = sparse.csr_matrix(rows.multiply(np.arange(1.0, rows.shape[0] + 1)[:, None]))
    at_once = found.between(rows, other)
    monkeypatch.setattr(bordered_module, "MOST_AT_A_TIME", 20)
    np.testing.assert_allclose(found.between(rows, other), at_once, rtol=1e-12)
    np.testing.assert_allclose(at_once, found.between(rows) * np.arange(1, len(at_once) + 1), rtol=1e-9)


def test_inverse_is_refused_where_it_is_not_worked_out():
    i = np.arange(199)
    rows = sparse.csr_matrix((np.ones(398), (np.tile(i, 2), np.concatenate([i, i + 1]))), shape=(199, 200))
    factor = bordered([rows, sparse.identity(200, format="csr")], np.zeros(200, bool)).factored()
    far = sparse.csr_matrix((np.ones(2), ([0, 0], [0, 199])), shape=(1, 200))
    with pytest.raises(ValueError, match="outside the band"):
        factor.between(far, far)


def test_inverse_is_worked_out_where_two_rows_cancel_in_the_normal_matrix():
    """A sum and a difference of the same heights leave a zero that belongs to the band all the same."""
    count = 60
    i = np.arange(count // 2)
    ones = np.ones(count // 2)
    both = [
        sparse.csr_matrix((np.concatenate([ones, sign * ones]), (np.tile(i, 2), np.concatenate([i, i + 30]))))
        for sign in (1, -1)
    ]
    rows = [*both, sparse.identity(count, format="csr")]
    factor = bordered(rows, np.zeros(count, bool)).factored()
    inverse = np.linalg.inv(sum((row.T @ row).toarray() for row in rows))
    expected = np.einsum("ij,jk,ik->i", both[0].toarray(), inverse, both[0].toarray())
    np.testing.assert_allclose(factor.between(both[0], both[0]), expected, rtol=1e-12)
