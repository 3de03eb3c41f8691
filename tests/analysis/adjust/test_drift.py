"""Drift is shown where it can be told, and never where it cannot."""

import itertools

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from analysis.adjust.combination import combine
from analysis.adjust.counting import CountedByReadings
from analysis.adjust.drift import drifts, only_one_way
from analysis.linear.reference_lines import remove_line
from analysis.words.facts import sentences
from tests.invented import bed_toml, level

MIDDLE = np.arange(50.0, 1000.0, 100.0)
BED = bed_toml(instruments={"level": level(0.5, base_mm=100)})
MIDDLE = np.arange(50, 1000, 100.0)


@pytest.fixture
def bed():
    return parse_bed(BED)


def _run(make_traverse, bed, direction, rate, rng, **setup):
    order = np.arange(10) if direction == "forward" else np.arange(10)[::-1]
    slope = 20 * np.cos(MIDDLE / 200) + rate * order + rng.normal(0, 0.5, 10)
    return make_traverse(bed, "level", MIDDLE, slope, face="front", direction=direction, **setup)


@pytest.mark.statistics
def test_drift_of_runs_there_and_back_is_found_within_its_uncertainty(make_traverse, bed):
    inside = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        runs = [_run(make_traverse, bed, way, 0.4, rng) for way in ("forward", "reverse")]
        (found,) = drifts(combine(runs, bed), "front")
        assert found.is_seen and found.instrument == "level" and found.unit == "µm/m"
        inside += abs(found.over_run - 9 * 0.4) <= found.expanded
    assert inside >= 52  # 57 expected; three binomial standard deviations below


def test_drift_within_its_uncertainty_is_not_called_seen(make_traverse, bed):
    rng = np.random.default_rng(1)
    runs = [_run(make_traverse, bed, way, 0.0, rng) for way in ("forward", "reverse")]
    (found,) = drifts(combine(runs, bed), "front")
    assert not found.is_seen


def test_run_in_one_direction_tells_no_drift_and_is_named(make_traverse, bed):
    found = combine([_run(make_traverse, bed, "forward", 0.4, np.random.default_rng(1))], bed)
    assert drifts(found, "front") == ()
    assert only_one_way(found, "front") == ("level",)


def test_runs_both_ways_are_not_named_as_one_way(make_traverse, bed):
    rng = np.random.default_rng(1)
    runs = [_run(make_traverse, bed, way, 0.0, rng) for way in ("forward", "reverse")]
    assert only_one_way(combine(runs, bed), "front") == ()


AT = np.arange(50, 951, 2.0)


def _drawn(make_traverse, bed, direction, drift, rng):
    """A level drawn along the way that `_run` steps along; `drift` is what it gains from end to end."""
    when = (AT - AT[0]) / np.ptp(AT) * (1 if direction == "forward" else -1)
    slope = 20 * np.cos(AT / 200) + drift * when + 30 + rng.normal(0, 0.5, len(AT))
    return make_traverse(bed, "level", AT, slope, face="front", mode="continuous", direction=direction)


@pytest.mark.statistics
def test_drawn_runs_are_named_where_they_went_one_way_only(make_traverse, bed):
    rng = np.random.default_rng(1)
    one = _drawn(make_traverse, bed, "forward", 0.0, rng)
    back = _drawn(make_traverse, bed, "reverse", 0.0, rng)
    assert only_one_way(combine([one], bed), "front") == ("level",)
    assert only_one_way(combine([one, back], bed), "front") == ()


def _bow_um(bed_map):
    profile = bed_map.profile("front")
    return np.polyfit(profile.station_mm, profile.height_um, 2)[0] * 500**2


