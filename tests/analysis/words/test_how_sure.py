"""The ± that is printed is twice the standard uncertainty; what is not seen may be as large as is said.

The figures are invented, and such that u and 2u do not round to one number.
"""

from types import SimpleNamespace as Made

import numpy as np
import pytest

from acquire.model.inch_words import in_owners_unit
from acquire.model.units import MM_PER_INCH, UM_PER_THOU
from analysis.adjust.drift import Drift
from analysis.answers.common_state import StateNotWritten
from analysis.answers.measured import Measured
from analysis.words import (
    align,
    blue,
    comparison,
    datums,
    feet,
    flanks,
    history,
    limits,
    of_adjustment,
    plan,
    saddle,
    tables,
    taper,
    whole_bed,
    work,
)
from analysis.words import shape as shaped
from analysis.words import twist as twisted
from analysis.words.facts import sentence
from tests.analysis.words.results import STATION, U, cells, drop, face_plan


def part(**changes):
    described = {
        "diameter_mm": 50.0, "varies_um": 20.0, "varies_interval_um": (18.0, 22.0), "is_seen": True,
        "known_up_to": "nothing", "station_mm": STATION, "largest_mm": 0.0, "smallest_mm": 1000.0,
        "diameter_um": np.array([20.0, 5.0, 0.0]), "standard_uncertainty_um": U, "from_roll": None,
        "from_sideways": None, "from_height": None, "missing": (), "after_plan": None, "tip_high_mm": 0.0,
        "centre_height_mm": 200.0, "is_interpolated": False, "assumptions": (), "warnings": (),
    }  # fmt: skip
    return Made(**(described | changes))


def test_heights_of_a_table_stand_in_both_units_under_their_own_heads():
    row = cells(tables.columns([254.0], [-50.8], [7.62], inch=False))[0]
    assert row == {"station mm": "254", "height µm": "-51", "± µm": "8", "thou": "-2.0", "± thou": "0.3"}
    row = cells(tables.columns([254.0], [-50.8], [7.62], inch=True))[0]
    assert row == {"station in": "10.00", "height thou": "-2.0", "± thou": "0.3", "µm": "-51", "± µm": "8"}


@pytest.mark.parametrize(
    "lines",
    [
        lambda: work.work_words(part(), False),
        lambda: taper.tapers_words(Made(pairs=(pair(),), assumptions=(), warnings=()), False),
        lambda: saddle.saddle_words(drop(), False),
        lambda: history.change_table(
            Made(station_mm=STATION, change_um=np.zeros(3), expanded_uncertainty_um=2 * U), False
        ),
    ],
)
def test_tables_print_twice_the_standard_uncertainty(lines):
    assert [row["± µm"] for row in cells(lines())] == ["6", "6", "6"]


def pair():
    return Made(
        a="top", b="under", taper_um_per_m=0.0, taper_expanded_um_per_m=6.0, is_seen=False, is_even=True,
        departure_expanded_um=6.0, shapes_known=("top", "under"), station_mm=STATION,
        departure_um=np.zeros(3),
        standard_uncertainty_um=U, is_gap=False, look_opposite=True,
    )  # fmt: skip


def test_angle_stands_with_twice_its_standard_uncertainty_in_minutes_or_seconds():
    assert flanks._angle(Measured(45.0, 0.025)) == "45.000° ± 3.0′"
    assert flanks._angle(Measured(45.0, 0.0025)) == "45.000° ± 18″"


def test_film_of_blue_stands_with_twice_its_standard_uncertainty():
    assert (
        blue._film(Made(film_um=8.0, film_uncertainty_um=3.0), False) == "8 µm (0.31 thou) ± 6 µm (0.2 thou)"
    )


