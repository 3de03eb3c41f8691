"""What comes off one face: the guard, and the geometry of a vee."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.answers.least_metal import least_metal
from analysis.answers.removal import depth_on_flank, guard_of, lengths_stood_for, vee_drop_and_shift
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


def test_worn_ridge_of_ninety_degrees_drops_and_shifts():
    """Derived: (30 + 10)/(2 sin 45°) and (30 − 10)/(2 cos 45°)."""
    found = vee_drop_and_shift(30, 10, 45, 45)
    assert (found.drop, found.shift) == pytest.approx((28.2843, 14.1421), abs=5e-5)


@pytest.mark.parametrize(("a1", "a2"), [(45, 45), (20, 70), (30, 55)])
def test_drop_and_shift_use_up_the_wear_of_both_flanks(a1, a2):
    """Second method: the movement taken along the normal of each flank gives its wear back."""
    found = vee_drop_and_shift(30, 10, a1, a2)
    front, rear = np.radians([a1, a2])
    assert found.drop * np.sin(front) + found.shift * np.cos(front) == pytest.approx(30)
    assert found.drop * np.sin(rear) - found.shift * np.cos(rear) == pytest.approx(10)


def test_depth_on_flank_is_normal_to_it():
    """Derived: at 90° a drop of 100 µm is 71 µm on each flank; let down so, both flanks are worn alike."""
    assert depth_on_flank(100, 45) == pytest.approx(70.71, abs=0.01)
    assert vee_drop_and_shift(depth_on_flank(100, 30), depth_on_flank(100, 60), 30, 60).drop == pytest.approx(
        100
    )


@pytest.mark.parametrize("angle", [0, 90, -45, float("nan")])
def test_flank_that_is_no_flank_is_refused(angle):
    with pytest.raises(AnalysisError, match="between 0 and 90"):
        vee_drop_and_shift(1, 1, 45, angle)
