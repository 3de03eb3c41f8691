"""Flanks of vees: rollers against the published height, and wear put back where it was taken."""

from math import cos, radians, sin

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.flanks import angles_of_rollers, vee_flanks
from analysis.words.flanks import angles_words, flanks_words

X = np.arange(0.0, 1001.0, 100.0)


def _centre_mm(radius_mm, front_deg, rear_deg):
    """Centre of a roller in a groove: above the root, to the rear of it."""
    half, lean = radians(front_deg + rear_deg) / 2, radians(rear_deg - front_deg) / 2
    return radius_mm * cos(lean) / sin(half), radius_mm * sin(lean) / sin(half)


def test_rollers_that_stand_as_published_give_the_published_angles():
    """Published: Machinery's Handbook, 31st ed., p. 703, V-groove over pins: X = Z + 2R(1 + cosec((α + β)/2)
    cos((α − β)/2)); R 0.5, Z 1.824, 45° and 35° give 4.374. Z is between the roots of two such grooves."""
    up = (4.374 - 1.824) / 2 - 0.5
    assert _centre_mm(0.5, 45, 35)[0] == pytest.approx(up, abs=3e-4)
    tops = (up + 0.5, 2 * up + 1.0)
    sides = tuple(_centre_mm(r, 45, 35)[1] for r in (0.5, 1.0))
    found = angles_of_rollers((0.5, 1.0), tops, sides, 1.0)
    assert (found.front_deg.value, found.rear_deg.value) == pytest.approx((45, 35), abs=0.02)


@pytest.mark.parametrize(("front", "rear"), [(40, 50), (45, 45), (30, 55)])
def test_two_rollers_give_the_angles_back(front, rear):
    """Truth given, truth returned; by hand: the centre is R from both flanks."""
    radii = (10.0, 20.0)
    centres = [_centre_mm(r, front, rear) for r in radii]
    for r, (up, side) in zip(radii, centres, strict=True):
        assert up * sin(radians(front)) + side * cos(radians(front)) == pytest.approx(r)
        assert up * sin(radians(rear)) - side * cos(radians(rear)) == pytest.approx(r)
    tops = tuple(c[0] + r for c, r in zip(centres, radii, strict=True))
    found = angles_of_rollers(radii, tops, tuple(c[1] for c in centres), 1.0)
    assert (found.front_deg.value, found.rear_deg.value) == pytest.approx((front, rear))
    assert "front" in angles_words(found, inch=False)[0]


def test_uncertainty_of_the_angles_is_that_of_drawn_readings():
    """Derived: u(σ) 0.10 mrad for readings of 1 µm, ΔR 10; second method: 4000 draws of the readings."""
    radii, random = (10.0, 20.0), np.random.default_rng(1)
    centres = [_centre_mm(r, 40, 50) for r in radii]
    tops, sides = (
        np.array([c[0] + r for c, r in zip(centres, radii, strict=True)]),
        np.array([c[1] for c in centres]),
    )
    found = angles_of_rollers(radii, tuple(tops), tuple(sides), 1.0)
    assert radians(found.included_deg.standard_uncertainty) / 2 == pytest.approx(1.0e-4, rel=0.02)
    drawn = [
        angles_of_rollers(radii, tuple(tops + e[:2]), tuple(sides + e[2:]), 1.0)
        for e in random.normal(0, 0.001, (4000, 4))
    ]
    for name in ("front_deg", "rear_deg", "included_deg"):
        scatter = np.std([getattr(each, name).value for each in drawn])
        assert getattr(found, name).standard_uncertainty == pytest.approx(scatter, rel=0.05)


def test_rollers_that_are_not_as_thick_as_stated_are_in_the_uncertainty_or_said():
    """Second method: 2000 draws of both diameters (2 µm), readings exact."""
    random = np.random.default_rng(2)

    def found(d_small, d_large):
        centres = [_centre_mm(d / 2, 40, 50) for d in (d_small, d_large)]
        tops = tuple(c[0] + d / 2 for c, d in zip(centres, (d_small, d_large), strict=True))
        return angles_of_rollers(
            (10, 20), tops, tuple(c[1] for c in centres), 1e-6, roller_uncertainty_um=2.0
        )

    drawn = [found(20 + e[0], 40 + e[1]) for e in random.normal(0, 0.002, (2000, 2))]
    for name in ("front_deg", "rear_deg", "included_deg"):
        scatter = np.std([getattr(each, name).value for each in drawn])
        assert getattr(drawn[0], name).standard_uncertainty == pytest.approx(scatter, rel=0.06)
    assert not any("diameters" in line for line in angles_words(drawn[0], inch=False))
    by_one = found(20, 40.001).included_deg.value - 90
    unstated = angles_of_rollers((10, 20), (24.1, 48.2), (0, 0), 1.0)
    (said,) = [line for line in angles_words(unstated, inch=False) if "diameters exact" in line]
    assert f"off is {abs(by_one) * 60:.1f}′" in said