def test_wind_stands_with_its_expanded_uncertainty_and_what_it_is_across_the_ways():
    found = Made(
        front="vee",
        rear="flat",
        wind_um_per_m=90.0,
        wind_expanded_um_per_m=6.0,
        gauge_mm=400.0,
        far_end="far end",
    )
    words = twisted.roll_words(found, False)
    assert "by 90 µm/m (1.08 thou/ft) ± 6 µm/m (0.07 thou/ft), 0.090 mm/m" in words
    assert "that is 36 µm (1.42 thou) across the ways" in words  # 90 µm/m over 0.4 m
    assert "by 1.08 thou/ft (90 µm/m) ± 0.07 thou/ft (6 µm/m); that is 1.42 thou" in twisted.roll_words(
        found, True
    )


def test_wind_within_its_uncertainty_is_none_and_what_would_have_been_seen_is_larger_than_u():
    """Seen four times in five: 1.421 times the expanded uncertainty of 6 (normal errors, (2 + 0.842)/2)."""
    found = Made(
        front="vee", rear="flat", wind_um_per_m=5.0, wind_expanded_um_per_m=6.0, gauge_mm=400.0,
        far_end="far end", is_twist_seen=False, twist_detectable_um_per_m=20.0,
    )  # fmt: skip
    words = twisted.roll_words(found, False)
    assert "no wind from end to end that could be seen (9 µm/m" in words
    assert "no twist anywhere that could be seen; 20 µm/m" in words


def test_what_is_worn_must_stand_out_of_twice_its_standard_uncertainty():
    found = Made(station_mm=STATION, roll_um_per_m=np.array([0.0, 0.0, 5.0]), standard_uncertainty_um_per_m=U)
    assert "nothing that could be seen at 1000 mm (± 6 µm/m" in feet._most(found, False)
    found.roll_um_per_m = np.array([0.0, 0.0, 7.0])
    assert "7 µm/m (0.08 thou/ft) ± 6 µm/m (0.07 thou/ft) at 1000 mm" in feet._most(found, False)


def test_height_that_does_not_stand_out_is_less_than_read_and_doubt_together():
    assert shaped.seen_words(10.0, 20.0, False) == "less than 30 µm (1.2 thou)"


def test_drift_that_is_not_seen_is_less_than_read_and_doubt_together():
    assert whole_bed.drift_words([Drift("dial", -0.4, 0.5, "µm", False)]) == [
        "dial drifted by less than 0.9 µm over a run."
    ]


@pytest.mark.parametrize(
    ("is_told", "words"), [(True, "there and back tell it"), (False, "would look the same")]
)
def test_drift_is_said_to_be_sure_only_where_runs_tell_it(is_told, words):
    (said,) = whole_bed.drift_words([Drift("level", 4.0, 0.6, "µm/m", True, is_told)])
    assert words in said


@pytest.mark.parametrize("low", [0.0, 4.0])
def test_change_over_a_carriage_is_at_most_where_it_may_be_none(low):
    found = Made(
        twist_um_per_m=10.0, twist_expanded_um_per_m=6.0, is_twist_seen=True, twist_interval_um_per_m=(4.0,
        16.0),
        highest_mm=0.0, lowest_mm=900.0, gauge_mm=500.0, worst_over_carriage_interval_um_per_m=(low, 12.0),
    )  # fmt: skip
    first, second = twisted.whole_twist_words(found, False)
    assert (
        "the roll differs by 4 µm/m (0.05 thou/ft) to 16 µm/m (0.19 thou/ft) between 0 mm and 900 mm" in first
    )
    assert "2 µm (0.08 thou) to 8 µm (0.31 thou) across the ways" in first
    assert ("at most" in second) is (low == 0.0) and ("at worst" in second) is (low > 0.0)


def test_part_of_a_diameter_stands_with_the_drop_of_its_table():
    assert "20 µm (0.79 thou) on its diameter from thickest at 0 mm" in work.work_answer(part(), False)


