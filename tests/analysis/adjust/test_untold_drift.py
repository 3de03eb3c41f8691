"""Zeros that drifted while nothing told it: what rests on them is held by its ±.

Ways, drifts and noise are invented; readings come from plain geometry. "It was told to" is of the same
surveys where a shared zero was taken as one that stays.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.adjust.between_runs import drifts_shown, untold_drift
from analysis.adjust.combination import combine
from analysis.answers.assumptions import NO_DRIFT, assumptions
from analysis.linear.reference_lines import remove_line

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50
SURE = "standard_uncertainty = 1\nseating_um = 0"
INSTRUMENTS = {
    "level": f'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\n{SURE}',
    "cross": f'quantity = "roll"\nunit = "um/m"\n{SURE}',
    "dial": f'quantity = "offset"\nunit = "um"\n{SURE}',
}
HOLLOW = -20 * np.exp(-(((X - 400) / 250) ** 2))
WOUND = 0.02 * X + 5 * np.sin(X / 300)


@pytest.fixture
def stepped(invented_bed, make_traverse):
    """Runs over faces in turn, the level drifting on by `drift` a run, its zero shared or not."""

    def make(runs, drift, *, rng=None, shared=True, jump=0.0, stated=None):
        level = INSTRUMENTS["level"] + (f"\ndrift_over_run = {stated}" if stated is not None else "")
        bed, made, zero = invented_bed(instruments=INSTRUMENTS | {"level": level}), [], 50.0
        for face, direction in runs:
            h = HOLLOW if face == "front-flat" else WOUND
            along = np.arange(10.0) if direction == "forward" else np.arange(9.0, -1, -1)
            reading = np.diff(h) / 0.1 + zero + drift * along / 10
            reading = reading + (rng.normal(0, 1, 10) if rng is not None else 0.0)
            same = {"same_zero_as": 1} if shared and made else {}
            made.append(make_traverse(
                bed, "level", MIDDLE, reading, face=face, direction=direction, number=len(made) + 1, **same
            ))  # fmt: skip
            zero += drift + jump
        return made, bed

    return make


def rise(bed_map):
    """How much more the rear rises to the far end than the front, and its standard uncertainty."""
    row = np.zeros((1, len(bed_map.nodes)))
    for face, weight in (("rear-flat", 1.0), ("front-flat", -1.0)):
        row[0, bed_map.indices(face)[[0, -1]]] = -weight, weight
    found = bed_map.functional(row)
    return float(found.value_um[0]), float(found.covariance_um2[0, 0] ** 0.5)


TRUE_RISE = np.ptp(WOUND[[0, -1]]) - (HOLLOW[-1] - HOLLOW[0])
BOTH_ONE_WAY = [("front-flat", "forward"), ("rear-flat", "forward")]


def errors_in_u(bed_map, face):
    level = remove_line(bed_map.profile(face), "least-squares")
    truth = HOLLOW if face == "front-flat" else WOUND
    truth = truth - np.polyval(np.polyfit(X, truth, 1), X)
    return (level.height_um - truth) / level.standard_uncertainty_um


@pytest.mark.statistics
@pytest.mark.parametrize("sd", [0.0, 1.0, 3.0])
def test_wind_and_heights_by_a_level_stepped_one_way_with_one_zero_are_held(stepped, sd):
    """Drift over a run of 0, 1 and 3 times u: of the winds 62 and 27 % were held where it drifted."""
    rng, winds, heights = np.random.default_rng(4), [], []
    for _ in range(60):
        bed_map = combine(*stepped(BOTH_ONE_WAY, rng.normal(0, sd), rng=rng))
        value, u = rise(bed_map)
        winds.append(abs(value - TRUE_RISE) / u)
        heights += [errors_in_u(bed_map, face) for face in ("front-flat", "rear-flat")]
    assert np.mean(np.array(winds) <= 2) >= 0.95 and np.max(winds) < 4.5
    assert np.mean(np.abs(heights) <= 2) >= 0.93


@pytest.mark.parametrize("drift", [3.0, -3.0])
@pytest.mark.parametrize("jump", [0.0, 3.0])
def test_wind_counts_that_the_zero_may_have_drifted_or_been_knocked(stepped, drift, jump):
    """It was told to ± 0.9 µm, and off by up to 6."""
    value, u = rise(combine(*stepped(BOTH_ONE_WAY, drift, jump=jump)))
    assert abs(value - TRUE_RISE) < 2 * u


def test_same_way_once_more_tells_the_drift_of_a_zero_that_it_shares(stepped):
    """Front, rear, front: the mean of the front has moved by two runs' worth, to within noise and a knock."""
    again = [*BOTH_ONE_WAY, ("front-flat", "forward")]
    value, u = rise(combine(*stepped(again, 3.0)))
    _, unsure = rise(combine(*stepped(BOTH_ONE_WAY, 3.0)))
    assert abs(value - TRUE_RISE) < 2 * u
    assert u < 0.95 * unsure


def test_way_back_along_one_way_makes_the_wind_sure(stepped):
    back = [*BOTH_ONE_WAY, ("rear-flat", "reverse")]
    value, u = rise(combine(*stepped(back, 3.0)))
    assert abs(value - TRUE_RISE) < 2 * u < 3.0


