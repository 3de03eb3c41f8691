"""One adjustment of many traverses: acceptance numbers, second methods, invariances.

Numbers marked *derived* were worked out for this project (consistency, not outside evidence).
"""

import numpy as np
import pytest
import uncertainties
from scipy import sparse

from acquire.model.bed import Bed, Face
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import adjusted, combine
from analysis.adjust.hypothetical import covariance_with, predict
from analysis.adjust.solution import Block, solve
from analysis.level.cumulative import heights_from_slopes
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line, straightness
from analysis.observe import Observations, Place, observe
from analysis.words.facts import sentences

STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = np.arange(50.0, 1000.0, 100.0)
SLOPES = np.array([12, 8.5, 3, -1.5, -6, -4, 0.5, 2, 5.5, 9])


def without_line(x, y):
    return y - np.polyval(np.polyfit(x, y, 1), x)


def shape(x):
    """An invented way, µm: hollow, with a dip."""
    x = np.asarray(x, float)
    return -30 * np.sin(np.pi * x / 1000) - 6 * np.exp(-(((x - 620) / 90) ** 2))


def level_readings(height, base_mm, middle_mm):
    return (height(middle_mm + base_mm / 2) - height(middle_mm - base_mm / 2)) / base_mm * 1000


def test_stepped_level_gives_what_the_sum_by_hand_gives(invented_bed, make_traverse):
    """Derived: heights 0 1.2 … 2.9; range from the ends 2.35, least squares 2.003636, zone 1.814286."""
    bed = invented_bed()
    profile = combine([make_traverse(bed, "level", MIDDLE, SLOPES, face="front-flat")], bed).profile(
        "front-flat"
    )
    by_hand = heights_from_slopes(SLOPES, 100.0)
    assert profile.station_mm == pytest.approx(STATION)
    assert without_line(STATION, profile.height_um) == pytest.approx(without_line(STATION, by_hand), abs=1e-9)
    known = [0, 1.2, 2.05, 2.35, 2.2, 1.6, 1.2, 1.25, 1.45, 2.0, 2.9]
    assert without_line(STATION, profile.height_um) == pytest.approx(
        without_line(STATION, np.array(known)), abs=1e-9
    )
    for line, range_um in (("ends", 2.35), ("least-squares", 2.003636), ("minimum-zone", 1.814286)):
        assert straightness(profile, line).range_um == pytest.approx(range_um, abs=1e-6)


def test_a_common_zero_of_the_level_changes_no_range(invented_bed, make_traverse):
    bed = invented_bed()
    found = [
        remove_line(
            combine([make_traverse(bed, "level", MIDDLE, SLOPES + zero, face="front-flat")], bed).profile(
                "front-flat"
            ),
            "least-squares",
        ).height_um
        for zero in (0.0, 37.0)
    ]
    assert found[0] == pytest.approx(found[1], abs=1e-9)


def test_uncertainty_of_a_stepped_level_follows_the_closed_form(invented_bed, make_traverse):
    """Derived: n = 20, base 100 mm, 2 µm/m: ends u(5) 0.3873, u(10) 0.4472; least squares u(0) 0.2999, u(10)
    0.2643; covariance of 5 and 15 +0.05000 and −0.007475 µm²."""
    bed = invented_bed(2000, instruments={"level": (
        'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 2.0\nseating_um = 0.0'
    )})  # fmt: skip
    x = np.arange(50.0, 2000, 100)
    profile = combine([make_traverse(bed, "level", x, np.zeros(20), face="front-flat")], bed).profile(
        "front-flat"
    )
    ends, least = remove_line(profile, "ends"), remove_line(profile, "least-squares")
    assert ends.standard_uncertainty_um[[5, 10]] == pytest.approx([0.3873, 0.4472], abs=1e-4)
    assert least.standard_uncertainty_um[[0, 10]] == pytest.approx([0.2999, 0.2643], abs=1e-4)
    assert ends.covariance_um2[5, 15] == pytest.approx(0.05, abs=1e-4)
    assert least.covariance_um2[5, 15] == pytest.approx(-0.007475, abs=1e-6)