def test_tapered_part_by_the_tailstock_is_twice_the_offset():
    slope, over = Measured(40.0, 1.0), Measured(12.0, 1.0)
    found = Made(
        faces=("tail",), from_mm=0.0, to_mm=300.0, rise_um_per_m=None, rise_um=None, rear_um_per_m=slope,
        rear_um=over, missing=(), assumptions=(), warnings=(), away="away from the headstock",
    )  # fmt: skip
    assert "makes a part 24 µm (0.94 thou) tapered" in " ".join(align.tailstock_words(found, False))


def test_lean_is_also_said_over_the_height_that_was_read():
    found = Made(
        lean_um_per_m=Measured(-100.0, 2.0), height_mm=500.0, tool_um_per_m=None, whole_um_per_m=None
    )
    assert (
        "by 100 µm/m (1.20 thou/ft) ± 4 µm/m (0.05 thou/ft), 50 µm (1.97 thou) over 500 mm"
        in (align.square_words(found, "column", False, "sweep")[0])
    )


def test_bar_that_the_cut_bends_more_than_the_readings_are_sure_is_too_thin():
    assert "take a stouter bar" in align.push_off_words(3.0, Measured(0.0, 1.0), False)[0]
    assert "stiff enough" in align.push_off_words(0.5, Measured(0.0, 1.0), False)[0]


def test_limit_is_told_in_its_own_unit_with_where_the_true_figure_lies():
    given = {"line": None, "rule": "2u", "verdict": "meets", "coarse_needs": None, "why_not_known": None}
    height = Made(what="straightness_um", of="way", limit=20.0, value=12.0, low=10.0, high=14.0, **given)
    assert "limit 20 µm (0.79 thou): meets [2u]: 12 µm" in limits.judged_words(height, False)
    assert "in truth between 10 µm (0.39 thou) and 14 µm (0.55 thou)" in limits.judged_words(height, False)
    slope = Made(what="wind_um_per_m", of="ways", limit=20.0, value=12.0, low=10.0, high=14.0, **given)
    assert "limit 20 µm/m (0.24 thou/ft)" in limits.judged_words(slope, False)


def test_rule_beside_a_verdict_is_the_one_it_was_judged_by():
    assert "1.645u" in limits.RULE_WORDS["1.645u"] and "2u" in limits.RULE_WORDS["2u"]


@pytest.mark.parametrize(("p", "words"), [(0.3, "fit each other"), (0.001, "do not fit each other")])
def test_readings_fit_or_they_do_not(p, words):
    assert words in whole_bed.fit_words(Made(p_value=p, redundancy=4.0))


def test_readings_that_nothing_checks_are_said_to_be_unchecked():
    assert "No reading checks another" in whole_bed.fit_words(Made(p_value=0.5, redundancy=0.4))
    assert "No reading checks another" in whole_bed.fit_words(Made(p_value=None, redundancy=4.0))
    rows = [Made(traverse=2, station_mm=at) for at in (100.0, 300.0)]
    assert whole_bed.unchecked_words(Made(unchecked=rows, redundancy=4.0)) == [
        "No other reading checks traverse 2 at 100, 300 mm."
    ]


def test_suspect_is_named_first_with_what_it_reads_and_what_the_others_make_it():
    row = {
        "traverse": 2,
        "station_mm": 300.0,
        "reading": 40.0,
        "predicted": 10.0,
        "unit": "um/m",
        "words": "",
    }
    found = Made(
        suspects=[Made(**row, runner_up=False), Made(**row, runner_up=True)], slips=(), redundancy=4.0
    )
    first, second = whole_bed.suspect_words(found)
    assert first == "Look again at traverse 2 at 300 mm: it reads 40 µm/m, the others make it 10 µm/m."
    assert second.startswith("Or look at traverse 2")
    assert in_owners_unit(first, inch=True).startswith("Look again at traverse 2 at 11.81 in: it reads 0.48 ")


@pytest.mark.parametrize("told", ["traverse 10, 685.8 mm", "run 10 and 685.8 mm", "traverses 10, 685.8 mm"])
def test_number_of_a_run_is_no_length_whatever_stands_behind_it(told):
    assert in_owners_unit(told, inch=True) == told.replace("685.8 mm", "27 in")


