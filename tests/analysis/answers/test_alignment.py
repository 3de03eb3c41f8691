"""Alignment: the formulas, and what a map adds, by truth given and truth returned."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.alignment import (
    Bar,
    axis_of_bar,
    bar_sag_um,
    centres_of_bar,
    facing_test,
    headstock_of_collars,
    twist_to_hide_um_per_m,
)
from analysis.answers.alignment_on_bed import collars_on_bed, line_on_bed, tailstock_on_bed
from analysis.answers.measured import Measured
from analysis.words.align import collars_words, facing_words, line_words, tailstock_words

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50


def test_bar_hangs_by_its_weight():
    """Derived: steel l 300, Ø32: 5.88 at its end with E 207 GPa; ours is 205, as every steel edge here."""
    steel = Bar(32, 300)
    assert bar_sag_um(steel, 300) == pytest.approx(5.88 * 207 / 205, abs=0.01)
    assert bar_sag_um(steel, 300) - bar_sag_um(steel, 50) == pytest.approx(5.59 * 207 / 205, abs=0.01)


@pytest.mark.parametrize("at", [40.0, 170.0, 300.0])
def test_sag_is_what_integrating_the_bending_twice_gives(at):
    """Second method: the moment of the weight beyond, over EI, integrated twice by the trapezium rule."""
    x = np.linspace(0, 0.3, 30001)
    weight, stiffness = 7850 * 9.80665 * np.pi * 0.032**2 / 4, 205e9 * np.pi * 0.032**4 / 64
    step = x[1] - x[0]
    slope = np.concatenate(
        [[0], np.cumsum(np.convolve(weight * (0.3 - x) ** 2 / 2 / stiffness, [0.5, 0.5], "valid"))]
    )
    down = np.concatenate([[0], np.cumsum(np.convolve(slope * step, [0.5, 0.5], "valid"))]) * step
    assert bar_sag_um(Bar(32, 300), at) == pytest.approx(1e6 * np.interp(at / 1000, x, down), rel=1e-4)


def test_axis_is_the_mean_of_both_turns_and_the_sag_is_put_in():
    """Derived: top 2, 11 and turned 4, 5 over 250 mm: 20 µm/m, with sag 42.4, u 4.0 for readings of 1."""
    plain = axis_of_bar([2, 11, 4, 5], [0] * 4, 250, 1.0)
    assert plain.rise_um_per_m == Measured(20.0, 4.0) and plain.run_out_um == (1.0, 3.0)
    hung = axis_of_bar([2, 11, 4, 5], [0] * 4, 250, 1.0, bar=Bar(32, 300), near_mm=50)
    assert hung.rise_um_per_m.value == pytest.approx(42.4, abs=0.3)
    assert hung.rise_um_per_m.standard_uncertainty == pytest.approx(np.hypot(4.0, 0.1 * 22.5), abs=0.05)


def test_run_out_is_the_larger_of_those_on_top_and_in_front():
    assert axis_of_bar([2, 11, 4, 5], [0, 1, 0, 9], 250, 1.0).run_out_um == (1.0, 4.0)


def test_front_pushed_in_at_the_far_end_is_an_axis_to_the_front():
    assert axis_of_bar([0] * 4, [0, 5, 0, 5], 250, 1.0).rear_um_per_m.value == pytest.approx(-20)


def test_taper_of_the_bar_that_is_not_known_widens_the_answer():
    """Half of it goes into each line: √(1² + 2²)/250 mm."""
    found = axis_of_bar([0] * 4, [0] * 4, 250, 1.0, bar=Bar(32, 300, taper_uncertainty_um=4.0))
    assert found.rear_um_per_m.standard_uncertainty == pytest.approx(5**0.5 / 0.25)


def test_two_or_four_readings_of_each_are_wanted():
    with pytest.raises(AnalysisError, match="near, far"):
        axis_of_bar([1, 2, 3], [1, 2, 3], 250, 1.0)
    with pytest.raises(AnalysisError, match="above 0"):
        axis_of_bar([1, 2], [1, 2], 0, 1.0)


def test_headstock_is_what_roll_and_sway_leave_of_the_taper():
    """Derived: ΔD 24, C 170, Δφ 40, Δs −2, d 250: 12.8 ± 2 × 7.2; twist to hide it −18.8."""
    joint = np.diag([2 * 2.0**2, 3.0**2, 1.0**2])
    found = headstock_of_collars(24, 250, 170, 40, -2, joint)
    assert (found.value, found.standard_uncertainty) == pytest.approx((12.8, 7.2), abs=0.05)
    assert not found.is_shown
    assert twist_to_hide_um_per_m(found.value, 250, 170) == pytest.approx(-18.8, abs=0.05)


def test_centres_are_the_mean_of_the_bar_both_ways_round():
    """By hand: a bar 4 thicker at one end reads 10 and 6 higher; the centre is 8 higher, 6 to the front."""
    found = centres_of_bar([0, 10, 0, 6], [0, 8, 0, 4], 1.0)
    assert (found.higher_um.value, found.rear_um.value, found.taper_um.value) == (8, -6, -12)
    assert found.taper_um.standard_uncertainty == pytest.approx(2.0)


def test_facing_reads_the_error_of_the_slide_twice_on_the_far_side():
    """Derived: 5.6 at r 140: 20 µm/m, 3.0 deep over Ø300, u 3.5 for readings of 0.7."""
    found = facing_test(5.6, 140, 300, 0.7)
    assert found.hollow_um_per_m.value == pytest.approx(20)
    assert found.hollow_um_per_m.standard_uncertainty == pytest.approx(3.5, abs=0.05)
    assert found.depth_um.value == pytest.approx(3.0)
    assert facing_words(found, inch=False)[0].startswith("The slide faces hollow by 3")


FACES = {
    "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\n'
    'across_mm = 0\ncarriage = "front"',
    "flat": 'normal = "up"\nacross_mm = 300\ncarriage = "rear"',
    "tail-vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 240',
    "tail-flat": 'normal = "up"\nacross_mm = 80',
    "wall": 'normal = "rear"\nacross_mm = -60',
}  # fmt: skip


@pytest.fixture
def bed(invented_bed):
    return invented_bed(bed="centre_height_mm = 170\ncarriage_length_mm = 200", faces=FACES)


def _truth(random):
    names = ("vee", "flat", "tail-vee", "tail-flat", "vee side", "tail-vee side")
    return {name: 6 * np.cumsum(random.normal(0, 1, 11)) for name in names}


def _survey(make_traverse, bed, truth, random, *, sideways=True, shared=True):
    """Levels along all ways with one zero, a level across both pairs, the vees sideways along one wall."""

    def run(instrument, x, reading, **setup):
        return make_traverse(bed, instrument, x, reading + random.normal(0, 1, len(x)), **setup)

    runs = []
    for face in ("vee", "flat", "tail-vee", "tail-flat"):
        zero = {"same_zero_as": 1} if runs and shared else {}
        runs.append(run("level", MIDDLE, np.diff(truth[face]) / 0.1, face=face, **zero))
    for front, rear, gauge in (("vee", "flat", 0.3), ("tail-flat", "tail-vee", 0.16)):
        runs.append(run("cross", X, (truth[rear] - truth[front]) / gauge, front=front, rear=rear))
    if sideways:
        runs.append(run("dial", X, np.zeros(11), face="wall", reference="line"))
        for vee in ("vee", "tail-vee"):
            runs.append(run("dial", X, -truth[f"{vee} side"], face="wall", reference=vee))
    return combine(runs, bed)


def _carriage(truth, centre=0.17):
    """Independently: mean of both ends; up midway, to the rear at the height of the axis (roll in µm/mm)."""
    ends = {name: (y[:-2] + y[2:]) / 2 for name, y in truth.items()}
    roll = (ends["flat"] - ends["vee"]) / 0.3
    return (ends["vee"] + ends["flat"]) / 2, ends["vee side"] - centre * roll, roll


def _slope(station, y):
    return np.polyfit(station / 1000, y, 1)[0]


@pytest.mark.statistics
def test_tailstock_is_told_within_its_uncertainty_as_often_as_it_says(make_traverse, bed):
    inside = []
    for seed in range(20):
        random = np.random.default_rng(seed)
        truth = _truth(random)
        found = tailstock_on_bed(_survey(make_traverse, bed, truth, random), ("tail-vee", "tail-flat"))
        up, aside, _ = _carriage(truth)
        roll = (truth["tail-vee"] - truth["tail-flat"]) / 160
        tail = truth["tail-flat"] + 70 * roll
        station = X[1:-1]
        assert (found.from_mm, found.to_mm) == (100, 900)
        rise = _slope(station, tail[1:-1] - up)
        rear = _slope(station, (truth["tail-vee side"] - 170 * roll)[1:-1] - aside)
        for slope, wanted in ((found.rise_um_per_m, rise), (found.rear_um_per_m, rear)):
            inside.append(abs(slope.value - wanted) <= slope.expanded)
    assert np.mean(inside) >= 0.85


def test_tailstock_whose_tilt_nothing_ties_is_refused_with_what_to_read(make_traverse, bed):
    random = np.random.default_rng(1)
    bed_map = _survey(make_traverse, bed, _truth(random), random, shared=False, sideways=False)
    found = tailstock_on_bed(bed_map, ("tail-vee", "tail-flat"))
    assert found.rise_um_per_m is None and found.missing[0] == "tilt"
    assert found.rear_um_per_m is None and "sideways" in found.missing
    assert "--same-zero-as" in "\n".join(tailstock_words(found, inch=False))


@pytest.mark.statistics
def test_bar_is_cleared_of_what_the_path_does_between_its_two_places(make_traverse, bed):
    """The path is bent between 200 and 500 mm; a true axis reads out there only."""
    inside = []
    for seed in range(20):
        random = np.random.default_rng(100 + seed)
        truth = _truth(random)
        up, aside, _ = _carriage(truth)
        station = X[1:-1]
        at = [1, 4]
        leans = up - _slope(station, up) * station / 1000, aside - _slope(station, aside) * station / 1000
        top, front = -leans[0][at], leans[1][at]
        line = axis_of_bar([*top, *top], [*front, *front], 300, 0.1)
        found = line_on_bed(_survey(make_traverse, bed, truth, random), line, 200, 500)
        inside += [abs(each.value) <= each.expanded for each in (found.rise_um_per_m, found.rear_um_per_m)]
    assert np.mean(inside) >= 0.85
    assert "Against the line along the whole path" in "\n".join(line_words(found, "The axis", inch=False))


def test_bend_of_the_path_to_the_rear_is_put_into_an_axis_and_taken_from_a_taper(make_traverse, bed):
    """By hand: from its line the path goes to the rear by s between 200 and 600 mm, whichever way it bends.

    What reads parallel to it runs s to the rear over those 400 mm; a tool that goes s to the rear takes 2 s
    off the diameter.
    """
    truth = {**_truth(np.random.default_rng(0)), "vee side": 30 * (X / 500 - 1) ** 2 + 20 * X / 1000}
    for name in ("vee", "flat", "tail-vee", "tail-flat"):
        truth[name] = 0 * X
    _, aside, _ = _carriage(truth)
    station = X[1:-1]
    rearward = np.interp([200, 600], station, aside - _slope(station, aside) * station / 1000)
    bed_map = _survey(make_traverse, bed, truth, np.random.default_rng(5))
    parallel = axis_of_bar([0, 0], [0, 0], 400, 0.1)
    found = line_on_bed(bed_map, parallel, 200, 600).rear_um_per_m
    assert found.value == pytest.approx(np.diff(rearward)[0] / 0.4, abs=2 * found.expanded)
    sway = collars_on_bed(bed_map, Measured(0.0, 2.0), 200, 600).split.from_sway_um
    assert sway.value == pytest.approx(-2 * np.diff(rearward)[0], abs=2 * sway.expanded)
    assert abs(found.value) > 3 * found.expanded and abs(sway.value) > 3 * sway.expanded


@pytest.mark.statistics
def test_collars_give_the_headstock_back_and_not_the_ways(make_traverse, bed):
    """Truth: axis 30 µm/m to the rear; the carriage rolls and sways as it likes."""
    inside, far = [], 600.0
    for seed in range(20):
        random = np.random.default_rng(200 + seed)
        truth = _truth(random)
        _, aside, roll = _carriage(truth)
        sway = aside + 0.17 * roll
        station = X[1:-1]
        at = [1, 5]
        from_line = sway - _slope(station, sway) * station / 1000
        taper = 2 * (30 * 0.4 + 0.17 * np.diff(roll[at])[0] - np.diff(from_line[at])[0])
        bed_map = _survey(make_traverse, bed, truth, random)
        found = collars_on_bed(bed_map, Measured(taper + random.normal(0, 2), 2.0), 200, far)
        headstock = found.split.headstock_um_per_m
        inside.append(abs(headstock.value - 30) <= headstock.expanded)
        assert found.split.from_roll_um.value == pytest.approx(0.34 * np.diff(roll[at])[0], abs=5)
    assert np.mean(inside) >= 0.85


class Still:
    """Readings without noise."""

    @staticmethod
    def normal(*_):
        return 0.0


def test_a_bed_surveyed_from_its_tailstock_is_told_the_same(make_traverse, bed, invented_bed):
    """Invariance: the same machine with station 0 at its other end; all slopes along it change sign."""
    truth = _truth(np.random.default_rng(5))
    ends = 'origin = "tailstock end"\nfar_end = "headstock end"\n'
    other = invented_bed(bed=f"{ends}centre_height_mm = 170\ncarriage_length_mm = 200", faces=FACES)
    there = _survey(make_traverse, bed, truth, Still)
    back = _survey(make_traverse, other, {name: y[::-1] for name, y in truth.items()}, Still)
    one, same = (
        collars_on_bed(*each)
        for each in ((there, Measured(40, 2), 200, 600), (back, Measured(40, 2), 800, 400))
    )
    assert same.split.headstock_um_per_m.value == pytest.approx(one.split.headstock_um_per_m.value)
    assert same.split.from_roll_um.value == pytest.approx(one.split.from_roll_um.value)
    assert collars_words(same, False)[0] == collars_words(one, False)[0]
    assert "the spindle is at the headstock end" in "\n".join(collars_words(same, False))
    line = axis_of_bar([0, 30], [0, 12], 300, 0.1)
    one, same = line_on_bed(there, line, 200, 500), line_on_bed(back, line, 800, 500, called=other.called)
    for there_, back_ in ((one.read, same.read), (one, same)):
        assert back_.rise_um_per_m.value == pytest.approx(-there_.rise_um_per_m.value)
        assert back_.rear_um_per_m.value == pytest.approx(-there_.rear_um_per_m.value)
    assert "rises away from the near end by" in line_words(one, "The axis", False)[1]
    assert "drops away from the tailstock end by" in line_words(same, "The axis", False)[1]
    one, same = (tailstock_on_bed(each, ("tail-vee", "tail-flat")) for each in (there, back))
    assert same.rise_um_per_m.value == pytest.approx(-one.rise_um_per_m.value)
    assert "away from the tailstock end" in "\n".join(tailstock_words(same, False))


def test_one_place_given_twice_for_both_collars_is_refused(make_traverse, bed):
    bed_map = _survey(make_traverse, bed, _truth(np.random.default_rng(5)), Still)
    with pytest.raises(AnalysisError, match="two places"):
        collars_on_bed(bed_map, Measured(40.0, 2.0), 200, 200)


def test_headstock_is_not_blamed_where_the_sway_is_not_known(make_traverse, bed):
    random = np.random.default_rng(4)
    bed_map = _survey(make_traverse, bed, _truth(random), random, sideways=False)
    found = collars_on_bed(bed_map, Measured(40.0, 2.0), 200, 600)
    assert found.split.headstock_um_per_m is None and found.split.from_roll_um is not None
    said = collars_words(found, inch=False)[0]
    assert "The headstock is not to be blamed" in said and "path sideways" in said


def test_without_a_map_no_headstock_is_blamed():
    with pytest.raises(AnalysisError, match="before the headstock is touched"):
        collars_on_bed(None, Measured(40.0, 2.0), 200, 600)
    line = axis_of_bar([0, 9], [0, 0], 250, 1.0)
    found = line_on_bed(None, line, 200, 450)
    assert found.rise_um_per_m is None
    assert "the ways may be to blame" in " ".join("\n".join(line_words(found, "The quill", False)).split())


def test_roll_that_the_feet_made_is_told_from_wear(make_traverse, invented_bed):
    """Truth: feet twist the bed by 100 µm/m over 1 m; the front way is worn 25 µm about 600 mm."""
    worn = {
        **FACES,
        "vee": f"{FACES['vee']}\nunworn_mm = [[0, 300], [900, 1000]]",
        "flat": f"{FACES['flat']}\nunworn_mm = [[0, 300], [900, 1000]]",
    }
    feet = "\n".join(
        f"[feet.{name}]\nstation_mm = {x}\nacross_mm = {y}"
        for name, x, y in (("a", 0, 0), ("b", 0, 300), ("c", 1000, 0), ("d", 1000, 300))
    )
    bed = invented_bed(bed="centre_height_mm = 170\ncarriage_length_mm = 200", faces=worn, more=feet)
    truth = {
        name: np.zeros(11) for name in ("vee", "flat", "tail-vee", "tail-flat", "vee side", "tail-vee side")
    }
    truth["vee"] = np.where((X >= 400) & (X <= 800), -25.0, 0.0)
    truth["flat"] = 0.03 * X
    random = np.random.default_rng(9)
    found = collars_on_bed(_survey(make_traverse, bed, truth, random), Measured(0.0, 2.0), 200, 600)
    assert found.feet_um.value == pytest.approx(0.34 * 0.1 * 400, abs=2 * found.feet_um.expanded)
    assert found.wear_um.value == pytest.approx(0.34 * 25 / 0.3, abs=2 * found.wear_um.expanded)
    assert found.feet_um.value + found.wear_um.value == pytest.approx(found.split.from_roll_um.value)
    said = "\n".join(collars_words(found, inch=False))
    assert "  Of the roll, what the feet can take out: " in said and "  Of the roll, wear: " in said


def test_quill_is_a_bar_over_its_extension():
    """By hand: top 1, 4 over 100 mm rises 30 µm/m, u √2/0.1; with a bar turned to 3, 2 it is 10, u 10.

    Ø60 out by 200 mm hangs 16 ρ g l⁴ / (8 E d²), ρ 7850, E 205e9: 0.334 µm.
    """
    once = axis_of_bar([1, 4], [0, -2], 100, 1.0)
    assert once.rise_um_per_m.value == pytest.approx(30)
    assert once.rise_um_per_m.standard_uncertainty == pytest.approx(2**0.5 / 0.1)
    assert once.rear_um_per_m.value == pytest.approx(20)
    turned = axis_of_bar([1, 4, 3, 2], [0, 0, 0, 0], 100, 1.0)
    assert (turned.rise_um_per_m.value, turned.rise_um_per_m.standard_uncertainty) == pytest.approx((10, 10))
    assert bar_sag_um(Bar(60, 200), 200) == pytest.approx(0.334, abs=0.001)
    hung = axis_of_bar([0, 0], [0, 0], 200, 1.0, bar=Bar(60, 200), near_mm=0)
    assert hung.rise_um_per_m.value == pytest.approx(0.334 / 0.2, abs=0.01)
