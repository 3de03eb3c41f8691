"""Plans out of a bed's map: one face, faces parallel to each other, vees, and what is printed of them."""

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.face_map import map_face
from analysis.answers.joint_cut import Wishes
from analysis.answers.plan import CAUTIONS, is_nothing_to_see, plan_faces
from analysis.words.blue import blue_words
from analysis.words.facts import sentence, sentences
from analysis.words.plan import plan_answer, plan_notes, plan_rows, plans_words
from tests.invented import bed_toml, flat, imported, level, survey_in, vee

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
HOLLOW = -40 * np.sin(np.pi * STATION / 1000) ** 2


def slopes(height_um):
    return np.diff(height_um) / 0.1


@pytest.fixture(scope="module")
def mapped(invented_bed, from_one):
    """Two flats of known shape: the front 40 µm hollow, the rear straight and rising 30 µm against it."""

    @cache
    def make(*, is_tilt_known=True, unworn_mm=None):
        faces = {"front-flat": flat(0, unworn_mm=unworn_mm), "rear-flat": flat(300)} if unworn_mm else None
        bed, make_traverse = invented_bed(faces=faces), from_one()
        runs = [
            make_traverse(bed, "level", MIDDLE, slopes(height), face=face)
            for face, height in zip(("front-flat", "rear-flat"), (HOLLOW, 0.03 * STATION), strict=True)
        ]
        if is_tilt_known:
            across = (0.03 * STATION - HOLLOW) / 0.3
            runs.append(make_traverse(bed, "cross", STATION, across, front="front-flat", rear="rear-flat"))
        return combine(runs, bed)

    return make


def test_face_is_planned_down_to_its_lowest_place(mapped):
    plan = plan_faces(mapped(), ["front-flat"]).plans["front-flat"]
    assert plan.removal.removal_um == pytest.approx(HOLLOW + 40, abs=0.01)
    assert plan.removal.touching_mm == (500,)
    assert plan.flank_um is None


def test_parallel_to_a_datum_keeps_the_tilt_that_the_cross_level_found(mapped):
    """Invented truth: the rear rises 30 µm; parallel to it, what counts is HOLLOW − 0.03 x."""
    plan = plan_faces(mapped(), ["front-flat"], parallel_to="rear-flat").plans["front-flat"]
    against = HOLLOW - 0.03 * STATION
    assert plan.removal.removal_um == pytest.approx(against - against.min(), abs=0.05)
    assert plan.parallel_to.line == "least-squares"


def test_faces_planned_together_end_parallel(mapped):
    bed_map = mapped()
    plans = plan_faces(bed_map, ["front-flat", "rear-flat"], parallel_to="rear-flat").plans
    heights = {"front-flat": HOLLOW, "rear-flat": 0.03 * STATION}
    left = [np.polyfit(STATION, heights[face] - plans[face].removal.removal_um, 1)[0] for face in heights]
    assert left[0] == pytest.approx(left[1], abs=1e-4)
    assert plans["rear-flat"].parallel_to is None
    assert plans["front-flat"].parallel_to.line == "plan"


def test_datum_with_unworn_stretches_gives_their_line(mapped):
    bed_map = mapped(unworn_mm=((0, 100), (900, 1000)))
    plan = plan_faces(bed_map, ["rear-flat"], parallel_to="front-flat").plans["rear-flat"]
    assert plan.parallel_to.line == "unworn"
    assert plan.removal.removal_um == pytest.approx(0.03 * STATION, abs=0.05)


def test_underside_parallel_to_the_top_tilts_the_other_way(invented_bed, make_traverse):
    """Derived: heights are along the outward normals, so a bar thicker by 0.02 x is to lose 0.02 x."""
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, slopes(0.05 * STATION), face="front-flat"),
        make_traverse(bed, "caliper", STATION, 0.02 * STATION, face="front-flat", other="front-under"),
    ]
    bed_map = combine(runs, bed)
    plan = plan_faces(bed_map, ["front-under"], parallel_to="front-flat").plans["front-under"]
    assert plan.removal.removal_um == pytest.approx(0.02 * STATION, abs=0.01)