def test_a_bed_with_nothing_but_wind_leaves_no_residual_and_shows_its_wind(invented_bed, make_traverse):
    """Taking a line off each face would leave a cross level with 51 µm/m of false residual (derived)."""
    bed = invented_bed(1600, pitch_mm=100)
    x, middle = np.arange(0, 1601.0, 100), np.arange(50, 1600.0, 100)
    wind = 167.0 * x / 1600
    runs = [
        make_traverse(bed, "level", middle, np.full(16, 5.0), face="front-flat"),
        make_traverse(bed, "level", middle, np.full(16, 5.0 + 0.3 * 167.0 / 1.6), face="rear-flat"),
        make_traverse(bed, "cross", x, 40.0 + wind, front="front-flat", rear="rear-flat"),
    ]
    bed_map = combine(runs, bed)
    assert bed_map.chi_square == pytest.approx(0.0, abs=1e-12)
    assert bed_map.redundancy == 15
    difference = bed_map.difference("rear-flat", "front-flat")
    rise = difference.height_um - difference.height_um[0]
    assert rise == pytest.approx(0.3 * wind, abs=1e-8)


def test_one_quantity_read_four_times_gives_the_textbook_residuals():
    """Derived: 0 0 0 4 with σ 1: residuals −1 −1 −1 3, w −1.1547 ×3 and 3.4641, chi-square 12, 3 degrees."""
    bed_map = _read_four_times([0.0, 0.0, 0.0, 4.0])
    table = bed_map.residuals
    assert table.residual == pytest.approx([-1, -1, -1, 3])
    assert table.normalised == pytest.approx([-1.1547, -1.1547, -1.1547, 3.4641], abs=1e-4)
    assert bed_map.chi_square == pytest.approx(12.0)
    assert bed_map.redundancy == 3
    assert table.redundancy == pytest.approx([0.75] * 4)
    assert table.smallest_detectable == pytest.approx([4.13 / 0.75**0.5] * 4)
    (suspect,) = bed_map.suspects
    assert (suspect.station_mm, suspect.reading) == (0.0, 4.0)
    assert suspect.predicted == pytest.approx(0.0)


def _read_four_times(values, bed=None):
    bed = bed or Bed("b", 100.0, (0.0, 50.0, 100.0), {"f": Face("f", "up")})
    count = len(values)
    readings = Observations(
        1, "dial", "offset", "stepped", "f", ("f",), np.zeros(count), np.array(values), np.zeros(count),
        tuple({Place("height", "f", 0.0, "touched"): 1.0} for _ in values), np.ones(count), (),
    )  # fmt: skip
    return adjusted([readings], bed)


def test_two_readings_that_disagree_are_both_named():
    suspects = _read_four_times([0.0, 0.0, 0.0, 9.0, 9.0, 0.0, 0.0, 0.0]).suspects
    assert sorted(s.reading for s in suspects if abs(s.normalised_residual) > 4) == [9.0, 9.0]


def test_estimate_agrees_with_an_independent_package_for_propagation(invented_bed, make_traverse):
    """Second method: the closed solution of two levels on one face, propagated by `uncertainties`."""
    bed = invented_bed(400)
    middle = np.arange(50.0, 400, 100)
    first, second = np.array([3.0, -1.0, 4.0, 2.0]), np.array([13.5, 9.0, 14.0, 11.5])
    bed_map = combine(
        [make_traverse(bed, "level", middle, s, face="front-flat") for s in (first, second)], bed
    )
    found = remove_line(bed_map.profile("front-flat"), "ends")
    slopes = [
        (uncertainties.ufloat(a, 1.0) + uncertainties.ufloat(b, 1.0)) / 2
        for a, b in zip(first, second, strict=True)
    ]
    heights = [sum(slopes[:k], uncertainties.ufloat(0, 1e-12)) * 0.1 for k in range(5)]
    level = [h - k / 4 * heights[4] for k, h in enumerate(heights)]
    assert found.height_um == pytest.approx([h.n for h in level], abs=1e-9)
    assert found.covariance_um2 == pytest.approx(np.array(uncertainties.covariance_matrix(level)), abs=1e-9)


