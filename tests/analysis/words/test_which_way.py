"""Which way it is out, in words: each sign of a figure has its own word, and the other sign the other.

Signs as everywhere in the project: heights proud +, slopes rising away from station 0 +, roll rear high +,
sideways to the rear +. The figures are invented; each stands well clear of its uncertainty.
"""

from types import SimpleNamespace as Made

import numpy as np
import pytest

from analysis.answers.both_times import BETTER, WORSE
from analysis.answers.feet_on_bed import Move
from analysis.answers.joints import Found
from analysis.answers.measured import Measured
from analysis.words import (
    align,
    datums,
    feet,
    flanks,
    history,
    joints,
    plan,
    ripples,
    saddle,
    taper,
    wall,
    work,
)
from analysis.words import (
    shape as shaped,
)
from analysis.words import (
    twist as twisted,
)
from analysis.words.blue import contradiction_words
from analysis.words.facts import SENTENCES
from analysis.words.of_readings import stood

STATION = np.array([0.0, 500.0, 1000.0])


def line(sign: int) -> Made:
    """An axis against the carriage's path, up and sideways by as much."""
    slope = Measured(sign * 40.0, 1.0)
    read = Made(rise_um_per_m=slope, rear_um_per_m=slope, run_out_um=None, sag_um=0.0)
    return Made(
        near_mm=100.0, far_mm=400.0, read=read, rise_um_per_m=slope, rear_um_per_m=slope,
        assumptions=(), warnings=(), away="away from the headstock",
    )  # fmt: skip


def joint(**parts: float) -> str:
    """What is said of a joint whose one known part is so."""
    names = ("up_um", "rear_um", "pitch_um_per_m", "yaw_um_per_m", "roll_um_per_m")
    found = {name: Found(parts[name], 1.0) if name in parts else None for name in names}
    one = Made(at_mm=500.0, may_be_a_bend=False, is_one_body=True, faces=(), cannot_tell=(), **found)
    return joints._joint_words(one, False)[0]


def twist(wind: float) -> Made:
    return Made(
        front="vee", rear="flat", wind_um_per_m=wind, wind_expanded_um_per_m=2.0, gauge_mm=400.0,
        far_end="tailstock end",
    )  # fmt: skip


def roll_part(sign: int) -> Made:
    return Made(
        station_mm=STATION, roll_um_per_m=sign * np.array([0.0, 10.0, 40.0]),
        standard_uncertainty_um_per_m=np.full(3, 1.0), wind_um_per_m=sign * 40.0, wind_expanded_um_per_m=2.0,
    )  # fmt: skip


def pair(sign: int, *, is_gap: bool, look_opposite: bool) -> Made:
    return Made(
        a="top", b="under", taper_um_per_m=sign * 40.0, is_gap=is_gap, look_opposite=look_opposite,
        far_end="far end",
    )  # fmt: skip


def parallel(sign: int, look_opposite: bool) -> Made:
    return Made(
        a="top", b="under", taper_um_per_m=sign * 40.0, taper_expanded_um_per_m=2.0, is_seen=True,
        look_opposite=look_opposite,
    )  # fmt: skip


def drop(sign: int) -> Made:
    return Made(
        at_apron_um=np.array([10.0, 30.0, 20.0]), standard_uncertainty_um=np.full(3, 1.0),
        at_apron_standard_uncertainty_um=np.full(3, 1.0), station_mm=STATION,
        roll_um_per_m=sign * np.array([0.0, 30.0, 10.0]), rack_play_um=5.0, pressure_angle_deg=20.0,
        mill_off=(), assumptions=(),
    )  # fmt: skip


def moves(sign: int) -> Made:
    places = Made(place="rear-2", is_foot=True, station_mm=900.0)
    return Made(**vars(places), lift_um=Found(sign * 30.0, 2.0), rear_um=Found(sign * 20.0, 2.0))


def split(headstock: float, taper: float = 20.0) -> Made:
    parts = Made(
        taper_um=Measured(taper, 1.0), headstock_um_per_m=Measured(headstock, 1.0), from_roll_um=None,
        from_sway_um=None, twist_to_hide_um_per_m=None,
    )  # fmt: skip
    return Made(
        split=parts, feet_um=None, wear_um=None, cannot_tell=(), assumptions=(), warnings=(), near_mm=200.0,
        far_mm=450.0,
    )  # fmt: skip


