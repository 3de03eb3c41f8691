"""Nothing runs over a declared joint: no interpolated height, no depth, no line of a picture."""

from pathlib import Path

import numpy as np
import pytest
from matplotlib.figure import Figure

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.blue import predict_blue
from analysis.answers.comparison import compare
from analysis.answers.face_map import map_face
from analysis.answers.history import before_and_after
from analysis.answers.joints import joints
from analysis.answers.plan import plan_faces
from analysis.answers.ripples import ripples
from analysis.answers.rounds import passes_of
from analysis.answers.surveys import Survey
from analysis.answers.taper import tapers
from analysis.answers.twist import twist_of
from analysis.answers.whole_bed import whole_bed
from analysis.draw.figures import bed_figure, comparison_figure, history_figure, plan_figure, profile_figure
from analysis.draw.figures.joints import joints_figure, ripples_figure
from analysis.draw.figures.taper import taper_figure
from analysis.draw.figures.twist import twist_figure
from analysis.draw.live_window import Now, Shape, Start, State, draw
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import worst_over
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


@pytest.fixture
def two_ways(invented_bed, make_traverse):
    """Invented truth: two ways on a bed in two pieces, each dialled twice from an optical line, a cross
    level over both, and a caliper over both at every station."""

    def make(joints="joints_mm = [650]\n", off=0.0):
        faces = {name: f'normal = "up"\nacross_mm = {mm}' for name, mm in (("front", 0), ("rear", 300))}
        faces["under"] = 'normal = "down"\nacross_mm = 0'
        bed = invented_bed(length_mm=1300, bed=joints, faces=faces)
        noise = np.random.default_rng(6)
        runs = [
            make_traverse(
                bed, "dial", X, STEP * share + off + noise.normal(0, 1, X.size), face=face, reference="line",
                direction=way,
            )
            for face, share in (("front", 1.0), ("rear", 0.5))
            for way in ("forward", "reverse")
        ]  # fmt: skip
        roll = -0.5 * STEP / 0.3 + noise.normal(0, 3, X.size)
        runs.append(make_traverse(bed, "cross", X, roll, front="front", rear="rear"))
        thick = noise.normal(0, 1, X.size)
        runs.append(make_traverse(bed, "caliper", X, thick, face="front", other="under"))
        return bed, runs

    return make


def pictures(bed, runs):
    """Every picture along the bed that these readings make, by name."""
    bed_map = combine(runs, bed)
    before, after = (Survey(Path(str(run.number)), bed, (run,)) for run in runs[:2])
    live = Figure()
    curve = Shape(X, STEP, np.ones(X.size), "height", "um")
    draw(live, State(Start(), Now()), curve, curve, bed.joints_mm)
    return {
        "twist": twist_figure(twist_of(runs, bed, "front", "rear")),
        "comparison": comparison_figure(compare(runs, bed, *(str(run.number) for run in runs[:2]))),
        "history": history_figure(before_and_after(before, after).faces),
        "taper": taper_figure(tapers(bed_map)),
        "live window": live,
    }


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


@pytest.mark.whole
def test_no_picture_along_the_bed_runs_over_a_joint(two_ways):
    found = pictures(*two_ways())
    assert [name for name, figure in found.items() if crosses(figure)] == ["taper"]
    # the one line that runs through is the taper itself, over all of the pair
    (axes,) = found["taper"].axes
    assert sum(line.get_linestyle() == "--" for line in axes.lines) == 1
    whole = pictures(*two_ways(joints=""))
    assert all(crosses(figure) for figure in whole.values())


@pytest.mark.whole
def test_picture_of_the_joints_breaks_every_face_and_marks_each(two_ways):
    bed, runs = two_ways()
    bed_map = combine(runs, bed)
    figure = joints_figure(joints(bed_map))
    assert not crosses(figure) and not crosses(ripples_figure(ripples(bed_map, ["front"])))
    assert all(any(list(line.get_xdata()) == [JOINT, JOINT] for line in axes.lines) for axes in figure.axes)


def test_colours_of_the_plan_change_at_the_joint_and_not_half_way(stepped):
    bed_map = stepped()
    edges = {
        edge
        for patch in bed_figure(whole_bed(bed_map), bed_map.bed).axes[0].patches
        for edge in (patch.get_x(), patch.get_x() + patch.get_width())
    }
    assert JOINT in edges


def test_worst_stretch_never_ends_beside_a_joint():
    """By hand: 250 mm from the station at 400, or to the one at 900, end beside the joint."""
    bent = Profile("way", X, np.where(X == 500.0, 8.0, 0.0) + STEP, 1e-6 * np.eye(X.size))
    kept = worst_over(bent, 250.0, joints_mm=(JOINT,))
    assert not any(600 < end < 700 for end in (kept.from_mm, kept.from_mm + 250.0))
    few = Profile("way", [600.0, 700, 800, 900], np.zeros(4), np.eye(4))
    with pytest.raises(AnalysisError, match="beside a joint"):
        worst_over(few, 250.0, joints_mm=(650.0, 850.0))
    assert worst_over(few, 250.0).straightness_um == 0.0