@pytest.mark.parametrize(
    ("known_up_to", "words"),
    [("a line", "only up to a steady wind"), ("a constant", "leans is not"), ("nothing", "")],
)
def test_what_is_left_open_of_the_roll_is_said(known_up_to, words):
    assert words in " ".join(twisted.known_up_to_words(Made(known_up_to=known_up_to)))
    assert bool(words) == bool(twisted.known_up_to_words(Made(known_up_to=known_up_to)))


@pytest.mark.parametrize(
    ("agree", "verdict", "do"),
    [
        (None, "cannot tell: a difference would have to reach 8 µm (0.31 thou) to be seen",
         "with less scatter"),
        (True, "agree; a difference of 8 µm (0.31 thou) would have been seen", "Largest difference 6 µm"),
        (False, "disagree, most at 300 mm, by 6 µm (0.24 thou)", "repeat one of the two there"),
    ],
)  # fmt: skip
def test_two_maps_agree_disagree_or_cannot_be_told(agree, verdict, do):
    found = Made(
        a="a", b="b", subject="way", agree=agree, smallest_detectable_um=8.0,
        worst={"difference_um": 6.0, "station_mm": 300.0},
    )  # fmt: skip
    first, second = comparison.comparison_words(found, False)
    assert verdict in first and do in second


@pytest.mark.parametrize(
    ("share", "words"),
    [(0.9, "speak for the latter"), (0.1, "speak for the former"), (0.5, "speak for both")],
)
def test_kind_of_way_that_the_readings_speak_for(share, words):
    assert words in shaped._between(share)


def test_ripples_that_show_in_no_reading_are_twice_as_long_as_what_was_read_apart():
    (words,) = shaped.resolved_words(Made(resolved_mm=100.0), False)
    assert "Known every 100 mm: ripples shorter than 200 mm" in words


def test_ripples_that_a_base_cannot_see_are_told_in_the_owners_unit():
    assert "ripples 10, 5 ... in long" in shaped._condition((254.0, 127.0), True)


@pytest.mark.parametrize("is_known", [True, False])
def test_vee_whose_sideways_shape_was_not_read_says_so(is_known):
    vee = face_plan(flank_um={"front": np.zeros(3), "rear": np.zeros(3)}, sideways_is_known=is_known)
    assert ("sideways shape was not measured" in " ".join(plan.flank_note(vee))) is not is_known


def test_datum_that_nothing_checks_or_that_is_not_trusted_says_so():
    shape = Made(
        face="way", relative_to=None, base_lag=None, sense=shaped.STRAIGHT, straightness_expanded_um=3.0,
        straightness_um={"ends": 1.0}, line="ends", ripples_not_included_mm=(),
    )  # fmt: skip
    sound = Made(face="way", shape=shape, can_be_trusted=True, is_checked=True, wear=None, cannot_tell=None)
    assert "can be started from" in plan.datum_words(sound, False)
    assert "nothing checks" not in plan.datum_words(sound, False)
    doubted = Made(**(vars(sound) | {"can_be_trusted": False, "is_checked": False}))
    assert "way: not yet" in plan.datum_words(doubted, False)
    assert "nothing checks its readings" in plan.datum_words(doubted, False)
    worn = Made(proud=None, is_seen=True, expanded_um=3.0, deepest=Made(station_mm=400.0, height_um=-21.0))
    assert "worn 21 µm (0.83 thou) ± 3 µm (0.12 thou) below" in plan.datum_words(
        Made(**(vars(sound) | {"wear": worn})), False
    )


def test_of_many_stretches_the_largest_are_named_in_order_along_the_bed():
    many = [Made(from_mm=float(at), change_um=-depth) for at, depth in enumerate((9.0, 1.0, 8.0, 7.0, 6.0))]
    assert [each.change_um for each in history._largest(many)] == [-9.0, -8.0, -7.0, -6.0]


