"""What there is to do: how deep with twice u, in the owner's unit, and nothing asked that may not be.

The figures are invented, and such that u and 2u do not round to one number.
"""

from types import SimpleNamespace as Made

import numpy as np
import pytest

from acquire.model.units import MM_PER_INCH
from analysis.answers.common_state import StateNotWritten
from analysis.answers.further_runs import Run
from analysis.answers.joints import Found
from analysis.answers.next_traverse import FurtherTraverse
from analysis.answers.not_yet import NOT_CHECKED
from analysis.words import (
    blue,
    feet,
    flanks,
    history,
    joints,
    plan,
    plan_answer,
    ripples,
    saddle,
    wall,
)
from analysis.words.facts import sentence
from tests.analysis.words.results import STATION, U, cells, drop, face_plan, removal


def test_drop_of_the_saddle_stands_with_twice_its_standard_uncertainty():
    assert (
        "comes down by 30 µm (1.2 thou) ± 6 µm (0.2 thou) at 500 mm" in saddle.saddle_words(drop(), False)[0]
    )


def test_plan_prints_depth_twice_u_and_what_is_for_this_round():
    rows = plan.plan_rows(face_plan(), False)
    assert rows[1] == ("500", "40", "6", "1.6", "20")
    assert plan.plan_heads(face_plan(), False) == (
        "station mm", "take off µm", "± µm", "thou", "this round µm"
    )  # fmt: skip
    rows = plan.plan_rows(face_plan(), True)
    assert rows[1] == (f"{500 / MM_PER_INCH:.2f}", "1.6", "0.3", "40", "0.8")
    assert plan.plan_heads(face_plan(), True) == (
        "station in", "take off thou", "± thou", "µm", "this round thou"
    )  # fmt: skip


def test_plan_in_one_line_prints_twice_u():
    assert "most at 500 mm, 40 µm (1.6 thou) ± 6 µm (0.3 thou); nothing at 0 mm; 20 µm" in plan.plan_answer(
        face_plan(), False
    )
    assert "only the guard at 0 mm" in plan.plan_answer(face_plan(removal=removal(2.0)), False)


def test_sheet_for_the_machine_prints_twice_u_and_scrapes_no_noise():
    assert wall.strip_words(face_plan(), False) == "most at 500 mm: 40 ± 6 µm; nothing at 0 mm"
    assert "nothing to take off" in wall.strip_words(face_plan(nothing_to_see=True), False)


def test_flanks_print_twice_u_front_before_rear():
    found = Made(
        station_mm=STATION, front_um=np.full(3, -10.0), rear_um=np.full(3, -2.0), front_uncertainty_um=U,
        rear_uncertainty_um=U / 2,
    )  # fmt: skip
    (front, front_sure), (rear, rear_sure) = ("-10", "6"), ("-2", "3")
    table = flanks._flank_table(found, False)
    assert table[0].cells == ("station mm", "front µm", "± µm", "rear µm", "± µm")
    assert table[2].cells == ("500", front, front_sure, rear, rear_sure)


@pytest.mark.parametrize(
    ("meets", "nothing_to_see", "words"),
    [
        (True, False, "meets your limit"),
        (False, True, "cannot be seen by these readings"),
        (False, False, ""),
    ],
)
def test_told_to_stop_only_where_the_limit_is_met_or_nothing_is_seen(meets, nothing_to_see, words):
    found = Made(meets={"way": meets}, plans={"way": face_plan(nothing_to_see=nothing_to_see)})
    said = plan.stop_words(found, "way")
    assert words in " ".join(said) and bool(said) is bool(words)


def test_passes_are_told_in_the_owners_unit():
    passes = (Made(number=1, stretches_mm=((254.0, 508.0),)),)
    assert plan.passes_rows(face_plan(passes=passes), True) == [("pass 1", "10.0 to 20.0 in")]
    assert plan.passes_rows(face_plan(passes=passes), False) == [("pass 1", "254 to 508 mm")]
    assert "0.2 thou" in plan.passes_words(face_plan(passes=passes), True)[0]  # 5 µm are 0.197 thou


def test_guard_in_a_plan_is_said():
    target = {"parallel_to": None}
    assert "A guard of 2 µm" in " ".join(plan.plan_notes(face_plan(removal=removal(2.0), **target), False))
    assert "guard" not in " ".join(plan.plan_notes(face_plan(**target), False))


def change_at(where, um):
    stretch = Made(from_mm=300.0, to_mm=300.0, at_mm=300.0, change_um=um, expanded_um=2.0)
    told = {"came_off": (), "rose": (), where: (stretch,), "counted_from_mm": ((0.0, 200.0), (400.0, 400.0))}
    return Made(verdict="better", relative_to=None, metal=None, face="way", worst=None, **told)