@pytest.mark.statistics
@pytest.mark.parametrize("direction", ["forward", "reverse"])
def test_drift_of_a_drawn_run_one_way_is_told_by_stepped_runs_both_ways(make_traverse, bed, direction):
    rng = np.random.default_rng(2)
    runs = [_run(make_traverse, bed, way, 0.0, rng) for way in ("forward", "reverse")]
    found = combine([*runs, _drawn(make_traverse, bed, direction, 12.0, rng)], bed)
    assert only_one_way(found, "front") == ()
    drawn = next(each for each in drifts(found, "front") if each.instrument == "level (drawn)")
    assert drawn.is_seen and drawn.over_run == pytest.approx(12.0, abs=1.5 * drawn.expanded)
    # 12 µm/m taken for shape would be a bow of 1.4 µm
    assert _bow_um(found) == pytest.approx(_bow_um(combine(runs, bed)), abs=0.5)


@pytest.mark.statistics
def test_drawn_run_back_over_other_feet_is_no_return(make_traverse, bed):
    """Its slopes differ from those of the run there by the shape of the way."""
    rng = np.random.default_rng(4)
    stepped = [_run(make_traverse, bed, way, 0.0, rng) for way in ("forward", "reverse")]
    other = parse_bed(BED.replace("base_mm = 100", "base_mm = 80"))
    there = _drawn(make_traverse, bed, "forward", 12.0, rng)
    back = _drawn(make_traverse, other, "reverse", 12.0, rng)
    assert only_one_way(combine([there, back], bed), "front") == ("level",)
    assert any(each.bow for each in combine([*stepped, there, back], bed).observations)


@pytest.mark.statistics
def test_drift_of_a_drawn_run_stays_unfree_where_nothing_tells_the_bow(make_traverse, bed):
    """A stepped run one way only drifts as well; with both free the bow would be nobody's."""
    rng = np.random.default_rng(3)
    runs = [_run(make_traverse, bed, "forward", 0.0, rng), _drawn(make_traverse, bed, "forward", 0.0, rng)]
    found = combine(runs, bed)
    assert drifts(found, "front") == () and only_one_way(found, "front") == ("level",)
    assert found.lines[("height", "front")].is_whole


RATE = 0.02
"""µm/m a second, or a reading."""


def there_and_back_over_two_faces(bed, make_traverse, taken, **times):
    """Two faces by one level without touching its zero; each reading drifted by RATE times `taken`."""
    heights = {"front-flat": 12 * np.sin(MIDDLE / 300), "rear-flat": 0.02 * MIDDLE}
    slopes = {face: np.gradient(height, MIDDLE) * 1000 for face, height in heights.items()}
    runs = []
    for i, (face, direction) in enumerate(itertools.product(heights, ("forward", "reverse"))):
        shared = {} if i == 0 else {"same_zero_as": 1}
        own = {name: values[i] for name, values in times.items()}
        reading = slopes[face] + RATE * taken[i]
        runs.append(
            make_traverse(bed, "level", MIDDLE, reading, face=face, direction=direction, **shared, **own)
        )
    truth = np.sum(slopes["front-flat"] - slopes["rear-flat"]) * 0.1
    return combine(runs, bed), truth


def rise_of_front_against_rear(bed_map):
    row = np.zeros((1, len(bed_map.nodes)))
    front, rear = bed_map.indices("front-flat"), bed_map.indices("rear-flat")
    row[0, [front[-1], rear[0]]], row[0, [front[0], rear[-1]]] = 1.0, -1.0
    return float(bed_map.functional(row).value_um[0])


def test_drift_goes_on_by_the_clock_from_the_start_of_each_recording(invented_bed, make_traverse):
    """Noise-free: recordings ten minutes apart, first readings 10 and 130 s after their starts (invented)."""
    began = [f"2026-01-05T09:{10 * i:02d}:00+00:00" for i in range(4)]
    first = (10.0, 130.0, 10.0, 130.0)
    step = 30 * np.arange(10.0)
    time_s = [f + (step if i % 2 == 0 else step[::-1]) for i, f in enumerate(first)]
    taken = [600.0 * i + t for i, t in enumerate(time_s)]
    bed_map, truth = there_and_back_over_two_faces(
        invented_bed(), make_traverse, taken, time_s=time_s, created_utc=began
    )
    assert rise_of_front_against_rear(bed_map) == pytest.approx(truth, abs=1e-6)


