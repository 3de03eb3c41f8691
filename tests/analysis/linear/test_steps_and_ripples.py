"""Steps, kinks and ripples beside a way that is worn: check values, false alarms, power.

All derived for this project; the check values were worked out apart from this code.
"""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.linear.smooth_way import (
    bending_covariance,
    estimate_on_smooth_way,
    estimate_over_sizes,
    polynomial,
)
from analysis.linear.steps_and_ripples import (
    alarms,
    find_features,
    smooth_draws,
    step_columns,
    strongest,
    wave_columns,
    wavelengths_mm,
)
from analysis.linear.two_pieces import joint_columns

FIVE_A_SIDE = np.arange(50.0, 1000.0, 100.0)
BEYOND = FIVE_A_SIDE > 500
STEP_AND_KINK = np.column_stack([BEYOND, np.where(BEYOND, FIVE_A_SIDE - 500, 0) / 1000]).astype(float)


@pytest.mark.parametrize(
    ("covariance", "wanted"),
    [
        (np.eye(10), (1.2845, 4.472)),
        (0.2**2 * np.minimum.outer(np.arange(10), np.arange(10)), (0.212, 1.414)),
    ],
    ids=["heights of 1 µm", "stepped level of 0.2 µm a step"],
)
def test_step_and_kink_of_two_straight_pieces_are_as_sure_as_worked_out_by_hand(covariance, wanted):
    """Five stations a side, pitch 100, the nearest 50 from the joint."""
    heights = STEP_AND_KINK @ [12.0, -30.0] + 0.01 * FIVE_A_SIDE
    made = estimate_on_smooth_way(FIVE_A_SIDE, heights, covariance, STEP_AND_KINK, q=0.0)
    assert made.value == pytest.approx([12, -30], abs=1e-6)
    sure = np.sqrt(np.diag(made.covariance(covariance)))
    assert sure == pytest.approx(wanted, abs=6e-4)


def test_estimate_equals_generalised_least_squares_written_out():
    """A second formulation: the normal equations with the whole covariance inverted."""
    rng = np.random.default_rng(2)
    x = np.sort(rng.uniform(0, 1500, 14))
    root = rng.normal(size=(14, 14))
    covariance, heights, q = root @ root.T, rng.normal(size=14), 3.0
    sought = (x[:, None] > 700).astype(float)
    made = estimate_on_smooth_way(x, heights, covariance, sought, q=q)
    design = np.column_stack([sought, np.ones(14), x])
    weight = np.linalg.inv(covariance + q * bending_covariance(x))
    spread = np.linalg.inv(design.T @ weight @ design)
    assert made.value[0] == pytest.approx((spread @ design.T @ weight @ heights)[0], rel=1e-6)
    assert made.covariance(covariance)[0, 0] == pytest.approx(spread[0, 0], rel=1e-5)


def test_line_common_to_both_pieces_plays_no_part():
    rng = np.random.default_rng(3)
    heights = rng.normal(size=10)
    made = [
        estimate_over_sizes(FIVE_A_SIDE, h, np.eye(10), STEP_AND_KINK).value
        for h in (heights, heights + 5 - 0.3 * FIVE_A_SIDE)
    ]
    assert made[0] == pytest.approx(made[1], abs=1e-5)


@pytest.mark.parametrize(
    ("count", "one", "both"), [(33, (3.52, 4.04), (3.72, 4.21)), (17, (3.35, 3.74), (None, None))]
)
def test_alarms_on_straight_ways_are_those_worked_out_apart(count, one, both):
    """Draws: the last digit moves by 0.1. A cubic and noise of 1, one kind sought or both."""
    x = np.arange(count) * 50.0
    kinds = [step_columns(x), wave_columns(x, wavelengths_mm(x))]
    errors = smooth_draws(x, np.eye(count), [0.0], np.ones(1))
    times = strongest(kinds, x, np.eye(count), errors, polynomial(x, 3), [0.0])
    assert [alarms([each])[0] for each in times] == pytest.approx(one, abs=0.1)
    if both[0]:
        assert alarms(times) == pytest.approx(both, abs=0.1)


@pytest.mark.parametrize(
    "shape",
    [
        lambda x: 0 * x,
        lambda x: -40 * np.sin(np.pi * x / 1600) ** 2,
        lambda x: np.where(abs(x - 800) < 250, -25 * (1 + np.cos(2 * np.pi * (x - 800) / 500)), 0.0),
    ],
    ids=["straight", "hollow", "dip"],
)
def test_smooth_worn_ways_raise_no_alarm(shape):
    """Invented; three ways each. The rate of one in a hundred is simulated in tests/benchmarks."""
    x, rng = np.arange(33) * 50.0, np.random.default_rng(4)
    assert not any(find_features(x, shape(x) + rng.normal(0, 1, 33), np.eye(33)) for _ in range(3))