def test_metal_that_came_off_is_a_depth_above_nothing():
    assert (
        "came off at 300 mm, most at 300 mm: 12 µm (0.47 thou) ± 2 µm (0.08 thou) more than on the line"
        in history._where_words(change_at("came_off", -12.0), False)[0]
    )


@pytest.mark.parametrize(("where", "um"), [("came_off", -12.0), ("rose", 12.0)])
def test_depth_and_height_name_where_they_count_from_and_what_does_not_show(where, um):
    told = history._where_words(change_at(where, um), False)
    assert "12 µm" in told[0] and "where it changed least" in told[0]
    assert "from 0 mm to 200 mm and at 400 mm" in told[-1]
    assert "an even depth or a straight taper" in told[-1]


def test_predicted_level_readings_now_before_then_in_the_owners_unit():
    found = Made(
        station_mm=np.array([0.0, 254.0]), now_um_per_m=np.array([0.0, 500.0]),
        roll_um_per_m=np.array([0.0, 250.0]),
        expanded_um_per_m=np.array([1.0, 1.0]), known_up_to="nothing", roll_of="ways",
    )  # fmt: skip
    inch, metric = (cells(feet._predicted_words(found, is_inch, True))[1] for is_inch in (True, False))
    assert list(inch.values())[:3] == ["10 in", "6.00", "3.00"]  # 500 µm/m are 6 thou over a foot
    assert list(inch)[:3] == ["at", "now thou/ft", "then thou/ft"]
    assert list(metric.values())[:3] == ["254 mm", "500", "250"]


def test_nothing_is_scraped_that_may_not_be_and_the_deepest_way_comes_first():
    shallow = face_plan(face="flat", this_round_um=np.array([0.0, 5.0, 0.0]))
    found = Made(plans=[shallow, face_plan()], may_be_scraped=("way", "flat"), why_not=None)
    first, second = wall._metal(found, False)
    assert (
        first.deed == "Scrape way" and "most at 500 mm, 20 µm" in first.words and second.deed == "Blue first"
    )
    forbidden = Made(plans=[face_plan()], may_be_scraped=(), why_not="the feet first.")
    assert wall._metal(forbidden, False)[0].deed == "Do not scrape yet"


def test_foot_screw_is_turned_in_parts_of_a_turn_or_degrees():
    assert wall.turn_words(Made(lift_um=9.0, turns=0.05), False) == "up 18°"
    row = feet._row(Made(foot="a", turns=0.25, lift_um=254.0), False)
    assert row == ("a", "up", "254", "10.00", "0.250 turn (90°)")
    assert feet._row(Made(foot="a", turns=0.25, lift_um=254.0), True)[2:4] == ("10.00", "254")


def test_reason_that_holds_for_one_face_names_it():
    assert plan.not_yet_words({"way": NOT_CHECKED}, ())[0].startswith("Do not scrape way yet:")


@pytest.mark.parametrize("inch", [False, True])
def test_lining_is_milled_off_or_a_thicker_sheet_is_asked_for(inch):
    amount = "0.0500 in" if inch else "1.270 mm"
    mill = Made(way="vee", flank="front", mill_off_mm=1.27)
    assert f"mill {amount} off the saddle, square to the flank" in saddle._mill_words(mill, inch)
    thicker = Made(way="flat", flank="flat", mill_off_mm=-1.27)
    assert f"Lining flat: {amount} thicker a sheet is needed" in saddle._mill_words(thicker, inch)


def test_step_and_pieces_to_move_stand_under_their_own_heads_in_the_owners_unit():
    step = Made(height_um=20.0, expanded_um=2.0, from_mm=254.0, to_mm=304.8, hangs_on=None)
    assert "at 10.00 to 12.00 in." in ripples.step_words(step, True)
    assert "at 254 to 304.8 mm." in ripples.step_words(step, False)
    move = Made(
        place="r2", is_foot=True, station_mm=254.0, lift_um=Found(30.0, 2.0), rear_um=Found(-20.0, 2.0)
    )
    (row,) = cells(joints._move_words(Made(moves=(move,)), False))
    assert row["foot"] == "r2" and row["station"] == "254 mm"
    assert row["up or down"].startswith("up 30 µm") and row["sideways"].startswith("to front 20 µm")


def moved(**changes):
    given = {
        "moves": (Made(foot="a", turns=None, lift_um=50.8),), "bolted": (), "step_rolls": {"a": (10.0, 20.0)},
        "model": "stiff bed", "is_bounded": False, "most_um": 200.0, "shapes_seen": 1,
    }  # fmt: skip
    return Made(**(given | changes))


