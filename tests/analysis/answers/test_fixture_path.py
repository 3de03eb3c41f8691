"""The path of a fixture on its pads. Derived."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.fixture_path import fixture_path

X = np.arange(0.0, 1001.0, 100.0)
BEND = -40.0 * (X / 1000) ** 2
"""A parabola: on pads its mean goes the same way, and pitch times overhang adds a straight line alone."""


@pytest.fixture
def bed_map(invented_bed, make_traverse):
    bed = invented_bed()
    runs = [
        make_traverse(bed, "dial", X, height, face=face, reference="line")
        for face, height in (("front-flat", BEND), ("front-side", BEND), ("rear-flat", 10.0 * (X == 500)))
    ]
    return combine(runs, bed)


@pytest.mark.parametrize("overhang", [0.0, 150.0, -80.0])
def test_parabola_gives_the_same_path_wherever_the_tool_hangs(bed_map, overhang):
    found = fixture_path(bed_map, "front-flat", 200.0, overhang)
    middle = found.station_mm - overhang
    truth = -40.0 * (middle / 1000) ** 2
    truth -= np.interp(middle, middle[[0, -1]], truth[[0, -1]])
    assert found.path_um == pytest.approx(truth, abs=1e-6)


def test_uncertainty_is_that_of_the_sum_over_both_pads(bed_map):
    """By hand, before a line is taken off: (1/2 - s)² + (1/2 + s)² of 1 µm², s = overhang over pads."""
    near, far = (fixture_path(bed_map, "front-flat", 200.0, a).expanded_um.max() for a in (0.0, 400.0))
    assert far / near > 3.0


def test_proud_spot_lifts_the_tool_as_each_pad_passes_it(bed_map):
    found = fixture_path(bed_map, "rear-flat", 200.0)
    assert found.station_mm[np.abs(found.path_um - 5.0) < 1e-6].tolist() == [400, 600]


def test_face_that_looks_to_the_front_pushes_the_tool_there(bed_map):
    up, rear = (fixture_path(bed_map, face, 200.0) for face in ("front-flat", "front-side"))
    assert (up.direction, rear.direction) == ("up", "rear")
    assert rear.path_um == pytest.approx(-up.path_um, abs=1e-9)


def test_pads_that_miss_the_stations_are_refused(bed_map):
    with pytest.raises(AnalysisError, match="whole number of station pitches"):
        fixture_path(bed_map, "front-flat", 250.0)
