"""What stands beside the curve of a drawn level, and what leads where the curve may not be claimed."""

import json

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.answers.face_map import map_face
from analysis.commands.json_form import as_json
from analysis.words.face_map import map_words

LENGTH = 1200


def hollow(x):
    return -40 * np.sin(np.pi * np.asarray(x) / LENGTH) ** 2


@pytest.fixture
def drawn(invented_bed, make_traverse):
    """A map of a face from a level drawn over it."""

    def make(base, *, noise=1.0, seed=1, mode="continuous", **level):
        more = "".join(f"\n{key} = {value}" for key, value in level.items())
        text = (
            f'quantity = "slope"\nunit = "um/m"\nbase_mm = {base}\nstandard_uncertainty = 1.0\nseating_um = 0'
        )
        bed = invented_bed(LENGTH, 100, instruments={"level": text + more})
        x = np.arange(base / 2, LENGTH - base / 2 + 1, 1.0 if mode == "continuous" else base)
        slope = (hollow(x + base / 2) - hollow(x - base / 2)) / base * 1000
        slope = slope + np.random.default_rng(seed).normal(0, noise, len(x)) + 70
        run = make_traverse(bed, "level", x, slope, face="front-flat", mode=mode)
        return map_face(combine([run], bed), "front-flat")

    return make


@pytest.mark.statistics
def test_headline_names_the_ripples_that_leave_the_readings_unchanged(drawn):
    found = drawn(100)
    words = map_words(found, False)
    assert words[0].startswith("front-flat is hollow by ")
    assert words[0].endswith(
        "; ripples 100, 50, 33.3 ... mm long leave these readings unchanged, whatever their height; "
        "the ± does not include them."
    )
    assert not any("cannot be seen with this base" in line for line in words)
    assert "ripples 3.94, 1.97, 1.31 ... in long" in map_words(found, True)[0]
    assert json.loads(as_json(found))["ripples_not_included_mm"] == pytest.approx([100, 50, 100 / 3, 25, 20])


@pytest.mark.statistics
def test_base_lag_stations_stand_beside_the_curve(drawn):
    found = drawn(100)
    words = map_words(found, False)
    assert "Nothing assumed between stations one base (100 mm) apart: hollow by" in words[2]
    assert words[3].startswith(
        "  Between those the way was taken both as alike all along and as bending in few places (the readings"
    )
    assert 0 < json.loads(as_json(found))["few_places_share"] < 1
    apart = json.loads(as_json(found))["base_lag"]
    assert {"station_mm", "height_um", "standard_uncertainty_um", "straightness_um"} <= set(apart)
    assert apart["station_mm"] == [100.0 * k for k in range(13)]
    assert apart["straightness_um"] == pytest.approx(40, abs=2)


@pytest.mark.statistics
def test_they_lead_where_the_curve_may_not_be_claimed(drawn):
    found = drawn(450)
    words = map_words(found, False)
    assert "at stations one base (450 mm) apart, nothing assumed between them" in words[0]
    assert "The curve between them is an assumption" in words[2]
    assert any("no 95 % band" in line for line in words)
    apart = found.base_lag
    truth = hollow(apart.station_mm)
    chord = np.interp(apart.station_mm, apart.station_mm[[0, -1]], truth[[0, -1]])
    assert apart.straightness_um == pytest.approx(np.ptp(truth - chord), abs=1.0)


def test_a_level_stepped_along_has_nothing_beside_it(drawn):
    found = drawn(100, mode="stepped")
    assert json.loads(as_json(found))["base_lag"] is None
    assert json.loads(as_json(found))["few_places_share"] is None
    assert not any("one base" in line for line in map_words(found, False))


@pytest.mark.statistics
def test_scale_error_is_in_what_base_lag_stations_say(drawn):
    plain, scaled = drawn(100), drawn(100, scale_uncertainty=0.05)
    middle = len(plain.base_lag.station_mm) // 2
    grown = [found.base_lag.standard_uncertainty_um[middle] for found in (plain, scaled)]
    assert np.sqrt(grown[1] ** 2 - grown[0] ** 2) == pytest.approx(0.05 * 40, rel=0.05)
