"""Drift is shown where it can be told, and never where it cannot."""

import numpy as np
import pytest

from acquire.bed import parse_bed
from analysis.combination import combine
from analysis.drift import drifts, only_one_way

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


def test_drawn_run_one_way_is_named_though_the_level_was_also_stepped_both_ways(make_traverse, bed):
    rng = np.random.default_rng(1)
    runs = [_run(make_traverse, bed, way, 0.0, rng) for way in ("forward", "reverse")]
    at = np.arange(50, 951, 2.0)
    for direction, named in (("forward", ("level",)), ("reverse", ())):
        slope = 20 * np.cos(at / 200) + rng.normal(0, 0.5, len(at))
        runs.append(
            make_traverse(bed, "level", at, slope, face="front", mode="continuous", direction=direction)
        )
        assert only_one_way(combine(runs, bed), "front") == named
