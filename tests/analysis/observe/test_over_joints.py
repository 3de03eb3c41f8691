"""Levels drawn over a declared joint, against invented truth: a worn way in two pieces that do not meet."""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.face_map import DrawnOverJoint, map_face
from analysis.answers.joints import joints
from analysis.level.base_lag import BaseLagHeights
from analysis.level.slopes import cells_of, continuous_run, gathered
from analysis.observe.over_joints import (
    CLEAR_MM,
    CrossedJoint,
    joints_crossed,
    steps_variance_um2,
    with_steps,
    without_steps,
)
from analysis.words.facts import sentences
from tests.invented import dial, flat, level

BASE, JOINT = 200.0, 650.0
LENGTH = 1500.0
STEP, KINK = 40.0, -60.0
"""µm and µm/m."""


def height(x, joint_mm=JOINT):
    worn = -35 * np.exp(-(((x - 420) / 180) ** 2))
    return worn + np.where(x > joint_mm, STEP + KINK * (x - joint_mm) / 1000, 0.0)


@pytest.fixture(scope="module")
def drawn(invented_bed, from_one):
    """The way drawn there and back, 2 µm/m a reading, the joint declared a little off where it is."""

    @cache
    def make(declared="joints_mm = [650]\n", pitch_mm=2.0, joint_mm=JOINT, first_mm=BASE / 2, strip=False):
        bed = invented_bed(
            length_mm=LENGTH, pitch_mm=50, bed=declared, faces={"way": flat(0), "strip": flat(120)},
            instruments={"level": level(2.0, seating_um=0.0), "dial": dial(1.0)},
        )  # fmt: skip
        rng, make_traverse = np.random.default_rng(3), from_one()
        x = np.arange(first_mm, LENGTH - BASE / 2 + 1, pitch_mm)
        slope = (height(x + BASE / 2, joint_mm) - height(x - BASE / 2, joint_mm)) / BASE * 1000
        runs = [
            make_traverse(bed, "level", x, slope + noise, mode="continuous", face="way", direction=direction)
            for noise, direction in zip(rng.normal(0, 2, (2, x.size)), ("forward", "reverse"), strict=True)
        ]
        if strip:
            at = np.arange(0.0, LENGTH + 1, 100.0)
            runs.append(make_traverse(bed, "dial", at, 0 * at, face="strip", reference="line"))
        return combine(runs, bed)

    return make


@dataclass(frozen=True)
class _Curve:
    """What heights of a drawn run are, for steps to be put into."""

    station_mm: np.ndarray
    height_um: np.ndarray
    covariance_um2: np.ndarray
    base_lag: BaseLagHeights | None = None


def straightened(y, x):
    return y - np.polyval(np.polyfit(x, y, 1), x)


@pytest.mark.parametrize(
    "joint_mm",
    [JOINT, pytest.param(JOINT + 3, marks=pytest.mark.statistics)],
    ids=["where declared", "3 mm off"],
)
def test_heights_beside_a_joint_that_a_level_was_drawn_over_hold_within_their_uncertainty(drawn, joint_mm):
    """Smoothed over, the curve was 13 µm off with ± 9, and the stations a base apart 16 µm with ± 0.2."""
    found = map_face(drawn(joint_mm=joint_mm), "way", line="least-squares")
    x = found.station_mm
    off = np.abs(found.height_um - straightened(height(x), x))
    assert np.all(off <= 2 * found.standard_uncertainty_um)
    assert np.max(2 * found.standard_uncertainty_um) < 3.0
    chain = found.base_lag
    off = np.abs(chain.height_um - straightened(height(chain.station_mm), chain.station_mm))
    assert np.all(off <= 1.3 * 2 * chain.standard_uncertainty_um)


def test_joint_that_a_level_crossed_is_said_of_the_face_it_was_drawn_along(drawn):
    """Beside it a strip that was read by an indicator: nothing was drawn there."""
    bed_map = drawn(strip=True)
    told = {
        face: [fact.face for fact in map_face(bed_map, face).warnings if isinstance(fact, DrawnOverJoint)]
        for face in ("way", "strip")
    }
    assert told == {"way": ["way"], "strip": []}


