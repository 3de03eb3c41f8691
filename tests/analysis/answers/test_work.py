"""The turned part: the formula, what of it a map knows, and truth given back from invented surveys."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.work import diameter_change_um, diameter_slopes, turned_part
from analysis.words.work import work_words

BED = "centre_height_mm = 250\ncarriage_length_mm = 200"
FACES = {
    "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\n'
    'across_mm = 0\ncarriage = "front"',
    "flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
}
X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50


@pytest.mark.parametrize(
    ("front", "rear", "sideways", "radius", "wanted"),
    [
        (-30, -5, 0, 25, 41.683),
        (-30, -30, 0, 25, 0.036),
        (-30, -5, 12, 5, 65.746),
        (-100, -100, 0, 2.5, 3.998),
    ],
)
def test_drop_and_roll_of_the_carriage_change_the_diameter(front, rear, sideways, radius, wanted):
    """Derived for this project: gauge 300 mm, tip 120 mm behind the front way, 250 mm up."""
    roll = (rear - front) / 300
    found = diameter_change_um(radius, sideways + roll * 250, front + roll * 120)
    assert found == pytest.approx(wanted, abs=0.001)


def test_tip_off_centre_makes_a_drop_count_at_once():
    """By hand: 2eδy/r = 2 × 0.2 mm × 30 µm / 10 mm = 1.2 µm on the diameter, less at √(r² + e²)."""
    assert diameter_change_um(10.0, 0.0, 30.0, tip_high_mm=0.2) == pytest.approx(1.2, abs=0.1)


@pytest.mark.parametrize("seed", range(5))
def test_slopes_are_those_of_the_formula(seed):
    """Second method: differences of the formula over a nanometre each way."""
    r, out, up, e = np.random.default_rng(seed).uniform((2, -100, -100, -0.3), (50, 100, 100, 0.3))
    by_out, by_up = diameter_slopes(r, out, up, e)
    step = 1e-3
    across = diameter_change_um(r, out + step, up, e) - diameter_change_um(r, out - step, up, e)
    upward = diameter_change_um(r, out, up + step, e) - diameter_change_um(r, out, up - step, e)
    assert (by_out, by_up) == pytest.approx((across / 2 / step, upward / 2 / step), abs=1e-5)


def _survey(make_traverse, bed, truth, random, *, sideways=True, same_zero=False):
    """Levels along both ways, a level across, and an indicator held against the vee sideways."""
    runs = []
    for face in ("vee", "flat"):
        slope = np.diff(truth[face]) / 0.1
        runs.append(make_traverse(bed, "level", MIDDLE, slope + random.normal(0, 1, 10), face=face))
    roll = (truth["flat"] - truth["vee"]) / 0.3
    runs.append(make_traverse(bed, "cross", X, roll + random.normal(0, 1, 11) + 7, front="vee", rear="flat"))
    if sideways:
        aside = -truth["side"] + random.normal(0, 1, 11) + 5
        runs.append(make_traverse(bed, "dial", X, aside, face="wall", reference="vee"))
        runs.append(make_traverse(bed, "dial", X, random.normal(0, 1, 11), face="wall", reference="line"))
    return combine(runs, bed)


@pytest.fixture
def bed(invented_bed):
    return invented_bed(bed=BED, faces={**FACES, "wall": 'normal = "rear"\nacross_mm = -60'})


def _truth(random):
    return {name: 15 * np.cumsum(random.normal(0, 1, 11)) for name in ("vee", "flat", "side")}


def _wanted(truth, centre=250.0, radius=25.0, across=125.0):
    """By another way: the carriage as a rigid body on four pads, its tip moved point by point."""
    station = X[1:-1]
    ends = {name: (y[:-2] + y[2:]) / 2 for name, y in truth.items()}
    roll = (ends["flat"] - ends["vee"]) / 300
    outward = -(ends["side"] - centre * roll)
    up = ends["vee"] + roll * across
    outward, up = (y - np.interp(station, station[[0, -1]], y[[0, -1]]) for y in (outward, up))
    return station, 2 * (np.hypot(radius * 1e3 + outward, up) - radius * 1e3)


@pytest.mark.statistics
def test_diameter_is_the_truth_within_its_uncertainty_and_holds_as_often_as_it_says(make_traverse, bed):
    inside = []
    for seed in range(20):
        random = np.random.default_rng(seed)
        truth = _truth(random)
        found = turned_part(_survey(make_traverse, bed, truth, random))
        station, wanted = _wanted(truth)
        assert found.station_mm.tolist() == station.tolist() and found.known_up_to == "a line"
        error = np.abs(found.diameter_um - wanted)[1:-1]
        inside.append(np.mean(error <= 2 * found.standard_uncertainty_um[1:-1]))
        low, high = found.varies_interval_um
        assert low <= found.varies_um <= high
    assert 0.88 <= np.mean(inside) <= 0.99  # 95 %, 20 surveys of some seven free figures


def test_without_the_sideways_path_no_diameter_is_claimed_but_what_the_roll_does_is(make_traverse, bed):
    random = np.random.default_rng(1)
    truth = _truth(random)
    found = turned_part(_survey(make_traverse, bed, truth, random, sideways=False))
    assert found.diameter_um is None and found.varies_interval_um is None
    assert found.missing == ("sideways",)
    roll = (truth["flat"] - truth["vee"]) / 0.3
    rolls = (roll[:-2] + roll[2:]) / 2
    wanted = 2 * 0.25 * (rolls - rolls[0])
    assert found.from_roll.known_up_to == "a constant"
    assert found.from_roll.diameter_um == pytest.approx(wanted, abs=4)


def test_larger_rear_way_makes_the_part_larger_on_the_operators_side(make_traverse, bed):
    """Sign: rear way up rolls the tool towards the operator, away from the axis."""
    truth = {
        "vee": np.zeros(11),
        "flat": np.where(X == 500, 0.0, np.linspace(0, 60, 11)),
        "side": np.zeros(11),
    }
    found = turned_part(_survey(make_traverse, bed, truth, np.random.default_rng(0), sideways=False))
    assert found.from_roll.diameter_um[-1] > 50


def test_stretch_is_what_is_turned(make_traverse, bed):
    random = np.random.default_rng(3)
    bed_map = _survey(make_traverse, bed, _truth(random), random)
    found = turned_part(bed_map, stretch_mm=(300, 700))
    assert found.station_mm.tolist() == [300, 400, 500, 600, 700]
    with pytest.raises(AnalysisError, match="three at least"):
        turned_part(bed_map, stretch_mm=(300, 350))


def test_no_centre_height_is_refused_with_what_to_add(make_traverse, invented_bed):
    bed = invented_bed(faces=FACES)
    runs = [make_traverse(bed, "level", MIDDLE, np.zeros(10), face=face) for face in ("vee", "flat")]
    with pytest.raises(AnalysisError, match="centre_height_mm"):
        turned_part(combine(runs, bed))


def test_part_smaller_than_the_tip_is_off_is_refused(make_traverse, bed):
    random = np.random.default_rng(4)
    bed_map = _survey(make_traverse, bed, _truth(random), random)
    with pytest.raises(AnalysisError, match="tip"):
        turned_part(bed_map, diameter_mm=2.0, tip_high_mm=1.5)


def test_carriage_that_bears_between_the_stations_is_said_to(make_traverse, invented_bed):
    random = np.random.default_rng(6)
    for length, wanted in ((200, False), (150, True)):
        bed = invented_bed(bed=f"centre_height_mm = 250\ncarriage_length_mm = {length}", faces=FACES)
        truth = _truth(random)
        found = turned_part(_survey(make_traverse, bed, truth, random, sideways=False))
        assert found.is_interpolated == wanted
        said = " ".join(work_words(found, inch=False))
        assert ("how the ways run there" in said) == wanted
        assert "cannot be told" in said and "how the carriage sways sideways" in said


def test_waisted_part_is_told_in_both_units(make_traverse, bed):
    dip = 60 * ((X - 500) / 500) ** 2
    truth = {"vee": np.zeros(11), "flat": dip, "side": np.zeros(11)}
    found = turned_part(_survey(make_traverse, bed, truth, np.random.default_rng(2)))
    said = work_words(found, inch=True)
    assert "comes out waisted" in said[0] and "thou" in said[0] and "a steady taper aside" in said[0]
    assert found.is_seen


@pytest.mark.statistics
def test_diameter_holds_where_the_carriage_bears_between_the_stations(make_traverse, invented_bed):
    """Truth: ways of five long waves; the ends of the carriage stand 75 mm off the stations."""
    walls = {**FACES, "wall": 'normal = "rear"\nacross_mm = -60'}
    bed = invented_bed(bed="centre_height_mm = 250\ncarriage_length_mm = 150", faces=walls)
    inside = []
    for seed in range(6):
        random = np.random.default_rng(seed)
        waves = {
            name: [
                (random.normal(0, 20 / k**1.5), k * np.pi / 1000, random.uniform(0, 6)) for k in range(1, 4)
            ]
            for name in ("vee", "flat", "side")
        }

        def at(name, x, waves=waves):
            return sum(size * np.sin(per_mm * x + phase) for size, per_mm, phase in waves[name])

        truth = {name: at(name, X) for name in waves}
        found = turned_part(_survey(make_traverse, bed, truth, random))
        station = found.station_mm
        ends = {name: (at(name, station - 75) + at(name, station + 75)) / 2 for name in waves}
        roll = (ends["flat"] - ends["vee"]) / 300
        wanted = 2 * (250 * roll - ends["side"])
        wanted -= np.interp(station, station[[0, -1]], wanted[[0, -1]])
        assert found.is_interpolated and station.size >= 7
        error = np.abs(found.diameter_um - wanted)[1:-1]
        inside.append(np.mean(error <= 2 * found.standard_uncertainty_um[1:-1]))
    assert np.mean(inside) >= 0.88
