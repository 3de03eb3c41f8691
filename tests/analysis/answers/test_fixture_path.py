"""The path of a fixture on its pads. Derived."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.datums import datums
from analysis.answers.fixture_path import Arm, fixture_path
from analysis.words.datums import datums_answer

X = np.arange(0.0, 1001.0, 100.0)
BEND = -40.0 * (X / 1000) ** 2
"""A parabola: on pads its mean goes the same way, and pitch times overhang adds a straight line alone."""


@pytest.fixture
def bed_map(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "dial", X, height, face=face, reference="line")
        for face, height in (("front-flat", BEND), ("front-side", BEND), ("rear-flat", 10.0 * (X == 500)))
    ]
    return combine(runs, bed)


@pytest.mark.parametrize("overhang", [0.0, 150.0, -80.0])
def test_parabola_gives_the_same_path_wherever_the_tool_hangs(bed_map, overhang):
    found = fixture_path(bed_map, "front-flat", 200.0, overhang)
    assert found.station_mm[[0, -1]].tolist() == [100 + overhang, 900 + overhang]  # the tool's, not the pads'
    middle = found.station_mm - overhang
    truth = -40.0 * (middle / 1000) ** 2
    truth -= np.interp(middle, middle[[0, -1]], truth[[0, -1]])
    assert found.path_um == pytest.approx(truth, abs=1e-6)


def test_uncertainty_is_that_of_the_sum_over_both_pads(bed_map):
    """By hand, before a line is taken off: (1/2 - s)² + (1/2 + s)² of 1 µm², s = overhang over pads."""
    near, far = (fixture_path(bed_map, "front-flat", 200.0, a).expanded_um.max() for a in (0.0, 400.0))
    assert far / near > 3.0


def test_proud_spot_lifts_the_tool_as_each_pad_passes_it(bed_map):
    found = fixture_path(bed_map, "rear-flat", 200.0)
    assert found.station_mm[np.abs(found.path_um - 5.0) < 1e-6].tolist() == [400, 600]


def test_face_that_looks_to_the_front_pushes_the_tool_there(bed_map):
    up, rear = (fixture_path(bed_map, face, 200.0) for face in ("front-flat", "front-side"))
    assert (up.direction, rear.direction) == ("up", "rear")
    assert rear.path_um == pytest.approx(-up.path_um, abs=1e-9)


def test_pads_that_miss_the_stations_are_refused(bed_map):
    with pytest.raises(AnalysisError, match="whole number of station pitches"):
        fixture_path(bed_map, "front-flat", 250.0)


@pytest.fixture
def rolled(invented_bed, make_traverse):
    """Invented truth: the front underside follows a parabola, the rear top is straight: a fixture rolls."""

    def make(across=0):
        faces = {
            "top": 'normal = "up"\nacross_mm = 300',
            "under": f'normal = "down"\nacross_mm = {across}',
            "side": 'normal = "rear"\nacross_mm = 320',
        }
        bed = invented_bed(faces=faces)
        top = make_traverse(bed, "dial", X, 0 * X, face="top", reference="line")
        runs = [
            top,
            # the section goes up by BEND there, so that an underside stands less proud
            make_traverse(bed, "dial", X, -BEND, face="under", reference="line", same_zero_as=top.number),
            make_traverse(bed, "dial", X, 0 * X, face="side", reference="line"),
        ]
        return combine(runs, bed)

    return make


def test_roll_of_the_fixture_acts_on_the_arm_of_its_tool(rolled):
    """By hand: roll (0 - BEND) / 300 per mm; 150 mm behind the top pads, 90 mm above the side pads."""
    still = fixture_path(rolled(), "top", 200.0)
    assert not still.is_roll_in_it
    assert still.path_um == pytest.approx(0, abs=1e-9)
    for face, arm in (("top", 150.0), ("side", -90.0)):
        found = fixture_path(rolled(), face, 200.0, arm=Arm("top", "under", arm))
        roll = -(-40.0 * (found.station_mm / 1000) ** 2) / 300
        truth = arm * (roll - np.interp(found.station_mm, found.station_mm[[0, -1]], roll[[0, -1]]))
        assert found.path_um == pytest.approx(truth, abs=1e-6)
        assert found.is_roll_in_it
        assert found.expanded_um.max() > still.expanded_um.max() * (1.05 if arm > 0 else 0.9)


def test_path_is_known_worse_the_longer_the_arm(rolled):
    doubt = [
        fixture_path(rolled(), "top", 200.0, arm=Arm("top", "under", arm)).expanded_um.max()
        for arm in (30.0, 300.0, 900.0)
    ]
    assert doubt[0] < doubt[1] < doubt[2]


def test_faces_one_under_the_other_hold_no_fixture_from_rolling(rolled):
    with pytest.raises(AnalysisError, match="hold it from no roll"):
        fixture_path(rolled(across=300), "top", 200.0, arm=Arm("top", "under", 100.0))


def test_roll_between_faces_that_nothing_ties_is_refused_with_what_would_tell(invented_bed, make_traverse):
    bed = invented_bed()
    bed_map = combine([make_traverse(bed, "dial", X, BEND, face="front-flat", reference="line")], bed)
    with pytest.raises(AnalysisError, match="not both were read"):
        fixture_path(bed_map, "front-flat", 200.0, arm=Arm("front-flat", "rear-flat", 100.0))


def test_answer_says_that_roll_is_left_out_or_counted(rolled):
    said = "\n".join(datums_answer(datums(rolled(), pads_mm=200.0), False))
    assert "its roll is not in it" in said and "--tool-across" in said
    said = "\n".join(datums_answer(datums(rolled(), pads_mm=200.0, tool_across_mm=150.0), False))
    assert "its roll counted" in said
