"""What the ± takes for granted stands beside it: where it applies, and nowhere else."""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.traverse import Traverse
from analysis.adjust.combination import adjusted, combine
from analysis.answers.alignment import Centres
from analysis.answers.assumptions import (
    AHEAD,
    ARM,
    BASE,
    BED,
    CARRIAGE,
    DRIFT_STEADY,
    EDGE_RESTS,
    EDGE_TURNED,
    EDGE_WARMTH,
    FEET,
    NO_DRIFT,
    POSITIONS,
    SCALE,
    SEATING,
    SIGNS,
    SQUARE,
    TURNED_WITH,
    VEES,
    Assumption,
    assumptions,
)
from analysis.answers.comparison import compare
from analysis.answers.dovetail import gib_for
from analysis.answers.face_map import map_face
from analysis.answers.feet_on_bed import feet_to_move
from analysis.answers.measured import Measured
from analysis.answers.plan import plan_faces
from analysis.answers.squareness import Square
from analysis.observe import observe_all
from analysis.words.assumptions import taken_words, unstated_words

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1.0\n'
DIAL = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.5\n'
WARM = {"temperature_top_degC": 20.0, "temperature_bottom_degC": 20.0}
RNG = np.random.default_rng(11)
NOISE = RNG.normal(0, 1.0, (4, 10))


@pytest.fixture
def stepped(invented_bed, make_traverse):
    """A map from runs of one level along front-flat, each in its direction."""

    def make(*directions, level=LEVEL, **setup):
        bed = invented_bed(instruments={"level": level, "dial": DIAL})
        runs = [
            make_traverse(
                bed,
                "level",
                MIDDLE,
                NOISE[number],
                number=number + 1,
                face="front-flat",
                direction=way,
                **setup,
            )
            for number, way in enumerate(directions)
        ]
        return combine(runs, bed)

    return make


def told(bed_map, *faces):
    return {each.what: each for each in assumptions(bed_map, faces or None)}


def test_what_bed_toml_does_not_state_of_a_level_is_taken_for_granted(stepped):
    found = told(stepped("forward"))
    for what in (SCALE, BASE, SEATING):
        assert found[what] == Assumption(what, False, ("level",))
    assert found[POSITIONS] == Assumption(POSITIONS, False)
    assert found[NO_DRIFT] == Assumption(NO_DRIFT, False, ("level",))
    assert {DRIFT_STEADY, BED, FEET}.isdisjoint(found)


@pytest.mark.parametrize(
    ("key", "what"), [("scale_uncertainty", SCALE), ("base_uncertainty_mm", BASE), ("seating_um", SEATING)]
)
@pytest.mark.parametrize("value", ["0.0", "0.01"])
def test_what_bed_toml_states_is_no_longer_warned_of_nor_is_a_stated_nought(stepped, key, what, value):
    bed_map = stepped("forward", level=LEVEL + f"{key} = {value}\n")
    assert told(bed_map)[what].stated
    assert key not in " ".join(unstated_words(assumptions(bed_map)))
    assert key in " ".join(unstated_words(assumptions(stepped("forward"))))


def test_line_names_what_is_exact_and_leaves_out_what_the_uncertainty_counts(stepped):
    bare = taken_words(assumptions(stepped("forward")))
    assert bare == [
        "  The ± takes for granted: scale exact, base exact, no seating error, positions exact, "
        "plus and minus as written (level), no drift (level)."
    ]
    full = "scale_uncertainty = 0.002\nbase_uncertainty_mm = 0.1\nseating_um = 0.3\n"
    stated = taken_words(assumptions(stepped("forward", level=LEVEL + full)))
    assert stated == [
        "  The ± takes for granted: seating new at every placing, positions exact, "
        "plus and minus as written (level), no drift (level)."
    ]


def test_bed_is_taken_as_unchanged_only_between_runs(stepped):
    assert BED not in told(stepped("forward"))
    assert told(stepped("forward", "forward"))[BED] == Assumption(BED, False)
    warm = stepped("forward", "forward", state=WARM)
    assert told(warm)[BED] == Assumption(BED, True)
    assert "--temperature-top" not in " ".join(unstated_words(assumptions(warm)))


def test_runs_both_ways_take_a_steady_drift_and_one_way_takes_none(stepped):
    assert NO_DRIFT in told(stepped("forward", "forward"))
    both = stepped("forward", "reverse")
    bend = {n for each in both.assembly.returns if each.bow_sd_um > 0 for n in each.traverses}
    assert (DRIFT_STEADY in told(both)) is (not bend)
    assert NO_DRIFT not in told(both)


