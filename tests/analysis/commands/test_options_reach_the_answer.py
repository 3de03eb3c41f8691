"""What is typed behind a command is what its answer is asked for: every option, in mm and µm.

The function that answers is replaced by one that writes down what it is asked and stops there.  The survey
is in inches, so a bare length is inches and a bare height thou (25.4 mm, 25.4 µm, by definition).
"""

import json

import pytest

from acquire.cli import main


def nested(found, name):
    """`found[name]`; `wishes.no_wind` is an attribute of it."""
    name, *inner = name.split(".")
    value = found[name]
    for each in inner:
        value = getattr(value, each)
    return value


PLAN = "plan.plan_faces"
BLUE = "blue.predict_blue"
FEET = "feet_on_bed.feet_to_move"
WORK = "work.turned_part"


@pytest.mark.parametrize(
    ("words", "where", "name", "value"),
    [
        ("map SURVEY vee --over 12", "face_map.map_face", "over_mm", 304.8),
        ("map SURVEY vee --by level", "face_map.map_face", "by", "level"),
        ("map SURVEY vee --line minimum-zone", "face_map.map_face", "line", "minimum-zone"),
        ("twist SURVEY --by level", "twist.twist_of", "by", "level"),
        ("twist SURVEY --front tail", "twist.twist_of", "front", "tail"),
        ("twist SURVEY --rear tail", "twist.twist_of", "rear", "tail"),
        ("next SURVEY --for twist", "next_traverse.next_traverse", "wanted", "twist"),
        ("limits SURVEY --rule 2u", "limits.judge_limits", "rule", "2u"),
        ("taper SURVEY vee flat", "taper.tapers", "faces", ("vee", "flat")),
        ("ripples SURVEY flat", "ripples.ripples", "faces", ("flat",)),
        ("feet SURVEY --at-most 2", FEET, "most_um", 50.8),
        ("feet SURVEY --front tail", FEET, "front", "tail"),
        ("feet SURVEY --rear tail", FEET, "rear", "tail"),
        ("blue SURVEY vee --edge long --film 0.2", BLUE, "film_um", 5.08),
        ("blue SURVEY vee --edge long --film 0", BLUE, "film_um", 0.0),
        ("blue SURVEY vee --edge short", BLUE, "edge.length_mm", 304.8),
        ("blue SURVEY vee --edge short --from 8 --to 20", BLUE, "from_mm", 203.2),
        ("blue SURVEY vee --edge short --from 8 --to 20", BLUE, "to_mm", 508.0),
        ("plan SURVEY vee flat --no-wind", PLAN, "wishes.no_wind", True),
        ("plan SURVEY vee flat --coplanar", PLAN, "wishes.coplanar", True),
        ("plan SURVEY vee", PLAN, "wishes.coplanar", False),
        ("plan SURVEY vee --parallel-to flat", PLAN, "wishes.parallel_to", "flat"),
        ("plan SURVEY vee --at-most 2", PLAN, "wishes.at_most_um", 50.8),
        ("plan SURVEY vee --crown 0.2", PLAN, "wishes.crown_um", 5.08),
        ("plan SURVEY vee --crown -0.2", PLAN, "wishes.crown_um", -5.08),
        ("plan SURVEY vee --untouched 4 8", PLAN, "wishes.untouched_mm", ((101.6, 203.2),)),
        ("plan SURVEY vee --least-greatest", PLAN, "wishes.greatest_first", True),
        ("plan SURVEY vee --guard", PLAN, "guard", True),
        ("plan SURVEY vee --film 0.2", PLAN, "film_um", 5.08),
        ("plan SURVEY vee --edge short", PLAN, "edge", "short"),
        ("plan SURVEY vee --share 0.3", PLAN, "share", 0.3),
        ("plan SURVEY vee", PLAN, "share", 0.5),
        ("plan SURVEY vee", PLAN, "across_joints", False),
        ("plan SURVEY vee --across-joints", PLAN, "across_joints", True),
        ("datums SURVEY --within 0.2", "datums.datums", "within_um", 5.08),
        ("datums SURVEY --pads 4", "datums.datums", "pads_mm", 101.6),
        ("datums SURVEY --pads 4 --overhang 2", "datums.datums", "overhang_mm", 50.8),
        ("datums SURVEY --pads 4 --tool-across -2", "datums.datums", "tool_across_mm", -50.8),
        ("datums SURVEY --pads 4 --tool-above 2", "datums.datums", "tool_above_mm", 50.8),
        ("work SURVEY --diameter 2", WORK, "diameter_mm", 50.8),
        ("work SURVEY --tip-high 0.01", WORK, "tip_high_mm", 0.254),
        ("work SURVEY --axis-across 4", WORK, "axis_across_mm", 101.6),
        ("work SURVEY --guide wall", WORK, "guide", "wall"),
        ("work SURVEY --from 4", WORK, "stretch_mm", (101.6, 1016.0)),
        ("work SURVEY --to 8", WORK, "stretch_mm", (0.0, 203.2)),
        ("work SURVEY --after-plan", "planned_work.before_and_after_plan", "across_joints", False),
        (
            "work SURVEY --after-plan --across-joints",
            "planned_work.before_and_after_plan",
            "across_joints",
            True,
        ),
        ("saddle SURVEY --apron 4", "saddle.saddle_drop", "apron_mm", 101.6),
        ("saddle SURVEY --pressure-angle 14.5", "saddle.saddle_drop", "pressure_angle_deg", 14.5),
        ("saddle SURVEY --across-joints", "saddle.saddle_drop", "across_joints", True),
        ("saddle SURVEY", "saddle.saddle_drop", "across_joints", False),
    ],
)
def test_option_is_what_the_answer_is_asked_for(asked, words, where, name, value):
    found = nested(asked(words.split(), where), name)
    assert found == (pytest.approx(value) if isinstance(value, float) else value)