def centres(sign: int) -> Made:
    figure = Measured(sign * 20.0, 1.0)
    return Made(higher_um=figure, rear_um=figure, taper_um=figure)


def collars(headstock: float, taper: float) -> str:
    return align.collars_words(split(headstock, taper), False)[0]


def tip(high_mm: float) -> str:
    found = Made(tip_high_mm=high_mm, centre_height_mm=200.0, is_interpolated=False)
    return work._taken(found, False)[0]


def dovetail(sign: int) -> str:
    return flanks._taper(Made(taper_um_per_m=Measured(sign * 40.0, 1.0)), False)


def changed(sign: int) -> Made:
    return Made(
        figure="ways", front="vee", rear="flat", before_um_per_m=sign * 40.0, before_expanded_um_per_m=2.0,
        after_um_per_m=-sign * 30.0, after_expanded_um_per_m=2.0, smallest_detectable_um_per_m=3.0,
        verdict=BETTER if sign > 0 else WORSE,
    )  # fmt: skip


def path(direction: str) -> str:
    found = Made(
        face="side", direction=direction, range_um=5.0, range_expanded_um=1.0, station_mm=STATION,
        path_um=np.zeros(3), expanded_um=np.ones(3), is_roll_in_it=False,
    )  # fmt: skip
    return datums._path(found, False)[0]


def step(sign: int) -> Made:
    return Made(height_um=sign * 20.0, expanded_um=2.0, from_mm=400.0, to_mm=450.0, hangs_on=None)


def known(sign: int) -> str:
    """What stands behind a twist that nothing tells from wear."""
    fact = Made(expanded_um_per_m=9.0, known=Made(rear_um=5.0 * sign, station_mm=500.0))
    return SENTENCES["TooUnsure"](fact)


def late(sign: int) -> str:
    return SENTENCES["ReadLate"](Made(instrument="a", lag_s=sign * 0.5, expanded_s=0.1))


def warmed(before_k: float, after_k: float) -> str:
    return SENTENCES["WarmedSince"](Made(before_k=before_k, after_k=after_k, bend_um=None))


def heat(sign: int, bend_um: float | None) -> str:
    return SENTENCES["BentByHeat"](Made(traverse=1, difference_k=sign * 1.0, bend_um=bend_um))


def wishes(sign: int) -> str:
    asked = Made(coplanar=False, no_wind=False, crown_um=sign * 10.0)
    found = Made(infeasible=None, wishes=asked, decided_by_greatest=False, share=1.0, after=None)
    return plan.plans_words(found, False)[0]