def test_step_is_found_where_it_is_with_its_height_and_sign():
    x, rng = np.arange(33) * 50.0, np.random.default_rng(5)
    hollow = -20 * np.sin(np.pi * x / 1600)
    found = find_features(x, hollow - 10.0 * (x > 720) + rng.normal(0, 1, 33), np.eye(33))
    assert [(each.kind, each.from_mm, each.to_mm) for each in found] == [("step", 700, 750)]
    assert abs(found[0].height_um + 10) < 2.6 * found[0].standard_uncertainty_um


def test_ripple_is_found_with_its_length_height_and_crest():
    x, rng = np.arange(33) * 50.0, np.random.default_rng(6)
    wave = 2.0 * np.cos(2 * np.pi * (x - 60) / 137)
    found = find_features(x, wave + rng.normal(0, 1, 33), np.eye(33))
    assert [each.kind for each in found] == ["ripple"]
    assert found[0].wavelength_mm == pytest.approx(137, rel=0.05)
    assert abs(found[0].height_um - 4.0) < 2.6 * found[0].standard_uncertainty_um
    assert found[0].crest_mm % 137 == pytest.approx(60, abs=25)


def test_single_place_that_stands_off_is_no_step():
    x, rng = np.arange(33) * 50.0, np.random.default_rng(7)
    found = find_features(x, 9.0 * (x == 800) + rng.normal(0, 1, 33), np.eye(33))
    assert not any(each.kind == "step" for each in found)


def test_declared_joint_is_not_found_again():
    x, rng = np.arange(33) * 50.0, np.random.default_rng(8)
    known = np.column_stack([x > 720, np.where(x > 720, x - 720, 0) / 1000]).astype(float)
    heights = known @ [15.0, -40.0] + rng.normal(0, 1, 33)
    assert not find_features(x, heights, np.eye(33), known=known)


def test_too_few_heights_are_refused():
    with pytest.raises(AnalysisError, match="8 heights"):
        find_features(np.arange(8) * 50.0, np.zeros(8), np.eye(8))


def test_stations_too_far_apart_for_any_ripple_are_searched_for_steps_alone():
    """Most gaps are a sixth of the length: no wave is long enough to be seen and repeats."""
    x = np.cumsum([0, 160, 160, 160, 160, 160, 60, 60, 60.0])
    noise = np.random.default_rng(1).normal(0, 1, x.size)
    assert find_features(x, noise, np.eye(x.size)) == ()
    (step,) = find_features(x, noise + np.where(x > 400, -40.0, 0.0), np.eye(x.size))
    assert (step.kind, step.from_mm, step.to_mm) == ("step", 320.0, 480.0)


def test_beside_a_joint_two_stations_more_are_wanted():
    """Of nine, step and kink of the joint leave three figures: a step of 60 was called a ripple."""
    x = np.arange(0.0, 2001, 250)
    height = np.random.default_rng(3).normal(0, 1, x.size) + np.where(x > 760, -60.0, 0.0)
    with pytest.raises(AnalysisError, match="9 heights; needed: 11 to 400"):
        find_features(x, height, np.eye(x.size), known=joint_columns(x, 1030.0))


@pytest.mark.statistics
@pytest.mark.parametrize("stations", [9, 11, 13])
def test_what_is_found_leaves_no_room_for_what_is_not_there(stations):
    """Nothing but a step is there: no more is found, and the search comes to an end, over twelve ways."""
    x = np.arange(stations) * 250.0
    step = np.where(x > x[stations // 2], -60.0, 0.0)
    for seed in range(12):
        found = find_features(x, np.random.default_rng(seed).normal(0, 1, x.size) + step, np.eye(x.size))
        assert [each.kind for each in found][:1] == ["step"] and len(found) <= 2


def test_way_made_of_steps_alone_and_read_without_error_is_searched_to_the_end():
    x = np.arange(0.0, 1001.0, 100.0)
    found = find_features(x, np.where((x > 150) & (x < 850), -250.0, 0.0), 0.01 * np.eye(11))
    assert {each.kind for each in found} <= {"step", "ripple"}


def test_step_raises_no_alarm_of_its_own_by_passing_for_bends():
    """Invented: 4 µm among errors of 1, explained by bends as well as may be; the eleventh way drawn."""
    x, rng = np.arange(33) * 50.0, np.random.default_rng(13)
    ways = [4.0 * (x > 725) + rng.normal(0, 1, 33) for _ in range(11)]
    (step,) = find_features(x, ways[-1], np.eye(33))
    assert (step.kind, step.from_mm) == ("step", 700)
