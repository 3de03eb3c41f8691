"""Each fault that an invented instrument can have is there, as large as it was asked for.

Without it a ± that is too small would pass every trial on the invented bench.
"""

import numpy as np
import pytest

from acquire.simulated.instruments import LIMIT, SimulatedInstrument, damped_reading, fixed_line, lagged, send
from acquire.simulated.motion import Hold, Mark, Move, motion_of, stepped
from acquire.simulated.truth import InventedBed, InventedFace, Shape

BED = InventedBed(1)
STILL = motion_of(100.0, [Hold(200.0)])


class Steady:
    """A task whose perfect reading is 10 and whose every placing is off by what a foot varies by."""

    def __init__(self, feels_acceleration=False):
        self.feels_acceleration = feels_acceleration

    def reading(self, bed, station_mm):
        return np.full(len(station_mm), 10.0)

    def seating(self, bed, rng, placings, seating_um):
        return np.full(placings, seating_um)


def fine(motion=STILL, task=None, **faults):
    made = SimulatedInstrument(task or Steady(), fixed_line(4, 10), **faults)
    return damped_reading(made, BED, motion, np.random.default_rng(1))


def sent(**faults):
    made = SimulatedInstrument(Steady(), fixed_line(4, 10), resolution=0.0001, **faults)
    return send(made, BED, STILL, np.random.default_rng(1))


def test_drift_is_what_it_shows_in_an_hour():
    """36 an hour are 2 in 200 s."""
    reading = fine(drift_per_hour=36.0, zero=3.0)
    assert (reading[0], reading[-1]) == pytest.approx((13.0, 15.0))


def test_error_of_placing_is_in_the_reading():
    assert fine(seating_um=0.3)[-1] == pytest.approx(10.3)


def test_noise_of_single_samples_is_as_large_as_stated():
    """4,000 samples: their scatter is sure to 1.1 % (1/√(2n)); four times that is allowed."""
    assert sent(white=2.0).shown.std() == pytest.approx(2.0, rel=0.045)


def test_slow_noise_is_there_and_does_not_average_away():
    slow = sent(flicker=2.0).shown
    assert 0.5 < slow.std() < 4.0
    means = slow.reshape(-1, 100).mean(axis=1)  # of 5 s each: white noise would leave a tenth
    assert means.std() > 0.4 * slow.std()


def test_what_is_out_of_range_is_shown_as_the_limit():
    assert sent(zero=3 * LIMIT).shown.max() == pytest.approx(LIMIT)


def test_damping_follows_a_steady_climb_exactly_one_time_constant_behind():
    """τ v behind, once what it began with has died away (derived from the equation of first order)."""
    step_s, lag_s = 0.01, 0.4
    climb = 3.0 * np.arange(2001) * step_s
    assert lagged(climb, step_s, lag_s)[-1] == pytest.approx(climb[-1] - 3.0 * lag_s, abs=1e-9)


def test_level_tilts_by_what_it_is_sped_up():
    """A smooth move of D in T has its largest acceleration at 10/√3 · D/T² (derived from its polynomial)."""
    motion = motion_of(0.0, [Hold(1.0), Move(70.0, 2.0), Hold(1.0)])
    most = 10 / 3**0.5 * 70 / 2**2
    assert motion.acceleration_mm_s2.max() == pytest.approx(most, rel=0.01)
    tilted = fine(motion, Steady(feels_acceleration=True)) - fine(motion, Steady())
    assert tilted.max() == pytest.approx(most * 1e3 / 9.80665, rel=0.01)


def test_key_is_pressed_near_the_end_of_a_stay_when_it_has_settled():
    _, steps = stepped([0.0, 100.0], np.random.default_rng(1), (5.0, 5.0), nudge_chance=0.0, is_marked=True)
    assert steps[:3] == [Hold(4.4), Mark(), Hold(0.6)]


def test_true_roll_is_positive_where_the_rear_is_higher():
    faces = {
        "front": InventedFace("up", 0.0, Shape(1000)),
        "rear": InventedFace("up", 500.0, Shape(1000, rise_um_per_m=10)),
    }
    bed = InventedBed(faces=faces, length_mm=1000)
    assert bed.roll_um_per_m("front", "rear", [0.0, 1000.0]) == pytest.approx([0.0, 20.0])
