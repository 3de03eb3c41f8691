"""Joints of a bed in pieces: how the piece beyond lies, what closes the joint, and that none is scraped away.

The cases are derived for this project.
"""

import json

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import AnalysisError, BedError
from analysis.adjust.combination import combine
from analysis.answers.joints import FewBesideJoint, JointUntold, joints
from analysis.answers.plan import plan_faces
from analysis.answers.ripples import ripples
from analysis.linear.two_pieces import joint_columns, step_and_kink
from analysis.words.joints import joints_words
from analysis.words.ripples import ripples_words
from tests.benchmarks.joints_held import errors_in_u
from tests.told_answers.odd_habits import invent_odd

pytestmark = pytest.mark.usefixtures("opened_once")
AT = 1000.0
X = np.arange(50.0, 2000.0, 100.0)
MIDDLE = X[:-1] + 50
STEP, KINK, ROLL = 12.0, -30.0, 20.0
FACES = {
    "front-way": 'normal = "up"\nacross_mm = -200\ncarriage = "front"',
    "rear-way": 'normal = "up"\nacross_mm = 200\ncarriage = "rear"',
    "under": 'normal = "down"\nacross_mm = 0',
    "side": 'normal = "front"\nacross_mm = -220',
}
FEET = """
[feet.near-front]
station_mm = 1200
across_mm = -200
[feet.near-rear]
station_mm = 1200
across_mm = 200
[feet.far-front]
station_mm = 2800
across_mm = -200
[feet.far-rear]
station_mm = 2800
across_mm = 200
"""
INSTRUMENTS = {
    "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 2\nseating_um = 0.0',
    "dial": 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1\nseating_um = 0.0',
}
SLOPES = np.random.default_rng(21).normal(0, 2, (8, len(MIDDLE)))


def beyond(across_mm, own=0.0):
    """What the piece beyond the joint adds to a face that looks up: invented truth."""
    away = X - AT
    return np.where(away > 0, STEP + KINK * away / 1000 + ROLL * across_mm / 1000 + own, 0.0)


@pytest.fixture(scope="module")
def bed(invented_bed):
    def make(joint="joints_mm = [1000]", feet=FEET):
        return invented_bed(
            length_mm=3000,
            bed=joint,
            faces=FACES,
            instruments=INSTRUMENTS,
            more=feet,
        )

    return make


@pytest.fixture(scope="module")
def mapped(bed, from_one):
    """Levels there and back on each face named, of these heights; the map of the same ones is solved once."""
    solved = {}

    def make(heights, **how):
        key = (repr(how), *((face, height.tobytes()) for face, height in heights.items()))
        if key not in solved:
            solved[key] = read(heights, **how)
        return solved[key]

    def read(heights, runs=2, first=None, **described):
        made, make_traverse = bed(**described), from_one()
        traverses = []
        for number, (face, height) in enumerate(heights.items()):
            sign = -1 if face == "under" else 1
            for run in range(runs):
                noise = SLOPES[(2 * number + run) % 8]
                reading = sign * (np.diff(height) / 0.1) + noise
                start = (first or {}).get(face, 0)
                traverses.append(make_traverse(made, "level", MIDDLE[start:], reading[start:], face=face))
        return combine(traverses, made)

    return make


@pytest.fixture(scope="module")
def told_by_both(mapped):
    """What two ways tell of the joint."""
    return joints(mapped({"front-way": beyond(-200), "rear-way": beyond(200)}))


def test_piece_beyond_is_found_as_one_body_and_the_feet_close_it(told_by_both):
    """Moves -(s + κ (x - x_j) + ρ p): -2 and -10 at 200 beyond, +46 and +38 at 1800, p -+200."""
    found = told_by_both
    joint = found.joints[0]
    for told, truth in ((joint.up_um, STEP), (joint.pitch_um_per_m, KINK), (joint.roll_um_per_m, ROLL)):
        assert abs(told.value - truth) <= 1.3 * told.expanded
    assert joint.is_one_body
    truths = {"near-front": -2, "near-rear": -10, "far-front": 46, "far-rear": 38}
    for move in found.moves:
        assert move.is_foot
        assert abs(move.lift_um.value - truths[move.place]) <= 1.3 * move.lift_um.expanded
        assert move.rear_um is None