def test_lining_is_sheet_glue_and_allowance(asked):
    words = "saddle SURVEY --sheet 0.05 --bond 0.004 --scrape 0.01"
    lining = asked(words.split(), "saddle.saddle_drop")["lining"]
    parts = (lining.sheet_mm, lining.bond_mm, lining.scrape_mm)
    assert parts == pytest.approx((1.27, 0.1016, 0.254))


@pytest.mark.parametrize(("by", "is_by"), [("level", "level"), ("all", "all")])
def test_map_by_one_kind_of_instrument_holds_that_kind_alone(survey, capsys, by, is_by):
    assert main(["map", str(survey), "vee", "--by", by, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["by"], found["traverses"]) == (is_by, [1] if by == "level" else [1, 3])


@pytest.mark.parametrize(
    ("words", "readings"),
    [
        (
            "align bar SURVEY --top 1 2 3 4 --front 5 6 7 8 --at 4 12 --held 1 --bar-diameter 38.1mm "
            "--bar-length 10 --bar-taper 2.54um --uncertainty 0.2 --guide wall",
            {
                "top_um": [25.4, 50.8, 76.2, 101.6], "front_um": [127, 152.4, 177.8, 203.2],
                "at_mm": [101.6, 304.8], "held_mm": 25.4, "diameter_mm": 38.1, "length_mm": 254,
                "taper_uncertainty_um": 2.54, "uncertainty_um": 5.08, "guide": "wall",
            },
        ),
        (
            "align quill SURVEY --top 1 2 --top-turned 3 4 --front 5 6 --front-turned 7 8 --at 4 12 --held 1 "
            "--diameter 2 --extension 6",
            {
                "top_um": [25.4, 50.8, 76.2, 101.6], "front_um": [127, 152.4, 177.8, 203.2],
                "at_mm": [101.6, 304.8], "held_mm": 25.4, "diameter_mm": 50.8, "length_mm": 152.4,
                "uncertainty_um": 1, "guide": None,
            },
        ),
        (
            "align turned SURVEY --diameters 25.4mm 1.001 --at 4 12 --force 90 --stick-out 254mm "
            "--bar-diameter 1.5",
            {
                "diameters_mm": [25.4, 25.4254], "at_mm": [101.6, 304.8], "uncertainty_um": 1, "guide": None,
                "force_n": 90, "stick_out_mm": 254, "bar_diameter_mm": 38.1,
            },
        ),
        (
            "align centres SURVEY --top 1 2 3 4 --front 5 6 7 8 --uncertainty 0.2",
            {
                "top_um": [25.4, 50.8, 76.2, 101.6], "front_um": [127, 152.4, 177.8, 203.2],
                "uncertainty_um": 5.08,
            },
        ),
        (
            "align facing SURVEY --reading -1 --radius 4 --diameter 10",
            {"reading_um": -25.4, "radius_mm": 101.6, "diameter_mm": 254, "uncertainty_um": 1},
        ),
        (
            "square cylinder SURVEY --height 12 --first 0_1 --turned 2_4 --taper 2.54um --on flat "
            "--stood 4 8",
            {
                "height_mm": 304.8, "first_um": [0, 25.4], "turned_um": [50.8, 101.6], "uncertainty_um": 1,
                "taper_uncertainty_um": 2.54, "face": "flat", "stood_mm": [101.6, 203.2],
            },
        ),
        (
            "square guides SURVEY --height 12 --up 0_1 --travel 8 --along 0_2 --square-error 0.2",
            {
                "height_mm": 304.8, "travel_mm": 203.2, "up_um": [0, 25.4], "along_um": [0, 50.8],
                "up_turned_um": None, "along_turned_um": None, "uncertainty_um": 1,
                "square_uncertainty_um": 5.08,
            },
        ),
        (
            "square level SURVEY --table 5 -1 --column 9 0.003mm/m --angle-error 2 --uncertainty 0.5",
            {
                "table_um_per_m": [5, -1], "column_um_per_m": [9, 3], "uncertainty_um_per_m": 0.5,
                "opposite_um_per_m": None, "angle_uncertainty_um_per_m": 2,
            },
        ),
        (
            "square sweep SURVEY --reading 1 -2 --radius 4",
            {"reading_um": [25.4, -50.8], "radius_mm": 101.6, "uncertainty_um": 1},
        ),
        (
            "flanks angles SURVEY --rollers 1 2 --top 1.2 2.4 --side 0.001 0.003 --sound 0.5 3 "
            "--roller-uncertainty 2.54um",
            {
                "rollers_mm": [25.4, 50.8], "top_mm": [30.48, 60.96], "side_mm": [0.0254, 0.0762],
                "sound_mm": [12.7, 76.2], "uncertainty_um": 1, "roller_uncertainty_um": 2.54,
            },
        ),
        (
            "dovetail pins SURVEY --at 0_8 --measure 4_4.001 --pin 0.5 --angle 60 --side 0_25.4um "
            "--uncertainty 0.1 --side-uncertainty 0.2 --between "
            "--angle-uncertainty 0.1 --pin-uncertainty 12.7um",
            {
                "at_mm": [0, 203.2], "measure_mm": [101.6, 101.6254], "pin_mm": 12.7, "other_pin_mm": None,
                "other_measure_mm": None, "side_um": [0, 25.4], "uncertainty_um": 2.54,
                "side_uncertainty_um": 5.08, "angle_deg": 60, "is_over": False,
                "angle_uncertainty_deg": 0.1, "pin_uncertainty_um": 12.7,
            },
        ),
        (
            "dovetail gib SURVEY --play 2 --angle 60 --taper 60",
            {"play_um": 50.8, "angle_deg": 60, "one_in": 60},
        ),
    ],
    ids=lambda words: " ".join(words.split()[:2]) if isinstance(words, str) else "",
)  # fmt: skip
def test_readings_of_a_test_are_typed_in_the_unit_of_the_survey_and_taken_in_mm_and_um(
    asked, words, readings
):
    """An underscore stands for the blank between readings of one run.

    A unit that is written tells a length from a height: 1 in and 1 thou are 25.4 of mm and of µm alike.
    """
    found = asked([word.replace("_", " ") for word in words.split()], "typed_tests.answer_test")
    assert found["test"] == " ".join(words.split()[:2])
    assert set(found["readings"]) == set(readings)
    for name, value in readings.items():
        taken_as = found["readings"][name]
        assert taken_as == (pytest.approx(value) if isinstance(value, int | float | list) else value), name


def test_angle_and_a_second_pin_are_not_both_taken(survey, capsys):
    words = "--at 0 --measure 70 --pin 10 --angle 60 --other-pin 8 --other-measure 66"
    assert main(["dovetail", "pins", str(survey), *words.split()]) == 2
    assert "one of the two" in capsys.readouterr().err


def test_words_kept_with_a_test_stand_with_it_and_nothing_is_kept_unasked(survey, capsys):
    words = ["dovetail", "gib", str(survey), "--play", "2", "--angle", "60"]
    assert main(words) == 0
    assert main(["kept", str(survey), "--json"]) == 0
    assert json.loads(capsys.readouterr().out.splitlines()[-1])["tests"] == []
    assert main([*words, "--keep", "--note", "before the work"]) == 0
    capsys.readouterr()
    assert main(["kept", str(survey), "--json"]) == 0
    (kept,) = json.loads(capsys.readouterr().out)["tests"]
    assert kept["kept"]["note"] == "before the work"