def test_tilt_that_the_readings_leave_open_is_refused_with_the_reason(mapped):
    with pytest.raises(AnalysisError, match="do not tell how the two tilt against each other"):
        plan_faces(mapped(is_tilt_known=False), ["front-flat"], parallel_to="rear-flat")


@pytest.mark.parametrize(
    ("faces", "other", "words"),
    [
        (["front-flat"], "front-side", "right angles"),
        (["front-flat"], "nowhere", "no such face"),
        (["nowhere"], None, "no such face"),
        (["front-flat"], "front-flat", "no other face to plan"),
        (["vee"], None, "no traverse touches it"),
        (["front-flat"], "vee", "no traverse touches it"),
    ],
)
def test_face_that_cannot_be_planned_so_is_refused(mapped, faces, other, words):
    with pytest.raises(AnalysisError, match=words):
        plan_faces(mapped(), faces, parallel_to=other)


def test_face_known_only_against_another_is_refused(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "dial", STATION, HOLLOW, face="rear-flat", reference="front-flat")
    with pytest.raises(AnalysisError, match="known only against front-flat"):
        plan_faces(combine([run], bed), ["rear-flat"])


def test_uncertainty_against_a_datum_holds_the_tilt_between_them(mapped):
    """Invariance: what a free line takes up, a parallel one must carry as doubt at the far end."""
    bed_map = mapped()
    free = plan_faces(bed_map, ["rear-flat"]).plans["rear-flat"].removal
    held = plan_faces(bed_map, ["rear-flat"], parallel_to="front-flat").plans["rear-flat"].removal
    ends = held.standard_uncertainty_um[[0, -1]]
    assert ends.max() > free.standard_uncertainty_um[[0, -1]].max()


@pytest.mark.parametrize(
    ("angles", "front", "rear"),
    [
        ("vee_angle_deg = 90", 45, 45),
        ("vee_angle_deg = 60", 30, 30),
        ("flank_angles_deg = [20, 70]", 20, 70),
    ],
)
def test_vee_also_says_the_depth_on_its_flanks(invented_bed, make_traverse, angles, front, rear):
    """Derived: depth = drop × sin of the flank's angle from the vertical; 71 of 100 µm at 90°."""
    vee = {"vee": f'normal = "up"\nshape = "vee"\nform = "ridge"\n{angles}\nacross_mm = 100'}
    bed = invented_bed(faces=vee)
    bed_map = combine([make_traverse(bed, "level", MIDDLE, slopes(HOLLOW), face="vee")], bed)
    plan = plan_faces(bed_map, ["vee"]).plans["vee"]
    for flank, angle in (("front", front), ("rear", rear)):
        assert plan.flank_um[flank] == pytest.approx(plan.removal.removal_um * np.sin(np.radians(angle)))
    assert len(plan_rows(plan, False)[0]) == (5 if front == rear else 6)


def test_answer_names_most_and_nothing_and_the_notes_name_what_cannot_be_seen(mapped):
    plan = plan_faces(mapped(), ["front-flat"]).plans["front-flat"]
    answer = plan_answer(plan, inch=False)
    assert answer.startswith("front-flat: take off most at ")
    assert "nothing at 500 mm" in answer
    assert "thou" in answer
    assert any("± is against where the target touches" in line for line in plan_notes(plan, inch=False))


def test_straight_face_has_nothing_to_take_off_that_could_be_seen(mapped):
    straight = plan_faces(mapped(), ["rear-flat"]).plans["rear-flat"]
    assert plan_answer(straight, inch=False).startswith("rear-flat: nothing to take off that could be seen")
    assert "touches all along" in blue_words(straight.blue, inch=False)[0]