def test_moves_follow_from_the_figures_of_the_joint(told_by_both):
    found = told_by_both
    up, pitch, roll = (
        getattr(found.joints[0], name).value for name in ("up_um", "pitch_um_per_m", "roll_um_per_m")
    )
    for move in found.moves:
        across = -200 if "front" in move.place else 200
        wanted = -(up + pitch * (move.station_mm - AT) / 1000 + roll * across / 1000)
        assert move.lift_um.value == pytest.approx(wanted, abs=1e-9)


def test_underside_goes_along_with_the_other_sign(mapped):
    found = joints(mapped({"front-way": beyond(-200), "rear-way": beyond(200), "under": -beyond(0)}))
    assert found.joints[0].is_one_body
    under = next(each for each in found.joints[0].faces if each.face == "under")
    assert under.step_um.value == pytest.approx(-STEP, abs=1.3 * under.step_um.expanded)


def test_face_with_a_step_of_its_own_is_told_from_the_body(mapped):
    heights = {"front-way": beyond(-200), "rear-way": beyond(200), "under": -beyond(0, own=9.0)}
    found = joints(mapped(heights))
    assert found.joints[0].is_one_body is False
    own = {each.face: each.own_step_um for each in found.joints[0].faces}
    assert own["under"].is_seen
    assert any("do not move as one body" in words for words in joints_words(found, False))


def test_one_face_tells_no_roll(mapped):
    found = joints(mapped({"front-way": beyond(-200)}))
    assert found.joints[0].roll_um_per_m is None
    assert any("whether it is rolled" in words for words in joints_words(found, False))


def test_step_read_by_one_level_run_hangs_on_the_reading_that_bridges_the_joint(mapped):
    once = joints(mapped({"front-way": beyond(-200)}, runs=1)).joints[0].faces[0]
    twice = joints(mapped({"front-way": beyond(-200)}, runs=2)).joints[0].faces[0]
    assert (once.hangs_on.traverse, once.hangs_on.station_mm) == (1, AT)
    assert twice.hangs_on is None


def test_kink_of_a_hollow_bed_is_not_claimed(mapped):
    """Invented: one hollow over both pieces, no joint to be seen; a bend is no kink."""
    hollow = -40 * np.sin(np.pi * X / 2000) ** 2
    joint = joints(mapped({"front-way": hollow, "rear-way": hollow})).joints[0]
    assert not joint.up_um.is_seen
    assert abs(joint.pitch_um_per_m.value) <= 1.3 * joint.pitch_um_per_m.expanded


@pytest.mark.statistics
@pytest.mark.parametrize("doubt_beside_joint_um", [1.0, 40.0])
def test_step_and_kink_from_few_stations_of_a_bent_way_hold_the_truth(doubt_beside_joint_um):
    """Invented: a hollow that runs on over a joint without a step, seven stations on either side.

    Taken as two straight pieces the kink is up to 20 u off, and 50 u where those beside it are hardly known.
    """
    x, at_mm = np.arange(0.0, 1400.0, 100.0), 650.0
    u = np.where(np.abs(x - at_mm) < 100, doubt_beside_joint_um, 1.0)
    rng, ratios = np.random.default_rng(25), []
    for _ in range(40):
        depth, middle, width = rng.choice([5, 20, 60, 150]), rng.uniform(100, 1200), rng.uniform(150, 500)
        heights = -depth * np.exp(-(((x - middle) / width) ** 2)) + u * rng.normal(0, 1, x.size)
        found = step_and_kink(x, heights, np.diag(u**2), at_mm)
        ratios.append(found.value / np.sqrt(np.diag(found.covariance(np.diag(u**2)))))
    assert np.max(np.abs(ratios)) < 4.5
    assert np.all(np.sqrt(np.mean(np.square(ratios), axis=0)) < 1.2)


