"""Each warning appears where it should and nowhere else."""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.comparison import compare
from analysis.answers.face_map import map_face
from analysis.observe.differences import bend_by_temperature_um
from analysis.words.assumptions import unstated_words
from analysis.words.face_map import map_words
from analysis.words.facts import sentences
from tests.invented import flat

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1.0\n'


@pytest.fixture
def warnings_of(invented_bed, make_traverse):
    """Warnings of a stepped level with this description, on this bed."""

    def make(level=LEVEL + "seating_um = 0.3", bed="", now=None, **setup):
        then = invented_bed(instruments={"level": level}, bed=bed)
        run = make_traverse(then, "level", MIDDLE, np.zeros(10), face="front-flat", **setup)
        return " | ".join(sentences(combine([run], now or then).warnings))

    return make


def test_well_described_level_raises_no_warning(warnings_of):
    assert warnings_of() == ""


def test_seating_not_stated_is_said(warnings_of, invented_bed, make_traverse):
    """By the assumptions that stand beside every answer, no longer by the traverse's own warnings."""
    bed = invented_bed(instruments={"level": LEVEL})
    run = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")
    taken = map_face(combine([run], bed), "front-flat").assumptions
    assert "no seating error stated" in " ".join(unstated_words(taken))
    assert warnings_of(LEVEL) == ""


def test_uncertainty_not_stated_is_said(warnings_of):
    text = LEVEL.replace("standard_uncertainty = 1.0", "standard_uncertainty = 0") + "seating_um = 0.3"
    assert "no uncertainty stated" in warnings_of(text)
    assert "no uncertainty stated" not in warnings_of(text + "\nresolution = 1.0")


def test_level_on_its_whole_length_is_no_two_feet(warnings_of):
    assert "taken as standing on two feet" in warnings_of(LEVEL + 'seating_um = 0.3\nfootprint = "full"')


def test_bending_by_temperature_is_given_with_its_size(warnings_of):
    """From memory (textbook formula): 11.5e-6/K, 1 K, 1 m long, 0.3 m deep: 4.79 µm."""
    assert bend_by_temperature_um(1.0, 1000.0, 300.0) == pytest.approx(4.79, abs=0.005)
    warm = {"temperature_top_degC": 21.0, "temperature_bottom_degC": 20.0}
    assert "1.0 °C warmer than its bottom" in warnings_of(bed="depth_mm = 300", state=warm)
    assert "crowned by about 4.8 µm" in warnings_of(bed="depth_mm = 300", state=warm)
    cold = {"temperature_top_degC": 19.0, "temperature_bottom_degC": 20.0}
    assert "hollow by about 4.8 µm" in warnings_of(bed="depth_mm = 300", state=cold)
    even = {"temperature_top_degC": 20.02, "temperature_bottom_degC": 20.0}
    assert warnings_of(bed="depth_mm = 300", state=even) == ""
    assert "bends it crowned, and depth_mm" in warnings_of(state=warm)
    assert "bends it hollow, and depth_mm" in warnings_of(state=cold)
    assert warnings_of(state=even) == ""


@pytest.mark.whole
def test_bed_that_stood_otherwise_between_traverses_is_said(invented_bed, make_traverse):
    bed = invented_bed(instruments={"level": LEVEL + "seating_um = 0.3"})
    before = {"stands_on": "feet", "clamped": True, "temperature_top_degC": 20, "temperature_bottom_degC": 20}

    def pair(**after):
        states = {"forward": before, "reverse": before | after}
        runs = [
            make_traverse(
                bed, "level", MIDDLE, np.zeros(10), face="front-flat", direction=direction, state=state
            )
            for direction, state in states.items()
        ]
        assert set(combine(runs, bed).warnings) == set(
            compare(runs, bed, *(str(r.number) for r in runs)).warnings
        )
        return " | ".join(sentences(combine(runs, bed).warnings))

    assert pair() == ""
    assert "stood on feet for traverse 3, on blocks for traverse 4" in pair(stands_on="blocks")
    assert "clamped down for traverse 5, not clamped for traverse 6" in pair(clamped=False)
    assert "+0.0 °C in traverse 7" in pair(temperature_top_degC=22)
    assert pair(temperature_top_degC=20.1) == ""


def test_description_changed_since_is_said_and_the_old_instrument_stands(invented_bed, warnings_of):
    now = invented_bed(instruments={"level": LEVEL.replace("100", "200") + "seating_um = 0.3"})
    found = warnings_of(now=now)
    assert "level described otherwise now (base_mm)" in found
    moved = invented_bed(
        instruments={"level": LEVEL + "seating_um = 0.3"},
        faces={"front-flat": 'normal = "up"\nacross_mm = 10'},
    )
    assert "front-flat described otherwise now" in warnings_of(now=moved)
    overhead = invented_bed(
        instruments={"level": LEVEL + "seating_um = 0.3"},
        faces={"front-flat": 'normal = "down"\nacross_mm = 0'},
    )
    assert "front-flat described otherwise now" in warnings_of(now=overhead)


def test_gauge_width_stands_as_it_was(invented_bed, make_traverse):
    then = invented_bed()
    run = make_traverse(then, "cross", STATION, 0.01 * STATION, front="front-flat", rear="rear-flat")
    now = invented_bed(faces={
        "front-flat": 'normal = "up"\nacross_mm = 0', "rear-flat": 'normal = "up"\nacross_mm = 600',
    })  # fmt: skip
    found = combine([run], now).difference("rear-flat", "front-flat").height_um
    assert found - found[0] == pytest.approx(0.3 * 0.01 * STATION)


