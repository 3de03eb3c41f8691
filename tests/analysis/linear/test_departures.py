"""Departures from straight: unbiased, and their differences judged with what the faces share."""

import numpy as np
import pytest

from analysis.linear.departures import departures

X = np.arange(0, 1001, 200.0)


def test_worked_case_is_not_told_apart():
    """Derived for this project: 112.343 ± 21.757 and 69.943 ± 17.429, z 1.52."""
    y = [np.array([0, -6, -11, -9, -2, 1.0]), np.array([3, 1, -3, -4, -8, 2.0])]
    found = departures([X, X], y, np.eye(12))
    assert 6 * found.mean_square == pytest.approx([112.343, 69.943], abs=5e-4)
    assert 6 * np.sqrt(np.diag(found.covariance)) == pytest.approx([21.757, 17.429], abs=5e-4)
    assert found.z(0, 1) == pytest.approx(1.52, abs=5e-3)


@pytest.mark.statistics
@pytest.mark.parametrize("shared", [0.0, 1.5])
def test_mean_and_covariance_are_those_of_surveys_drawn(shared):
    """Second method: 40,000 surveys of two faces that share an error (a reference read from both)."""
    rng = np.random.default_rng(4)
    true = [3 * np.sin(X / 300), 2 * np.cos(X / 200)]
    joint = np.block([[np.eye(6), np.zeros((6, 6))], [np.zeros((6, 6)), 2 * np.eye(6)]])
    joint += shared * np.kron(np.ones((2, 2)), np.eye(6))
    drawn = np.concatenate(true) + rng.standard_normal((40000, 12)) @ np.linalg.cholesky(joint).T
    line = np.column_stack([np.ones(6), X])
    flat = np.eye(6) - line @ np.linalg.pinv(line)
    squares = np.array([[((flat @ d[p]) ** 2).sum() for p in (slice(0, 6), slice(6, 12))] for d in drawn])
    noise = [np.trace(flat @ joint[p, p]) for p in (slice(0, 6), slice(6, 12))]
    found = departures([X, X], true, joint)
    expected = np.array([((flat @ t) ** 2).sum() for t in true])
    assert (squares.mean(axis=0) - noise) == pytest.approx(expected, rel=0.03)
    assert 36 * found.covariance == pytest.approx(np.cov(squares.T), rel=0.06, abs=1.5)


def test_a_face_held_against_itself_differs_by_nothing():
    y = np.array([0, -6, -11, -9, -2, 1.0])
    found = departures([X, X], [y, y], np.kron(np.ones((2, 2)), np.eye(6)))
    assert abs(found.mean_square[0] - found.mean_square[1]) == 0
    assert found.covariance[0, 0] + found.covariance[1, 1] - 2 * found.covariance[0, 1] == pytest.approx(0)


def test_what_two_faces_share_tells_them_apart_the_better():
    """One reference read from both: its error is in both departures alike and cancels in their difference."""
    y = [3.0 * np.sin(X / 300), 2.5 * np.sin(X / 300)]
    apart, sharing = (
        departures([X, X], y, np.kron(np.array([[1.0, rho], [rho, 1.0]]), np.eye(6))) for rho in (0.0, 0.9)
    )
    of_each = sharing.covariance[0, 0] + sharing.covariance[1, 1]
    left = of_each - 2 * sharing.covariance[0, 1]
    assert sharing.covariance[0, 1] > 0 and left < 0.35 * of_each
    difference = float(sharing.mean_square[0] - sharing.mean_square[1])
    assert sharing.z(0, 1) == pytest.approx(difference / left**0.5) and sharing.z(0, 1) > 1.5 * apart.z(0, 1)
    assert sharing.z(1, 0) == pytest.approx(-sharing.z(0, 1))
