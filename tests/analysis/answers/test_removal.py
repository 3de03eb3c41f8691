"""What to take off a face: least metal, its uncertainty, the guard, and the geometry of a vee."""

import numpy as np
import pytest
from scipy.optimize import linprog

from acquire.model.errors import AnalysisError
from analysis.answers.removal import depth_on_flank, lengths_stood_for, plan_removal, vee_drop_and_shift
from analysis.linear.profile import Profile
from analysis.linear.touching_line import line_above, line_below

X = np.arange(0, 1001, 200.0)
Y = np.array([0, -6, -11, -9, -2, 1.0])


def _profile(y=Y, x=X, covariance=None):
    return Profile("invented way", x, y, np.eye(len(x)) if covariance is None else covariance)


def test_worked_case_gives_line_removal_and_sum():
    """Derived by hand: the lower hull over 500 mm runs from (400, -11) to (600, -9)."""
    plan = plan_removal(_profile())
    assert (plan.line.intercept, plan.line.slope) == pytest.approx((-15, 0.01))
    assert plan.removal_um == pytest.approx([15, 7, 0, 0, 5, 6])
    assert plan.sum_um == pytest.approx(33)
    assert plan.touching_mm == (400, 600)
    assert plan.guard_um == 0


@pytest.mark.parametrize("seed", range(20))
def test_no_line_takes_less_metal_by_linear_programme(seed):
    """Second method: scipy's linear programme over intercept and slope of all lines below the points."""
    rng = np.random.default_rng(seed)
    x = np.sort(rng.choice(np.arange(0, 3000, 7.0), 25, replace=False))
    y = rng.normal(0, 10, 25) + 30 * np.sin(x / rng.uniform(200, 2000))
    plan = plan_removal(_profile(y, x))
    weight = lengths_stood_for(x)
    design = np.stack([np.ones_like(x), x / 1000], axis=1)
    best = linprog(-(weight @ design), A_ub=design, b_ub=y, bounds=[(None, None)] * 2, method="highs")
    assert plan.mean_um == pytest.approx(weight @ (y - design @ best.x), abs=1e-6)
    assert np.all(plan.removal_um >= 0)
    assert np.allclose(plan.removal_um, y - design @ best.x, atol=1e-5)


def test_evenly_hollow_way_is_planned_level_and_not_rocked_to_one_side():
    """Every line through the lowest, middle station takes as much; the level one goes least deep."""
    hollow = (X - 500) ** 2 / 1e4
    x, y = np.append(X, 500.0), np.append(hollow, 0.0)
    order = np.argsort(x)
    plan = plan_removal(_profile(y[order], x[order]))
    assert plan.line.slope == pytest.approx(0)
    assert plan.touching_mm == (500,)


@pytest.mark.parametrize("end", [40.0, -40.0])
def test_line_through_a_middle_corner_still_lies_below_every_point(end):
    x, y = np.linspace(0, 1000, 5), np.array([5, 4, 0, 2, 5.0])
    y[-1 if end > 0 else 0] += abs(end)
    line = line_below(x, y, 500)
    assert np.all(y - line.at(x) >= -1e-9)
    assert line.at(500) == pytest.approx(0)


def test_plan_does_not_depend_on_the_line_heights_are_from():
    tilted = plan_removal(_profile(Y + 123 - 0.37 * X))
    assert tilted.removal_um == pytest.approx(plan_removal(_profile()).removal_um)


def test_uncertainty_is_that_of_many_surveys_with_the_line_on_the_same_stations():
    """Second method: drawn heights, the line put through the same two stations."""
    rng = np.random.default_rng(3)
    root = np.tril(np.ones((6, 6)))  # steps add up along the way
    plan = plan_removal(_profile(covariance=root @ root.T))
    drawn = Y + rng.standard_normal((40000, 6)) @ root.T
    slope = (drawn[:, 3] - drawn[:, 2]) / 200
    removal = drawn - drawn[:, 2:3] - slope[:, None] * (X - 400)
    assert plan.standard_uncertainty_um == pytest.approx(removal.std(axis=0), rel=0.02, abs=1e-9)
    mean = removal @ lengths_stood_for(X)
    assert plan.mean_standard_uncertainty_um == pytest.approx(mean.std(), rel=0.02)


def test_parallel_plan_touches_once_and_may_not_tilt():
    plan = plan_removal(_profile(), is_parallel=True)
    assert plan.removal_um == pytest.approx(Y + 11)
    assert plan.touching_mm == (400,)
    assert plan.standard_uncertainty_um == pytest.approx(np.sqrt([2, 2, 0, 2, 2, 2]))


@pytest.mark.parametrize("parallel", [False, True])
def test_guard_covers_ninety_five_true_ways_in_a_hundred(parallel):
    """Invented truths drawn about the measured heights; the way set up as measured on the whole."""
    rng = np.random.default_rng(8)
    covariance = 4.0 * np.eye(6)
    plan = plan_removal(_profile(covariance=covariance), guard=True, is_parallel=parallel)
    bare = plan_removal(_profile(covariance=covariance), is_parallel=parallel)
    error = rng.normal(0, 2, (20000, 6))
    error -= error.mean(axis=1, keepdims=True)
    if not parallel:
        arm = X - 500
        error -= np.outer(error @ arm / (arm @ arm), arm)
    left_low = np.any(plan.removal_um + error < 0, axis=1)
    assert np.mean(left_low) == pytest.approx(0.05, abs=0.01)
    assert plan.removal_um == pytest.approx(bare.removal_um + plan.guard_um)
    assert np.mean(np.any(bare.removal_um + error < 0, axis=1)) > 0.4


def test_guard_of_exact_heights_is_nothing():
    assert plan_removal(_profile(covariance=np.zeros((6, 6))), guard=True).guard_um == pytest.approx(0)


def test_one_station_is_refused():
    with pytest.raises(AnalysisError, match="two stations or more"):
        plan_removal(_profile(Y[:1], X[:1]))


def test_line_above_is_line_below_upside_down():
    up, down = line_above(X, -Y, 500), line_below(X, Y, 500)
    assert (up.slope, up.intercept, up.touching) == (-down.slope, -down.intercept, down.touching)


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
