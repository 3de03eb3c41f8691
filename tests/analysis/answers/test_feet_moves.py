"""How a bed follows its feet, and the moves a hand can set: check values derived, truths invented."""

import itertools

import numpy as np
import pytest

from acquire.model.bed import Foot
from analysis.answers.feet_moves import (
    bounded_moves,
    hand_moves,
    pair_rows,
    seen_shapes,
    stiff_response,
)
from analysis.answers.section import bend_rows

TWIST = np.outer([1, -1, -1, 1], [1, -1, -1, 1]) / 4
NOW = np.array([30.0, -30, -30, 30])
STEP = np.full(4, 5.0)


def _pairs(*stations, gauge=400):
    return [[Foot(f"f{x}", x, 0), Foot(f"r{x}", x, gauge)] for x in stations]


def test_twist_on_four_feet_is_taken_out_by_the_least_move():
    """Derived: rank 1, least move -30 30 30 -30, nothing left."""
    assert np.linalg.matrix_rank(TWIST) == 1
    found = bounded_moves(NOW, TWIST, np.full(4, 100.0))
    assert found == pytest.approx([-30, 30, 30, -30], abs=1e-6)
    assert NOW + TWIST @ found == pytest.approx(np.zeros(4), abs=1e-6)


def test_bound_of_25_leaves_5_at_every_foot():
    """Derived."""
    found = hand_moves(NOW, TWIST, np.full(4, 25.0), STEP)
    assert found.lift_um == pytest.approx([-25, 25, 25, -25])
    assert found.left_um == pytest.approx([5, -5, -5, 5])
    assert found.is_bounded


@pytest.mark.statistics
def test_rounded_moves_are_the_best_of_all_hand_steps_within_one_of_the_exact_ones():
    """Second method: every combination of whole steps, counted out."""
    rng = np.random.default_rng(3)
    response = stiff_response(_pairs(0, 1500))
    heights = np.linalg.pinv(response)
    for _ in range(10):
        now = heights @ rng.normal(0, 80, 1)
        found = hand_moves(now, heights @ response, np.full(4, 60.0), np.full(4, 20.0))
        best = min(
            float(np.sum((now + heights @ response @ np.array(lift)) ** 2))
            for lift in itertools.product(np.arange(-60, 61, 20.0), repeat=4)
        )
        assert np.sum(found.left_um**2) == pytest.approx(best, abs=1e-6)


def test_step_coarser_than_the_bound_moves_nothing():
    assert not hand_moves(NOW, TWIST, np.full(4, 50.0), np.full(4, 167.0)).lift_um.any()


def test_hand_step_of_5_degrees_on_a_pitch_of_2_mm():
    """Derived: M16 x 2, 5 degrees lift 27.8 µm, which is 69 µm/m over 400 mm."""
    lift = 2000 * 5 / 360
    roll = pair_rows(_pairs(0, 3000))[1] @ [0, lift, 0, 0]
    assert lift == pytest.approx(27.8, abs=0.05) and roll[0] == pytest.approx(69, abs=0.5)
    assert roll[1] == 0


def test_rear_foot_up_is_rear_high_and_front_foot_up_the_reverse():
    roll = pair_rows(_pairs(0, 3000))[1]
    assert (roll @ [10, 0, 0, 0])[0] == pytest.approx(-25)
    assert (roll @ [0, 10, 0, 0])[0] == pytest.approx(25)


def test_middle_pair_raised_bends_the_bed_as_a_beam_on_three_supports():
    """z = d(3 s - 4 s^3) to the middle: the deflection of a beam loaded at its middle (beam theory)."""
    share = np.linspace(0, 0.5, 11)
    bent = bend_rows((0, 1500, 3000), 3000 * share) @ [0, 10.0, 0]
    assert bent == pytest.approx(10 * (3 * share - 4 * share**3))


def test_parabola_with_its_middle_raised_leaves_a_fourteenth_at_the_sixths():
    """Derived: 0.0741 H at L/6 and 5L/6, 7.4 of 100."""
    share = np.linspace(0, 1, 601)
    left = 100 * (4 * share * (1 - share)) - bend_rows((0, 1500, 3000), 3000 * share) @ [0, 100.0, 0]
    assert share[np.argmax(np.abs(left))] in (
        pytest.approx(1 / 6, abs=0.002),
        pytest.approx(5 / 6, abs=0.002),
    )
    assert np.max(np.abs(left)) == pytest.approx(7.41, abs=0.005)


@pytest.mark.parametrize("stations", [(0, 1500), (0, 1500, 3000), (0, 900, 1700, 3000)])
def test_feet_make_as_many_shapes_as_there_are_feet_less_three(stations):
    response = stiff_response(_pairs(*stations))
    feet = 2 * len(stations)
    assert np.linalg.matrix_rank(response) == len(response) == feet - 3
    place = np.array([[1.0, x, p] for x in stations for p in (0, 400)])
    assert response @ place == pytest.approx(np.zeros((feet - 3, 3)), abs=1e-9)


def test_one_pair_makes_no_shape_and_is_refused():
    with pytest.raises(ValueError, match="two or more"):
        stiff_response(_pairs(0))


def test_shape_within_three_times_its_noise_is_left_alone():
    response = stiff_response(_pairs(0, 1500))
    assert seen_shapes(np.array([2.9]), np.eye(1), response)[1] == 0
    kept, count = seen_shapes(np.array([3.1]), np.eye(1), response)
    assert (kept.tolist(), count) == ([pytest.approx(3.1)], 1)


@pytest.mark.parametrize("trials", [15, pytest.param(60, marks=pytest.mark.statistics)])
def test_rounds_with_feet_that_answer_thirty_percent_off_close_in(trials):
    """Invented: six feet 15 µm out, each answers 0.7 to 1.3 of what is assumed, shapes known to 1 µm a foot.

    The first round leaves up to a third of what there was, the second a few hand steps' rounding.
    """
    rng = np.random.default_rng(14)
    response = stiff_response(_pairs(0, 1500, 3000))
    heights = np.linalg.pinv(response)
    noise = response @ response.T
    rms = np.zeros((3, trials))
    for trial in range(rms.shape[1]):
        shapes, true = response @ rng.normal(0, 15, 6), response * rng.uniform(0.7, 1.3, 6)
        for number in range(3):
            rms[number, trial] = np.sqrt(np.mean((heights @ shapes) ** 2))
            read = shapes + response @ rng.normal(0, 1, 6)
            kept, _ = seen_shapes(read, noise, response)
            lift = hand_moves(heights @ kept, heights @ response, np.full(6, 200.0), np.full(6, 5.0)).lift_um
            shapes = shapes + true @ lift
    first, second, third = np.median(rms, axis=1)
    assert first > 6 and second < first / 2.5 and third < 2.5 and np.quantile(rms[2], 0.95) < 4
