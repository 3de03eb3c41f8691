"""Dense offset readings brought to the stations, and continuous levels in the adjustment."""

import re

import numpy as np
import pytest

from acquire.model.traverse import Stations
from analysis.adjust.combination import adjusted, combine
from analysis.level.continuous import heights_from_continuous_slopes
from analysis.linear.reference_lines import remove_line
from analysis.observe import continuous, observe, observe_all
from analysis.observe.reduction import at_stations, shared_part
from analysis.words.facts import sentences
from tests.invented import autoregressive


def drawn_run(x, y):
    count = len(x)
    return Stations(
        x,
        y,
        np.full(count, 1.0),
        np.full(count, 0.3),
        np.ones(count, int),
        np.ones(count, int),
        np.full(count, np.nan),
    )


def test_parabola_is_brought_to_the_stations_without_loss():
    x = np.arange(0.0, 401.0)
    found = at_stations(drawn_run(x, 0.002 * (x - 200) ** 2), np.arange(0.0, 401.0, 50), 0.7)
    assert found.station_mm == pytest.approx(np.arange(0, 401, 50))
    assert found.reading == pytest.approx(0.002 * (found.station_mm - 200) ** 2, abs=1e-9)
    assert found.standard_uncertainty == pytest.approx(0.7, abs=1e-6)


def test_stations_without_readings_near_are_left_out():
    x = np.arange(0.0, 121.0)
    found = at_stations(drawn_run(x, 0 * x), np.arange(0.0, 401.0, 50), 0.7)
    assert found.station_mm.tolist() == [0.0, 50.0, 100.0]
    assert len(at_stations(drawn_run(x + 1000, 0 * x), np.arange(0.0, 401.0, 50), 0.7)) == 0


def test_station_beyond_the_reach_of_the_run_is_left_out():
    """Drawn from 20 to 380 mm it says nothing of 0 and 400, though it comes near to both."""
    stations = np.arange(0.0, 401.0, 100)
    drawn = np.arange(20.0, 381.0)
    assert at_stations(drawn_run(drawn, 0 * drawn), stations, 0.7).station_mm.tolist() == [
        100.0,
        200.0,
        300.0,
    ]
    whole = np.arange(0.5, 400.0)
    assert at_stations(drawn_run(whole, 0 * whole), stations, 0.7).station_mm.tolist() == stations.tolist()


@pytest.mark.statistics
@pytest.mark.parametrize("rho", [0.0, 0.8])
def test_stated_scatter_is_the_scatter_of_repeated_runs(rho):
    """Monte Carlo, seeded: taking neighbours for independent would be three times too sure."""
    rng = np.random.default_rng(8)
    x = np.arange(0.0, 1001.0)
    station = np.arange(100.0, 901.0, 100)
    values, stated = [], []
    for _ in range(50):
        noise = rng.normal(0, 1, len(x))
        noise[1:] *= (1 - rho**2) ** 0.5
        noise = autoregressive(noise, rho)
        found = at_stations(drawn_run(x, noise), station, 0.0)
        values.append(found.reading)
        stated.append(np.mean(found.scatter))
    assert np.mean(stated) == pytest.approx(np.std(np.array(values)), rel=0.15)


def test_negative_autocorrelation_does_not_make_readings_surer():
    assert shared_part([(np.ones((100, 1)), np.tile([1.0, -1.0], 50))]) == 0.0


def test_continuous_indicator_gives_the_difference_of_the_faces(invented_bed, make_traverse):
    bed = invented_bed()
    x = np.arange(0.0, 1001.0)
    run = make_traverse(
        bed, "dial", x, 20 * np.sin(x / 300), face="rear-flat", reference="front-flat", mode="continuous"
    )
    found = combine([run], bed).difference("rear-flat", "front-flat")
    truth = 20 * np.sin(found.station_mm / 300)
    assert np.max(np.abs(found.height_um - found.height_um[0] - truth + truth[0])) < 0.05


def dip(x):
    return -40 * np.exp(-(((x - 500) / 200) ** 2))


def drawn_level(make_traverse, bed, rng, **setup):
    x = np.arange(50.0, 951.0)
    slope = (dip(x + 50) - dip(x - 50)) / 100 * 1000
    return make_traverse(bed, "level", x, slope + rng.normal(0, 1, len(x)), mode="continuous", **setup)


@pytest.mark.statistics
def test_continuous_level_is_mapped_at_the_stations_with_its_blind_wavelengths(invented_bed, make_traverse):
    rng = np.random.default_rng(5)
    bed = invented_bed(pitch_mm=50)
    bed_map = combine([drawn_level(make_traverse, bed, rng, face="front-flat")], bed)
    found = remove_line(bed_map.profile("front-flat"), "least-squares")
    truth = dip(found.station_mm)
    truth = truth - np.polyval(np.polyfit(found.station_mm, truth, 1), found.station_mm)
    assert len(found.station_mm) == 21
    assert np.max(np.abs(found.height_um - truth)) < 0.5
    assert bed_map.read("front-flat").mode == "continuous"
    assert 100.0 in np.round(bed_map.read("front-flat").blind_wavelengths_mm, 6)


