"""What is believed of a drawn level's noise, against invented noise of known size."""

from dataclasses import replace

import numpy as np
import pytest

from analysis.level import noise
from analysis.level.fit import problem_for
from analysis.level.noise import Noise, jitter, judge_noise, likely_correlation
from analysis.level.opinions import Hypothesis, mixture
from analysis.level.slopes import continuous_run, height_weights
from analysis.level.smoothness import Stationary
from tests.invented import autoregressive

X = np.arange(100.0, 1401.0, 5.0)


def judged(size, rho=0.0, seed=1, stated=1.0):
    """Noise of a smooth bow read by a level on 200 mm feet, as it is judged."""
    rng = np.random.default_rng(seed)
    noise = rng.normal(0, 1, len(X))
    for k in range(1, len(X)):
        noise[k] = rho * noise[k - 1] + np.sqrt(1 - rho**2) * noise[k]
    run = continuous_run(X, 0.05 * (X - 750) + size * noise, stated, 200.0)
    return judge_noise(problem_for([run], 5.0), 200.0)


@pytest.mark.parametrize(
    ("rho", "factor", "times"), [(0.0, 1.0, 1.0), (0.6, 1.0, 2.0), (0.0, 9.0, 3.0), (0.6, 4.0, 4.0)]
)
def test_means_over_long_stretches_are_less_sure_by_what_neighbours_share_and_by_size(rho, factor, times):
    """√(f·(1 + ρ)/(1 − ρ)) (textbook, first-order autoregression): ρ = 0.6 doubles, a factor of 9 trebles."""
    assert Noise((rho,), factor, 5.0).inflation == pytest.approx((times,))


@pytest.mark.statistics
def test_noise_as_stated_stays_as_stated():
    """Seeded: of ten such runs one at most is judged otherwise (one in twenty expected)."""
    found = [judged(1.0, seed=seed).inflation[0] for seed in range(10)]
    assert sum(each != 1.0 for each in found) <= 1


@pytest.mark.parametrize("size", [2.0, 4.0])
def test_noise_larger_than_stated_is_judged_as_large_as_it_is(size):
    assert judged(size).inflation[0] == pytest.approx(size, rel=0.25)


def test_slow_noise_makes_long_means_less_sure_and_never_surer():
    """ρ = 0.8: three times (derived: √(1.8/0.2))."""
    found = judged(1.0, rho=0.8)
    assert found.rho[0] > 0.5 and 1.9 < found.inflation[0] < 4.5


@pytest.mark.parametrize("first", [0.0, pytest.param(0.97, marks=pytest.mark.statistics)])
def test_where_the_search_for_a_correlation_begins_makes_no_difference(first, monkeypatch):
    """It goes from neighbour to neighbour: from either end of the list it comes to one place."""
    found = judged(1.0, rho=0.8)
    monkeypatch.setattr(noise, "FIRST", first)
    assert judged(1.0, rho=0.8) == found


def test_jitter_is_one_where_neighbours_differ_as_stated():
    rng = np.random.default_rng(3)
    for size in (1.0, 3.0):
        run = continuous_run(X, size * rng.normal(0, 1, len(X)), 1.0, 200.0)
        assert jitter(problem_for([run], 5.0)) == pytest.approx(size, rel=0.2)


@pytest.mark.parametrize("slow", [0, pytest.param(1, marks=pytest.mark.statistics)])
def test_runs_of_unlike_noise_are_each_judged_for_what_they_are(slow):
    """Seeded; ρ = 0.8 trebles means (derived: √(1.8/0.2)). Which was drawn first makes no difference."""
    rng = np.random.default_rng(7)
    white, fresh = rng.normal(0, 1, (2, len(X)))
    shared = autoregressive(0.6 * fresh, 0.8)
    runs = [continuous_run(X, 0.05 * (X - 750) + noise, 1.0, 200.0) for noise in (shared, white)]
    found = judge_noise(problem_for(runs if slow == 0 else runs[::-1], 5.0), 200.0)
    assert found.inflation[slow] == pytest.approx(3.0, rel=0.4)
    assert found.inflation[1 - slow] == pytest.approx(1.0, abs=0.3)


