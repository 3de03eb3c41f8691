"""Kinds of way: their costs against plain matrices, and whether the readings choose the right one."""

import numpy as np
import pytest
from scipy import linalg
from scipy.signal import lfilter
from scipy.stats import multivariate_normal

from analysis.level.bending import ANEW, bending, gradual, textured
from analysis.level.continuous import heights_from_dense_slopes
from analysis.level.fit import normal_for, problems_for, solve
from analysis.level.noise import judge_noise
from analysis.level.slopes import dense_traverse, difference_weights

LENGTH, BASE = 1200, 100


def covariance_of_curvature(kind, count, spacing):
    """Second method: white noise filtered once or twice from long before the first node."""
    kept, before = kind.kept(spacing), 4000
    changes = np.eye(count + before)
    for _ in range(kind.times):
        changes = lfilter([1 - kept], [1.0, -kept], changes, axis=0)
    return (changes @ changes.T)[before:, before:] * spacing**3


def second_differences(nodes):
    return np.diff(np.eye(nodes), n=2, axis=0)


KINDS = [ANEW, textured(BASE), gradual(20)]


@pytest.mark.parametrize("kind", KINDS, ids=lambda kind: kind.name)
def test_cost_and_volume_are_those_of_the_stated_correlation(kind):
    nodes, second = 20, second_differences(20)
    covariance = covariance_of_curvature(kind, nodes - 2, 5.0)
    one = bending(kind, nodes, 5.0)
    plain = second.T @ linalg.inv(covariance) @ second
    np.testing.assert_allclose(one.cost.toarray(), plain, atol=1e-6 * np.abs(plain).max())
    assert one.volume == pytest.approx(np.linalg.slogdet(covariance)[1])
    highest = np.linalg.eigvalsh(plain)[-1]
    assert highest <= one.stiffest * (1 + 1e-9) and one.stiffest < 2 * highest


def test_long_bends_cost_the_same_in_every_kind_and_short_ones_more_where_curvature_holds():
    x = np.arange(0, 8001, 10.0)

    def costs(wavelength):
        shape = np.sin(2 * np.pi * x / wavelength)
        return [shape @ (bending(each, len(x), 10.0).cost @ shape) for each in KINDS]

    assert costs(8000)[2] / costs(8000)[0] == pytest.approx(1.0, abs=0.05)
    short = np.array(costs(100)) / costs(100)[0]
    # derived: what a filter of that length takes off a wave, squared, once for each time
    expected = [
        (1 + (2 * np.pi * long / 100) ** 2) ** times for long, times in ((1, 0), (20, 1), (60 / 2**0.5, 2))
    ]
    np.testing.assert_allclose(short, expected, rtol=0.1)


def test_kinds_are_compared_by_the_likelihood_of_the_readings():
    """Second method: the readings' covariance written out, a free zero taken off by contrasts."""
    rng = np.random.default_rng(3)
    run = dense_traverse(np.arange(50, 351, 2.5), 10 * rng.normal(size=121), 1.0, base_mm=BASE)
    contrast = linalg.null_space(np.ones((1, len(run.station_mm)))).T
    banded, plain, q = [], [], 1e-3
    for problem in problems_for([run], 2.5):
        spacing, nodes = problem.spacing_mm, len(problem.node_mm)
        shape = np.vstack([np.zeros((2, nodes - 2)), linalg.inv(second_differences(nodes)[:, 2:])])
        rise = difference_weights(run, problem.node_mm) @ shape
        for number, each in enumerate(problem.bendings):
            normal = normal_for(problem, problem.sigma_um)
            banded.append(solve(problem, normal, q, number).unlikeliness)
            of_way = q * rise @ covariance_of_curvature(each.kind, nodes - 2, spacing) @ rise.T
            total = contrast @ (of_way + np.diag(problem.sigma_um**2)) @ contrast.T
            plain.append(-2 * multivariate_normal(cov=total).logpdf(contrast @ problem.rise_um))
    assert len(plain) == 3
    np.testing.assert_allclose(np.diff(banded), np.diff(plain), rtol=1e-5)


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
        (worn(rng), "smoothly worn"),
        (with_curvature(rng, 0.003, np.array([1.0])), "rough throughout"),
        (with_curvature(rng, 0.003, np.exp(-np.arange(100) / 20.0)), "textured"),
    ):
        assert heights_from_dense_slopes([drawn_along(way, rng)], [0, 600, 1200]).taken_as == kind


def test_noise_counts_as_stated_until_the_readings_contradict_it():
    """One in twenty such surveys would contradict by chance."""
    found = {1.0: [], 1.5: [], 30.0: []}
    for noise, inflations in found.items():
        for seed in range(12):
            rng = np.random.default_rng(seed)
            run = drawn_along(worn(rng), rng, noise=noise)
            inflations.append(judge_noise(problems_for([run], 2.0, paired=True)).inflation[0])
    assert np.sum(np.array(found[1.0]) == 1.0) >= 10
    assert np.mean(found[1.5]) == pytest.approx(1.5, abs=0.08)
    assert np.mean(found[30.0]) == pytest.approx(30.0, abs=1.5)
