"""Carriers on feet between the stations: more readings never make the answer worse.

Truth is invented, readings come from its heights directly; without noise every height must
come out within what is stated.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.face_map import map_face
from analysis.answers.twist import twist_of
from analysis.linear.reference_lines import remove_line, straightness
from analysis.words.assumptions import unstated_words
from analysis.words.facts import sentences

LENGTH = 1600.0
STATION = np.arange(0.0, LENGTH + 1, 100.0)
ALLOWED_UM = 0.5
"""Beyond 2.5 standard uncertainties: what a carrier overhanging the end of the bed may cost."""


def worn(x):
    """An invented way: hollow in the middle by 60 µm, with waves."""
    x = np.asarray(x, float)
    return -60 * np.exp(-(((x - 760) / 330) ** 2)) + 2 * np.sin(2 * np.pi * x / 420) + 0.01 * x


def rear(x):
    return -45 * np.exp(-(((x - 900) / 400) ** 2)) + 0.02 * np.asarray(x, float)


def straight(x):
    return 0.03 * np.asarray(x, float)


TRUTH = {"front": worn, "rear": rear, "tail": straight}
FACES = {
    "front": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
    "rear": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
    "tail": 'normal = "up"\nacross_mm = 150',
}


def survey(invented_bed, make_traverse, *, base=100.0, pitch=100.0, every=None, feet=90.0, carriage=None,
           cross=(), reference="front", step=None):  # fmt: skip
    """A level on both ways, a dial carried along reading a straight tailstock way; no noise."""
    on_feet = "" if carriage else f"\ncarrier_feet_mm = {feet}"
    bed = invented_bed(
        LENGTH,
        pitch,
        bed=f"carriage_length_mm = {carriage}" if carriage else "",
        faces=FACES,
        instruments={
            "level": f'quantity = "slope"\nunit = "um/m"\nbase_mm = {base}\nstandard_uncertainty = 1\n'
            "seating_um = 0",
            "cross": 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0',
            "dial": 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.3\nseating_um = 0' + on_feet,
        },
    )
    runs = []
    x = np.arange(base / 2, LENGTH - base / 2 + 1, step or base)
    for face in ("front", "rear"):
        slope = (TRUTH[face](x + base / 2) - TRUTH[face](x - base / 2)) / base * 1000
        runs.append(make_traverse(bed, "level", x, slope, face=face))
    if len(cross):
        at = np.asarray(cross, float)
        runs.append(make_traverse(bed, "cross", at, (rear(at) - worn(at)) / 0.3, front="front", rear="rear"))
    half = (carriage or feet) / 2
    at = np.arange(half, LENGTH - half + 1, every or pitch)
    at = np.ceil(at / pitch) * pitch if every is None else at
    at = at[at <= LENGTH - half]
    mean = {name: (TRUTH[name](at - half) + TRUTH[name](at + half)) / 2 for name in ("front", "rear")}
    ridden = (mean["front"] + mean["rear"]) / 2 if reference == "carriage" else mean[reference]
    runs.append(make_traverse(bed, "dial", at, straight(at) - ridden, face="tail", reference=reference))
    return runs, bed


SET_UPS = {
    "feet 90 mm, stations 100 mm": {},
    "feet 200 mm": {"feet": 200.0},
    "feet 200 mm, a dial read every 50 mm": {"feet": 200.0, "every": 50.0},
    "a level of twice the pitch": {"base": 200.0},
    "a level whose base misses the stations": {"base": 101.0, "feet": 200.0},
    "carriage, one more cross level": {
        "carriage": 300.0, "reference": "carriage", "base": 200.0, "cross": STATION,
    },
    "carriage, a level of 130 mm, cross level": {
        "carriage": 300.0, "reference": "carriage", "base": 130.0, "cross": STATION,
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def mapped(invented_bed, from_one):
    return cache(lambda case: combine(*survey(invented_bed, from_one(), **SET_UPS[case])))


@pytest.mark.parametrize("case", SET_UPS)
def test_no_height_is_off_by_more_than_is_stated(mapped, case):
    bed_map = mapped(case)
    for face, truth in TRUTH.items():
        level = remove_line(bed_map.profile(face), "least-squares")
        x = level.station_mm
        error = level.height_um - (truth(x) - np.polyval(np.polyfit(x, truth(x), 1), x))
        assert np.all(np.abs(error) <= 2.5 * level.standard_uncertainty_um + ALLOWED_UM), face


@pytest.mark.parametrize("case", SET_UPS)
def test_a_straight_tailstock_way_is_not_called_crowned(mapped, case):
    bed_map = mapped(case)
    found = straightness(bed_map.profile("tail"), "least-squares")
    assert found.range_um <= found.expanded_um + ALLOWED_UM
    assert not bed_map.points
    assert bed_map.variance_factor == 1.0
    assert not bed_map.suspects


def test_a_carrier_of_unstated_feet_is_said_to_be_a_point(invented_bed, make_traverse):
    bed = invented_bed()
    x, middle = np.arange(0.0, 1001.0, 100), np.arange(50.0, 1000, 100)
    runs = [
        make_traverse(bed, "level", middle, np.zeros(10), face="front-flat"),
        make_traverse(bed, "dial", x, np.zeros(11), face="rear-flat", reference="front-flat"),
    ]
    bed_map = combine(runs, bed)
    (point,) = bed_map.points
    assert (point.traverse, point.is_described, point.carriers) == (2, False, ("front-flat",))
    assert not any("under its feet is not known" in words for words in sentences(bed_map.warnings))
    taken = map_face(bed_map, "rear-flat").assumptions
    assert any("carrier_feet_mm" in words for words in unstated_words(taken))


def test_on_a_way_that_nothing_tells_the_difference_is_given_with_what_the_feet_hide(
    invented_bed, make_traverse
):
    """Feet 200 mm apart on an unlevelled way, the face read bending: the bend of the other is as likely."""
    dial = (
        'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.3\nseating_um = 0\ncarrier_feet_mm = 200'
    )
    bed = invented_bed(LENGTH, faces=FACES, instruments={"dial": dial})
    at = STATION[1:-1]
    reading = worn(at) - (rear(at - 100) + rear(at + 100)) / 2
    bed_map = combine([make_traverse(bed, "dial", at, reading, face="front", reference="rear")], bed)
    found = remove_line(bed_map.difference("front", "rear"), "least-squares")
    truth = worn(at) - rear(at)
    error = found.height_um - (truth - np.polyval(np.polyfit(at, truth, 1), at))
    assert np.all(np.abs(error) <= 2.5 * found.standard_uncertainty_um)
    assert found.standard_uncertainty_um.max() > 1.0
    (point,) = bed_map.points
    assert point.is_described and point.readings == len(at)
    assert any("shape of rear under its feet is not known" in words for words in sentences(bed_map.warnings))


def test_feet_beyond_the_known_part_of_a_way_make_points_of_those_readings_alone(invented_bed, make_traverse):
    """The level covers 800 of 1600 mm: carriers there stand on known heights, those far beyond do not."""
    runs, bed = survey(invented_bed, make_traverse)
    half = make_traverse(bed, "level", np.arange(50.0, 800, 100), runs[0].stations.reading[:8], face="front")
    bed_map = combine([half, runs[2]], bed)
    (point,) = bed_map.points
    assert 0 < point.readings < len(runs[2].stations)
    known = bed_map.profile("tail")
    level = remove_line(known, "least-squares")
    inside = known.station_mm <= 750
    assert np.all(np.abs(level.height_um[inside]) <= 2.5 * level.standard_uncertainty_um[inside] + ALLOWED_UM)


def test_what_was_read_between_the_stations_is_not_smoothed_over(invented_bed, make_traverse):
    """A way straight at every station, with a dip of 12 µm between two of them where the dial read it."""
    runs, bed = survey(invented_bed, make_traverse, feet=200.0, every=50.0)
    dial = runs[2]
    at = int(np.argmin(np.abs(dial.stations.station_mm - 850.0)))
    reading = dial.stations.reading.copy()
    reading[at] -= 12.0
    dipped = make_traverse(
        bed, "dial", dial.stations.station_mm, reading, face="tail", reference="front", number=3
    )
    bed_map = combine([*runs[:2], dipped], bed)
    index = [i for i in bed_map.indices("tail") if bed_map.nodes[i].station_mm in (800, 850, 900)]
    bend = np.zeros((1, len(bed_map.nodes)))
    bend[0, index] = -0.5, 1.0, -0.5
    found = bed_map.functional(bend)
    u = found.covariance_um2[0, 0] ** 0.5
    assert abs(found.value_um[0] + 12.0) <= 2.5 * u + ALLOWED_UM
    assert u < 3.0


def test_carriage_over_a_joint_of_an_unknown_way_is_as_unsure_as_the_step_may_be(invented_bed, make_traverse):
    """A step of 20 µm at 730 mm, under one end of a carriage of 200 mm at 700 and 800 mm, of which the
    first was left out: as a point it is 10 µm off there, where its roll alone tells the front way."""

    def stepped(x):
        x = np.asarray(x, float)
        return straight(x) - 30 * np.exp(-(((x - 700) / 500) ** 2)) - 20.0 * (x > 730)

    bed = invented_bed(
        LENGTH,
        bed="carriage_length_mm = 200\njoints_mm = [730]",
        faces=FACES,
        instruments={
            "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\n'
            "seating_um = 0",
            "cross": 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0',
        },
    )
    middle, at = np.arange(50.0, LENGTH, 100.0), np.delete(STATION[1:-1], [5, 6])
    level = make_traverse(bed, "level", middle, (rear(middle + 50) - rear(middle - 50)) * 10, face="rear")
    lifted = [(h(at - 100) + h(at + 100)) / 2 for h in (stepped, rear)]
    cross = make_traverse(
        bed, "cross", at, (lifted[1] - lifted[0]) / 0.3, front="front", rear="rear", reference="carriage"
    )
    profile = combine([level, cross], bed).profile("front")
    found, true = (
        remove_line(replace(profile, height_um=h), "least-squares")
        for h in (profile.height_um, stepped(profile.station_mm))
    )
    assert np.max(np.abs(found.height_um - true.height_um) / found.standard_uncertainty_um) < 3.0


def test_carrier_with_a_foot_on_each_piece_of_a_bed_is_as_unsure_as_their_kink_may_be(
    invented_bed, make_traverse
):
    """Feet 90 mm apart at 1000 mm, the joint 10 mm further: one foot stands 14 µm higher for a kink of
    400 µm/m, and as a point the carrier is off by half of it, where readings elsewhere hide nothing."""
    bed = invented_bed(
        2000,
        bed="joints_mm = [1010]",
        faces=FACES,
        instruments={
            "dial": 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.5\nseating_um = 0\n'
            "carrier_feet_mm = 90"
        },
    )

    def kinked(x):
        return 0.4 * np.clip(x - 1010.0, 0.0, None)

    at = np.arange(200.0, 1801.0, 100.0)
    reading = kinked(at) - (kinked(at - 45) + kinked(at + 45)) / 2  # both faces kink alike
    found = map_face(
        combine([make_traverse(bed, "dial", at, reading, face="rear", reference="front")], bed),
        "rear",
        line="least-squares",
    )
    assert np.min(reading) == pytest.approx(-7.0)
    np.testing.assert_array_less(np.abs(found.height_um), 2 * found.standard_uncertainty_um + ALLOWED_UM)


@pytest.mark.parametrize("half_mm", [120.0, 180.0, 250.0, 350.0])
def test_carriage_that_smooths_the_wear_it_rides_does_not_call_the_ways_smooth(
    invented_bed, make_traverse, half_mm
):
    """Two ways worn 50 and 35 µm deep, known only through a carriage of 230 mm read each 100 mm.

    Its two ends show next to nothing of waves 460 mm long: what was read bends far less than the ways.
    """

    def hollow(x, deep):
        return -deep * (1 - np.clip((np.asarray(x, float) - 510) / half_mm, -1, 1) ** 2) ** 2

    bed = invented_bed(
        bed="carriage_length_mm = 230",
        faces=FACES,
        instruments={
            "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\n'
            "seating_um = 0",
            "cross": 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0',
            "dial": 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.5\nseating_um = 0',
        },
    )
    deep, at, middle = (
        {"front": 50.0, "rear": 35.0},
        np.arange(200.0, 801.0, 100.0),
        np.arange(50.0, 1000, 100),
    )
    front, back = ((hollow(at - 115, d) + hollow(at + 115, d)) / 2 for d in deep.values())
    carriage = {"front": "front", "rear": "rear", "reference": "carriage"}
    runs = [
        make_traverse(bed, "level", middle, np.zeros(len(middle)), face="tail"),
        make_traverse(bed, "cross", at, (back - front) / 0.3, **carriage),
        make_traverse(bed, "dial", at, -(front + back) / 2, face="tail", reference="carriage"),
    ]
    bed_map = combine(runs, bed)
    assert {point.instrument for point in bed_map.points} == {"cross", "dial"}
    for face, depth in deep.items():
        profile = bed_map.profile(face)
        found, true = (
            remove_line(replace(profile, height_um=h), "least-squares")
            for h in (profile.height_um, hollow(profile.station_mm, depth))
        )
        error = np.abs(found.height_um - true.height_um)
        assert np.all(error <= 2.5 * found.standard_uncertainty_um), face
        assert np.max(found.standard_uncertainty_um) < 2 * depth, "a figure that says nothing"


FEET = 200.0
"""Of what bridges the ways, long along them: in a hollow it stands on the ends of these."""


def across_on_long_feet(invented_bed, make_traverse, *, is_stated, with_levels):
    """A level across both ways on such feet; no noise."""
    cross = 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0\n'
    bed = invented_bed(
        LENGTH, 100.0, faces=FACES,
        instruments={
            "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\n',
            "cross": cross + (f"carrier_feet_mm = {FEET}\n" if is_stated else ""),
        },
    )  # fmt: skip
    at, middle = STATION[1:-1], STATION[:-1] + 50
    stands = {
        name: (TRUTH[name](at - FEET / 2) + TRUTH[name](at + FEET / 2)) / 2 for name in ("front", "rear")
    }
    roll = (stands["rear"] - stands["front"]) / 0.3
    runs = [make_traverse(bed, "cross", at, roll, front="front", rear="rear")]
    for face in ("front", "rear") if with_levels else ():
        slope = (TRUTH[face](middle + 50) - TRUTH[face](middle - 50)) * 10
        runs.append(make_traverse(bed, "level", middle, slope, face=face))
    return bed, runs


def off_in_u(bed_map):
    """Errors of the roll off its line, in standard uncertainties."""
    found = remove_line(bed_map.difference("rear", "front"), "least-squares")
    truth = rear(found.station_mm) - worn(found.station_mm)
    truth -= np.polyval(np.polyfit(found.station_mm, truth, 1), found.station_mm)
    return np.max((np.abs(found.height_um - truth) - ALLOWED_UM) / found.standard_uncertainty_um)


@pytest.mark.parametrize("with_levels", [True, False])
def test_level_across_on_long_feet_reads_what_its_feet_stand_on(invented_bed, make_traverse, with_levels):
    """Taken to stand on points, and nothing else read, it puts the roll off by many times its uncertainty."""
    off = {}
    for is_stated in (True, False):
        bed, runs = across_on_long_feet(
            invented_bed, make_traverse, is_stated=is_stated, with_levels=with_levels
        )
        off[is_stated] = off_in_u(combine(runs, bed))
    assert off[True] < 2.5
    assert off[False] > off[True] if with_levels else off[False] > 4


def test_roll_that_only_a_level_on_long_feet_tells_is_that_of_the_ways_and_says_what_hides_in_it(
    invented_bed, make_traverse
):
    bed, runs = across_on_long_feet(invented_bed, make_traverse, is_stated=True, with_levels=False)
    bed_map = combine(runs, bed)
    assert off_in_u(bed_map) < 2.5
    assert any("cross on front and rear" in words for words in sentences(bed_map.warnings))
    found = twist_of(runs, bed)
    assert found.roll_of == "ways"
    assert found.roll_um_per_m - found.roll_um_per_m[0] == pytest.approx(
        runs[0].stations.reading - runs[0].stations.reading[0]
    )
