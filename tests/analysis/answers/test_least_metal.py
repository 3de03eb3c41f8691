"""Least metal by linear programme: worked cases, a second method, what it stands on, and clashes."""

import itertools

import numpy as np
import pytest

from analysis.answers.least_metal import NoTargetError, least_metal
from analysis.linear.touching_line import line_above

X = np.arange(0, 1001, 200.0)
Y = np.array([0, -6, -11, -9, -2, 1.0])
REAR = np.array([3, 1, -3, -4, -8, 2.0])
SIDE = np.array([0, 2, 3, 1, -1, 0.0])
LINE = np.column_stack([np.ones(6), X])


def vee_and_flat(crown=0.0):
    """Flanks at 45° and a flat way, no wind: unknowns a and b of the vee, a and b sideways, a of the flat."""
    half, none = np.sqrt(0.5), np.zeros(6)
    lower = Y - crown * 4 * X / 1000 * (1 - X / 1000)
    flank = [
        (half * (lower + turn * SIDE), half * np.column_stack([LINE, turn * LINE, none])) for turn in (-1, 1)
    ]
    rear = (REAR - (Y - lower), np.column_stack([none, X, none, none, np.ones(6)]))
    return tuple(np.concatenate(part) for part in zip(*flank, rear, strict=True))


def test_worked_case_touches_two_stations_and_takes_33():
    """Derived by hand: the lower hull over 500 mm runs from (400, -11) to (600, -9)."""
    cut = least_metal(Y, LINE)
    assert cut.target == pytest.approx([-15, 0.01])
    assert cut.depth == pytest.approx([15, 7, 0, 0, 5, 6])
    assert cut.touching.tolist() == [2, 3]


def test_vee_and_flat_without_wind_take_the_least_total_and_the_tie_rule_decides_sideways():
    """Derived for this project by another programme: with equal flanks the total does not see sideways."""
    cut = least_metal(*vee_and_flat())
    assert cut.depth.sum() == pytest.approx(82.26093, abs=1e-5)
    assert cut.depth.max() == pytest.approx(13.7886, abs=1e-4)
    assert cut.target == pytest.approx([-6, -0.0125, 5, -0.005, 2])
    assert cut.decided_by_greatest
    assert least_metal(*vee_and_flat(), greatest_first=True).depth.max() == pytest.approx(10.2)


def test_hollow_that_is_wanted_is_left_in():
    """Derived: a parabola of 5 µm wanted hollow on both."""
    cut = least_metal(*vee_and_flat(crown=-5.0))
    assert cut.depth.sum() == pytest.approx(63.57554, abs=1e-5)
    assert cut.depth.max() == pytest.approx(12.09153, abs=1e-5)


def test_no_line_takes_less_than_the_edge_of_the_hull():
    """Second method: the lower hull's edge over the mean station, which shares no code with it."""
    for seed in range(20):
        rng = np.random.default_rng(seed)
        x = np.sort(rng.choice(np.arange(0, 3000, 7.0), 25, replace=False))
        y = rng.normal(0, 10, 25) + 30 * np.sin(x / rng.uniform(200, 2000))
        cut = least_metal(y, np.column_stack([np.ones(25), x]))
        assert cut.depth == pytest.approx(y + line_above(x, -y, float(x.mean())).at(x), abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_joint_target_is_the_best_of_all_that_touch_as_many_places_as_it_is_free_in(seed):
    """Brute force: an optimum of a linear programme stands on as many places as there are unknowns."""
    rng = np.random.default_rng(seed)
    front, rear = rng.normal(0, 5, 5), rng.normal(0, 5, 5)
    x, none, one = np.arange(5) * 100.0, np.zeros(5), np.ones(5)
    design = np.vstack([np.column_stack([one, none, x]), np.column_stack([none, one, x])])
    height = np.concatenate([front, rear])
    totals = []
    for chosen in map(list, itertools.combinations(range(10), 3)):
        if np.linalg.matrix_rank(design[chosen]) == 3:
            depth = height - design @ np.linalg.solve(design[chosen], height[chosen])
            if depth.min() > -1e-9:
                totals.append(depth.sum())
    assert least_metal(height, design).depth.sum() == pytest.approx(min(totals))


@pytest.mark.parametrize(
    "wished", [{}, {"most": 12.0}, {"is_untouched": [0, 0, 0, 0, 0, 1]}, {"greatest_first": True}]
)
def test_depths_follow_small_changes_of_the_heights_as_their_rows_say(wished):
    """Second method: the programme solved anew with each height moved."""
    cut = least_metal(Y, LINE, **wished)
    moved = [least_metal(Y + 1e-5 * unit, LINE, **wished).depth - cut.depth for unit in np.eye(6)]
    assert cut.rows == pytest.approx(np.array(moved).T / 1e-5, abs=1e-4)


def test_evenly_hollow_way_is_cut_level_and_not_rocked_to_one_side():
    """Every line through the lowest, middle station takes as much; the level one goes least deep."""
    x = np.linspace(0, 1000, 7)
    cut = least_metal((x - 500) ** 2 / 1e4, np.column_stack([np.ones(7), x]))
    assert cut.target == pytest.approx([0, 0], abs=1e-9)
    assert cut.decided_by_greatest


def test_depth_allowed_is_kept_and_what_is_left_untouched_stays():
    assert least_metal(Y, LINE, most=12.0).depth.max() == pytest.approx(12)
    cut = least_metal(Y, LINE, is_untouched=[0, 0, 0, 0, 0, 1])
    assert cut.depth[-1] == 0
    assert cut.target @ [1, 1000] >= 1 - 1e-9


@pytest.mark.parametrize("wished", [{"most": 10.0}, {"is_untouched": [1, 0, 0, 0, 0, 1]}])
def test_wishes_that_clash_have_no_target(wished):
    with pytest.raises(NoTargetError):
        least_metal(Y, LINE, **wished)


def test_scale_of_the_heights_does_not_matter():
    """Invariance: metres in place of micrometres, a tilt and a step put on."""
    cut = least_metal(Y, LINE)
    for scale in (1e-6, 1e6):
        other = least_metal(scale * (Y + 123 - 0.37 * X), LINE)
        assert other.depth == pytest.approx(scale * cut.depth, rel=1e-6, abs=scale * 1e-6)