def test_rounding_where_the_target_touches_is_no_depth_to_be_seen(mapped):
    removal = plan_faces(mapped(), ["rear-flat"]).plans["rear-flat"].removal
    touching = removal.standard_uncertainty_um == removal.standard_uncertainty_um.min()
    rounded = replace(
        removal,
        removal_um=np.where(touching, 3.6e-15, removal.removal_um),
        standard_uncertainty_um=np.where(touching, 1.5e-15, removal.standard_uncertainty_um),
    )
    assert is_nothing_to_see(rounded)
    assert not is_nothing_to_see(replace(rounded, removal_um=rounded.removal_um + 50.0))


def test_stations_within_the_uncertainty_are_named(invented_bed, make_traverse):
    bed = invented_bed()
    height = np.where((STATION >= 300) & (STATION <= 700), 0.0, 30.0)
    height[5] = 0.05
    run = make_traverse(bed, "level", MIDDLE, slopes(height), face="front-flat")
    plan = plan_faces(combine([run], bed), ["front-flat"]).plans["front-flat"]
    named = [line for line in plan_notes(plan, inch=False) if "may as well be nothing" in line]
    assert len(named) == 1
    assert "500" in named[0]


@pytest.mark.statistics
def test_drawn_level_whose_curve_may_not_be_claimed_is_planned_at_base_lag_stations(
    invented_bed, make_traverse
):
    bed = invented_bed(290)
    x = np.arange(50, 241, 2.0)
    drawn = make_traverse(bed, "level", x, 0.1 * (x - 150), face="front-flat", mode="continuous")
    bed_map = combine([drawn], bed)
    shape = map_face(bed_map, "front-flat")
    assert not shape.curve_is_sure
    plan = plan_faces(bed_map, ["front-flat"]).plans["front-flat"]
    assert plan.removal.station_mm == pytest.approx(shape.base_lag.station_mm)


def test_guard_is_named_and_stands_in_every_row(mapped):
    bed_map = mapped()
    guarded = plan_faces(bed_map, ["front-flat"], guard=True).plans["front-flat"]
    bare = plan_faces(bed_map, ["front-flat"]).plans["front-flat"]
    added = guarded.removal.removal_um - bare.removal.removal_um
    assert added == pytest.approx(np.full(11, guarded.removal.guard_um))
    assert guarded.removal.guard_um > 0
    assert any("guard" in line for line in plan_notes(guarded, inch=False))
    assert "only the guard at 500 mm" in plan_answer(guarded, inch=False)


BED = bed_toml(
    1000,
    200,
    faces={"way": vee()},
    instruments={"level": level(0.5)},
    straightedges={"short": {"length_mm": 400}},
)


@pytest.fixture
def survey(tmp_path):
    """The worked case of six stations as readings of a level stepped foot to foot."""
    rise = np.diff([0, -6, -11, -9, -2, 1]) / 0.2
    imported(survey_in(tmp_path, BED), range(100, 1000, 200), rise, "--face", "way", "-i", "level")
    return tmp_path