def test_instrument_that_drifts_there_and_back_is_not_taken_as_steady_one_way(stepped):
    """8 µm/m over the front's run; the rear, with a zero of its own, is bowed by 1 µm, told to ± 0.3."""
    runs = [("front-flat", "forward"), ("front-flat", "reverse"), ("rear-flat", "forward")]
    bed_map = combine(*stepped(runs, 8.0, shared=False))
    assert np.max(np.abs(errors_in_u(bed_map, "rear-flat"))) < 2
    assert NO_DRIFT not in {each.what for each in assumptions(bed_map, ["rear-flat"])}


def test_single_run_of_an_instrument_not_seen_to_drift_is_the_sum_of_its_steps(stepped):
    """Derived: end-point u in the middle of ten steps of 0.1 µm, √(5·5/10) · 0.1."""
    bed_map = combine(*stepped([("rear-flat", "forward")], 0.0))
    level = remove_line(bed_map.profile("rear-flat"), "ends")
    assert level.height_um[5] == pytest.approx(WOUND[5] - WOUND[[0, -1]].mean(), abs=1e-9)
    assert level.standard_uncertainty_um[5] == pytest.approx(2.5**0.5 * 0.1)
    assert NO_DRIFT in {each.what for each in assumptions(bed_map)}


def test_drift_that_is_stated_counts_in_a_single_run_and_moves_no_height(stepped):
    """Derived: a drift by D over ten readings bows the middle by 0.1 D/9 · (45/2 − 10) µm."""
    bed_map = combine(*stepped([("rear-flat", "forward")], 0.0, stated=3.0))
    level = remove_line(bed_map.profile("rear-flat"), "ends")
    assert level.height_um[5] == pytest.approx(WOUND[5] - WOUND[[0, -1]].mean(), abs=1e-9)
    assert level.standard_uncertainty_um[5] == pytest.approx((0.025 + (0.1 * 3 / 9 * 12.5) ** 2) ** 0.5)
    assert NO_DRIFT not in {each.what for each in assumptions(bed_map)}


def test_zero_that_is_stated_not_to_drift_is_taken_so(stepped):
    """Alone and shared: as noise makes it, and no longer a thing that nobody stated."""
    bed_map = combine(*stepped([("rear-flat", "forward")], 0.0, stated=0.0))
    found = {each.what: each.stated for each in assumptions(bed_map)}
    assert found[NO_DRIFT]
    alone = remove_line(bed_map.profile("rear-flat"), "ends")
    assert alone.standard_uncertainty_um[5] == pytest.approx(2.5**0.5 * 0.1)
    assert rise(combine(*stepped(BOTH_ONE_WAY, 0.0, stated=0.0)))[1] < 0.5
    assert rise(combine(*stepped(BOTH_ONE_WAY, 0.0)))[1] > 0.5


@pytest.mark.statistics
def test_single_runs_of_a_level_that_drifts_as_stated_are_held(stepped):
    """By three standard uncertainties a run: 74 to 78 % of heights were held where nothing was stated."""
    rng, heights = np.random.default_rng(8), []
    for _ in range(60):
        bed_map = combine(*stepped([("front-flat", "forward")], rng.normal(0, 3), rng=rng, stated=3.0))
        heights.append(errors_in_u(bed_map, "front-flat"))
    assert 0.92 <= np.mean(np.abs(heights) <= 2) <= 0.99


def test_drift_stated_is_in_divisions_where_the_level_has_them(invented_bed):
    vial = 'quantity = "slope"\nunit = "mm/m"\nper_division = 0.02\nbase_mm = 100\nstandard_uncertainty = 0.1'
    bed = invented_bed(instruments={"vial": f"{vial}\ndrift_over_run = 0.5"})
    assert bed.instruments["vial"].contract_drift_over_run == pytest.approx(10.0)


@pytest.mark.statistics
def test_bow_of_a_level_drawn_one_way_counts_the_drift_that_is_stated(invented_bed, make_traverse):
    """Derived: D µm/m over L m bows the middle by D·L/8 µm, 0.375 here."""
    x = np.arange(50.0, 951.0, 2.0)
    slope = np.random.default_rng(3).normal(0, 0.1, len(x))
    heights = {}
    for stated in ("", "\ndrift_over_run = 3"):
        bed = invented_bed(instruments={"level": INSTRUMENTS["level"] + stated})
        run = make_traverse(bed, "level", x, slope, face="front-flat", mode="continuous")
        bed_map = combine([run], bed)
        heights[stated] = remove_line(bed_map.profile("front-flat"), "ends")
        assert (NO_DRIFT in {each.what for each in assumptions(bed_map)}) is not stated
    plain, counted = heights.values()
    assert counted.height_um == pytest.approx(plain.height_um, abs=1e-6)
    more = np.sqrt(counted.standard_uncertainty_um**2 - plain.standard_uncertainty_um**2)
    assert more.max() == pytest.approx(3.0 * 0.9 / 8, rel=0.3)


