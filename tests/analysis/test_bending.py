"""Kinds of way: their costs against plain matrices, and whether the readings choose the right one."""

import numpy as np
import pytest
from scipy import linalg
from scipy.stats import multivariate_normal

from analysis.banded import width
from analysis.bending import bendings, cost_of_bending, kinds_of_way
from analysis.continuous import heights_from_dense_slopes
from analysis.dense_fit import normal_for, problem_for, solve
from analysis.dense_noise import judge_noise
from analysis.dense_slopes import dense_traverse, difference_weights

LENGTH, BASE = 1200, 100


def covariance_of_curvature(count, kept):
    """Second differences that fade by `kept` from node to node, equal to white ones over long stretches."""
    return (1 - kept) / (1 + kept) * kept ** np.abs(np.subtract.outer(np.arange(count), np.arange(count)))


def second_differences(nodes):
    return np.diff(np.eye(nodes), n=2, axis=0)


@pytest.mark.parametrize("kept", [0.0, 0.3, 0.9, 0.99])
def test_cost_and_volume_are_those_of_the_stated_correlation(kept):
    """Second method: the covariance written out and inverted."""
    nodes, second = 20, second_differences(20)
    covariance = covariance_of_curvature(nodes - 2, kept)
    cost = cost_of_bending(nodes, kept)
    np.testing.assert_allclose(
        cost.toarray(), second.T @ linalg.inv(covariance) @ second, rtol=1e-6, atol=1e-4
    )
    place = np.arange(nodes)
    (one,) = bendings({"so": kept}, [cost], place, width(cost, place), spacing_mm=2.0)
    assert one.volume == pytest.approx(np.linalg.slogdet(covariance)[1])
    np.testing.assert_allclose(one.cost[0], cost.toarray().diagonal() / 8)
    assert np.linalg.eigvalsh(cost.toarray())[-1] <= one.stiffest * (1 + 1e-9)


def test_long_bends_cost_the_same_in_every_kind_and_short_ones_more_where_curvature_holds():
    x = np.arange(0, 8001, 10.0)
    kept = list(kinds_of_way(400, BASE, 10.0).values())

    def costs(wavelength):
        shape = np.sin(2 * np.pi * x / wavelength)
        return [shape @ (cost_of_bending(len(x), each) @ shape) for each in kept]

    assert costs(4000)[2] / costs(4000)[0] == pytest.approx(1.0, abs=0.05)
    assert costs(100)[2] > 5 * costs(100)[1] > 5 * costs(100)[0]


def test_kinds_are_compared_by_the_likelihood_of_the_readings():
    """Second method: the readings' covariance written out, a free zero taken off by contrasts."""
    rng = np.random.default_rng(3)
    run = dense_traverse(np.arange(50, 351, 5.0), 10 * rng.normal(size=61), 1.0, base_mm=BASE)
    problem, q = problem_for([run], 5.0), 1e-3
    normal = normal_for(problem, problem.sigma_um)
    banded = [s.misfit + s.volume for s in (solve(problem, normal, q, each) for each in problem.bendings)]

    nodes = len(problem.node_mm)
    shape = np.vstack([np.zeros((2, nodes - 2)), linalg.inv(second_differences(nodes)[:, 2:])])
    rise = difference_weights(run, problem.node_mm) @ shape
    contrast = linalg.null_space(np.ones((1, len(run.station_mm)))).T
    plain = []
    for kept in kinds_of_way(problem.node_mm[-1], BASE, 5.0).values():
        of_way = q * 5.0**3 * rise @ covariance_of_curvature(nodes - 2, kept) @ rise.T
        total = contrast @ (of_way + np.diag(problem.sigma_um**2)) @ contrast.T
        plain.append(-2 * multivariate_normal(cov=total).logpdf(contrast @ problem.rise_um))
    np.testing.assert_allclose(np.diff(banded), np.diff(plain), rtol=1e-6)


def worn(rng):
    depth, at, wide = rng.uniform(20, 60), rng.uniform(400, 800), rng.uniform(250, 450)
    return lambda x: -depth * np.exp(-(((x - at) / wide) ** 2))


def with_curvature(rng, size, window):
    """A way whose curvature is white noise seen through a window of so many mm."""
    grid = np.arange(-1.0, LENGTH + 2)
    curvature = np.convolve(rng.normal(size=len(grid) + 400), window / np.linalg.norm(window), "same")[
        200:-200
    ]
    height = np.cumsum(np.cumsum(size * curvature))
    height -= np.polyval(np.polyfit(grid, height, 1), grid)
    return lambda x: np.interp(x, grid, height)


def drawn_along(way, rng, noise=1.0):
    x = np.arange(BASE / 2, LENGTH - BASE / 2 + 1, 2.0)
    slope = (way(x + BASE / 2) - way(x - BASE / 2)) / BASE * 1000
    return dense_traverse(x, slope + noise * rng.normal(size=len(x)), 1.0, base_mm=BASE)


def test_readings_choose_the_kind_of_way_that_they_came_from():
    rng = np.random.default_rng(5)
    for way, kind in (
        (worn(rng), "gradually"),
        (with_curvature(rng, 0.003, np.array([1.0])), "anew at every place"),
        (with_curvature(rng, 0.003, np.exp(-np.arange(100) / 20.0)), "with a texture"),
    ):
        assert heights_from_dense_slopes([drawn_along(way, rng)], [0, 600, 1200]).bends == kind


def test_noise_counts_as_stated_until_the_readings_contradict_it():
    """One in twenty such surveys would contradict by chance."""
    found = {1.0: [], 1.5: []}
    for noise, inflations in found.items():
        for seed in range(12):
            rng = np.random.default_rng(seed)
            run = drawn_along(worn(rng), rng, noise=noise)
            inflations.append(judge_noise(problem_for([run], 2.0, paired=True)).inflation[0])
    assert np.sum(np.array(found[1.0]) == 1.0) >= 10
    assert np.mean(found[1.5]) == pytest.approx(1.5, abs=0.08)