def test_covariance_agrees_with_monte_carlo(invented_bed, make_traverse):
    """Second method: 2000 simulated surveys of level, cross level and dial; seeded."""
    rng = np.random.default_rng(4)
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, np.zeros(10), face="front-flat"),
        make_traverse(bed, "cross", STATION, np.zeros(11), front="front-flat", rear="rear-flat"),
        make_traverse(bed, "dial", STATION, np.zeros(11), face="rear-flat", reference="front-flat"),
    ]
    bed_map = combine(runs, bed)
    rows = sparse.vstack([block.whitened for block in bed_map.solution.blocks]).toarray()
    basic = np.linalg.pinv(rows)
    estimates = basic @ rng.standard_normal((rows.shape[0], 2000))
    index = bed_map.indices("rear-flat")
    take = np.eye(11) - np.polynomial.polynomial.polyvander(STATION, 1) @ np.linalg.pinv(
        np.polynomial.polynomial.polyvander(STATION, 1)
    )
    spread = np.std(take @ estimates[index], axis=1)
    stated = remove_line(bed_map.profile("rear-flat"), "least-squares").standard_uncertainty_um
    assert stated == pytest.approx(spread, rel=0.06)


def test_diagonal_alone_would_misjudge_straightness(invented_bed, make_traverse):
    """Neighbouring heights share the errors of the steps before them: dropping that misjudges any line."""
    bed = invented_bed()
    profile = combine([make_traverse(bed, "level", MIDDLE, SLOPES, face="front-flat")], bed).profile(
        "front-flat"
    )
    ends = remove_line(profile, "ends")
    full = remove_line(ends, "least-squares").standard_uncertainty_um
    variances = np.diag(np.diag(ends.covariance_um2))
    alone = remove_line(Profile("f", ends.station_mm, ends.height_um, variances), "least-squares")
    assert np.max(np.abs(alone.standard_uncertainty_um / full - 1)) > 0.2


def test_mixed_bed_returns_its_invented_truth(invented_bed, make_traverse):
    """Truth given, truth returned: level on one way, cross level, dial down to the underside, no noise."""
    bed = invented_bed()

    def rear(x):
        return 0.5 * shape(x) + 0.02 * np.asarray(x)

    def under(x):
        return 4 * np.cos(np.asarray(x) / 200)

    runs = [
        make_traverse(bed, "level", MIDDLE, level_readings(shape, 100, MIDDLE) + 9, face="front-flat"),
        make_traverse(
            bed,
            "cross",
            STATION,
            (rear(STATION) - shape(STATION)) / 0.3 - 21,
            front="front-flat",
            rear="rear-flat",
        ),
        make_traverse(
            bed,
            "dial",
            STATION,
            under(STATION) + rear(STATION) + 5,
            face="front-under",
            reference="rear-flat",
        ),
    ]
    bed_map = combine(runs, bed)
    for face, truth in (("front-flat", shape), ("rear-flat", rear), ("front-under", under)):
        found = bed_map.profile(face)
        assert without_line(STATION, found.height_um) == pytest.approx(
            without_line(STATION, truth(STATION)), abs=1e-8
        )


def test_walking_the_way_backwards_mirrors_the_map(invented_bed, make_traverse):
    bed = invented_bed()
    there = combine([make_traverse(bed, "level", MIDDLE, SLOPES, face="front-flat")], bed).profile(
        "front-flat"
    )
    back = combine([make_traverse(bed, "level", 1000 - MIDDLE, -SLOPES, face="front-flat")], bed).profile(
        "front-flat"
    )
    assert without_line(STATION, back.height_um[::-1]) == pytest.approx(
        without_line(STATION, there.height_um), abs=1e-9
    )


def test_drift_cancels_exactly_between_forward_and_reverse(invented_bed, make_traverse):
    """Forward alone bends by −B·r·i(n−i)/2 (derived); both ways without turning are free of it."""
    bed, order = invented_bed(), np.arange(10.0)
    drifting = [
        make_traverse(bed, "level", MIDDLE, SLOPES + 3 * order, face="front-flat", direction="forward"),
        make_traverse(bed, "level", MIDDLE, SLOPES + 3 * order[::-1], face="front-flat", direction="reverse"),
    ]
    truth = without_line(STATION, heights_from_slopes(SLOPES, 100.0))
    both = combine(drifting, bed)
    alone = combine(drifting[:1], bed)
    assert without_line(STATION, both.profile("front-flat").height_um) == pytest.approx(truth, abs=1e-9)
    bow = without_line(STATION, alone.profile("front-flat").height_um) - truth
    i = np.arange(11)
    assert bow == pytest.approx(without_line(STATION, -0.1 * 3 * i * (10 - i) / 2), abs=1e-9)