@pytest.mark.parametrize(("inch", "first"), [(False, "by µm"), (True, "by thou")])
def test_lift_of_a_foot_stands_under_its_own_unit(inch, first):
    (row,) = cells(feet._move_words(moved(), inch))
    assert (row["by µm"] if not inch else row["µm"]) == "51"
    assert row[first] == ("51" if not inch else "2.00")


def test_bolted_foot_is_slackened_first_and_no_other():
    assert "a: slacken the bolts before" in " ".join(feet._move_words(moved(bolted=("a", "b")), False))
    assert "slacken" not in " ".join(feet._move_words(moved(bolted=("b",)), False))


def test_moves_say_by_what_they_were_worked_out_and_what_stopped_them():
    for model, words in (
        ("stiff bed", "by the model of a stiff bed"),
        ("learned", "by what the round before showed"),
        ("measured", "by how this bed answered its feet"),
    ):
        said = " ".join(feet._move_words(moved(model=model), False))
        assert words in said and ("errs by about 30 %" in said) is (model == "stiff bed")
    assert "more is left for the next" in " ".join(feet._move_words(moved(is_bounded=True), False))
    assert "more is left for the next" not in " ".join(feet._move_words(moved(), False))


@pytest.mark.parametrize(
    ("rests", "words"), [((400.0,), "it rocks on 400 mm"), ((0.0, 900.0), "it rests on 0 and 900 mm")]
)
def test_edge_rocks_on_one_place_and_rests_on_two(rests, words):
    under = Made(from_mm=0.0, to_mm=900.0, touches_mm=((0.0, 100.0),), may_touch_mm=(), rests_at_mm=rests)
    assert words in blue._blue_of(under, False)


def test_stretches_of_blue_are_told_to_a_millimetre_or_a_tenth_of_an_inch():
    stretches = ((0.0, 127.2), (127.4, 152.4), (508.0, 635.0))
    assert blue._stretches(stretches, False) == "0 to 152 mm, 508 to 635 mm"
    assert blue._stretches(stretches, True) == "0 to 6 in, 20 to 25 in"


def round_done(share=0.7):
    return Made(
        taken=0.9, error=0.2, error_at_most=0.4, share=share, overshot_um=np.array([0.0, 0.0, 6.0]),
        expanded_um=np.array([2.0, 2.0, 2.0]), station_mm=STATION, asked_um=np.array([0.0, 40.0, 20.0]),
        done_um=np.array([0.0, 30.0, 26.0]),
    )  # fmt: skip


def test_last_round_lists_what_was_asked_before_what_came_off():
    assert cells(plan_answer.after_words(round_done(), False))[1] == {
        "station mm": "500", "asked µm": "40", "came off µm": "30", "± µm": "2"
    }  # fmt: skip


@pytest.mark.parametrize(("share", "is_said"), [(0.7, True), (0.5, False)])
def test_share_to_cut_is_said_where_the_last_round_allows_a_larger_one(share, is_said):
    words = " ".join(plan_answer.after_words(round_done(share), False))
    assert ("sure enough to cut 70 % of each depth" in words.replace("%", " %").replace("  ", " ")) is is_said
    assert "Overshot at 1 station, most at 1000 mm: 6 µm" in words


def test_that_nothing_may_be_scraped_is_always_among_the_things_to_do():
    feet_moves = Made(moves=(Made(foot="a", turns=None, lift_um=50.0),))
    whole = Made(slips=(), suspects=(Made(station_mm=300.0, traverse=2),))
    advice = (Made(words=StateNotWritten(("clamped",), "before"), command=None),)
    found = wall.Found(whole, (), feet_moves, None, advice, (), (), None)
    deeds = [thing.deed for thing in wall.things_to_do(found, False)]
    assert deeds == ["Read traverse 2 again at 300 mm", "Turn the foot", "Do not scrape yet"]


@pytest.mark.parametrize(
    ("now", "then", "words"),
    [
        (0.85, 0.26, "straightness from ±0.85 to ±0.26 µm"),
        (None, 3.0, "straightness ±3.0 µm, not known so far"),
        (3.0, 3.0, "straightness stays ±3.0 µm"),
        (0.483, 0.404, "straightness from ±0.48 to ±0.40 µm"),
    ],
)
def test_further_traverse_says_what_it_would_bring_from_what_is_known_now(now, then, words):
    run = Run("along", "level", ("way",), "forward")
    fact = FurtherTraverse(run, "straightness", now, then, "µm", ())
    assert words in sentence(fact)