def test_words_name_the_step_that_the_feet_read(drawn):
    found = map_face(drawn(), "way")
    (said,) = [each for each in sentences(found.warnings) if "drawn over the joint" in each]
    assert "650 mm" in said and "a step up of 39.9" in said and "within 200 mm" in said
    whole = map_face(drawn(declared=""), "way")
    assert not any("drawn over the joint" in each for each in sentences(whole.warnings))


def test_step_and_kink_of_the_joint_come_from_the_curve_not_from_stations_a_base_apart(drawn):
    """The hollow itself bends by some 100 µm/m from one station to the next: a kink of 60 cannot be told."""
    (joint,) = joints(drawn()).joints
    (face,) = joint.faces
    assert abs(face.step_um.value - STEP) <= face.step_um.expanded < 12
    assert abs(face.kink_um_per_m.value - KINK) <= face.kink_um_per_m.expanded < 800
    assert face.step_um.is_seen and not face.kink_um_per_m.is_seen


@pytest.mark.statistics
def test_level_that_barely_came_over_a_joint_loses_those_readings_and_says_so(drawn):
    """Its near foot starts 6 mm before the joint: one reading or two have a foot on either piece."""
    found = map_face(drawn("joints_mm = [12]\n", first_mm=BASE / 2 + 4), "way")
    assert any("barely came over the joint at 12 mm" in each for each in sentences(found.warnings))
    assert found.profile.station_mm[0] >= 12


def test_readings_too_far_apart_to_tell_a_step_are_refused():
    x = np.arange(100.0, 1401, 35)
    with pytest.raises(AnalysisError, match="too few readings beside the joint at 650 mm"):
        joints_crossed([continuous_run(x, 0 * x, 1.0, base_mm=BASE)], (JOINT,))


def test_step_is_taken_out_of_the_readings_that_bridge_it_and_no_others():
    """By hand: 20 µm under a base of 200 mm are 100 µm/m in the readings from 550 to 750 mm."""
    x = np.arange(100.0, 1401, 2)
    bridging = np.abs(x - JOINT) < BASE / 2
    run = continuous_run(x, 7.0 + 100.0 * bridging, 1.0, base_mm=BASE)
    (joint,) = joints_crossed([run], (JOINT, 3000.0))
    assert joint.step_um == pytest.approx(20.0)
    clean = without_steps(run, (joint,))
    np.testing.assert_allclose(clean.slope_um_per_m, 7.0)
    gone = np.setdiff1d(x, clean.station_mm)
    assert gone.min() == 546 and gone.max() == 754 and gone.size == 10
    # readings that lie on a line by chance are as sure as stated, and no surer
    stated = np.sqrt(np.mean(list(jump_variances(x, run.slope_um_per_m, JOINT))) / 2)
    assert joint.standard_uncertainty_um == pytest.approx(stated, rel=1e-6)


def test_readings_gathered_by_the_millimetre_before_a_joint_is_crossed_keep_their_number():
    """Four readings a millimetre: what is left of them beside the joint is counted as it was read."""
    x = np.arange(100.0, 1400.1, 0.25)
    run = gathered(continuous_run(x, 100.0 * (np.abs(x - JOINT) < BASE / 2), 1.0, base_mm=BASE))
    clean = without_steps(run, joints_crossed([run], (JOINT,)))
    assert len(clean.station_mm) < len(run.station_mm)
    counted = cells_of(clean, 5.0, 0.0).readings.sum()
    assert counted == pytest.approx(len(x) - 2 * 2 * CLEAR_MM / 0.25, abs=8)


def jump_variances(x, slope, at_mm):
    """Second method: what `np.polyfit` says of lines through 25 mm of readings, 5 mm clear of each jump."""
    for jump in (at_mm - BASE / 2, at_mm + BASE / 2):
        variance = 0.0
        for side in (-1, 1):
            mine = (side * (x - jump) > 5) & (side * (x - jump) <= 30)
            left = slope[mine] - np.polyval(np.polyfit(x[mine] - jump, slope[mine], 1), x[mine] - jump)
            bare = np.polyfit(x[mine] - jump, slope[mine], 1, cov="unscaled")[1][1, 1]
            variance += bare * max(1.0, left @ left / (mine.sum() - 2))
        yield variance * (BASE / 1000) ** 2