def test_one_zero_for_both_levels_gives_the_wind(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, SLOPES + 50, face="front-flat", number=1),
        make_traverse(bed, "level", MIDDLE, SLOPES + 80, face="rear-flat", number=2, same_zero_as=1),
    ]
    difference = combine(runs, bed).difference("rear-flat", "front-flat")
    assert difference.height_um - difference.height_um[0] == pytest.approx(0.03 * STATION, abs=1e-9)
    assert not any("wind" in words for words in sentences(combine(runs, bed).cannot_tell))
    apart = [runs[0], make_traverse(bed, "level", MIDDLE, SLOPES + 80, face="rear-flat", number=2)]
    assert any(
        "the wind or taper between front-flat and rear-flat" in w
        for w in sentences(combine(apart, bed).cannot_tell)
    )


def test_scale_error_is_shared_by_all_readings_and_does_not_average(invented_bed, make_traverse):
    """1 % of scale leaves the depth of a hollow uncertain by 1 %, however often it is read."""
    bed = invented_bed(instruments={"level": (
        'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.001\nseating_um = 0.0\n'
        "scale_uncertainty = 0.01"
    )})  # fmt: skip
    slopes = level_readings(shape, 100, MIDDLE)
    runs = [make_traverse(bed, "level", MIDDLE, slopes, face="front-flat") for _ in range(20)]
    level = remove_line(combine(runs, bed).profile("front-flat"), "ends")
    assert level.standard_uncertainty_um[5] == pytest.approx(0.01 * abs(level.height_um[5]), rel=0.02)


def test_scale_error_acts_on_the_wind_between_ways_read_with_one_zero(invented_bed, make_traverse):
    """1 % of a wind of 300 µm over the length is 3 µm, whatever the zero of the level."""
    level = (
        'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 0.001\nseating_um = 0\n'
        "scale_uncertainty = 0.01"
    )
    bed = invented_bed(instruments={"level": level})
    runs = [
        make_traverse(bed, "level", MIDDLE, np.full(10, 5000.0), face="front-flat", number=1),
        make_traverse(bed, "level", MIDDLE, np.full(10, 5300.0), face="rear-flat", number=2, same_zero_as=1),
    ]
    bed_map = combine(runs, bed)
    ends = np.zeros((1, len(bed_map.nodes)))
    ends[0, bed_map.indices("rear-flat")[[0, -1]]] = -1, 1
    ends[0, bed_map.indices("front-flat")[[0, -1]]] = 1, -1
    wind = bed_map.functional(ends)
    assert wind.value_um == pytest.approx([300.0])
    assert wind.covariance_um2[0, 0] ** 0.5 == pytest.approx(3.0, rel=1e-3)


def test_seating_is_new_at_every_placing(invented_bed, make_traverse):
    """0.5 µm a foot is 3.5 µm/m on a 200 mm base (derived)."""
    bed = invented_bed(instruments={"level": (
        'quantity = "slope"\nunit = "um/m"\nbase_mm = 200\nstandard_uncertainty = 0.0\nresolution = 0.001\n'
        "seating_um = 0.5"
    )})  # fmt: skip
    run = make_traverse(bed, "level", [100, 300, 500], [0, 0, 0], face="front-flat")
    assert np.sqrt(observe(run, bed).variance) == pytest.approx(3.5355, abs=1e-3)


def test_repeats_at_a_station_do_not_reduce_the_stated_uncertainty(invented_bed, make_traverse):
    bed = invented_bed()
    many = make_traverse(
        bed, "dial", np.repeat(STATION, 9), np.zeros(99), face="rear-flat", reference="front-flat",
        scatter=0.3, repeat=np.tile(np.arange(1, 10), 11),
    )  # fmt: skip
    profile = combine([many], bed).difference("rear-flat", "front-flat")
    level = remove_line(profile, "least-squares")
    once = make_traverse(bed, "dial", STATION, np.zeros(11), face="rear-flat", reference="front-flat")
    single = remove_line(combine([once], bed).difference("rear-flat", "front-flat"), "least-squares")
    ratio = level.standard_uncertainty_um / single.standard_uncertainty_um
    assert ratio == pytest.approx(np.hypot(1.0, 0.1), rel=1e-6)


