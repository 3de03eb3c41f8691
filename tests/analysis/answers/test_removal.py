"""What comes off one face: the guard, and the geometry of a vee."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.answers.least_metal import least_metal
from analysis.answers.removal import depth_on_flank, guard_of, lengths_stood_for, removal_of
from analysis.linear.profile import Profile

X = np.arange(0, 1001, 200.0)
Y = np.array([0, -6, -11, -9, -2, 1.0])


def _profile(y=Y, x=X, covariance=None):
    return Profile("invented way", x, y, np.eye(len(x)) if covariance is None else covariance)


@pytest.mark.parametrize("parallel", [False, True])
def test_guard_covers_ninety_five_true_ways_in_a_hundred(parallel):
    """Invented truths drawn about the measured heights; the way set up as measured on the whole."""
    rng = np.random.default_rng(8)
    covariance = 4.0 * np.eye(6)
    lines = np.ones((6, 1)) if parallel else np.column_stack([np.ones(6), X])
    bare = least_metal(Y, lines).depth
    guarded = bare + guard_of(_profile(covariance=covariance), bare, is_parallel=parallel)
    error = rng.normal(0, 2, (20000, 6))
    error -= error.mean(axis=1, keepdims=True)
    if not parallel:
        arm = X - 500
        error -= np.outer(error @ arm / (arm @ arm), arm)
    left_low = np.any(guarded + error < 0, axis=1)
    assert np.mean(left_low) == pytest.approx(0.05, abs=0.01)
    assert np.mean(np.any(bare + error < 0, axis=1)) > 0.4


def test_guard_of_exact_heights_is_nothing():
    bare = least_metal(Y, np.column_stack([np.ones(6), X])).depth
    assert guard_of(_profile(covariance=np.zeros((6, 6))), bare) == pytest.approx(0)


def test_one_station_is_refused():
    with pytest.raises(AnalysisError, match="two stations or more"):
        lengths_stood_for(X[:1])


def test_depth_on_flank_is_normal_to_it():
    """Derived: at 90° a drop of 100 µm is 71 µm on each flank."""
    assert depth_on_flank(100, 45) == pytest.approx(70.71, abs=0.01)


@pytest.mark.parametrize(("front_deg", "rear_deg"), [(45, 45), (20, 70), (30, 55)])
def test_metal_taken_off_both_flanks_lets_down_by_the_drop_and_shifts_nothing(front_deg, rear_deg):
    """Second method: drop·sin a + shift·cos a on one flank, drop·sin a − shift·cos a on the other, solved."""
    a, b = np.radians([front_deg, rear_deg])
    taken = [depth_on_flank(100, front_deg), depth_on_flank(100, rear_deg)]
    drop, shift = np.linalg.solve([[np.sin(a), np.cos(a)], [np.sin(b), -np.cos(b)]], taken)
    assert (drop, shift) == pytest.approx((100, 0), abs=1e-9)


def stepped(count=6, sigma=1.5):
    """Covariance of a stepped level: σ²·min(i, j) (derived: sums of independent steps)."""
    index = np.arange(count)
    return sigma**2 * np.minimum.outer(index, index).astype(float)


def test_guard_covers_ways_that_a_stepped_level_may_have_missed():
    """Truths built from steps that err by themselves, not from the covariance that the guard takes."""
    rng = np.random.default_rng(9)
    bare = least_metal(Y, np.column_stack([np.ones(6), X])).depth
    guarded = bare + guard_of(_profile(covariance=stepped()), bare)
    error = np.cumsum(np.column_stack([np.zeros(20000), rng.normal(0, 1.5, (20000, 5))]), axis=1)
    arm = X - 500
    error -= error.mean(axis=1, keepdims=True)
    error -= np.outer(error @ arm / (arm @ arm), arm)
    assert np.mean(np.any(guarded + error < 0, axis=1)) == pytest.approx(0.05, abs=0.01)
    assert np.mean(np.any(bare + error < 0, axis=1)) > 0.2


def test_guard_stands_once_in_each_depth_in_the_sum_and_in_the_mean():
    """Ends stand for half a stretch each: the mean of 0 6 11 9 2 0 is (6 + 11 + 9 + 2)/5 = 5.6."""
    depth = np.array([0.0, 6.0, 11.0, 9.0, 2.0, 0.0])
    plain, guarded = (removal_of(X, depth, stepped(), np.array([0, 5]), guard) for guard in (0.0, 3.0))
    np.testing.assert_allclose(guarded.removal_um, depth + 3.0)
    assert (plain.mean_um, guarded.mean_um) == pytest.approx((5.6, 8.6))
    assert (plain.sum_um, guarded.sum_um) == pytest.approx((28.0, 46.0))
    assert plain.touching_mm == (0.0, 1000.0)


def test_mean_depth_of_a_stepped_level_is_as_sure_as_its_steps_together():
    """Mean of cumulative sums: step k moves what lies behind it, a share w_k of the length; u² = σ²·Σ w_k²
    with w = 0.9 0.7 0.5 0.3 0.1 (half of its own stretch and all that follows). Each depth: σ·√i."""
    found = removal_of(X, np.zeros(6), stepped(), np.array([0]))
    share = np.array([0.9, 0.7, 0.5, 0.3, 0.1])
    assert found.mean_standard_uncertainty_um == pytest.approx(1.5 * np.sqrt(share @ share))
    np.testing.assert_allclose(found.standard_uncertainty_um, 1.5 * np.sqrt(np.arange(6)))