@pytest.mark.whole
def test_command_says_when_not_yet_then_the_answer_table_blue_and_cautions(survey, capsys):
    """Derived by hand: 15 7 0 0 5 6, in all 33."""
    capsys.readouterr()
    assert main(["plan", str(survey), "way", "--picture", str(survey / "plan.png")]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Do not scrape yet: no face can be trusted yet")  # one run, checked by nothing
    assert "\n\nway: take off most at 0 mm, 15 µm (0.6 thou) ± 1 µm (0.1 thou)" in said
    assert "nothing at 400 and 600 mm; " in said
    assert [line.split()[1] for line in said.splitlines() if line.split()[:1] in (["200"], ["800"])] == [
        "7",
        "5",
    ]
    assert "in all, each flank µm" in said
    assert "Predicted blue" in said
    for caution in sentences(CAUTIONS):
        assert caution in said
    assert (survey / "plan.png").stat().st_size > 10_000


@pytest.mark.whole
def test_command_in_inches_puts_thou_first(survey, capsys):
    assert main(["plan", str(survey), "way", "--inch", "--edge", "short"]) == 0
    said = capsys.readouterr().out
    assert "take off most at 0 in, 0.6 thou (15 µm) ± 0.1 thou (1 µm)" in said
    assert "edge from 0 in to 15.75 in" in said


@pytest.mark.whole
def test_command_gives_one_json_object_unrounded(survey, capsys):
    capsys.readouterr()
    assert main(["plan", str(survey), "way", "--json", "--film", "2"]) == 0
    found = json.loads(capsys.readouterr().out)
    plan = found["plans"]["way"]
    assert plan["removal"]["removal_um"] == pytest.approx([15, 7, 0, 0, 5, 6])
    assert plan["removal"]["sum_um"] == pytest.approx(33)
    assert plan["flank_um"]["front"][0] == pytest.approx(15 * np.sqrt(0.5))
    assert plan["blue"][0]["film_um"] == 2
    assert found["cautions"] == sentences(CAUTIONS)


@pytest.mark.whole
def test_command_refuses_an_unknown_face_in_one_line(survey, capsys):
    assert main(["plan", str(survey), "nowhere"]) == 1
    assert "no such face" in capsys.readouterr().err
    assert main(["plan", str(survey)]) == 2


REAR = np.interp(STATION, [0, 500, 1000], [0.0, -10.0, 4.0])


@pytest.fixture(scope="module")
def two_ways(invented_bed, from_one):
    """Front 40 µm hollow, rear otherwise worn; a cross level says how they lie (invented)."""
    bed, make_traverse = invented_bed(), from_one()
    runs = [
        make_traverse(bed, "level", MIDDLE, slopes(HOLLOW), face="front-flat"),
        make_traverse(bed, "level", MIDDLE, slopes(REAR), face="rear-flat"),
        make_traverse(bed, "cross", STATION, (REAR - HOLLOW) / 0.3, front="front-flat", rear="rear-flat"),
    ]
    return combine(runs, bed)


def left_of(plans, face, height):
    return height - plans.plans[face].removal.removal_um


def test_faces_without_wind_end_parallel_with_the_least_metal_of_all(two_ways):
    """Second method: a search over the common slope; at each, both go down to their lowest place."""
    plans = plan_faces(two_ways, ["front-flat", "rear-flat"], Wishes(no_wind=True))
    slope = [
        np.polyfit(STATION, left_of(plans, face, height), 1)[0]
        for face, height in (("front-flat", HOLLOW), ("rear-flat", REAR))
    ]
    assert slope[0] == pytest.approx(slope[1], abs=1e-4)

    def total(b):
        return sum(np.sum(h - b * STATION - np.min(h - b * STATION)) for h in (HOLLOW, REAR))

    assert plans.total_um == pytest.approx(min(map(total, np.linspace(-0.1, 0.1, 4001))), abs=0.2)
    assert plans.total_um == pytest.approx(sum(p.removal.sum_um for p in plans.plans.values()))


def test_coplanar_faces_end_on_one_line(invented_bed, make_traverse):
    """The cross level, turned end for end without touching its zero, says how high the two lie."""
    bed = invented_bed()
    roll = {"front": "front-flat", "rear": "rear-flat"}
    runs = [
        make_traverse(bed, "level", MIDDLE, slopes(HOLLOW), face="front-flat"),
        make_traverse(bed, "cross", STATION, (REAR - HOLLOW) / 0.3, **roll),
        make_traverse(bed, "cross", STATION, (HOLLOW - REAR) / 0.3, turned=True, same_zero_as=2, **roll),
    ]
    plans = plan_faces(combine(runs, bed), ["front-flat", "rear-flat"], Wishes(coplanar=True))
    assert left_of(plans, "front-flat", HOLLOW) == pytest.approx(left_of(plans, "rear-flat", REAR), abs=0.1)


def test_coplanar_is_refused_where_nothing_tells_how_high_they_lie(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, slopes(height), face=face)
        for face, height in (("front-flat", HOLLOW), ("rear-flat", REAR))
    ]
    with pytest.raises(AnalysisError, match="how high the faces lie"):
        plan_faces(combine(runs, bed), ["front-flat", "rear-flat"], Wishes(coplanar=True))