def test_bow_that_may_be_a_bent_bed_is_counted_and_not_taken_for_granted(invented_bed, make_traverse):
    """Noise-free runs that differ by a bow of 20 µm: untold, so its size is in the ±."""
    bed = invented_bed(instruments={"level": LEVEL})
    lean = 160.0 * (0.5 - MIDDLE / 1000.0)
    runs = [
        make_traverse(bed, "level", MIDDLE, each, number=n, face="front-flat", direction=way)
        for n, each, way in ((1, 0.0 * MIDDLE, "forward"), (2, lean, "reverse"))
    ]
    bed_map = adjusted(observe_all(runs, bed), bed)
    assert bed_map.assembly.returns[0].bow_sd_um > 1.0
    assert {DRIFT_STEADY, NO_DRIFT}.isdisjoint(told(bed_map))


@pytest.mark.parametrize("feet", [None, 120])
def test_feet_are_told_of_a_carried_dial_and_not_of_a_level(invented_bed, make_traverse, feet):
    more = "" if feet is None else f"carrier_feet_mm = {feet}\n"
    bed = invented_bed(instruments={"level": LEVEL, "dial": DIAL + more})
    runs = [
        make_traverse(bed, "level", MIDDLE, NOISE[0], number=1, face="front-flat"),
        make_traverse(
            bed, "dial", STATION[1:-1], NOISE[1][:9], number=2, face="rear-flat", reference="front-flat"
        ),
    ]
    bed_map = combine(runs, bed)
    assert told(bed_map)[FEET] == Assumption(FEET, feet is not None, ("dial on front-flat",))
    assert ("carrier_feet_mm" in " ".join(unstated_words(assumptions(bed_map)))) is (feet is None)
    assert told(bed_map)[BASE].of == ("level",)
    assert FEET not in told(combine(runs[:1], bed))


def test_readings_that_nothing_links_to_the_face_take_no_part(invented_bed, make_traverse):
    bed = invented_bed(instruments={"level": LEVEL, "other": LEVEL})
    runs = [
        make_traverse(bed, "level", MIDDLE, NOISE[0], number=1, face="front-flat"),
        make_traverse(bed, "other", MIDDLE, NOISE[1], number=2, face="rear-flat"),
    ]
    bed_map = combine(runs, bed)
    assert told(bed_map, "front-flat")[SCALE].of == ("level",)
    assert told(bed_map)[SCALE].of == ("level", "other")
    assert map_face(bed_map, "rear-flat").assumptions == assumptions(bed_map, {"rear-flat"})


def test_drawn_level_is_placed_once_so_that_seating_is_not_assumed(stepped):
    bed_map = stepped("forward")
    placed = bed_map.observations[0].source
    drawn = replace(placed, mode="continuous", setup=replace(placed.setup, mode_asked="continuous"))
    assert isinstance(drawn, Traverse)
    found = assumptions(bed_map, read=[replace(bed_map.observations[0], source=drawn)])
    assert SEATING not in {each.what for each in found}


def test_comparison_takes_for_granted_what_both_sides_do(invented_bed, make_traverse):
    bed = invented_bed(instruments={"level": LEVEL, "dial": DIAL})
    runs = [
        make_traverse(bed, "level", MIDDLE, NOISE[0], number=1, face="front-flat"),
        make_traverse(bed, "level", MIDDLE, NOISE[2], number=2, face="rear-flat"),
        make_traverse(bed, "dial", STATION, np.zeros(11), number=3, face="rear-flat", reference="front-flat"),
    ]
    found = {each.what: each for each in compare(runs, bed, "rear-flat:level", "3").assumptions}
    assert set(found[SCALE].of) == {"level", "dial"}
    assert found[FEET].of == ("dial on front-flat",)


def test_several_instruments_share_one_note_of_a_kind():
    notes = unstated_words(
        [Assumption(SCALE, False, ("level", "dial")), Assumption(SEATING, True, ("level",))]
    )
    assert len(notes) == 1
    assert notes[0].startswith("  Note: level, dial: no scale error stated (scale_uncertainty)")