@pytest.mark.parametrize(
    ("words", "plus", "minus"),
    [
        (lambda s: twisted.roll_words(twist(s * 92.0), False), "tailstock end, rear high", "front high"),
        (lambda s: feet._wind(roll_part(s), False), "rear high", "front high"),
        (lambda s: feet._most(roll_part(s), False), "at 1000 mm, rear high", "at 1000 mm, front high"),
        (lambda s: feet._row(Move("f", None, s * 30.0), False)[1], "up", "down"),
        (lambda s: wall.turn_words(Move("f", None, s * 30.0), False), "up 30 µm", "down 30 µm"),
        (lambda s: saddle.saddle_words(drop(s), False)[1], "rear high", "front high"),
        (lambda s: joint(up_um=30.0 * s), "lies high by 30", "lies low by 30"),
        (lambda s: joint(rear_um=30.0 * s), "to the rear by 30", "to the front by 30"),
        (lambda s: joint(pitch_um_per_m=30.0 * s), "rising away", "falling away"),
        (lambda s: joint(yaw_um_per_m=30.0 * s), "off to the rear", "off to the front"),
        (lambda s: joint(roll_um_per_m=30.0 * s), "rear high", "front high"),
        (lambda s: joints._ways(moves(s), False)[0], "up 30 µm", "down 30 µm"),
        (lambda s: joints._ways(moves(s), False)[1], "to rear 20 µm", "to front 20 µm"),
        (lambda s: taper._way(pair(s, is_gap=True, look_opposite=False)), "gap between grows narrower",
         "wider"),
        (lambda s: taper._way(pair(s, is_gap=False, look_opposite=True)), "thicker", "thinner"),
        (lambda s: taper._way(pair(s, is_gap=False, look_opposite=False)), "under rises against top",
         "falls"),
        (lambda s: datums._taper(parallel(s, True), False, "far end"), "thicker", "thinner"),
        (lambda s: datums._taper(parallel(s, False), False, "far end"), "under rises against",
         "under falls against"),
        (lambda s: align.line_words(line(s), "axis", False)[1], "rises away", "drops away"),
        (lambda s: align.line_words(line(s), "axis", False)[2], "runs to the rear", "runs to the front"),
        (lambda s: align.line_words(line(s), "axis", False)[4], "rises away", "drops away"),
        (lambda s: align.line_words(line(s), "axis", False)[5], "runs to the rear", "runs to the front"),
        (lambda s: align._leans(Measured(s * 40.0, 1.0), False), "towards +x", "towards −x"),
        (lambda s: align.centres_words(centres(s), False)[0], "higher", "lower"),
        (lambda s: align.centres_words(centres(s), False)[0], "to the rear of", "to the front of"),
        (lambda s: align.centres_words(centres(s), False)[1], "thicker at the tailstock", "thinner"),
        (lambda s: collars(40.0 * s, 20.0), "points to the rear", "points to the front"),
        (lambda s: collars(40.0, 20.0 * s), "larger than the near one", "smaller than the near one"),
        (dovetail, "gets wider", "gets narrower"),
        (lambda s: tip(s * 0.2), "above centre", "below centre"),
        (lambda s: history.twist_change_words(changed(s), False), "rear high before", "front high before"),
        (lambda s: history.twist_change_words(changed(s), False), "front high after", "rear high after"),
        (lambda s: history.twist_change_words(changed(s), False), "is better", "is worse"),
        (lambda s: ripples.step_words(step(s), False), "step up", "step down"),
        (known, "higher against", "lower against"),
        (late, "lag the", "lead the"),
        (lambda s: heat(s, None), "warmer than its bottom", "colder than its bottom"),
        (lambda s: heat(s, None), "bends it crowned", "bends it hollow"),
        (lambda s: heat(s, s * 4.8), "crowned by about 4.8", "hollow by about 4.8"),
        (lambda s: warmed(0.0, s * 1.0), "crowned", "hollow"),
        (wishes, "a crown of", "a hollow of"),
    ],
)  # fmt: skip
def test_each_sign_has_its_word(words, plus, minus):
    assert plus in words(1) and minus not in words(1)
    assert minus in words(-1) and plus not in words(-1)


def test_temperatures_before_and_after_stand_in_their_order():
    assert "was -0.5 °C against its bottom before and +1.0 °C after" in warmed(-0.5, 1.0)


@pytest.mark.parametrize(
    ("key", "true", "false"),
    [
        ("clamped", "clamped down", "not clamped"),
        ("headstock_on", "with the headstock on", "with the headstock off"),
        ("carriage_on", "with the carriage on", "with the carriage off"),
    ],
)
def test_how_the_bed_stood_is_said_as_it_was_written_down(key, true, false):
    assert (stood(key, True), stood(key, False)) == (true, false)


def test_face_that_the_slide_cuts_is_hollow_or_crowned_by_its_sign():
    for sign, form in ((1, "hollow"), (-1, "crowned")):
        found = Made(
            hollow_um_per_m=Measured(sign * 40.0, 1.0), depth_um=Measured(sign * 4.0, 0.2), diameter_mm=200.0
        )
        assert f"faces {form} by 4.0" in align.facing_words(found, False)[0]


@pytest.mark.parametrize(
    ("is_gap", "look_opposite", "most", "least"),
    [(True, False, "highest", "lowest"), (False, True, "thickest", "thinnest"),
     (False, False, "highest", "lowest"), (True, True, "narrowest", "widest")],
)  # fmt: skip
def test_where_two_faces_depart_from_their_line_is_named_by_what_lies_between(
    is_gap, look_opposite, most, least
):
    found = Made(
        a="a", b="b", is_gap=is_gap, look_opposite=look_opposite, is_even=False, departure_range_um=9.0,
        departure_expanded_um=1.0, highest=Made(station_mm=100.0), lowest=Made(station_mm=700.0),
        shapes_known=("a", "b"),
    )  # fmt: skip
    assert f"{most} at 100 mm, {least} at 700 mm" in taper._beside(found, False)[0]


