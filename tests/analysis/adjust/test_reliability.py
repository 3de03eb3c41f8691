"""Outliers, slips and what nothing checks."""

from statistics import NormalDist

import numpy as np
import pytest

from analysis.adjust.combination import adjusted, combine
from analysis.adjust.reliability import Contested, alarm_level, slip_words
from analysis.observe import observe_all
from analysis.words.facts import sentences

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)


@pytest.fixture
def three_runs(invented_bed, make_traverse):
    """Three runs of a dial along a line on a hollow way, honest noise, seeded; one may be spoilt."""
    bed = invented_bed(instruments={
        "dial": 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 0.5\nseating_um = 0',
    })  # fmt: skip

    def make(spoil=None, at=4, run=1, seed=3):
        rng = np.random.default_rng(seed)
        truth = 60 + 40 * np.sin(STATION / 300)
        readings = [truth + rng.normal(0, 0.5, 11) for _ in range(3)]
        if spoil is not None:
            readings[run][at] = spoil(readings[run][at])
        runs = [make_traverse(bed, "dial", STATION, y, face="front-flat", reference="line") for y in readings]
        return adjusted(observe_all(runs, bed), bed)  # no slip of a whole run is looked for

    return make


def test_good_readings_raise_no_alarm(three_runs):
    assert three_runs().suspects == ()


def test_alarm_is_raised_once_in_a_hundred_good_sets():
    """Second method: the largest of 40 independent normal deviates, 20 000 seeded sets."""
    rng = np.random.default_rng(1)
    largest = np.max(np.abs(rng.standard_normal((20_000, 40))), axis=1)
    assert np.mean(largest > alarm_level(40)) == pytest.approx(0.01, abs=0.003)
    assert alarm_level(1) == pytest.approx(NormalDist().inv_cdf(0.995))


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda y: y / 10, "ten times too small"),
        (lambda y: y * 10, "ten times too large"),
        (lambda y: y / 25.4, "thou written where µm are read"),
        (lambda y: y * 25.4, "µm written where thou are read"),
        (lambda y: y * 1000 / 25.4, "thou written where mm are read"),
        (lambda y: -y, "the sign"),
    ],
)
def test_slip_is_found_at_its_station_and_named(three_runs, spoil, words):
    bed_map = three_runs(spoil)
    worst = bed_map.suspects[0]
    assert (worst.traverse, worst.station_mm) == (2, 400.0)
    assert words in worst.words


def test_error_that_is_no_slip_is_found_but_not_named(three_runs):
    worst = three_runs(lambda y: y + 13.0).suspects[0]
    assert (worst.traverse, worst.station_mm) == (2, 400.0)
    assert worst.words == ""


def test_small_reading_near_its_prediction_is_no_slip():
    assert slip_words(0.2, 0.9, 0.3, "offset") == ""
    assert slip_words(25.4, 1.0, 0.2, "slope") == ""
    assert slip_words(2.54, 0.1, 0.02, "offset") == "µm written where thou are read?"


def test_runner_up_is_shown_where_two_readings_cannot_be_told_apart(invented_bed, make_traverse):
    """Two readings at a station that disagree: either may be the wrong one."""
    bed = invented_bed()
    y = np.zeros(11)
    y[5] = 30.0
    runs = [
        make_traverse(bed, "dial", STATION, values, face="front-flat", reference="line")
        for values in (0 * y, y)
    ]
    suspects = combine(runs, bed).suspects
    assert {(s.traverse, s.station_mm) for s in suspects} == {(1, 500.0), (2, 500.0)}
    assert [s.runner_up for s in suspects] == [False, True]


def test_second_error_is_judged_with_the_first_set_aside(three_runs):
    """One gross error smears over its neighbours' residuals; only the two wrong readings are named."""
    bed_map = three_runs(lambda y: y + 400.0)
    assert [(s.traverse, s.station_mm) for s in bed_map.suspects if not s.runner_up] == [(2, 400.0)]


def test_noisy_instrument_does_not_turn_its_readings_into_suspects(invented_bed, make_traverse):
    rng = np.random.default_rng(9)
    bed = invented_bed()
    runs = [make_traverse(bed, "level", MIDDLE, rng.normal(0, 5, 10), face="front-flat") for _ in range(5)]
    bed_map = adjusted(observe_all(runs, bed), bed)
    assert np.max(np.abs(bed_map.residuals.normalised)) > alarm_level(50)
    assert bed_map.suspects == ()


def test_readings_that_nothing_checks_are_listed_and_others_are_not(invented_bed, make_traverse):
    bed = invented_bed()
    first = make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat")
    alone = combine([first], bed)
    assert {(u.traverse, u.station_mm) for u in alone.unchecked} == {(1, float(x)) for x in MIDDLE}
    again = make_traverse(bed, "level", MIDDLE[:5], np.zeros(5), face="front-flat")
    both = combine([first, again], bed)
    assert {u.station_mm for u in both.unchecked} == set(MIDDLE[5:].tolist())