@pytest.mark.parametrize("length", [None, 200])
def test_bearing_length_is_told_of_a_dial_on_the_carriage_and_no_feet_of_its_own(
    invented_bed, make_traverse, length
):
    """A carriage length that is stated for the carriage says nothing of a stand on a face."""
    faces = {name: f'normal = "up"\nacross_mm = {mm}\ncarriage = "{side}"'
             for name, mm, side in (("front-flat", 0, "front"), ("rear-flat", 300, "rear"))}  # fmt: skip
    faces["tail"] = 'normal = "up"\nacross_mm = 150'
    stated = "" if length is None else f"carriage_length_mm = {length}\n"
    bed = invented_bed(instruments={"level": LEVEL, "dial": DIAL}, faces=faces, bed=stated)
    runs = [
        make_traverse(bed, "level", MIDDLE, NOISE[n], number=n + 1, face=face)
        for n, face in enumerate(("front-flat", "rear-flat"))
    ]
    inside = STATION[1:-1]
    carried = make_traverse(bed, "dial", inside, 0 * inside, number=3, face="tail", reference="carriage")
    stood = make_traverse(bed, "dial", inside, 0 * inside, number=4, face="tail", reference="front-flat")
    by_carriage = combine([*runs, carried], bed)
    assert told(by_carriage)[CARRIAGE] == Assumption(CARRIAGE, length is not None, ("dial on the carriage",))
    assert FEET not in told(by_carriage)
    assert ("carriage_length_mm" in " ".join(unstated_words(assumptions(by_carriage)))) is (length is None)
    by_stand = " ".join(unstated_words(assumptions(combine([*runs, stood], bed))))
    assert "carrier_feet_mm" in by_stand
    assert "carriage_length_mm" not in by_stand


@pytest.mark.parametrize("ahead", [None, 0, 150])
def test_plunger_of_unstated_place_is_said_to_be_over_the_middle_of_its_carrier(
    invented_bed, make_traverse, ahead
):
    """A plunger 150 mm ahead of a carrier that pitches by 100 µm/m reads 15 µm of that."""
    dial = DIAL + "carrier_feet_mm = 100\n" + ("" if ahead is None else f"overhang_along_mm = {ahead}\n")
    bed = invented_bed(instruments={"level": LEVEL, "dial": dial})
    level = make_traverse(bed, "level", MIDDLE, NOISE[0], number=1, face="front-flat")
    inside = STATION[2:-2]
    run = make_traverse(bed, "dial", inside, 0 * inside, number=2, face="rear-flat", reference="front-flat")
    line = make_traverse(bed, "dial", inside, 0 * inside, number=2, face="rear-flat", reference="line")
    bed_map = combine([level, run], bed)
    assert told(bed_map)[AHEAD] == Assumption(AHEAD, ahead is not None, ("dial",))
    said = " ".join([*taken_words(assumptions(bed_map)), *unstated_words(assumptions(bed_map))])
    assert ("plungers over the middle" in said and "overhang_along_mm" in said) is (ahead is None)
    assert {AHEAD, ARM}.isdisjoint(told(combine([level, line], bed)))
    assert ARM not in told(bed_map)  # it touches a face that looks up


@pytest.mark.parametrize("height", [None, 0, 80])
def test_plunger_that_touches_sideways_is_said_to_be_level_with_a_carriage_that_rolls(
    invented_bed, make_traverse, height
):
    faces = {
        "front": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
        "vee": 'normal = "up"\nacross_mm = 300\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\n'
        'carriage = "rear"',
        "guide": 'normal = "rear"\nacross_mm = -20',
    }
    dial = DIAL + ("" if height is None else f"arm_height_mm = {height}\n")
    bed = invented_bed(
        instruments={"level": LEVEL, "dial": dial}, faces=faces, bed="carriage_length_mm = 200\n"
    )
    levels = [
        make_traverse(bed, "level", MIDDLE, NOISE[n], number=n + 1, face=face)
        for n, face in enumerate(("front", "vee"))
    ]
    inside = STATION[1:-1]
    run = make_traverse(bed, "dial", inside, 0 * inside, number=3, face="guide", reference="carriage")
    bed_map = combine([*levels, run], bed)
    assert told(bed_map)[ARM] == Assumption(ARM, height is not None, ("dial",))
    assert ("arm_height_mm" in " ".join(unstated_words(assumptions(bed_map)))) is (height is None)
    alone = make_traverse(bed, "dial", inside, 0 * inside, number=3, face="guide", reference="vee")
    assert ARM not in told(combine([*levels, alone], bed))  # a carrier on one face is taken not to roll


