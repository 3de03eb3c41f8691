"""Agreement of two results: normalised error, chi-square, and what could have been seen."""

import numpy as np
import pytest

from analysis.linear.agreement import agreement


def test_single_pair_gives_the_published_normalised_error():
    # Derived from the definition (proficiency-testing practice): 0.0023/sqrt(0.0020² + 0.0015²) = 0.92.
    verdict = agreement(np.array([0.0023]), np.array([[(0.0020**2 + 0.0015**2) / 4]]))
    assert verdict.normalised_error[0] == pytest.approx(0.92, abs=1e-12)


def _removed(covariance):
    n = len(covariance)
    line = np.column_stack([np.ones(n), np.arange(n)])
    keep = np.eye(n) - line @ np.linalg.pinv(line)
    return keep, keep @ covariance @ keep.T


def test_right_maps_are_called_different_about_one_time_in_fifty():
    # Two tests at one in a hundred each: together between 1 and 2 % (Bonferroni).
    rng = np.random.default_rng(3)
    n = 15
    walk = np.minimum.outer(np.arange(n), np.arange(n)) + 0.2 * np.eye(n)
    keep, covariance = _removed(walk)
    root = np.linalg.cholesky(walk)
    wrong = sum(not agreement(keep @ root @ rng.standard_normal(n), covariance).agree for _ in range(400))
    assert 0 <= wrong <= 16  # mean 4 to 8; 16 is beyond three standard deviations


def test_difference_of_twice_the_smallest_detectable_is_caught():
    n = 15
    keep, covariance = _removed(np.eye(n))
    verdict = agreement(np.zeros(n), covariance)
    bump = np.zeros(n)
    bump[7] = 2 * verdict.smallest_detectable
    assert not agreement(keep @ bump, covariance).agree


def test_diagonal_alone_misjudges_a_correlated_difference():
    # Heights summed from slopes wander together: seen as independent they look impossible.
    n = 40
    walk = np.minimum.outer(np.arange(n), np.arange(n)) + 1e-6
    rng = np.random.default_rng(8)
    draws = [np.linalg.cholesky(walk + 1e-9 * np.eye(n)) @ rng.standard_normal(n) for _ in range(60)]
    full = sum(not agreement(d, walk).agree for d in draws)
    diagonal = [agreement(d, np.diag(np.diag(walk))).chi_square for d in draws]
    assert full <= 6
    assert np.std(diagonal) > 3 * np.sqrt(2 * n)  # far wider than a chi-square with n degrees
