import numpy as np
import pytest

from acquire.reduce.tagging.sample_times import sample_numbers, sample_times


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