def _along_an_edge(invented_bed, make_traverse, edge, **setup):
    bed = invented_bed(
        instruments={"level": LEVEL, "dial": DIAL}, more=f"[straightedges.long]\nlength_mm = 1000\n{edge}"
    )
    run = make_traverse(
        bed, "dial", STATION, 0 * STATION, face="front-flat", reference="straightedge:long", **setup
    )
    return combine([run], bed)


@pytest.mark.parametrize("feet", [None, 40])
def test_level_across_is_taken_to_lie_square_and_on_points_until_its_feet_are_stated(
    invented_bed, make_traverse, feet
):
    cross = 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1.0\n'
    bed = invented_bed(instruments={"cross": cross + (f"carrier_feet_mm = {feet}\n" if feet else "")})
    run = make_traverse(bed, "cross", STATION, 0 * STATION, front="front-flat", rear="rear-flat")
    found = told(combine([run], bed))
    assert found[FEET] == Assumption(FEET, feet is not None, ("cross across front-flat and rear-flat",))
    assert found[SQUARE] == Assumption(SQUARE, False, ("cross",))
    assert "cross levels square across" in taken_words([*found.values()])[0]
    assert ("carrier_feet_mm" in " ".join(unstated_words([*found.values()]))) is (feet is None)


@pytest.mark.parametrize(("reference", "is_told"), [("vee", True), ("carriage", False)])
def test_a_vee_is_taken_as_worn_alike_where_it_was_touched_and_where_the_carriage_bears(
    invented_bed, make_traverse, reference, is_told
):
    """The carriage itself bears on all of the flanks; a stand on rollers touches a line of each."""
    faces = {
        "front": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
        "vee": 'normal = "up"\nacross_mm = 300\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\n'
        'carriage = "rear"',
        "tail": 'normal = "up"\nacross_mm = 120',
    }
    bed = invented_bed(instruments={"dial": DIAL}, faces=faces, bed="carriage_length_mm = 200\n")
    inside = STATION[1:-1]
    run = make_traverse(bed, "dial", inside, 0 * inside, face="tail", reference=reference)
    found = told(combine([run], bed))
    assert (VEES in found) is is_told
    assert ("vees worn alike all over their flanks" in taken_words([*found.values()])[0]) is is_told


