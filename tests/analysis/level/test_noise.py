"""What is believed of a drawn level's noise, against invented noise of known size."""

import numpy as np
import pytest

from analysis.level.fit import problem_for
from analysis.level.noise import Noise, _jitter, judge_noise
from analysis.level.slopes import continuous_run

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


def test_jitter_is_one_where_neighbours_differ_as_stated():
    rng = np.random.default_rng(3)
    for size in (1.0, 3.0):
        run = continuous_run(X, size * rng.normal(0, 1, len(X)), 1.0, 200.0)
        assert _jitter(problem_for([run], 5.0)) == pytest.approx(size, rel=0.2)