def _in_u(shape, truth, seed, count=17, ways=25):
    """Errors of step and kink in standard uncertainties; heights 50 mm apart, each known to 1 µm."""
    x = 50.0 * np.arange(count) + 25.0
    columns = joint_columns(x, 50.0 * (count // 2))
    rng, found = np.random.default_rng(seed), []
    for _ in range(ways):
        heights = shape(x, x[-1]) + columns @ truth + rng.normal(0, 1, count)
        made = step_and_kink(x, heights, np.eye(count), 50.0 * (count // 2))
        u = np.sqrt(np.diag(made.covariance(np.eye(count))))
        found.append([*((made.value - truth) / u), *u])
    return np.array(found)


@pytest.mark.statistics
def test_corner_of_a_worn_way_at_a_joint_is_not_taken_for_its_kink():
    """Worn flat by 30 with corners, one of them at the joint (invented): the kink, which took the corner
    up, was told to ± 35 µm/m and off by 20 u, the step by 5."""
    worn = _in_u(
        lambda x, length: -30 * np.clip(np.minimum((x - 200) / 300, (length - 200 - x) / 300), 0, 1),
        np.array([12.0, -30.0]),
        seed=3,
    )
    assert np.max(np.abs(worn[:, :2])) < 4.5


@pytest.mark.statistics
def test_kink_of_ways_that_are_straight_besides_stays_sharp():
    """Invented, sixteen stations a side: 30 µm/m is told to within ± 20, and held."""
    straight = _in_u(lambda x, length: 0 * x, np.array([12.0, -30.0]), seed=4, count=33)
    assert np.max(np.abs(straight[:, :2])) < 3.5
    assert np.median(straight[:, 3]) < 10.0


@pytest.mark.statistics
@pytest.mark.parametrize(("before", "after"), [(6, 10), (16, 16)])
def test_step_on_smooth_ways_is_told_no_wider_than_half_again_what_it_need_be(before, after):
    """Invented: hollows of 5 to 60 µm. The ± was two to three times the errors' own size."""
    step = errors_in_u("hollow", before, after, 40, seed=3)[:, 0]
    assert np.sqrt(np.mean(step**2)) > 1 / 1.5
    assert np.mean(np.abs(step) <= 2) >= 0.9


@pytest.mark.statistics
def test_step_and_kink_beside_wear_that_ends_near_the_joint_are_held():
    """Invented: one slope that ends 1.3 to 3.5 stations from the joint, all else straight: a kink there."""
    found = errors_in_u("wear ends in a slope", 8, 14, 60, seed=5)
    assert np.all(np.mean(np.abs(found[:, :2]) <= 2, axis=0) >= 0.9)
    assert np.max(np.abs(found[:, :2])) < 4.5


def test_face_with_five_stations_beside_the_joint_is_not_told_and_said_so(mapped):
    """Of three faces the underside is known from 550 on: five stations before the joint at 1000."""
    ways = {"front-way": beyond(-200), "rear-way": beyond(200)}
    joint = joints(mapped(ways | {"under": -beyond(0)}, first={"under": 5})).joints[0]
    assert [face.face for face in joint.faces] == ["front-way", "rear-way"]
    assert [each for each in joint.cannot_tell if isinstance(each, FewBesideJoint)] == [
        FewBesideJoint("under", "height", 5, 6)
    ]


def test_kink_that_is_seen_may_be_wear_that_ends_beside_the_joint_and_is_said_so(mapped):
    kinked = joints(mapped({"front-way": beyond(-200)})).joints[0]
    straight = joints(mapped({"front-way": 0 * X})).joints[0]
    assert kinked.faces[0].kink_um_per_m.is_seen
    assert JointUntold("corner") in kinked.cannot_tell
    assert JointUntold("corner") not in straight.cannot_tell


def test_bed_without_a_declared_joint_is_refused_with_what_finds_steps(mapped):
    with pytest.raises(AnalysisError, match="waylog ripples"):
        joints(mapped({"front-way": beyond(-200)}, joint=""))


@pytest.mark.parametrize("written", ["[0]", "[3000]", "[900, 800]", "[]", '["1500"]'])
def test_joints_outside_the_bed_or_out_of_order_are_refused(bed, written):
    with pytest.raises(BedError, match="joints_mm"):
        bed(joint=f"joints_mm = {written}")


def test_no_plan_is_made_over_a_declared_joint_unasked(mapped):
    bed_map = mapped({"front-way": beyond(-200)})
    with pytest.raises(AnalysisError, match="joint of the bed at 1000 mm"):
        plan_faces(bed_map, ["front-way"])
    assert plan_faces(bed_map, ["front-way"], across_joints=True).plans


def test_undeclared_joint_is_found_named_and_stands_beside_the_plan(mapped):
    """Invented truth: a step of 14 µm between 950 and 1050."""
    bed_map = mapped({"front-way": np.where(X > AT, 14.0, 0.0)}, joint="")
    found = ripples(bed_map, ["front-way"])
    step = found.faces[0].steps[0]
    assert (step.from_mm, step.to_mm) == (950, 1050)
    assert abs(step.height_um - 14) <= 1.3 * step.expanded_um
    assert plan_faces(bed_map, ["front-way"]).plans["front-way"].steps[0].from_mm == 950
    assert "step up 14" in ripples_words(found, False)[0]


@pytest.mark.whole
def test_commands_answer_in_words_json_and_picture(tmp_path, capsys):
    folder = tmp_path / "survey"
    (folder / "traverses").mkdir(parents=True)
    tables = "\n".join(f"[faces.{name}]\n{text}" for name, text in FACES.items())
    (folder / "bed.toml").write_text(
        f'[bed]\nname = "invented"\nlength_mm = 2000\nstation_pitch_mm = 100\njoints_mm = [1000]\n{tables}\n'
        f"[instruments.level]\n{INSTRUMENTS['level']}\n"
    )
    (tmp_path / "read.csv").write_text(
        "station_mm,reading\n"
        + "".join(f"{mm:g},{r:.1f}\n" for mm, r in zip(MIDDLE, np.diff(beyond(-200)) / 0.1, strict=True))
    )
    base = ["import", str(folder), str(tmp_path / "read.csv"), "--face", "front-way", "--instrument", "level"]
    assert main(base) == 0
    capsys.readouterr()
    for command, key in (("joints", "joints"), ("ripples", "faces")):
        assert main([command, str(folder), "--json", "--picture", str(tmp_path / f"{command}.png")]) == 0
        assert json.loads(capsys.readouterr().out)[key]
        assert (tmp_path / f"{command}.png").stat().st_size > 5000
        assert main([command, str(folder), "--inch"]) == 0
        assert "thou" in capsys.readouterr().out or command == "ripples"
    assert main(["plan", str(folder), "front-way"]) == 1
    assert "--across-joints" in capsys.readouterr().err


@pytest.mark.statistics
def test_figures_of_a_joint_are_numbers_where_rounding_doubts_what_is_known():
    """Every second place read on the way there and the others on the way back, dials from way to way
    (invented): steps of two faces were not a number, and with them how the piece lies."""
    told = invent_odd(85)
    joint = joints(combine(told.runs, told.bed)).joints[0]
    figures = [joint.up_um, joint.pitch_um_per_m, joint.roll_um_per_m]
    figures += [each for face in joint.faces for each in (face.step_um, face.kink_um_per_m)]
    assert np.all(np.isfinite([(each.value, each.expanded) for each in figures]))
