"""Banded least squares and likelihood, against the same written out with full matrices."""

import numpy as np
import pytest
from scipy import linalg

from analysis.level.fit import covariance_at, normal_for, problem_for, refined_height_um, solve
from analysis.level.slopes import continuous_run, height_weights
from analysis.level.smoothness import FewPlaces, Stationary

NODE = np.arange(0.0, 401.0, 4.0)
KINDS = [(Stationary(1, 60.0), 4.0), (Stationary(3, 80.0), 9.0), (FewPlaces(NODE, 1 + NODE / 400), 1e-4)]


def runs(rng, *bases):
    found = []
    for base in bases:
        x = np.arange(base / 2, 401 - base / 2, 4.0)
        found.append(continuous_run(x, 10 * rng.normal(size=len(x)), 1.0, base, pad_mm=6.0 * len(found)))
    return found


def written_out(problem, kind, q, rho):
    """Covariance of the way, of the noise and of the readings, as full matrices."""
    shapes = np.linalg.inv(kind.on(problem.node_mm).root.toarray())
    way = q * shapes @ shapes.T
    apart = np.abs(np.subtract.outer(*[np.arange(len(problem.rise_um))] * 2))
    same = problem.run_of[:, None] == problem.run_of
    correlated = np.where(same, np.array(rho)[problem.run_of] ** apart, 0.0)
    noise = correlated * np.outer(problem.sigma_um, problem.sigma_um)
    design = problem.design.toarray()
    return way, design, design @ way @ design.T + noise


@pytest.mark.parametrize(("bases", "rho"), [((80,), (0.0,)), ((80,), (0.6,)), ((80, 56), (0.5, 0.2))])
def test_likelihoods_of_priors_differ_as_those_of_the_readings_written_out(bases, rho):
    """Second method: free zeros taken off by contrasts, then the density of a normal distribution."""
    problem = problem_for(runs(np.random.default_rng(3), *bases), 4.0)
    contrast = linalg.null_space(problem.zero.T).T
    banded, plain = [], []
    for kind, q in KINDS:
        solution = solve(problem, normal_for(problem, np.array(rho)), kind.on(problem.node_mm), q)
        banded.append(solution.minus_two_log_likelihood(problem.freedom, 1.7))
        total = 1.7 * contrast @ written_out(problem, kind, q, rho)[2] @ contrast.T
        left = contrast @ problem.rise_um
        plain.append(np.linalg.slogdet(total)[1] + left @ np.linalg.solve(total, left))
    np.testing.assert_allclose(np.diff(banded), np.diff(plain), rtol=1e-5)


@pytest.mark.parametrize(("kind", "q"), KINDS, ids=["rough", "smooth", "few places"])
def test_heights_and_covariance_are_those_of_conditioning_on_the_readings(kind, q):
    """Second method: best linear prediction, generalised least squares for the zeros."""
    rho = (0.5, 0.2)
    problem = problem_for(runs(np.random.default_rng(4), 80, 56), 4.0)
    way, design, total = written_out(problem, kind, q, rho)
    inverse = np.linalg.inv(total)
    zero_covariance = np.linalg.inv(problem.zero.T @ inverse @ problem.zero)
    gain = way @ design.T @ inverse
    left = np.eye(len(total)) - problem.zero @ zero_covariance @ problem.zero.T @ inverse
    off_line = (
        np.eye(5)
        - np.linalg.qr(np.vander(np.arange(5.0), 2))[0] @ np.linalg.qr(np.vander(np.arange(5.0), 2))[0].T
    )
    target = height_weights(np.linspace(0, 400, 5), problem.node_mm)
    height = off_line @ target @ gain @ left @ problem.rise_um
    spread = way - gain @ design @ way + gain @ problem.zero @ zero_covariance @ problem.zero.T @ gain.T
    normal, prior = normal_for(problem, np.array(rho)), kind.on(problem.node_mm)
    solution = solve(problem, normal, prior, q)
    found = off_line @ (target @ refined_height_um(normal, prior, q, solution))
    np.testing.assert_allclose(found, height, atol=1e-5)
    # the plain product loses digits where a prior is stiff
    covariance = off_line @ covariance_at(solution, target) @ off_line
    plain = off_line @ target @ spread @ target.T @ off_line
    np.testing.assert_allclose(covariance, plain, atol=2e-3 * np.abs(plain).max())


def test_mean_of_a_cell_of_readings_is_the_difference_of_two_mean_heights():
    """Any way, however rough, each height the mean over its stretch: nothing is left over."""
    height = np.random.default_rng(5).normal(size=405)  # every millimetre from -2 to 402, as rough as can be
    x = np.arange(40.0, 361.0)
    slope = (height[(x + 42).astype(int)] - height[(x - 38).astype(int)]) / 0.08
    problem = problem_for([continuous_run(x, slope, 1.0, 80)], 5.0)
    means = height.reshape(-1, 5).mean(axis=1)
    left = problem.rise_um - problem.design @ means
    whole = slice(1, -1)  # the first and the last cell hold three readings
    assert np.ptp(left[whole]) < 1e-9 < np.std(problem.rise_um)


def test_readings_that_fall_one_and_two_to_a_cell_tell_no_more_than_one_where_noise_is_slow():
    """Read each 2 mm in cells of 2.5 mm, and each 2.5 mm; noise that goes together over 10 mm: the zero of a
    known way is as sure either way, to 5 %. Weighted as if two were twice one, it was 2.5 times as sure."""

    def variance_of_zero(every_mm):
        x = np.arange(50.0, 1150.1, every_mm)
        problem = problem_for([continuous_run(x, np.zeros(len(x)), 1.0, 100.0)], 2.5)
        return 1 / normal_for(problem, np.array([np.exp(-0.25)])).corner[1, 1]

    assert variance_of_zero(2.0) == pytest.approx(variance_of_zero(2.5), rel=0.05)


def test_independent_readings_count_each():
    """Twice as many in each cell: half the variance, and cells of two readings count as two."""
    problem = problem_for([continuous_run(np.arange(50.0, 1150.1, 2.0), np.zeros(551), 1.0, 100.0)], 2.5)
    assert sorted(set(problem.readings.tolist())) == [1.0, 2.0]
    corner = normal_for(problem, np.array([0.0])).corner[1, 1]
    assert corner == pytest.approx(551, rel=1e-9)