@pytest.mark.statistics
def test_two_continuous_levels_with_one_zero_give_the_wind(invented_bed, make_traverse):
    rng = np.random.default_rng(6)
    bed = invented_bed(pitch_mm=50)
    front = [
        drawn_level(make_traverse, bed, rng, face="front-flat", number=1),
        drawn_level(
            make_traverse, bed, rng, face="front-flat", number=2, same_zero_as=1, direction="reverse"
        ),
    ]
    rear = [
        drawn_level(make_traverse, bed, rng, face="rear-flat", number=3, same_zero_as=1),
        drawn_level(make_traverse, bed, rng, face="rear-flat", number=4, same_zero_as=1, direction="reverse"),
    ]
    for each in rear:
        each.stations.reading[:] += 100.0
    bed_map = combine([*front, *rear], bed)
    difference = bed_map.difference("rear-flat", "front-flat")
    ends = np.zeros((1, len(bed_map.nodes)))
    for face, sign in (("rear-flat", 1), ("front-flat", -1)):
        index = bed_map.indices(face)
        ends[0, index[[0, -1]]] = -sign, sign
    wind = bed_map.functional(ends)
    assert wind.is_known.all()
    assert wind.value_um[0] == pytest.approx(100.0, abs=4 * wind.covariance_um2[0, 0] ** 0.5)
    assert wind.covariance_um2[0, 0] ** 0.5 < 0.6
    assert difference.station_mm[[0, -1]].tolist() == [0.0, 1000.0]
    apart = combine([*front, drawn_level(make_traverse, bed, rng, face="rear-flat", number=3)], bed)
    assert not apart.functional(ends).is_known.any()


@pytest.mark.statistics
def test_drift_of_a_drawn_level_cancels_between_the_two_ways(invented_bed, make_traverse):
    """A drift of 0.01 µm/m per sample bows one run by 1 µm; both ways together are free of it."""
    rng = np.random.default_rng(7)
    bed = invented_bed(pitch_mm=50)
    runs = []
    for direction in ("forward", "reverse"):
        run = drawn_level(make_traverse, bed, rng, face="front-flat", direction=direction)
        order = np.arange(len(run.stations.reading), dtype=float)
        run.stations.reading[:] += 0.02 * (order if direction == "forward" else order[::-1])
        runs.append(run)

    def middle_error(traverses):
        found = remove_line(combine(traverses, bed).profile("front-flat"), "ends")
        truth = dip(found.station_mm) - dip(0.0)
        return abs(found.height_um[10] - truth[10])

    assert middle_error(runs[:1]) > 1.5
    assert middle_error(runs) < 0.5


@pytest.mark.statistics
def test_samples_of_a_drawn_level_check_each_other(invented_bed, make_traverse):
    rng = np.random.default_rng(5)
    bed = invented_bed(pitch_mm=50)
    bed_map = combine([drawn_level(make_traverse, bed, rng, face="front-flat")], bed)
    assert bed_map.unchecked == ()


@pytest.mark.statistics
def test_continuous_runs_of_one_face_given_one_by_one_are_solved_together(invented_bed, make_traverse):
    """Each by itself would bring the smoothness of the way again."""
    rng = np.random.default_rng(5)
    bed = invented_bed(pitch_mm=50)
    runs = [drawn_level(make_traverse, bed, rng, face="front-flat") for _ in range(2)]
    together = combine(runs, bed)
    one_by_one = adjusted([observe(run, bed) for run in runs], bed)
    assert len(one_by_one.observations) == 1
    assert one_by_one.profile("front-flat").height_um == pytest.approx(
        together.profile("front-flat").height_um
    )
    assert together.read("front-flat").traverses == (1, 2)


@pytest.mark.statistics
def test_drawn_level_noisier_than_it_claims_is_told_and_its_band_widened(invented_bed, make_traverse):
    rng = np.random.default_rng(5)
    bed = invented_bed(pitch_mm=50)
    x = np.arange(50.0, 951.0)
    slope = (dip(x + 50) - dip(x - 50)) * 10

    def found(noise):
        run = make_traverse(
            bed, "level", x, slope + rng.normal(0, noise, 901), mode="continuous", face="front-flat"
        )
        bed_map = combine([run], bed)
        level = remove_line(bed_map.profile("front-flat"), "ends")
        return sentences(bed_map.warnings), float(np.mean(level.standard_uncertainty_um))

    honest, noisy = found(1.0), found(3.0)
    assert not any("as uncertain as" in words for words in honest[0])
    assert any(
        re.search(r"(2\.8|2\.9|3\.0|3\.1|3\.2) times as uncertain as level claims", words)
        for words in noisy[0]
    )
    # the noisier level also leaves more of the shape to be smoothed, so its band widens by less than three
    assert 1.3 * honest[1] < noisy[1] < 4 * honest[1]


@pytest.mark.statistics
def test_block_that_was_solved_with_a_tie_says_what_holds_without_it(
    invented_bed, make_traverse, monkeypatch
):
    """With a dial run the curve of a long level may be claimed; of the level alone, taken from that, not."""
    level = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 450\nstandard_uncertainty = 1.0\nseating_um = 0'
    dial = 'quantity = "offset"\nunit = "um"\nstandard_uncertainty = 1.0\nseating_um = 0'
    bed = invented_bed(1200, 100, instruments={"level": level, "dial": dial})
    x = np.arange(225.0, 976.0, 2.0)
    slope = 0.1 * (x - 600) + np.random.default_rng(1).normal(0, 1, len(x))
    drawn = make_traverse(bed, "level", x, slope, face="front-flat", mode="continuous")
    at = np.arange(0.0, 1201.0, 100.0)
    run = make_traverse(bed, "dial", at, 0 * at, face="rear-flat", reference="front-flat")
    both = observe_all([drawn, run], bed)
    (again,) = observe_all([drawn], bed)
    monkeypatch.setattr(continuous, "_solved", heights_from_continuous_slopes)
    (anew,) = observe_all([drawn], bed)
    assert not any("no 95 % band" in words for words in sentences(both[0].warnings))
    assert (
        any("no 95 % band" in words for words in sentences(again.warnings))
        and again.warnings == anew.warnings
    )
    assert again.reading.tolist() == both[0].reading.tolist() == anew.reading.tolist()
    assert not again.drawn.heights.band_is_95_percent
