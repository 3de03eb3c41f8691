"""Squareness: tools told apart from guides, and a foot that stands on one stretch of a bent face."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.measured import Measured
from analysis.answers.squareness import (
    Square,
    against_whole,
    cylinder_turned,
    frame_level,
    guides_joined,
    slope_of_run,
    square_turned,
    swept,
)
from analysis.words.align import square_words

X = np.arange(0.0, 1001.0, 100.0)


def test_square_turned_about_its_blade_is_told_from_the_guide():
    """Derived: readings of 1 µm over 300 mm: u 3.3 µm/m."""
    found = square_turned(300, [0, 9], 1.0, [0, 3])
    assert (found.lean_um_per_m.value, found.tool_um_per_m.value) == pytest.approx((20, 10))
    assert found.lean_um_per_m.standard_uncertainty == pytest.approx(3.3, abs=0.04)


def test_square_that_was_not_turned_is_believed_no_further_than_it_states():
    with pytest.raises(AnalysisError, match="turned about its blade"):
        square_turned(300, [0, 9], 1.0)
    found = square_turned(300, [0, 9], 1.0, square_uncertainty_um=3.0)
    assert found.tool_um_per_m is None
    assert found.lean_um_per_m.standard_uncertainty == pytest.approx(np.hypot(2**0.5 / 0.3, 10))
    assert "was not turned" in square_words(found, "The guide", inch=False)[1]


@pytest.mark.parametrize("seed", range(4))
def test_line_up_the_guide_is_the_least_squares_one_with_its_uncertainty(seed):
    """Second method: numpy's polyfit with its covariance, the scatter being what the points show."""
    y = np.random.default_rng(seed).normal(0, 5, 9)
    x = np.linspace(0, 0.4, 9)
    (slope, _), covariance = np.polyfit(x, y, 1, cov=True)
    found = slope_of_run(400, y, 0.001)
    assert (found.value, found.standard_uncertainty) == pytest.approx((slope, covariance[0, 0] ** 0.5))


def test_lean_of_a_cylinder_cancels_and_half_its_taper_stays():
    """By hand: leans of 20 and 0; half of 6 µm over 300 mm is 10 µm/m."""
    found = cylinder_turned(300, [0, 6], [0, 0], 0.001, taper_uncertainty_um=6.0)
    assert found.lean_um_per_m.value == pytest.approx(10)
    assert found.lean_um_per_m.standard_uncertainty == pytest.approx(10, abs=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_frame_level_gives_back_the_angle_between_column_and_table(seed):
    """Truth: directions in the plane, turned into what a level of some zero and angle shows."""
    table, column, zero, angle = np.random.default_rng(seed).normal(0, 50, 4)
    shows = (-column + angle, -column - angle)
    pairs = [(b + zero, -b + zero) for b in (table, *shows)]
    found = frame_level(pairs[0], pairs[1], 1.0, opposite_um_per_m=pairs[2])
    normal = np.array([-table, 1e6]) / np.hypot(table, 1e6)
    up = np.array([column, 1e6]) / np.hypot(column, 1e6)
    assert found.lean_um_per_m.value == pytest.approx(1e6 * (up[0] * normal[1] - up[1] * normal[0]), abs=1e-3)
    assert found.tool_um_per_m.value == pytest.approx(angle)


def test_frame_level_on_one_side_needs_its_own_angle():
    with pytest.raises(AnalysisError, match="opposite side"):
        frame_level((0, 0), (0, 0), 1.0)
    found = frame_level((0, 0), (0, 0), 1.0, angle_uncertainty_um_per_m=20.0)
    assert found.lean_um_per_m.standard_uncertainty == pytest.approx(np.hypot(1, 20))


def test_sweep_reads_the_lean_over_its_diameter():
    """Derived: 12 µm, r 150: 40 µm/m."""
    found = swept((12, 0), 150, 1.0)
    assert found.lean_um_per_m.value == pytest.approx(40)
    assert square_words(found, "The spindle", False, "sweep")[0].startswith(
        "The spindle leans, top towards +x, by 40"
    )
    with pytest.raises(AnalysisError, match="above 0"):
        swept((12, 0), 0, 1.0)


def test_foot_on_a_rising_stretch_leans_the_square_with_it(make_traverse, invented_bed):
    """Truth: a guide square to the line of the whole way; the stretch rises by 60 µm/m towards +x."""
    bed = invented_bed()
    height = np.where(X <= 300, 0.06 * X, 18 * (1 - (X - 300) / 700))
    slope = np.polyfit(X / 1000, height, 1)[0]
    run = make_traverse(bed, "level", X[:-1] + 50, np.diff(height) / 0.1, face="front-flat")
    read = Square(Measured(60.0 - slope, 1.0), None, 300.0)
    found = against_whole(combine([run], bed), read, "front-flat", 100, 300)
    assert found.whole_um_per_m.value == pytest.approx(0, abs=1e-6)
    assert found.whole_um_per_m.standard_uncertainty > 1.0
    with pytest.raises(AnalysisError, match="0 to 1000"):
        against_whole(combine([run], bed), read, "front-flat", 900, 1100)


@pytest.mark.parametrize("seed", range(6))
def test_column_against_table_travel_comes_out_however_the_square_lies(seed):
    """Invented truth by geometry: points of a tilted, faulty square seen by a dial on either slide."""
    rng = np.random.default_rng(seed)
    lean, rise, own = rng.uniform(-200, 200, 3) * 1e-6
    z, t = np.linspace(0, 300, 5), np.linspace(0, 200, 5)
    up, along = [], []
    for turned in (1, -1):
        tilt = rng.uniform(-300, 300) * 1e-6
        # blade: its top stands at (turned own - tilt) z; the dial rides lean z and points to +x
        up.append(1000 * (lean * z - (turned * own - tilt) * z) + rng.normal(0, 1, 5))
        # foot: rises by tilt along +x, so that a table going t towards +x, rising, brings up (rise - tilt) t
        along.append(1000 * (rise - tilt) * t + rng.normal(0, 1, 5))
    found = guides_joined(300, up, 200, along, 1.0).lean_um_per_m
    assert abs(found.value - 1e6 * (lean + rise)) <= 1.3 * found.expanded


def test_square_on_the_table_that_was_not_turned_needs_its_stated_error():
    with pytest.raises(AnalysisError, match="one setting"):
        guides_joined(300, [[0, 6]], 200, [[0, 1]], 1.0)
    with pytest.raises(AnalysisError, match="2 runs up and 1 along"):
        guides_joined(300, [[0, 6], [0, 6]], 200, [[0, 1]], 1.0)
    found = guides_joined(300, [[0, 6]], 200, [[0, 1]], 1.0, square_uncertainty_um=3.0)
    assert found.lean_um_per_m.value == pytest.approx(25)
    # by hand: 3 µm over 300 mm, and two readings of 1 µm over each of 300 and 200 mm
    by_hand = np.sqrt(10**2 + 2 * (1000 / 300) ** 2 + 2 * (1000 / 200) ** 2)
    assert found.lean_um_per_m.standard_uncertainty == pytest.approx(by_hand)
