"""Drift is shown where it can be told, and never where it cannot."""

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from analysis.adjust.combination import combine
from analysis.adjust.drift import drifts, only_one_way

BED = """
[bed]
name = "invented bed"
length_mm = 1000
station_pitch_mm = 100
[faces.front]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 100
standard_uncertainty = 0.5
"""
MIDDLE = np.arange(50, 1000, 100.0)


@pytest.fixture
def bed():
    return parse_bed(BED)


def _run(make_traverse, bed, direction, rate, rng, **setup):
    order = np.arange(10) if direction == "forward" else np.arange(10)[::-1]
    slope = 20 * np.cos(MIDDLE / 200) + rate * order + rng.normal(0, 0.5, 10)
    return make_traverse(bed, "level", MIDDLE, slope, face="front", direction=direction, **setup)


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


def test_drawn_runs_are_named_where_they_went_one_way_only(make_traverse, bed):
    rng = np.random.default_rng(1)
    one = _drawn(make_traverse, bed, "forward", 0.0, rng)
    back = _drawn(make_traverse, bed, "reverse", 0.0, rng)
    assert only_one_way(combine([one], bed), "front") == ("level",)
    assert only_one_way(combine([one, back], bed), "front") == ()


def _bow_um(bed_map):
    profile = bed_map.profile("front")
    return np.polyfit(profile.station_mm, profile.height_um, 2)[0] * 500**2


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


def test_drawn_run_back_over_other_feet_is_no_return(make_traverse, bed):
    """Its slopes differ from those of the run there by the shape of the way."""
    rng = np.random.default_rng(4)
    stepped = [_run(make_traverse, bed, way, 0.0, rng) for way in ("forward", "reverse")]
    other = parse_bed(BED.replace("base_mm = 100", "base_mm = 80"))
    there = _drawn(make_traverse, bed, "forward", 12.0, rng)
    back = _drawn(make_traverse, other, "reverse", 12.0, rng)
    assert only_one_way(combine([there, back], bed), "front") == ("level",)
    assert any(each.bow for each in combine([*stepped, there, back], bed).observations)


def test_drift_of_a_drawn_run_stays_unfree_where_nothing_tells_the_bow(make_traverse, bed):
    """A stepped run one way only drifts as well; with both free the bow would be nobody's."""
    rng = np.random.default_rng(3)
    runs = [_run(make_traverse, bed, "forward", 0.0, rng), _drawn(make_traverse, bed, "forward", 0.0, rng)]
    found = combine(runs, bed)
    assert drifts(found, "front") == () and only_one_way(found, "front") == ("level",)
    assert found.lines[("height", "front")].is_whole