@pytest.mark.parametrize(("second", "is_told"), [
    ({"turned": True, "same_zero_as": 1}, True), ({"same_zero_as": 1}, False), ({"turned": True}, False),
])  # fmt: skip
def test_zero_by_turning_a_level_across_takes_what_it_lies_on_as_turned_with_it(
    invented_bed, make_traverse, second, is_told
):
    """Parallels that stay where they lay differ all along by what looks like a roll; no reading shows it."""
    bed = invented_bed(instruments={"cross": 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\n'})
    runs = [
        make_traverse(
            bed, "cross", STATION, 0 * STATION, number=n, front="front-flat", rear="rear-flat", **how
        )
        for n, how in ((1, {}), (2, second))
    ]
    found = told(combine(runs, bed))
    assert (TURNED_WITH in found) is is_told
    assert ("cross levels turned with their parallels" in taken_words([*found.values()])[0]) is is_told


def test_how_a_straightedge_rests_is_turned_and_warmed_is_taken_for_granted(invented_bed, make_traverse):
    """By hand: steel, 1 m by 60 mm: 1 °C is 11.5e-6/8/0.06 = 24.0 µm; on its ends it sags
    5·12·ρgL⁴/(384Eh²) = 16.3 µm."""
    deep = 'depth_mm = 60\nmaterial = "steel"\n'
    rests = deep + "supports_mm = [0, 1000]\n"
    found = told(_along_an_edge(invented_bed, make_traverse, rests, turned_over=True))
    assert found[EDGE_RESTS].size_um == pytest.approx(16.3, abs=0.05)
    assert found[EDGE_WARMTH].size_um == pytest.approx(24.0, abs=0.05)
    assert found[EDGE_TURNED] == Assumption(EDGE_TURNED, False, ("long",))
    (line,) = taken_words(list(found.values()))
    for words in (
        "straightedges resting where stated (sag of 16 µm)",
        "straightedges evenly warm",
        "straightedges turned over with each end in its place",
    ):
        assert words in line
    assert "1 °C from one side to the other bends it by 24 µm" in " ".join(unstated_words([*found.values()]))
    plain = told(_along_an_edge(invented_bed, make_traverse, deep + "warmth_uncertainty_k = 0.1\n"))
    assert {EDGE_RESTS, EDGE_WARMTH, EDGE_TURNED}.isdisjoint(plain)
    bare = told(_along_an_edge(invented_bed, make_traverse, ""))
    assert bare[EDGE_WARMTH].size_um is None
    assert "the other bends it; let it lie" in " ".join(unstated_words([bare[EDGE_WARMTH]]))


def test_what_is_taken_for_granted_twice_is_said_once():
    """Of two surveys held against each other one may have its temperatures written down."""
    both = [Assumption(BED, True), Assumption(BED, False)]
    assert taken_words(both) == ["  The ± takes for granted: bed unchanged between runs."]


def test_answers_from_typed_figures_say_what_they_take_for_granted():
    """A square, a dovetail and its gib, centres and facing: scale and places as exact."""
    answers = [
        Square(Measured(20.0, 1.0), None, 300.0),
        gib_for(40, 60),
        Centres(Measured(1.0, 0.1), Measured(0.0, 0.1), Measured(0.0, 0.2)),
    ]
    assert all({each.what for each in answer.assumptions} == {SCALE, POSITIONS} for answer in answers)


def test_feet_and_the_blue_of_a_plan_take_for_granted_what_the_map_does(stepped):
    bed_map = stepped("forward", "reverse")
    wanted = assumptions(bed_map, ["front-flat"])
    (plan,) = plan_faces(bed_map, ["front-flat"]).plans.values()
    assert wanted and plan.blue and all(each.assumptions == wanted for each in plan.blue)
    assert feet_to_move(bed_map, "front-flat", "rear-flat").assumptions == assumptions(bed_map)


HOLLOW = 200.0 * (MIDDLE - 500.0) / 500.0
"""Slopes of a way hollow by 50 µm."""


def _two_levels(invented_bed, make_traverse, second, shape=HOLLOW):
    """There and back by one level, and along `second` by another, which reads the other way round or not."""
    bed = invented_bed(instruments={"level": LEVEL, "second": LEVEL})
    runs = [
        make_traverse(bed, "level", MIDDLE, shape, number=1, face="front-flat"),
        make_traverse(bed, "level", MIDDLE, shape, number=2, face="front-flat", direction="reverse"),
        make_traverse(bed, "second", MIDDLE, shape, number=3, face=second),
    ]
    return combine(runs, bed)


def test_plus_and_minus_are_taken_as_written_where_no_other_instrument_shows_them(
    invented_bed, make_traverse
):
    """A level there and back agrees with itself, hollow or crowned."""
    apart = told(_two_levels(invented_bed, make_traverse, "rear-flat"))
    assert apart[SIGNS] == Assumption(SIGNS, False, ("level", "second"))
    assert SIGNS not in told(_two_levels(invented_bed, make_traverse, "front-flat"))
    one = told(_two_levels(invented_bed, make_traverse, "rear-flat"), "front-flat")
    assert one[SIGNS].of == ("level",)


def test_a_straight_way_shows_no_signs(invented_bed, make_traverse):
    found = told(_two_levels(invented_bed, make_traverse, "front-flat", 0.0 * HOLLOW))
    assert found[SIGNS].of == ("level", "second")


@pytest.mark.parametrize(("second", "is_shown"), [("front-flat", True), ("rear-flat", False)])
def test_signs_that_show_are_those_whose_wrong_one_contradicts_the_rest(
    invented_bed, make_traverse, second, is_shown
):
    """The other way round: negated, the readings of an instrument fit as well as before, or not at all."""
    bed = invented_bed(instruments={"level": LEVEL, "second": LEVEL})
    runs = [
        make_traverse(bed, name, MIDDLE, sign * HOLLOW, number=number, face=face)
        for number, name, sign, face in ((1, "level", 1.0, "front-flat"), (2, "second", -1.0, second))
    ]
    bed_map = combine(runs, bed)
    assert (bed_map.chi_square > 100.0 or bool(bed_map.slips)) is is_shown
    assert (SIGNS not in told(bed_map)) is is_shown


def test_a_caliper_has_no_other_sign(invented_bed, make_traverse):
    caliper = 'quantity = "span"\nunit = "um"\nstandard_uncertainty = 1.0\n'
    bed = invented_bed(instruments={"level": LEVEL, "caliper": caliper})
    runs = [
        make_traverse(bed, "level", MIDDLE, HOLLOW, number=1, face="front-flat"),
        make_traverse(
            bed, "caliper", STATION, 0.0 * STATION, number=2, face="front-flat", other="front-under"
        ),
    ]
    assert told(combine(runs, bed))[SIGNS].of == ("level",)
