"""Tables and lines of the page: each ± is twice u, at small values too, in the unit of its head."""

from types import SimpleNamespace as Made

import numpy as np
import pytest

from acquire.model.bed import Instrument
from acquire.model.errors import AnalysisError
from analysis.adjust.cannot_tell import NotMeasured
from analysis.answers.comparison import Comparison
from analysis.report import measured, summary, tables, wall

AT = np.array([0.0, 254.0, 508.0])


def cells(table):
    """Rows of a table by its heads."""
    return [dict(zip(table.heads, row, strict=True)) for block in table.blocks for row in block]


def face(height, u):
    return Made(station_mm=AT, height_um=np.array(height), standard_uncertainty_um=np.array(u))


@pytest.mark.parametrize(("u", "printed"), [(0.3, "0.6"), (1.3, "3"), (0.04, "0.08"), (12.0, "20")])
def test_height_stands_with_twice_its_standard_uncertainty(u, printed):
    """u itself would print as 0.3, 1, 0.04 and 10."""
    (row, *_) = cells(tables.face_table(face([-5.0, 0.0, 5.0], [u] * 3), False))
    assert row["±"] == printed and row["station mm"] == "0"


def test_heights_of_an_inch_survey_are_thou_under_inches():
    row = cells(tables.face_table(face([0.0, -25.4, 0.0], [2.54] * 3), True))[1]
    assert row == {"station in": "10", "height thou": "−1.0", "±": "0.2"}


def test_roll_stands_with_twice_u_in_both_units():
    """100 µm/m are 1.2 thou a foot (derived: 0.3048 m of it are 30.48 µm)."""
    found = Made(
        station_mm=AT,
        roll_um_per_m=np.array([0.0, -100.0, 0.0]),
        standard_uncertainty_um_per_m=np.full(3, 10.0),
    )
    assert cells(tables.roll_table(found, False))[1] == {"station mm": "254", "roll µm/m": "−100", "±": "20"}
    assert cells(tables.roll_table(found, True))[1] == {
        "station in": "10",
        "roll thou/ft": "−1.2",
        "±": "0.2",
    }


def test_uncertainty_is_never_printed_as_nothing():
    rows = cells(tables.face_table(face([0.0, 1.0, 2.0], [0.001, 1.0, 1.0]), False))
    assert rows[0]["±"] == "1"


def plan():
    removal = Made(
        station_mm=AT, removal_um=np.array([0.0, 40.0, 20.0]), standard_uncertainty_um=np.full(3, 3.0)
    )
    flanks = {"front": np.array([1.0, 2.0, 3.0]), "rear": np.array([4.0, 5.0, 6.0])}
    return Made(removal=removal, this_round_um=np.array([0.0, 20.0, 10.0]), flank_um=flanks)


def test_depths_stand_beside_their_own_stations_with_twice_u():
    """A station between those of the plan has no depth."""
    shown = Made(
        station_mm=np.array([0.0, 100.0, 254.0, 508.0]), height_um=np.zeros(4),
        standard_uncertainty_um=np.ones(4),
    )  # fmt: skip
    table = tables.face_table(shown, False, plan(), may_be_scraped=True)
    assert table.heads[3:] == ("take off", "±", "this round", "in all, front flank", "in all, rear flank")
    (row,) = [each for block in table.blocks for each in block if each[0] == "254"]
    assert row[3:] == ("40", "6", "20", "2", "5")
    (between,) = [each for block in table.blocks for each in block if each[0] == "100"]
    assert between[3:] == ("",) * 5


def test_nothing_is_asked_for_this_round_where_nothing_may_be_scraped_yet():
    table = tables.face_table(face([0.0] * 3, [1.0] * 3), False, plan(), may_be_scraped=False)
    assert "this round" not in table.heads and "take off" in table.heads


def test_stations_that_are_not_known_are_left_out_and_said():
    known = face([0.0, np.nan, 5.0], [1.0, np.nan, 1.0])
    assert [row["station mm"] for row in cells(tables.face_table(known, False))] == ["0", "508"]
    assert tables.reach_words(known, False) == ["508 mm steps: every second station."]
    ends = face([np.nan, 0.0, 5.0], [np.nan, 1.0, 1.0])
    assert tables.reach_words(ends, False) == ["Known at 2 of 3 stations, 254 mm to 508 mm."]
    assert tables.reach_words(face([0.0] * 3, [1.0] * 3), False) == []


def test_instrument_is_listed_with_twice_its_standard_uncertainty():
    """A vial of 20 µm/m a division read to a tenth of one: u 2 µm/m, so ± 4."""
    vial = Instrument("vial", "slope", "um/m", per_division=20, standard_uncertainty=0.1, seating_um=0.4)
    bed = Made(instruments={"vial": vial})
    run = Made(setup=Made(instrument="vial", bed=bed))
    ((name, kind, reads, base, stated, seating),) = measured.instrument_rows([run], False)
    assert (name, kind, reads, base) == ("vial", "level", "divisions of 20 µm/m", "")
    assert (stated, seating) == ("± 4 µm/m (95 %)", "0.4 µm")


