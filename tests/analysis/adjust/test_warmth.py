"""Runs on a bed whose top was warmer in some than in others: what that bends is in the ±.

Derived: a bar of depth d whose top is warmer by ΔT hogs by α·ΔT·L²/(8 d), α 11.5e-6 per K (cast iron; from
memory): 4.8 µm on 1000 mm by 300 mm for 1 K. Ways and noise are invented.
"""

import numpy as np
import pytest

from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line
from analysis.words.facts import sentences

X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50
HOGGED = 11.5e-6 * 1000**2 / (8 * 300) * 1000 * (1 - ((X - 500) / 500) ** 2)
INSTRUMENTS = {
    "level": 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 1\nseating_um = 0',
    "cross": 'quantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0',
}


@pytest.fixture
def levelled(invented_bed, make_traverse):
    """Two straight ways levelled, the bed's top warmer by so many K; hanging from an under face as well."""

    def make(*runs, depth=300.0, rng=None, follows=1.0):
        bed, made = invented_bed(bed=f"depth_mm = {depth}" if depth else "", instruments=INSTRUMENTS), []
        for face, kelvin in runs:
            h = follows * (kelvin or 0.0) * HOGGED
            reading = np.diff(h) / 0.1 + (rng.normal(0, 1, 10) if rng is not None else 0.0)
            state = (
                {"temperature_top_degC": 20.0 + kelvin, "temperature_bottom_degC": 20.0}
                if kelvin is not None
                else {}
            )
            made.append(make_traverse(bed, "level", MIDDLE, reading, face=face, state=state))
        return combine(made, bed)

    return make


def between(bed_map, face="rear-flat"):
    """How the face departs from the front, from the line through its ends, and 2u."""
    found = remove_line(bed_map.difference(face, "front-flat"), "ends")
    return found.height_um, 2 * found.standard_uncertainty_um


@pytest.mark.parametrize("follows", [0.5, 1.0, 1.5])
@pytest.mark.parametrize("depth", [300.0, None])
def test_ways_levelled_on_a_bed_that_had_warmed_in_between_differ_by_its_bend(levelled, follows, depth):
    """Straight ways, 2 K apart: they seem to differ by 10 µm, and that was told to ± 0.4."""
    height, expanded = between(
        levelled(("front-flat", 0.0), ("rear-flat", 2.0), depth=depth, follows=follows)
    )
    assert np.abs(height).max() == pytest.approx(follows * 2 * HOGGED.max(), rel=1e-6)
    assert np.all(np.abs(height) <= expanded + 1e-6)


def test_run_again_at_another_temperature_tells_how_the_bed_follows(levelled):
    """The front at 0 and 2 K shows the bend; the rear at 2 K is straight to within little more than noise."""
    bed_map = levelled(("front-flat", 0.0), ("front-flat", 2.0), ("rear-flat", 2.0))
    height, expanded = between(bed_map)
    assert np.all(np.abs(height) <= expanded + 1e-6)
    assert expanded.max() < 2.0


def test_bed_that_stayed_alike_is_sure_of_itself(levelled):
    alike = between(levelled(("front-flat", 1.0), ("rear-flat", 1.0)))[1]
    silent = between(levelled(("front-flat", None), ("rear-flat", None)))[1]
    np.testing.assert_allclose(alike, silent)


def test_bend_is_said_to_be_counted(levelled):
    said = sentences(levelled(("front-flat", 0.0), ("rear-flat", 2.0)).warnings)
    assert sum("a bed bends with that, and the ± counts it" in words for words in said) == 1


@pytest.mark.statistics
def test_heights_are_held_as_the_bed_stood_on_the_whole(levelled):
    """Runs at 0 to 3 K; the truth is the bed at their mean: of the heights at least 93 % within ±."""
    rng, inside = np.random.default_rng(8), []
    for _ in range(60):
        kelvin, follows = rng.uniform(0, 3, 2), rng.uniform(0.6, 1.2)
        faces = ("front-flat", "rear-flat")
        bed_map = levelled(*zip(faces, kelvin, strict=True), rng=rng, follows=follows)
        for face in faces:
            level = remove_line(bed_map.profile(face), "least-squares")
            truth = follows * kelvin.mean() * HOGGED
            truth = truth - np.polyval(np.polyfit(X, truth, 1), X)
            inside += list(np.abs(level.height_um - truth) <= 2 * level.standard_uncertainty_um)
    assert np.mean(inside) >= 0.93
