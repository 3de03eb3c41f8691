"""Noise judged by few steps about where the way was likeliest last, held against trying every step."""

import numpy as np
import pytest

from analysis.level import noise as judging
from analysis.level.evidence import _Costs
from analysis.level.fit import problem_for
from analysis.level.slopes import continuous_run


def every_step(problem, normal, kind, wavelength_mm, factor, near_q=None):
    """The likeliest of the whole lattice."""
    cost = _Costs(problem, normal, kind, wavelength_mm, factor)
    for step in range(len(cost.lattice)):
        cost(step)
    return min(cost.found(), key=lambda one: one.minus_two_log_likelihood, default=None)


def way_at_random(random, x):
    """Waves, a dip and a ledge of any size."""
    waves = sum(random.normal(0, 5) * np.sin(x / random.uniform(20, 200) + k) for k in range(4))
    dip = random.normal(0, 20) * np.exp(-(((x - random.uniform(0, 600)) / random.uniform(10, 80)) ** 2))
    return waves + dip + random.choice([0.0, 5.0]) * (x > random.uniform(0, 600))


def slow_noise(random, count, rho):
    own = random.normal(0, (1 - rho**2) ** 0.5, count)
    for k in range(1, count):
        own[k] += rho * own[k - 1]
    return own


@pytest.mark.statistics
@pytest.mark.parametrize("seed", range(8))
def test_noise_is_that_of_the_whole_lattice_on_ways_at_random(seed, monkeypatch):
    random = np.random.default_rng(seed)
    shape = way_at_random(random, np.arange(0.0, 601.0))
    runs = []
    for _ in range(2):
        x = np.arange(50.0, 551.0, 2.5)
        slope = (np.interp(x + 50, np.arange(601), shape) - np.interp(x - 50, np.arange(601), shape)) * 10
        wander = random.choice([0.5, 1.0, 3.0]) * slow_noise(random, len(x), random.choice([0.0, 0.6, 0.95]))
        runs.append(continuous_run(x, slope + wander, 1.0, base_mm=100))
    problem = problem_for(runs, 5.0)
    quick = judging.judge_noise(problem, 100.0)
    monkeypatch.setattr(judging, "likeliest", every_step)
    assert quick == judging.judge_noise(problem, 100.0)