def test_imports_drift_by_the_count_of_readings_whenever_they_were_imported(invented_bed, make_traverse):
    """Noise-free: no clock ran; the four files were imported at odd times (invented)."""
    imported = [f"2026-01-05T09:{m}+00:00" for m in ("00:00", "00:40", "05:00", "05:40")]
    count = np.arange(10.0)
    taken = [10 * i + (count if i % 2 == 0 else count[::-1]) for i in range(4)]
    bed_map, truth = there_and_back_over_two_faces(invented_bed(), make_traverse, taken, created_utc=imported)
    assert rise_of_front_against_rear(bed_map) == pytest.approx(truth, abs=1e-6)


def drifting(make_traverse, bed, direction, *, is_clocked, rate=1.0, face="front", **setup):
    """A run along a straight way whose readings grow by `rate` from one to the next, one a minute."""
    order = np.arange(10.0) if direction == "forward" else np.arange(10.0)[::-1]
    time_s = 60 * order if is_clocked else None
    return make_traverse(
        bed, "level", MIDDLE, rate * order, face=face, direction=direction, time_s=time_s, **setup
    )


@pytest.mark.parametrize("clocked", [(True, False), (False, True)])
def test_drift_of_runs_with_and_without_a_clock_is_counted_in_one_unit(make_traverse, bed, clocked):
    """Noise-free: the way is straight. A rate per second taken for one per reading bowed it by 1 µm."""
    runs = [
        drifting(make_traverse, bed, way, is_clocked=each)
        for way, each in zip(("forward", "reverse"), clocked, strict=True)
    ]
    bed_map = combine(runs, bed)
    profile = bed_map.profile("front")
    x = profile.station_mm
    off = profile.height_um - np.polyval(np.polyfit(x, profile.height_um, 1), x)
    np.testing.assert_allclose(off, 0.0, atol=1e-9)
    (found,) = drifts(bed_map, "front")
    assert found.over_run == pytest.approx(9.0)
    facts = [each for each in bed_map.warnings if isinstance(each, CountedByReadings)]
    assert [(each.clocked, each.not_clocked) for each in facts] == [
        ((1,), (2,)) if clocked[0] else ((2,), (1,))
    ]
    assert "none with traverse" in sentences(facts)[0]


def test_runs_that_are_all_clocked_stay_so(make_traverse, bed):
    runs = [drifting(make_traverse, bed, way, is_clocked=True) for way in ("forward", "reverse")]
    bed_map = combine(runs, bed)
    assert all(each.is_timed for each in bed_map.observations)
    assert not any(isinstance(each, CountedByReadings) for each in bed_map.warnings)


def test_level_that_was_turned_drifts_at_a_rate_of_its_own(invented_bed, make_traverse):
    """Invented, without noise: it rises by 3 µm/m a reading, and turned end for end, warmer, by 1."""
    bed = invented_bed()
    x = np.arange(0.0, 1001.0, 100.0)
    height = -30 * np.exp(-(((x - 350) / 200) ** 2))
    order = np.arange(10.0)
    runs = []
    for turned, rate in ((False, 3.0), (True, 1.0)):
        for direction, at in (("forward", order), ("reverse", order[::-1])):
            reading = (-1 if turned else 1) * np.diff(height) * 10 + 7.0 + rate * at
            runs.append(make_traverse(
                bed, "level", (x[1:] + x[:-1]) / 2, reading, face="front-flat",
                direction=direction, turned=turned, number=len(runs) + 1,
            ))  # fmt: skip
    bed_map = combine(runs, bed)
    found = remove_line(bed_map.profile("front-flat"), "ends")
    assert found.height_um == pytest.approx(height - np.interp(x, x[[0, -1]], height[[0, -1]]), abs=1e-6)
    assert bed_map.chi_square < 1e-9