def test_shapes_stand_in_the_order_of_time_and_another_sense_is_said():
    hollow = Made(sense="hollow", straightness_um=40.0, straightness_expanded_um=3.0)
    crowned = Made(sense="crowned", straightness_um=10.0, straightness_expanded_um=3.0)
    assert history._shapes(hollow, crowned, False) == (
        "hollow by 40 µm (1.57 thou) ± 3 µm (0.12 thou) before, "
        "crowned by 10 µm (0.39 thou) ± 3 µm (0.12 thou) after"
    )


def test_one_thou_is_what_the_tables_take_it_for():
    assert (UM_PER_THOU, MM_PER_INCH) == (25.4, 25.4)  # exact by definition of the inch


def test_what_was_not_written_down_is_named_and_all_of_it_only_where_nothing_was():
    every = ("stands_on", "clamped", "headstock_on", "carriage_on")
    assert sentence(StateNotWritten(every, "before")).startswith("how the bed stood was not written down")
    assert sentence(StateNotWritten(("clamped", "carriage_on"), "after")).startswith(
        "whether it was clamped and whether the carriage was on was not written down after"
    )


@pytest.mark.parametrize(
    ("quantity", "unit"), [("slope", "µm/m"), ("roll", "µm/m"), ("offset", "µm"), ("span", "µm")]
)
def test_readings_of_which_one_is_off_are_told_in_their_unit(quantity, unit):
    words = of_adjustment._contested(
        Made(quantity=quantity, one=((1, 100.0),), other=((2, 100.0), (3, 200.0)), error=41.0)
    )
    assert (
        f"either traverse 1 at 100 mm is off, by some 41 {unit}, or traverse 2 at 100 mm and traverse 3"
        in words
    )


@pytest.mark.parametrize(
    ("lines", "known", "words"),
    [
        (("a", "b"), 5, "the shape of neither a nor b can be known, only their difference at every station"),
        (("a", "b"), 3, "only their difference at 3 of 5 stations"),
        (("a", "b", "c"), 5, "none of a, b and c can be known, only the difference of any two at every"),
    ],
)  # fmt: skip
def test_differences_are_told_as_known_only_where_they_are(lines, known, words):
    found = Made(lines=lines, known=known, stations=5, up_to="nothing")
    assert words in of_adjustment._shapes_unknown(found)


def ranked(face, is_as_good):
    return Made(face=face, straightness_um=25.4, straightness_expanded_um=5.08, as_good_as_next=is_as_good)


def test_faces_are_ranked_in_the_owners_unit_and_only_what_is_not_told_apart_is_said_so():
    found = Made(ranking=(ranked("a", True), ranked("b", False)))
    first, second = cells(datums._ranking_words(found, True))
    assert (first["face"], first["from straight thou"], first["±"]) == ("a", "1.0", "0.2")
    lines = [line.cells for line in datums._ranking_words(found, False) if isinstance(line, tables.TableLine)]
    assert lines[1] == ("1", "a", "25", "5", "not told from the next") and lines[2][-1] == ""
    assert second["face"] == "b"


def test_good_stretch_of_a_face_is_told_where_it_has_one():
    stretch = Made(face="b", from_mm=100.0, to_mm=600.0)
    off = Made(removal_um=np.array([0.0, 9.0, 4.0]), station_mm=np.array([0.0, 700.0, 800.0]))
    found = Made(
        within_um=10.0, good=(stretch, Made(face="c", from_mm=0.0, to_mm=900.0)), relief={"b": off},
        ranking=tuple(ranked(face, False) for face in "abc"),
    )  # fmt: skip
    _, none, part, whole = datums._good_words(found, False)
    assert none == "  a: no stretch of three stations." and whole == "  c: all along."
    assert part.startswith("  b: from 100 mm to 600 mm; all along once metal is off from 700 mm to 800 mm")
    assert "most at 700 mm, 9.0 µm" in part