@pytest.mark.parametrize("noise", [0.0, 5.0], ids=["as sure as stated", "noisier than stated"])
def test_step_is_as_sure_as_the_lines_beside_its_jumps_and_as_they_agree(noise):
    """Published (tables of Student's t): 12.706 for one degree of freedom, two-sided 95 %."""
    x = np.arange(100.0, 1401, 2)
    slope = 100.0 * (np.abs(x - JOINT) < BASE / 2) + np.random.default_rng(5).normal(0, noise, x.size)
    slope = slope + 30.0 * (x > JOINT + BASE / 2)  # so that the jumps differ by 6 µm
    (joint,) = joints_crossed([continuous_run(x, slope, 1.0, base_mm=BASE)], (JOINT,))
    jumps = [
        side * -BASE / 1000 * np.diff([
            np.polyfit(x[m] - at, slope[m], 1)[1]
            for m in ((x - at >= -30) & (x - at < -5), (x - at > 5) & (x - at <= 30))
        ])[0]
        for side, at in ((-1, JOINT - BASE / 2), (1, JOINT + BASE / 2))
    ]  # fmt: skip
    scatter = np.std(jumps, ddof=1) * 12.706 / 1.96
    expected = np.hypot(np.sqrt(np.mean(list(jump_variances(x, slope, JOINT)))), scatter) / np.sqrt(2)
    assert joint.step_um == pytest.approx(np.mean(jumps))
    assert joint.standard_uncertainty_um == pytest.approx(expected, rel=1e-4)


def test_readings_that_bridge_a_joint_of_unknown_step_are_left_out():
    x = np.arange(100.0, 1401, 2)
    run = continuous_run(x, 0 * x, 1.0, base_mm=BASE)
    kept = without_steps(run, (CrossedJoint(JOINT, math.nan, 0.0, BASE),)).station_mm
    assert np.setdiff1d(x, kept).tolist() == x[np.abs(x - JOINT) <= BASE / 2 + 5].tolist()


def test_stations_averaged_over_a_joint_are_as_unsure_as_its_step():
    """By hand: means over 40 mm, and a joint known to 5 mm by rule and line, reach 25 mm to either side."""

    x = np.array([600.0, 624.0, 626.0, 674.0, 676.0, 700.0])
    chain = BaseLagHeights(x, 0 * x, np.eye(6), averaged_over_mm=40.0, base_mm=BASE)
    curve = _Curve(x, 0 * x, np.eye(6), chain)
    widened = with_steps(curve, (CrossedJoint(JOINT, 20.0, 3.0, BASE),)).base_lag
    assert np.diag(widened.covariance_um2).tolist() == [1, 1, 10, 10, 1, 1]


def test_foot_on_a_pad_needs_half_of_it_more_from_the_joint():
    x = np.arange(100.0, 1401, 2)
    run = continuous_run(x, 100.0 * (np.abs(x - JOINT) < BASE / 2), 1.0, base_mm=BASE, pad_mm=30)
    joints = joints_crossed([run], (JOINT,))
    gone = np.setdiff1d(x, without_steps(run, joints).station_mm)
    assert (gone.min(), gone.max(), gone.size) == (530, 770, 42)


def test_step_leaves_heights_unsure_up_to_a_base_from_its_joint():
    joint = CrossedJoint(JOINT, 20.0, 3.0, BASE)
    x = np.array([449.0, 450.0, 551.0, 749.0, 850.0, 851.0])
    assert steps_variance_um2(x, (joint, joint)).tolist() == [0.0, 18.0, 18.0, 18.0, 18.0, 0.0]
    assert steps_variance_um2(x, (joint,), within_mm=99).tolist() == [0.0, 0.0, 9.0, 9.0, 0.0, 0.0]