def test_turning_the_level_for_the_return_is_warned_of(invented_bed, make_traverse):
    bed = invented_bed(instruments={"level": LEVEL + "seating_um = 0.3"})

    def pair(**second):
        return combine(
            [
                make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat"),
                make_traverse(
                    bed, "level", MIDDLE, np.zeros(10), face="front-flat", direction="reverse", **second
                ),
            ],
            bed,
        ).warnings

    assert any("turned for the return" in words for words in sentences(pair(turned=True)))
    assert pair() == ()


def test_turning_is_warned_of_only_where_it_was_turned_and_nothing_else_tells_the_drift(
    invented_bed, make_traverse
):
    bed = invented_bed(instruments={"level": LEVEL + "seating_um = 0.3"})

    def run(stations, direction, turned=False):
        zeros = np.zeros(len(stations))
        return make_traverse(
            bed, "level", stations, zeros, face="front-flat", direction=direction, turned=turned
        )

    def is_said(*runs):
        return any("turned for the return" in words for words in sentences(combine(runs, bed).warnings))

    there, turned, back = (
        run(MIDDLE, "forward"), run(MIDDLE, "reverse", turned=True), run(MIDDLE, "reverse")
    )  # fmt: skip
    assert is_said(there, turned)
    assert not is_said(there, turned, back)
    assert not is_said(run(MIDDLE[:5], "forward"), run(MIDDLE[5:], "reverse"))


def test_carrier_overhanging_the_end_of_the_bed_is_said(invented_bed, make_traverse):
    dial = (
        'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1\nseating_um = 0.2\ncarrier_feet_mm = 90'
    )
    bed = invented_bed(instruments={"dial": dial, "level": LEVEL + "seating_um = 0.3"})
    level = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")
    inner = make_traverse(bed, "dial", STATION[1:-1], np.zeros(9), face="rear-flat", reference="front-flat")
    whole = make_traverse(bed, "dial", STATION, np.zeros(11), face="rear-flat", reference="front-flat")
    assert combine([level, inner], bed).warnings == ()
    assert any(
        "overhang the end of the bed" in words for words in sentences(combine([level, whole], bed).warnings)
    )


def test_steps_of_half_a_base_are_said_to_be_no_better(invented_bed, make_traverse):
    bed = invented_bed()
    half = make_traverse(bed, "long-level", STATION[1:-1], np.zeros(9), face="front-flat")
    whole = make_traverse(bed, "long-level", STATION[1:-1:2], np.zeros(5), face="front-flat")
    assert any("no better than steps of a whole base" in words for words in face_warnings(half, bed))
    assert not any("no better" in words for words in face_warnings(whole, bed))


def test_one_way_only_is_said_of_a_level_that_never_ran_back(invented_bed, make_traverse):
    bed = invented_bed()
    there = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")
    back = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat", direction="reverse")
    dial = make_traverse(bed, "dial", STATION, np.zeros(11), face="front-flat", reference="line")
    assert any("level: run one way only on front-flat" in words for words in face_warnings(there, bed))
    assert not any("run one way only" in words for words in face_warnings(dial, bed))
    both = sentences(map_face(combine([there, back], bed), "front-flat").warnings)
    assert not any("run one way only" in words for words in both)


def test_joint_between_stations_is_said_where_there_is_one(invented_bed, make_traverse):
    def said(joints):
        bed = invented_bed(bed=joints)
        return face_warnings(
            make_traverse(bed, "dial", STATION, np.zeros(11), face="front-flat", reference="line"), bed
        )

    words = "the joint of the bed at 450 mm lies between its stations at 400 and 500 mm"
    assert sum(words in each for each in said("joints_mm = [450]")) == 1
    assert not any("the joint of the bed" in each for each in said(""))


@pytest.mark.parametrize(
    ("unworn", "stations", "line", "said"),
    [
        ([[0, 150], [850, 1000]], STATION, "unworn", None),
        ([[0, 150], [850, 1000]], STATION[2:-2], "ends", "fewer than two of its known heights"),
        ([[0, 100]], STATION, "ends", "no shape shows from it"),
        (None, STATION, "ends", None),
    ],
)
def test_why_heights_are_not_from_the_unworn_stretches_is_said(
    invented_bed, make_traverse, unworn, stations, line, said
):
    """Derived: hollow by 6 µm, read to ± 2; the line through two heights 100 mm apart is known to ± 28 µm at
    the far end, where it departs by 22."""
    faces = {"front-flat": flat(0) if unworn is None else flat(0, unworn_mm=unworn)}
    bed = invented_bed(faces=faces)
    hollow = 6.0 * (2 * stations / 1000 - 1) ** 2
    run = make_traverse(bed, "dial", stations, hollow, face="front-flat", reference="line")
    found = map_face(combine([run], bed), "front-flat")
    told = [words for words in sentences(found.warnings) if "unworn" in words]
    assert found.line == line
    assert len(told) == (said is not None)
    assert said is None or said in told[0]


def face_warnings(run, bed):
    return sentences(map_face(combine([run], bed), "front-flat").warnings)


@pytest.mark.parametrize(("directions", "is_said"), [(["forward"], True), (["forward", "reverse"], False)])
def test_map_says_beneath_its_headline_that_nothing_checks_it(
    invented_bed, make_traverse, directions, is_said
):
    """A guide read once, in thou taken for µm or from the wrong end, looks as sure as any."""
    bed = invented_bed(instruments={"level": LEVEL})
    runs = [
        make_traverse(bed, "level", MIDDLE, np.linspace(-9, 9, 10), face="front-flat", direction=each)
        for each in directions
    ]
    found = map_face(combine(runs, bed), "front-flat")
    assert found.is_checked is not is_said
    assert map_words(found, inch=False)[1].startswith("  Nothing checks") is is_said
