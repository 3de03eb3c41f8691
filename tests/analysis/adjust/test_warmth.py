"""Runs on a bed whose top was warmer in some than in others: what that bends is in the ±.

Derived: a bar of depth d whose top is warmer by ΔT hogs by α·ΔT·L²/(8 d), α 11.5e-6 per K (cast iron; from
memory): 4.8 µm on 1000 mm by 300 mm for 1 K. Ways and noise are invented.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.adjust.between_runs import bends_by_warmth
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


def test_bend_counts_by_the_depth_that_is_stated_and_no_more(levelled):
    """Derived: 2 K apart on 300 mm are twice 4.79 µm (one standard uncertainty) in the middle, and noise."""
    _, expanded = between(levelled(("front-flat", 0.0), ("rear-flat", 2.0)))
    noise = between(levelled(("front-flat", 0.0), ("rear-flat", 0.0)))[1]
    assert expanded == pytest.approx(2 * np.hypot(2 * HOGGED, noise / 2), rel=1e-3)


def test_difference_of_half_a_kelvin_counts(levelled):
    _, expanded = between(levelled(("front-flat", 0.0), ("rear-flat", 0.5)))
    _, alike = between(levelled(("front-flat", 0.0), ("rear-flat", 0.0)))
    assert expanded.max() > 2 * alike.max()


def test_underside_bends_with_the_top_so_that_warmth_makes_a_bed_seem_thicker(levelled):
    """The top read at 0 K and the underside at 2 K: heights outward add up to what it bent in between."""
    bed_map = levelled(("front-flat", 0.0), ("front-under", 2.0))
    row = np.zeros((1, len(bed_map.nodes)))
    for face in ("front-flat", "front-under"):
        row[0, bed_map.indices(face)[[0, 5, 10]]] = -0.5, 1.0, -0.5
    u = float(bed_map.functional(row).covariance_um2[0, 0] ** 0.5)
    assert u == pytest.approx(2 * HOGGED.max(), rel=0.02)


def test_warmth_of_a_block_is_the_mean_of_its_runs_and_of_a_silent_run_not_known(invented_bed):
    """Runs at 0 and 2 K taken together stand for 1 K, and one that says nothing is no run at 0 K."""

    def made(*kelvin):
        states = [{} if k is None else temperatures(k) for k in kelvin]
        sources = tuple(SimpleNamespace(setup=SimpleNamespace(state=state)) for state in states)
        return SimpleNamespace(sources=sources, forms=({},))

    bed = invented_bed(bed="depth_mm = 300")
    assert bends_by_warmth([made(0.0, 2.0), made(1.0)], bed) == [(), ()]
    both = bends_by_warmth([made(0.0), made(2.0), made(None)], bed)
    assert [len(each) for each in both] == [1, 1, 0]


def temperatures(kelvin):
    return {"temperature_top_degC": 20.0 + kelvin, "temperature_bottom_degC": 20.0}
