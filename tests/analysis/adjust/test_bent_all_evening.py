"""Runs there and back of several faces that differ as by a bed that bends on from run to run.

The bed, its bend and drifts are invented; readings come from plain geometry, noise 0.3 µm/m.
"""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from analysis.adjust.bent_all_evening import BentAllEvening, bent_all_evening
from analysis.adjust.combination import adjusted
from analysis.observe import observe_all
from analysis.words.facts import sentence

FEET = np.arange(0.0, 1001.0, 100.0)
MIDDLES = (FEET[1:] + FEET[:-1]) / 2
BOW = 1 - (FEET / 500 - 1) ** 2


@pytest.fixture(scope="module")
def evening(invented_bed, from_one):
    """An evening: of each face a run there and one back; the bed hogs by so much from run to run."""
    bed = invented_bed()

    @cache
    def make(a_run_um, drifts=(0.0, 0.0, 0.0), faces=("front-flat", "rear-flat", "front-under")):
        rng, runs, make_traverse = np.random.default_rng(20811), [], from_one()
        for face, drift in zip(faces, drifts, strict=True):
            for direction in ("forward", "reverse"):
                order = np.arange(10) if direction == "forward" else np.arange(10)[::-1]
                risen = a_run_um * len(runs) * BOW  # of the whole bed, so that no level turns over
                slope = np.diff(risen) / 0.1 + drift * order + rng.normal(0, 0.3, 10)
                runs.append(make_traverse(bed, "level", MIDDLES, slope, face=face, direction=direction))
        return runs, adjusted(observe_all(runs, bed), bed)  # no slip of a whole run is looked for

    return make


def told(bed_map):
    return [each for each in bed_map.warnings if isinstance(each, BentAllEvening)]


def test_a_bed_that_hogs_from_run_to_run_is_named_with_what_that_makes_in_all(evening):
    """Hogged by 2 µm a run, six runs: 10 µm; the face that looks down is hollowed by as much."""
    runs, bed_map = evening(2.0)
    (found,) = told(bed_map)
    assert found.bow_um == pytest.approx(2.0, abs=0.3)
    assert found.runs == (runs[0].number, runs[-1].number)
    assert found.in_all_um == pytest.approx(10.0, abs=1.5)
    said = sentence(found)
    assert "front-flat, rear-flat and front-under" in said and "crowned by 2" in said
    assert f"Make run {runs[0].number} once more" in said


def test_a_bed_that_sags_from_run_to_run_is_called_hollow(evening):
    (found,) = told(evening(-2.0)[1])
    assert found.bow_um == pytest.approx(-2.0, abs=0.3)
    assert "hollow by 2" in sentence(found)


@pytest.mark.parametrize(
    ("a_run_um", "drifts"), [(0.0, (0.0, 0.0, 0.0)), (0.0, (2.0, -2.0, 1.0)), (0.0, (1.0, 3.0, -1.0))]
)
def test_a_still_bed_and_levels_that_drift_each_their_own_way_say_nothing(evening, a_run_um, drifts):
    assert not told(evening(a_run_um, drifts)[1])


@pytest.mark.parametrize("faces", [("front-flat",), ("front-flat", "rear-flat")])
def test_one_or_two_faces_tell_nothing_of_the_evening(evening, faces):
    """Two bows agree by chance too often."""
    assert not told(evening(2.0, (0.0,) * len(faces), faces)[1])


def test_runs_that_are_only_imagined_say_nothing_and_divide_by_nothing(evening):
    """What `next` reckons with: such runs differ by nothing, and without any doubt."""
    _, bed_map = evening(2.0)
    imagined = [replace(each, bow_um=0.0, bow_uncertainty_um=0.0) for each in bed_map.assembly.returns]
    with np.errstate(all="raise"):
        assert not bent_all_evening(imagined, bed_map.bed.faces, [1, 6])
