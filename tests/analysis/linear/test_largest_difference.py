"""The largest difference of a noisy result: its interval holds, and nothing is seen where nothing is."""

import numpy as np
import pytest

from analysis.linear.largest_difference import detectable_difference, largest_difference

SHAPES = {
    "none": lambda x: 0 * x,
    "wind": lambda x: 8 * x,
    "bow": lambda x: 8 * np.sin(np.pi * x),
    "step": lambda x: 6.0 * (x > 0.5),
    "one place": lambda x: 6.0 * (np.abs(x - 0.5) < 0.02),
}


@pytest.mark.statistics
@pytest.mark.parametrize("count", [5, 11, 21, 41])
@pytest.mark.parametrize("shape", SHAPES)
def test_interval_holds_invented_truth_anywhere_and_among_neighbours(shape, count):
    """Truth given; 95 % is stated, and 92 % or more of 60 is 51 or more but once in a hundred."""
    rng = np.random.default_rng([count, len(shape)])
    x = np.linspace(0, 1, count)
    truth = SHAPES[shape](x)
    near = np.abs(x[:, None] - x[None, :]) <= 0.3
    over = np.max(np.where(near, np.abs(truth[:, None] - truth[None, :]), 0.0))
    anywhere = among = 0
    for _ in range(60):
        read = truth + rng.normal(0, 1, count)
        found, worst = largest_difference(read, np.eye(count)), largest_difference(read, np.eye(count), near)
        anywhere += found.interval[0] <= np.ptp(truth) + 1e-9 and np.ptp(truth) <= found.interval[1]
        among += worst.interval[0] <= over + 1e-9 and over <= worst.interval[1]
    assert anywhere >= 51 and among >= 51


@pytest.mark.statistics
def test_noise_alone_is_said_to_be_nothing_in_nineteen_of_twenty():
    """Truth given; 200 draws of nothing: 10 alarms expected, 20 is three standard deviations more."""
    rng = np.random.default_rng(3)
    found = [largest_difference(rng.normal(0, 1, 21), np.eye(21)) for _ in range(200)]
    assert sum(each.is_seen for each in found) <= 20
    assert all(each.interval[0] == 0 for each in found if not each.is_seen)
    # the constant d2 of control charts for n = 21 (published tables, from memory): mean span of 21 values
    assert np.mean([each.value for each in found]) == pytest.approx(3.778, abs=0.2)


@pytest.mark.statistics
def test_detectable_difference_is_seen_four_times_in_five():
    """Truth given: 160 of 200 expected, four binomial standard deviations less are 137."""
    rng = np.random.default_rng(4)
    wind = detectable_difference(np.eye(11)) * np.linspace(0, 1, 11)
    seen = sum(largest_difference(wind + rng.normal(0, 1, 11), np.eye(11)).is_seen for _ in range(200))
    assert 137 <= seen <= 185


def test_errors_that_all_places_share_make_no_difference_unsure():
    """An invariance: a zero common to all, however unknown, is in no difference."""
    read = np.array([0.0, 3.0, 1.0, 9.0])
    plain, shared = largest_difference(read, np.eye(4)), largest_difference(read, np.eye(4) + 1e4)
    assert shared.interval == pytest.approx(plain.interval, abs=0.2)


def test_exact_result_is_seen_and_has_no_width():
    found = largest_difference(np.array([0.0, 5.0, 2.0]), np.zeros((3, 3)))
    assert found.is_seen and found.interval == (5.0, 5.0)
    assert (found.highest, found.lowest) == (1, 0)


def test_difference_that_is_not_seen_may_be_as_large_as_read_and_its_uncertainty_together():
    """Two places, u = 1 each, 1.5 apart as read: not seen, and at most 1.5 + 2·√2 in truth."""
    found = largest_difference(np.array([0.0, 1.5]), np.eye(2))
    assert not found.is_seen
    assert found.interval == pytest.approx((0.0, 1.5 + 2 * 2**0.5))


def test_interval_of_a_clear_difference_is_no_wider_than_its_two_places_make_it():
    """Two places far apart from all others: 20 ± 2·√2, whatever the others."""
    read = np.array([0.0, 10.0, 10.2, 20.0])
    found = largest_difference(read, np.eye(4))
    assert found.is_seen and found.interval[1] == pytest.approx(20 + 2 * 2**0.5)
    assert 20 - 3 * 2**0.5 < found.interval[0] < 20


def test_errors_in_common_leave_a_difference_as_sure_as_it_is():
    """u² = 1 each with 0.75 in common: the difference is known to √(2 − 1.5) = 0.71, ± 1.41."""
    found = largest_difference(np.array([0.0, 20.0]), np.eye(2) + 0.75 * (1 - np.eye(2)))
    assert found.interval[1] == pytest.approx(20 + 2 * 0.5**0.5)