@pytest.mark.parametrize("turned", [False, True])
def test_cross_level_read_both_ways_round_leans_by_what_its_zero_may_have_moved(
    invented_bed, make_traverse, turned
):
    """The zero moved by 3 µm/m between the runs: the roll itself is off by half of that, the wind by none."""
    bed, roll = invented_bed(instruments=INSTRUMENTS), (WOUND - HOLLOW) / 0.3
    ways = {"front": "front-flat", "rear": "rear-flat"}
    runs = [
        make_traverse(bed, "cross", X, roll + 10.0, number=1, **ways),
        make_traverse(bed, "cross", X, -roll + 13.0, number=2, turned=True, same_zero_as=1, **ways),
    ]
    bed_map = combine(runs[::-1] if turned else runs, bed)
    row = np.zeros((1, len(bed_map.nodes)))
    for face, weight in (("rear-flat", 1.0), ("front-flat", -1.0)):
        row[0, bed_map.indices(face)[3]] = weight
    found = bed_map.functional(row)
    u = float(found.covariance_um2[0, 0] ** 0.5)
    assert abs(found.value_um[0] - (WOUND - HOLLOW)[3]) < 2 * u < 3.0
    assert rise(bed_map)[1] < 0.5


def test_faces_read_by_a_dial_with_one_zero_lie_as_high_as_the_zero_may_have_stayed(
    invented_bed, make_traverse
):
    """A dial of u 1 µm knocked by 3 µm between two faces read from one line: it was told to ± 0.9."""
    bed = invented_bed(instruments=INSTRUMENTS)
    line = {"reference": "line"}
    runs = [
        make_traverse(bed, "dial", X, HOLLOW, face="front-flat", number=1, **line),
        make_traverse(bed, "dial", X, WOUND + 3.0, face="rear-flat", number=2, same_zero_as=1, **line),
    ]
    bed_map = combine(runs, bed)
    row = np.zeros((1, len(bed_map.nodes)))
    row[0, bed_map.indices("rear-flat")] = 1 / 11
    row[0, bed_map.indices("front-flat")] = -1 / 11
    found = bed_map.functional(row)
    u = float(found.covariance_um2[0, 0] ** 0.5)
    assert abs(found.value_um[0] - np.mean(WOUND - HOLLOW)) < 2 * u < 9.0


def test_wind_is_as_unsure_as_a_zero_that_drifts_on_and_is_knocked(invented_bed, make_traverse):
    """Derived: u of 2 µm/m; a rate of 3·2/9 a step over the ten steps between, a knock of 3·2, and noise."""
    level = INSTRUMENTS["level"].replace("standard_uncertainty = 1", "standard_uncertainty = 2")
    bed = invented_bed(instruments={"level": level})
    runs = [
        make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat", number=1),
        make_traverse(bed, "level", MIDDLE, np.zeros(10), face="rear-flat", number=2, same_zero_as=1),
    ]
    _, u = rise(combine(runs, bed))
    assert u == pytest.approx(np.sqrt((10 * 6 / 9) ** 2 + 6**2 + 2 * 10 * 0.2**2), rel=0.01)


def test_drift_shown_there_and_back_is_less_what_noise_alone_would_show(stepped):
    """Derived: 0.8 a step over nine steps; readings of u 1 µm/m leave 9/√(Σ(2k − 9)²/2) of it unsure."""
    there_and_back = [("front-flat", "forward"), ("front-flat", "reverse")]
    shown = [drifts_shown(combine(*stepped(there_and_back, drift)).observations) for drift in (8.0, 0.0)]
    doubt = 9 / np.sqrt(np.sum((2 * np.arange(10) - 9) ** 2) / 2)
    assert shown[0]["level"] == pytest.approx(np.sqrt(7.2**2 - doubt**2))
    assert shown[1]["level"] == 0.0


def test_drift_shown_is_that_of_the_readings_without_what_is_put_right_in_both():
    """Invented: the sag of an edge that hangs crooked mixes with a drift of half a micrometre a reading."""
    sag = 40 * (X / 1000) ** 3

    def run(direction, order):
        return SimpleNamespace(
            mode="stepped", drift_group=("dial", "way"), turned=False, instrument="dial", station_mm=X,
            direction=direction, order=order, reading=sag + 0.5 * order, correction=sag,
            variance=np.full(11, 1e-6),
        )  # fmt: skip

    order = np.arange(11.0)
    shown = drifts_shown([run("forward", order), run("reverse", order[::-1])])
    assert shown == {"dial": pytest.approx(5.0, abs=1e-3)}


def test_zero_left_for_three_runs_time_may_have_moved_three_times_as_far(invented_bed, make_traverse):
    bed = invented_bed(instruments=INSTRUMENTS)
    runs = [
        make_traverse(bed, "dial", X, 0 * X, face="front-flat", number=1, reference="line"),
        make_traverse(bed, "dial", X, 0 * X, face="rear-flat", number=2, reference="line", same_zero_as=1),
    ]
    made = combine(runs, bed).observations
    sizes = [untold_drift(made[1], made, {1: 1, 2: 1}, start, {})[0].prior_sd for start in (10.0, 30.0)]
    assert sizes == pytest.approx([3.0, 9.0])