def test_shape_that_is_known_is_not_told_as_unknown():
    found = Made(
        a="a", b="b", is_gap=False, look_opposite=True, is_even=True, departure_expanded_um=1.0,
        shapes_known=("a",),
    )  # fmt: skip
    assert "The shape of b is not known" in taper._beside(found, False)[1]
    found.shapes_known = ()
    assert "The shape of neither face is not known" in taper._beside(found, False)[1]


@pytest.mark.parametrize(
    ("largest_mm", "smallest_mm", "form"),
    [(0.0, 1000.0, "tapered"), (500.0, 0.0, "barrel-shaped"), (1000.0, 500.0, "waisted"), (200.0, 800.0,
     "wavy")],
)  # fmt: skip
def test_form_of_a_part_goes_by_where_it_is_thickest_and_thinnest(largest_mm, smallest_mm, form):
    found = Made(
        diameter_mm=50.0, varies_um=20.0, varies_interval_um=(18.0, 22.0), is_seen=True,
        known_up_to="nothing",
        station_mm=STATION, largest_mm=largest_mm, smallest_mm=smallest_mm,
    )  # fmt: skip
    words = work.work_answer(found, False)
    assert f"comes out {form}, 20 µm" in words
    assert f"thickest at {largest_mm:g} mm to thinnest at {smallest_mm:g} mm" in words


@pytest.mark.parametrize(
    ("seen", "there", "elsewhere"), [("bare", "lower", "higher"), ("blue", "higher", "lower")]
)
def test_blue_that_contradicts_the_map_says_which_way_the_face_must_lie(seen, there, elsewhere):
    mark = Made(seen=seen, from_mm=100.0, to_mm=200.0, at_mm=150.0, gap_um=9.0, expanded_gap_um=1.0)
    words = contradiction_words(mark, Made(film_um=3.0, film_uncertainty_um=0.5), False)
    assert f"the face is {there} there than mapped, or {elsewhere}" in words


def test_fixture_path_goes_up_and_down_on_a_flat_and_sideways_on_a_side():
    assert "its tool goes up and down by" in path("up")
    assert "its tool goes sideways (+ to the rear) by" in path("rear")


def test_hollow_way_names_its_lowest_place_and_a_crowned_one_its_highest():
    places = {"lowest": Made(station_mm=300.0), "highest": Made(station_mm=700.0)}
    for sense, where in (
        ("hollow", "hollow by 40 µm (1.57 thou) ± 3 µm (0.12 thou), lowest at 300 mm"),
        ("crowned", "crowned by 40 µm (1.57 thou) ± 3 µm (0.12 thou), highest at 700 mm"),
        ("both", "hollow and "
         "crowned by 40 µm (1.57 thou) ± 3 µm (0.12 thou), highest at 700 mm, lowest at 300 mm"),
    ):  # fmt: skip
        found = Made(sense=sense, straightness_expanded_um=3.0, **places)
        assert shaped._shape(found, 40.0, False) == where


def test_sound_and_worn_flank_keep_their_columns():
    found = Made(
        station_mm=[0.0], width_mm=[50.0], flanks_um=(np.array([1.0]), np.array([-9.0])),
        flank_uncertainty_um=(0.5, 0.5),
    )  # fmt: skip
    heads, row = (each.cells for each in flanks._dovetail_table(found, False))
    assert dict(zip(heads, row, strict=True)) == {
        "station mm": "0", "width mm": "50.0000", "flank read µm": "1.0", "other flank µm": "-9.0"
    }  # fmt: skip


def test_flanks_of_a_vee_keep_their_columns():
    vee = Made(flank_um={"front": np.array([1.0]), "rear": np.array([9.0])})
    assert {name: float(um[0]) for name, um in plan.flank_depths(vee).items()} == {
        "in all, front flank": 1.0,
        "in all, rear flank": 9.0,
    }
