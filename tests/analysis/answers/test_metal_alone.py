"""Scraping judged by the metal alone: what the bed did meanwhile is taken out by faces nobody scraped.

The cases are derived for this project.
"""

from pathlib import Path

import numpy as np
import pytest

from acquire.model.bed import Bed, Face
from analysis.answers.history import before_and_after
from analysis.answers.metal_alone import section_weights
from analysis.answers.surveys import Survey
from analysis.words.history import history_words

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50
ACROSS = {"front": 0.0, "tail": 80.0, "rear": 250.0}
FACES = {
    "front": 'normal = "up"\nacross_mm = 0\ncarriage = "front"',
    "tail": 'normal = "up"\nacross_mm = 80\nruns = false',
    "rear": 'normal = "up"\nacross_mm = 250\nruns = false',
}
INSTRUMENTS = {
    "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 3\nseating_um = 0.0'
}
HOLLOW = -40 * np.sin(np.pi * X / 1000) ** 2
BENT = 25 * np.sin(np.pi * X / 1000)
ROLLED = 60 * (X / 1000) ** 2
"""µm/m"""


def test_section_moves_as_a_body_and_the_rest_is_metal():
    """Unscraped at 250 and 80: +8 and +4.6 make dz 3, dθ 20 µm/m; front -9 at 0: metal -12, u 1.84."""
    faces = {name: Face(name, "up", across_mm=p) for name, p in ACROSS.items()}
    weights = section_weights(Bed("bench", 1000.0, (0.0,), faces), "front", ("rear", "tail"))
    assert -9 - weights @ [8.0, 4.6] == pytest.approx(-12)
    assert np.sqrt(1 + weights @ weights) == pytest.approx(1.84, abs=0.005)


def test_faces_at_one_place_across_tell_no_roll():
    faces = {name: Face(name, "up", across_mm=0.0) for name in ACROSS}
    assert section_weights(Bed("bench", 1000.0, (0.0,), faces), "front", ("rear", "tail")) is None


@pytest.fixture(scope="module")
def survey(from_one, invented_bed):
    """Each face run there and back by a level of 3 µm/m."""

    def make(seed, metal, rise=0 * X, roll=0 * X):
        rng, make_traverse = np.random.default_rng(seed), from_one()
        bed = invented_bed(faces=FACES, instruments=INSTRUMENTS)
        runs = []
        for face, across in ACROSS.items():
            height = metal.get(face, 0 * X) + rise + roll * across / 1000
            for direction in ("forward", "reverse"):
                reading = np.diff(height) / 0.1 + rng.normal(0, 3, 10)
                runs.append(make_traverse(bed, "level", MIDDLE, reading, face=face, direction=direction))
        return Survey(Path("invented"), bed, tuple(runs))

    return make


@pytest.fixture(scope="module")
def hollow(survey):
    """The front way hollow, before any work: solved once."""
    return survey(1, {"front": HOLLOW})


def test_scraping_is_better_though_the_bed_bent_meanwhile(survey, hollow):
    """Invented truth: all of the hollow is scraped out, and the bed then bends by 25 µm and twists."""
    cut = -HOLLOW - 40
    after = survey(2, {"front": HOLLOW + cut}, rise=-BENT, roll=ROLLED)
    found = before_and_after(hollow, after, ["front"])
    change = found.faces[0]
    assert found.bed_moved.is_seen
    assert change.verdict == "better"
    assert not change.metal.is_counted_from_untouched
    truth = cut - np.polyval(np.polyfit(X, cut, 1), X)
    assert np.all(np.abs(change.metal.change_um - truth) <= 1.5 * change.metal.expanded_um)
    assert not change.came_off and not change.rose
    assert any("The bed moved meanwhile" in words for words in history_words(found, False))


def test_bed_that_bent_is_not_called_scraping(survey, hollow):
    """Invented truth: no metal came off; the bed bent by 25 µm."""
    found = before_and_after(hollow, survey(4, {"front": HOLLOW}, rise=BENT), ["front"])
    assert found.bed_moved.is_seen
    assert found.faces[0].verdict == "no difference"
    assert not found.faces[0].came_off


def test_named_scraped_faces_leave_the_others_as_witnesses(survey):
    before, after = survey(5, {"tail": HOLLOW}), survey(6, {"tail": 0 * X}, rise=BENT)
    found = before_and_after(before, after, ["tail"], scraped=["tail"])
    assert found.faces[0].metal.against == ("front", "rear")
    assert found.faces[0].verdict == "better"