def test_clash_of_wishes_is_named_with_what_would_be_needed(two_ways):
    plans = plan_faces(two_ways, ["front-flat"], Wishes(at_most_um=15.0))
    assert plans.plans == {}
    assert "15 µm anywhere is too little: 20.0 µm" in sentence(plans.infeasible) or "are needed" in sentence(
        plans.infeasible
    )
    stuck = plan_faces(two_ways, ["front-flat"], Wishes(untouched_mm=((400, 600),)))
    assert stuck.infeasible is None
    assert np.all(stuck.plans["front-flat"].removal.removal_um[4:7] == 0)
    none = plan_faces(two_ways, ["front-flat"], Wishes(untouched_mm=((0, 50), (950, 1000))))
    assert "no target leaves 0 to 50 mm" in sentence(none.infeasible)
    with pytest.raises(AnalysisError, match="every place that is known is to stay untouched"):
        plan_faces(two_ways, ["front-flat"], Wishes(untouched_mm=((0, 1000),)))


def test_wanted_crown_is_left_standing(two_ways):
    """Derived: what is left of a face planned for a crown is a line and that parabola."""
    plans = plan_faces(two_ways, ["front-flat"], Wishes(crown_um=8.0))
    left = left_of(plans, "front-flat", HOLLOW) - 8 * 4 * STATION / 1000 * (1 - STATION / 1000)
    assert np.polyval(np.polyfit(STATION, left, 1), STATION) == pytest.approx(left, abs=0.1)


def test_half_of_each_depth_is_for_this_round_and_the_words_say_why(two_ways):
    plans = plan_faces(two_ways, ["front-flat"])
    plan = plans.plans["front-flat"]
    assert plan.this_round_um == pytest.approx(plan.removal.removal_um / 2)
    assert any("Cut 50%" in line for line in plans_words(plans, False))


@pytest.mark.parametrize("form", ["ridge", "groove"])
def test_vee_measured_sideways_is_cut_flank_by_flank(invented_bed, make_traverse, form):
    """Invented truth: the front flank worn by 12 µm in its middle, the rear one sound."""
    wear = 12 * np.sin(np.pi * STATION / 1000) ** 2
    drop, aside = wear / (2 * np.sin(np.pi / 4)), wear / (2 * np.cos(np.pi / 4))
    # a ridge shifts away from its worn flank, a groove towards it; the front flank is the worn one
    side = aside if form == "ridge" else -aside
    faces = {
        "vee": f'normal = "up"\nshape = "vee"\nform = "{form}"\nvee_angle_deg = 90\nacross_mm = 100',
        "guide": 'normal = "rear"\nacross_mm = 200',
    }
    bed = invented_bed(faces=faces)
    runs = [
        make_traverse(bed, "level", MIDDLE, slopes(-drop), face="vee"),
        make_traverse(bed, "dial", STATION, side, face="vee", reference="line"),
        make_traverse(bed, "dial", STATION, -side, face="guide", reference="vee"),
        make_traverse(bed, "dial", STATION, 0 * STATION, face="guide", reference="line"),
    ]
    bed_map = combine([runs[0], *runs[2:]], bed)
    plan = plan_faces(bed_map, ["vee"]).plans["vee"]
    assert plan.sideways_is_known
    worn, sound = plan.flank_um["front"], plan.flank_um["rear"]
    assert np.ptp(worn + wear) == pytest.approx(np.ptp(sound), abs=0.5)
    assert sound.min() == pytest.approx(0, abs=1e-6)
    assert worn.min() == pytest.approx(0, abs=1e-6)