def test_roller_that_touches_at_the_root_or_the_edge_is_refused():
    """By hand: at 45/45 it touches as far from the root as its radius."""
    centres = [_centre_mm(r, 45, 45) for r in (10, 20)]
    tops = (centres[0][0] + 10, centres[1][0] + 20)
    for sound in ((12, 30), (5, 18)):
        with pytest.raises(AnalysisError, match="another roller"):
            angles_of_rollers((10, 20), tops, (0, 0), 1.0, flank_mm=sound)
    assert angles_of_rollers((10, 20), tops, (0, 0), 1.0, flank_mm=(5, 25)).contact_mm == pytest.approx(
        (10, 20)
    )
    with pytest.raises(AnalysisError, match="two sizes"):
        angles_of_rollers((10, 10), tops, (0, 0), 1.0)


def _survey(make_traverse, bed, vertical, sideways, random, *, is_read_sideways=True):
    def noise(count):
        return random.normal(0, 1, count)

    runs = [make_traverse(bed, "level", X[:-1] + 50, np.diff(vertical) / 0.1 + noise(10), face="vee")]
    if is_read_sideways:
        runs.append(make_traverse(bed, "dial", X, noise(11), face="wall", reference="line"))
        runs.append(make_traverse(bed, "dial", X, -sideways + noise(11), face="wall", reference="vee"))
    return combine(runs, bed)


@pytest.mark.parametrize(
    ("form", "front", "rear"), [("ridge", 45, 45), ("ridge", 30, 60), ("groove", 30, 60)]
)
def test_wear_of_each_flank_is_given_back(make_traverse, invented_bed, form, front, rear):
    """Truth: 30 µm off the front flank, 10 off the rear, in the middle; drop and shift by the contact."""
    faces = {
        "vee": f'normal = "up"\nshape = "vee"\nform = "{form}"\nflank_angles_deg = [{front}, {rear}]\n'
        "across_mm = 0\nunworn_mm = [[0, 200], [800, 1000]]",
        "wall": 'normal = "rear"\nacross_mm = -60',
    }
    bed = invented_bed(faces=faces)
    worn = np.where((X > 250) & (X < 750), 1.0, 0.0)
    a, b = radians(front), radians(rear)
    drop = (30 * cos(b) + 10 * cos(a)) / sin(a + b) * worn
    shift = (30 * sin(b) - 10 * sin(a)) / sin(a + b) * worn * (1 if form == "ridge" else -1)
    bed_map = _survey(make_traverse, bed, -drop, shift, np.random.default_rng(0))
    found = vee_flanks(bed_map, "vee")
    assert found.line == "unworn" and found.more_worn == "front"
    off = np.array([found.front_um + 30 * worn, found.rear_um + 10 * worn])
    doubt = 2 * np.array([found.front_uncertainty_um, found.rear_uncertainty_um])
    assert np.mean(np.abs(off) <= doubt) >= 0.88
    said = flanks_words(found, inch=False)
    assert said[0].startswith("vee: the front flank is worn more") and "unworn stretches" in said[1]


@pytest.mark.statistics
def test_flanks_that_are_worn_alike_are_said_to_be(make_traverse, invented_bed):
    faces = {
        "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 0',
        "wall": 'normal = "rear"\nacross_mm = -60',
    }
    bed = invented_bed(faces=faces)
    dip = -30 * np.exp(-(((X - 500) / 200) ** 2))
    found = [
        vee_flanks(_survey(make_traverse, bed, dip, 0 * X, np.random.default_rng(seed)), "vee")
        for seed in range(20)
    ]
    assert sum(each.more_worn is not None for each in found) <= 3
    assert all(np.isfinite([*each.front_um, *each.rear_um, each.difference_um.value]).all() for each in found)


def test_flank_worn_more_is_named_from_the_line_through_the_ends_too(make_traverse, invented_bed):
    """By hand: a shift of 12 µm to the rear makes the front flank of a 90° ridge 2 × 12 cos 45° lower."""
    faces = {
        "vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 0',
        "wall": 'normal = "rear"\nacross_mm = -60',
    }
    bed = invented_bed(faces=faces)
    dip = np.exp(-(((X - 500) / 150) ** 2))
    found = vee_flanks(_survey(make_traverse, bed, -30 * dip, 12 * dip, np.random.default_rng(3)), "vee")
    assert (found.line, found.more_worn, found.at_mm) == ("ends", "front", 500)
    assert found.difference_um.value == pytest.approx(
        -24 * cos(radians(45)), abs=3 * found.difference_um.expanded
    )
    assert found.front_um[0] == found.front_uncertainty_um[-1] == 0


def test_vee_not_read_sideways_is_refused_with_what_to_read(make_traverse, invented_bed):
    faces = {"vee": 'normal = "up"\nshape = "vee"\nform = "ridge"\nvee_angle_deg = 90\nacross_mm = 0'}
    bed = invented_bed(faces={**faces, "flat": 'normal = "up"\nacross_mm = 300'})
    bed_map = _survey(make_traverse, bed, 0 * X, 0 * X, np.random.default_rng(0), is_read_sideways=False)
    with pytest.raises(AnalysisError, match=r"either flank may be the worn one.*--reference vee"):
        vee_flanks(bed_map, "vee")
    with pytest.raises(AnalysisError, match="no vee"):
        vee_flanks(bed_map, "flat")
