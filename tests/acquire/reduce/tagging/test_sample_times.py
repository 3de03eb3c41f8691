import numpy as np
import pytest

from acquire.reduce.tagging.sample_times import lower_line, sample_numbers, sample_times


@pytest.mark.parametrize("lateness_s", [0.0, 0.016])
def test_samples_that_never_came_do_not_shift_the_others(lateness_s):
    rng = np.random.default_rng(8)
    true = np.arange(1500) * 0.05
    kept = np.delete(np.arange(1500), rng.choice(np.arange(20, 1480), 12, replace=False))
    arrival = true[kept] + rng.uniform(0, lateness_s, len(kept))
    assert np.array_equal(sample_numbers(arrival), kept)
    assert np.ptp(sample_times(arrival) - true[kept]) < 0.004


def test_a_burst_that_comes_late_is_not_taken_for_missing_samples():
    true = np.arange(400) * 0.05
    arrival = true.copy()
    arrival[200:204] = arrival[204]
    assert np.array_equal(sample_numbers(arrival), np.arange(400))


def test_lines_that_come_in_pairs_are_not_counted_by_their_arrival():
    arrival = np.repeat(np.arange(200) * 0.02, 2)
    assert np.array_equal(sample_numbers(arrival), np.arange(400))


def plain_lower_line(x, y):
    """Second method: of all lines through two points with none below, the one nearest to all."""
    best = None
    for a in range(len(x)):
        for b in range(a + 1, len(x)):
            slope = (y[b] - y[a]) / (x[b] - x[a])
            above = y - y[a] - slope * (x - x[a])
            if above.min() > -1e-9 and (best is None or above.sum() < best[0]):
                best = above.sum(), y[a] - slope * x[a], slope
    return best[1:]


@pytest.mark.parametrize("seed", range(6))
def test_line_below_the_arrivals_is_the_nearest_of_all_that_lie_below_them(seed):
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.integers(1, 3, 120)).astype(float)
    late = [rng.uniform(0, 0.016, 120), rng.exponential(0.01, 120), 1e-4 * (x - x.mean()) ** 2]
    y = 0.05 * x + late[seed % 3]
    intercept, slope = lower_line(x, y)
    np.testing.assert_allclose(intercept + slope * x, np.polyval(plain_lower_line(x, y)[::-1], x), atol=1e-9)
