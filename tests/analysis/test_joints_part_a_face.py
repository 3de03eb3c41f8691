"""Nothing runs over a declared joint: no interpolated height, no depth, no line of a picture."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.blue import predict_blue
from analysis.answers.face_map import map_face
from analysis.answers.passes import passes_of
from analysis.answers.plan import plan_faces
from analysis.draw.figures import plan_figure, profile_figure
from analysis.linear.profile import Profile
from analysis.words.facts import sentences

JOINT = 650.0
X = np.arange(0.0, 1301.0, 100.0)
STEP = np.where(X > JOINT, 40.0, 0.0)


@pytest.fixture
def stepped(invented_bed, make_traverse):
    """Invented truth: two straight pieces, the second 40 µm high, read to 1 µm from an optical line."""

    def make(joints="joints_mm = [650]\n"):
        bed = invented_bed(length_mm=1300, bed=joints, faces={"way": 'normal = "up"\nacross_mm = 0'})
        noise = np.random.default_rng(4).normal(0, 1, (2, X.size))
        runs = [
            make_traverse(bed, "dial", X, STEP + row, face="way", reference="line", direction=way)
            for row, way in zip(noise, ("forward", "reverse"), strict=True)
        ]
        return combine(runs, bed)

    return make


def crosses(figure):
    """Whether some drawn curve runs from one piece to the other."""
    for axes in figure.axes:
        for line in axes.lines:
            x, y = np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)
            whole = np.isfinite(x[:-1]) & np.isfinite(x[1:]) & np.isfinite(y[:-1]) & np.isfinite(y[1:])
            if x.size > 2 and np.any(whole & (x[:-1] < JOINT) & (x[1:] > JOINT)):
                return True
    return False


def test_picture_of_a_face_breaks_at_the_joint_and_says_what_is_unknown(stepped):
    told = map_face(stepped(), "way")
    assert told.joints_mm == (JOINT,)
    assert not crosses(profile_figure(told))
    said = next(each for each in sentences(told.warnings) if "joint" in each)
    assert "600 and 700 mm" in said
    assert crosses(profile_figure(map_face(stepped(""), "way")))


def test_plan_over_a_joint_runs_up_to_it_from_either_side(stepped):
    found = plan_faces(stepped(), ["way"], across_joints=True).plans["way"]
    assert not crosses(plan_figure([found]))
    ends = [edge for each in found.passes for stretch in each.stretches_mm for edge in stretch]
    assert JOINT in ends
    assert not any(600 < edge < 700 and edge != JOINT for edge in ends)


def test_pass_stops_at_the_joint_where_the_other_piece_wants_nothing():
    found = passes_of([0, 100, 200, 300], [10, 10, 0, 0], joints_mm=(150.0,))
    assert [each.stretches_mm for each in found] == [((0.0, 150.0),), ((0.0, 150.0),)]
    (smooth, _) = passes_of([0, 100, 200, 300], [10, 10, 0, 0])
    assert smooth.stretches_mm == ((0.0, 150.0),)


def test_edge_over_a_step_at_a_joint_bears_on_the_corner_of_the_high_piece():
    profile = Profile("way", X, STEP, 1e-6 * np.eye(X.size))
    found = predict_blue(profile, joints_mm=(JOINT,))
    assert any(start - 15 <= JOINT <= end + 15 for start, end in found.touches_mm)
    assert not any(start - 15 <= JOINT <= end + 15 for start, end in predict_blue(profile).touches_mm)