@pytest.mark.parametrize(
    ("key", "true", "false"),
    [("clamped", "clamped down", "free"), ("headstock_on", "headstock on", "headstock off"),
     ("carriage_on", "carriage on", "carriage off")],
)  # fmt: skip
def test_state_of_the_bed_is_said_as_it_was(key, true, false):
    assert (measured.state_words({key: True}), measured.state_words({key: False})) == (true, false)


def run(**changes):
    setup = {
        "direction": "reverse", "reference": None, "other": None, "turned": False, "turned_over": False,
        "same_zero_as": None, "source": "record",
    }  # fmt: skip
    return Made(setup=Made(**(setup | changes)), mode="stepped", complete=True)


def test_everything_particular_of_a_run_is_listed_and_nothing_else():
    assert measured.how_words(run()) == "reverse, stepped, recorded"
    particular = run(
        reference="vee", other="flat", turned=True, turned_over=True, same_zero_as=0, source="enter"
    )
    particular.complete = False
    assert measured.how_words(particular) == (
        "reverse, stepped, along vee, against flat, turned end for end, straightedge turned over, zero of 0, "
        "typed, cut short"
    )


def test_bed_that_stood_otherwise_is_told_by_its_traverses():
    runs = [
        Made(setup=Made(state={"clamped": clamped}), number=n) for n, clamped in enumerate((True, False), 1)
    ]
    assert measured.state_lines(runs)[1:] == ["Traverses 1: clamped down.", "Traverses 2: free."]
    assert measured.state_lines(runs[:1]) == ["The bed: clamped down."]


def whole(**changes):
    given = {
        "slips": (), "suspects": (), "p_value": 0.4, "redundancy": 4.0, "cannot_tell": (), "unchecked": (),
    }  # fmt: skip
    return Made(**(given | changes))


def answers(**changes):
    given = {
        "whole": whole(),
        "maps": {},
        "twist": AnalysisError("twist", "no way"),
        "compared": (),
        "advice": (),
    }
    return Made(**(given | changes))


def suspect(traverse, runner_up):
    return Made(traverse=traverse, station_mm=300.0, runner_up=runner_up)


def test_suspect_is_to_be_read_again_and_counted_without_its_runner_up():
    found = answers(whole=whole(suspects=(suspect(2, False), suspect(3, True))))
    assert summary._to_do(found, False).startswith("Read again: traverse 2 at 300 mm.")
    assert "1 stands out as wrong." in summary._sure(found, False)
    assert "Read again" not in summary._to_do(answers(), False)


def compared(agree):
    given = object.__new__(Comparison)
    for name, value in {
        "a": "way by level", "b": "way by indicator", "subject": "way", "agree": agree,
        "smallest_detectable_um": 8.0, "worst": {"difference_um": 6.0, "station_mm": 300.0},
    }.items():  # fmt: skip
        object.__setattr__(given, name, value)
    return given


@pytest.mark.parametrize(
    ("agree", "said", "to_do"),
    [
        (True, "agree: a difference of 8 µm", False),
        (False, "disagree, most at 300 mm", True),
        (None, "cannot tell", False),
    ],
)  # fmt: skip
def test_two_maps_are_to_be_repeated_only_where_they_disagree(agree, said, to_do):
    found = answers(compared=(compared(agree),))
    assert said in summary._sure(found, False)
    assert ("repeat one of them at 300 mm" in summary._to_do(found, False)) is to_do


def test_what_is_not_known_names_faces_open_questions_and_unchecked_readings():
    missing = answers(maps={"way": AnalysisError("way", "no reading")}, whole=whole(unchecked=(1, 2)))
    assert summary._unknown(missing) == "The shape of way. 2 readings are checked by no other."
    not_measured = answers(whole=whole(cannot_tell=(NotMeasured(("keep",)),)))
    assert summary._unknown(not_measured) == "Nothing that the readings should tell."


def test_metal_is_warned_of_in_every_summary():
    assert summary._to_do(answers(), False).endswith("metal does not go back.")


def test_ways_of_the_carriage_come_first_on_the_sheet():
    bed = Made(carriage_ways=lambda: ("vee", "flat"))
    plans = [Made(face=name) for name in ("keep", "flat", "vee")]
    assert [each.face for each in wall.in_order(bed, plans)] == ["vee", "flat", "keep"]


def test_feet_that_may_not_be_turned_say_why():
    refused = Made(refused=NotMeasured(("vee",)))
    assert wall._feet_words(Made(feet={"a": 1}), refused) == "Turn no foot: nothing was measured on vee."
    assert wall._feet_words(Made(feet={}), refused) is None
    assert wall._feet_words(Made(feet={"a": 1}), Made(refused=None)) is None