def test_repeats_written_by_hand_bring_the_scatter_that_they_show(invented_bed, make_traverse):
    """Typed readings carry no scatter of their own; two visits 3 µm apart show one of 2.1 µm."""
    bed = invented_bed()
    twice = make_traverse(
        bed, "dial", np.repeat(STATION, 2), np.tile([0.0, 3.0], 11), face="rear-flat", reference="front-flat",
        repeat=np.tile([1, 2], 11),
    )  # fmt: skip
    covariance = observe(twice, bed).covariance
    assert covariance[0, 0] == pytest.approx(1.0 + 4.5)
    assert covariance[0, 1] == pytest.approx(1.0)
    same = make_traverse(
        bed, "dial", np.repeat(STATION, 2), np.zeros(22), face="rear-flat", reference="front-flat",
        repeat=np.tile([1, 2], 11),
    )  # fmt: skip
    level = remove_line(combine([same], bed).difference("rear-flat", "front-flat"), "least-squares")
    assert np.all(np.isfinite(level.standard_uncertainty_um))


def test_prediction_is_what_the_heights_make_of_a_reading(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "level", MIDDLE, SLOPES, face="front-flat"),
        make_traverse(bed, "cross", STATION, 7 + 0 * STATION, front="front-flat", rear="rear-flat"),
    ]
    bed_map = combine(runs, bed)
    again = observe(
        make_traverse(bed, "cross", [250.0], [0.0], front="front-flat", rear="rear-flat", same_zero_as=2), bed
    )
    found = predict(bed_map, again)
    assert found.is_known.all()
    assert found.value == pytest.approx([7.0])
    assert 0 < found.standard_uncertainty[0] < 1.0
    new_zero = observe(make_traverse(bed, "cross", [250.0], [0.0], front="front-flat", rear="rear-flat"), bed)
    assert not predict(bed_map, new_zero).is_known.any()


def test_covariance_with_a_further_traverse_is_that_of_having_taken_it(invented_bed, make_traverse):
    bed = invented_bed()
    first = make_traverse(bed, "level", MIDDLE, SLOPES, face="front-flat")
    second = make_traverse(bed, "level", MIDDLE, SLOPES + 3, face="front-flat")
    with_it = covariance_with(combine([first], bed), observe(second, bed)).profile("front-flat")
    taken = combine([first, second], bed).profile("front-flat")
    assert remove_line(with_it, "ends").covariance_um2 == pytest.approx(
        remove_line(taken, "ends").covariance_um2
    )


def test_covariance_is_enlarged_only_where_readings_scatter_more_than_claimed(invented_bed, make_traverse):
    rng = np.random.default_rng(2)
    bed = invented_bed()

    def survey(sigma):
        return combine(
            [
                make_traverse(bed, "level", MIDDLE, SLOPES + rng.normal(0, sigma, 10), face="front-flat")
                for _ in range(4)
            ],
            bed,
        )

    honest, noisy = survey(1.0), survey(4.0)
    assert honest.variance_factor == 1.0
    assert not any("scatter" in words for words in sentences(honest.warnings))
    assert noisy.variance_factor == pytest.approx(noisy.chi_square / noisy.redundancy)
    assert any("times as much as the instruments claim" in words for words in sentences(noisy.warnings))


def test_thousands_of_unknowns_are_solved_and_the_rank_is_right():
    """A chain of 1500 heights read as differences: one height stays free."""
    count = 1500
    rows = sparse.diags([-np.ones(count - 1), np.ones(count - 1)], [0, 1], shape=(count - 1, count)).tocsr()
    solution = solve([Block(rows, np.ones(count - 1), np.ones(count - 1))], count)
    assert solution.rank == count - 1
    assert solution.estimate - solution.estimate[0] == pytest.approx(np.arange(count), abs=1e-6)


def test_no_traverse_of_a_kind_is_said_plainly(invented_bed, make_traverse):
    bed = invented_bed()
    run = make_traverse(bed, "level", MIDDLE, SLOPES, face="front-flat")
    with pytest.raises(AnalysisError, match="found no traverse with an indicator"):
        combine([run], bed, by="indicator")
    with pytest.raises(AnalysisError, match="no traverse touches it"):
        combine([run], bed).profile("rear-flat")