@pytest.mark.statistics
@pytest.mark.parametrize("rho", [0.5, 0.7])
def test_noise_between_two_listed_correlations_is_judged_for_what_it_is(rho):
    """Seeded, 561 cells; √((1 + ρ)/(1 − ρ)) each time within a fifth. Of a list alone it was now one that is
    too low by a sixth and now one that is too high by a quarter or half."""
    at = np.arange(100.0, 2901.0, 5.0)
    times = ((1 + rho) / (1 - rho)) ** 0.5
    found = []
    for seed in (0, 2, 5):
        noise = np.sqrt(1 - rho**2) * np.random.default_rng(seed).normal(0, 1, len(at))
        slope = 0.05 * (at - 1500) + autoregressive(noise, rho)
        found.append(judge_noise(problem_for([continuous_run(at, slope, 1.0, 200.0)], 5.0), 200.0))
    assert [each.inflation[0] for each in found] == pytest.approx([times] * 3, rel=0.2)
    assert all(1.0 < each.doubt < 1.4 for each in found)


def test_fewer_cells_tell_the_correlation_less_surely():
    """ρ = 0.5, −2 log likelihood as an autoregression has it. To first order in s² = 1/(n·(1 − ρ²)), the
    variance of artanh ρ, variances of means are larger by (g² + c + 6ρg)·s²/2 on average (derived: g = 2 + 2ρ
    = 3 and c = 4·(1 − ρ²) = 3 are slope and bend of their logarithm, 3ρs² how far artanh ρ is off)."""
    three = np.array([0.4, 0.6, 0.8])
    for cells in (2000, 8000):
        costs = cells * np.log(1.25 - three + (three - 0.5) ** 2 + three - 0.5)
        rho, doubt = likely_correlation(three, costs, cells, cells)
        assert rho == pytest.approx(0.5, abs=0.005)
        assert np.log(doubt) == pytest.approx((9 + 3 + 9) / 2 / (cells * 0.75), rel=0.15)


def test_slow_noise_that_a_rough_way_hides_is_not_believed_in_and_leaves_doubt():
    """A texture of 3 µm, some 60 mm long, whose slopes are a hundred times the noise: likelihood differs by 1
    between ρ = 0.4 and 0.97, which would be means 40 times as unsure as stated. It is 2.4 times (ρ = 0.7)."""
    rng = np.random.default_rng(3)
    x, window = np.arange(50.0, 1151.0), np.hanning(60)
    grid = np.arange(-1.0, 1202.0)
    texture = np.convolve(rng.normal(size=1403), window / np.sqrt(window @ window), "same")[100:-100]
    texture = 3.0 * texture - 40 * np.exp(-(((grid - 600) / 350) ** 2))
    noise = autoregressive(np.sqrt(1 - 0.7**2) * rng.normal(size=len(x)), 0.7)
    slope = 10 * (np.interp(x + 50, grid, texture) - np.interp(x - 50, grid, texture)) + noise
    found = judge_noise(problem_for([continuous_run(x, slope, 1.0, 100.0)], 2.5), 100.0)
    assert found.doubt > 1.1
    assert 1.5 < found.inflation[0] * found.doubt**0.5 < 5.0


def test_doubt_of_the_noise_widens_heights_and_chains_alike():
    """Variances are larger by the doubt, of heights between base-lag stations and of those at them."""
    noise = Noise((0.5,), 1.0, 5.0)
    problem = problem_for([continuous_run(X, 0.05 * (X - 750), 1.0, 200.0)], 5.0)
    hypotheses = [Hypothesis(Stationary(3, 200.0), 4.0, 1.0)]
    target = height_weights(np.array([100.0, 500.0, 1400.0]), problem.node_mm)
    sure, unsure = (
        mixture(problem, each, hypotheses, target).covariance_um2
        for each in (noise, replace(noise, doubt=1.5))
    )
    assert unsure == pytest.approx(1.5 * sure)
    assert replace(noise, doubt=1.5).between_readings(0, 5.0)[1] == pytest.approx(1.5**0.5)