def test_redundancies_add_up_to_the_redundancy_of_the_whole(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(
            bed, "dial", np.repeat(STATION, 2), np.zeros(22), face="rear-flat", reference="front-flat",
            repeat=np.tile([1, 2], 11), scatter=0.4,
        )
        for _ in range(2)
    ]  # fmt: skip
    bed_map = combine(runs, bed)
    assert np.sum(bed_map.residuals.redundancy) == pytest.approx(bed_map.redundancy, abs=1e-8)


@pytest.mark.statistics
def test_smallest_detectable_error_is_found_eight_times_in_ten(three_runs):
    """4.13σ/√r: 80 % of the time, by a test a good reading fails once in a thousand (Monte Carlo)."""
    table = three_runs().residuals
    index = 11 + 4
    size = table.smallest_detectable[index]
    found = 0
    for seed in range(150):
        w = three_runs(lambda y: y + size, seed=seed).residuals.normalised[index]
        found += abs(w) > NormalDist().inv_cdf(0.9995)
    assert found / 150 == pytest.approx(0.8, abs=0.09)


def test_prediction_from_all_others_leaves_the_reading_itself_out(three_runs):
    good, spoilt = three_runs().residuals, three_runs(lambda y: y + 50).residuals
    index = 11 + 4
    assert spoilt.predicted[index] == pytest.approx(good.predicted[index], abs=1e-6)


def four_runs(invented_bed, make_traverse, chips, chip_um_per_m=100.0, seed=27):
    """Four runs of a level there and back along a straight way, a chip under some of them at 450 mm."""
    bed, rng = invented_bed(), np.random.default_rng(seed)
    at_mm = np.arange(50.0, 1000.0, 100.0)
    runs = []
    for number, way in enumerate(("forward", "reverse", "forward", "reverse")):
        reading = rng.standard_normal(10)
        reading[4] += chip_um_per_m * (number in chips)
        runs.append(make_traverse(bed, "level", at_mm, reading, face="front-flat", direction=way))
    return combine(runs, bed)


@pytest.mark.parametrize("chips", [(0, 2), pytest.param((2, 3), marks=pytest.mark.statistics)])
def test_two_against_two_are_both_named_and_the_uncertainty_covers_both(invented_bed, make_traverse, chips):
    """Two chips of one size under two of four runs: which two are clean, no reading tells."""
    bed_map = four_runs(invented_bed, make_traverse, chips)
    assert {(s.traverse, s.station_mm) for s in bed_map.suspects if s.contested} == {
        (number, 450.0) for number in (1, 2, 3, 4)
    }
    (fact,) = (each for each in bed_map.warnings if isinstance(each, Contested))
    sides = ({number - 1 for number, _ in fact.one}, {number - 1 for number, _ in fact.other})
    assert set(chips) in sides and fact.error == pytest.approx(100, abs=5)
    # the step over that station, beside the one before it, is 0 if these are wrong, 10 µm if those are
    steps = np.diff(np.eye(len(bed_map.nodes)), axis=0)
    found = bed_map.functional(steps[[4]] - steps[[3]])
    step, doubt = float(found.value_um[0]), 2 * float(found.covariance_um2[0, 0] ** 0.5)
    assert step - doubt < 0 and step + doubt > 10
    # elsewhere the readings agree, and nothing is enlarged
    assert bed_map.variance_factor == 1.0
    words = sentences(bed_map.warnings)[0]
    one, other = (f"traverse {chips[0] + 1} at 450 mm", f"traverse {chips[1] + 1} at 450 mm")
    assert "nothing tells which" in words and f"{one} and {other}" in words
    assert "covers either of these, and nothing else" in words


def test_one_against_three_is_set_aside_and_contested_by_nothing(invented_bed, make_traverse):
    bed_map = four_runs(invented_bed, make_traverse, (2,))
    assert [(s.traverse, s.station_mm, s.contested) for s in bed_map.suspects] == [(3, 450.0, False)]
    assert not any(isinstance(each, Contested) for each in bed_map.warnings)


def test_readings_that_explain_the_others_far_worse_contest_nothing(invented_bed, make_traverse):
    """Three runs, one 7.5 µm/m off where two differ by 2.6: to trust it instead takes one away as well, and
    leaves 4.9²/2 of misfit where 2.6²/2 were left (by hand, 1 µm/m a reading): less likely by e^4."""
    bed = invented_bed()
    readings = [np.where(MIDDLE == 450, off, 0.0) for off in (0.0, 2.6, 7.5)]
    bed_map = combine(
        [make_traverse(bed, "level", MIDDLE, each, face="front-flat") for each in readings], bed
    )
    assert [(s.traverse, s.station_mm, s.contested) for s in bed_map.suspects] == [(3, 450.0, False)]
    assert not any(isinstance(each, Contested) for each in bed_map.warnings)
