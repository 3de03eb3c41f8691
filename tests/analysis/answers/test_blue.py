"""Predicted blue: where an edge rests, what the film carries over, and what is left open."""

import numpy as np
import pytest

from acquire.model.bed import Straightedge
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from acquire.model.marks import Mark
from analysis.answers.blue import is_held_by_hand, predict_blue, predict_blues
from analysis.linear.profile import Profile
from analysis.words.blue import blue_words
from tests.invented import bed_toml

X = np.linspace(0, 1000, 11)
HOLLOW = 20 * ((X - 500) / 500) ** 2


def _profile(y, sigma=1e-6, x=X):
    return Profile("invented way", x, y, sigma**2 * np.eye(len(x)))


def test_edge_on_a_hollow_way_bears_at_its_ends():
    """Derived: the gap is 0 at the end and 20(1 − 0.8²) = 7.2 µm at 100 mm, straight between."""
    found = predict_blue(_profile(HOLLOW))
    assert found.rests_at_mm == (0, 1000)
    assert np.ravel(found.touches_mm) == pytest.approx([0, 100 * 5 / 7.2, 1000 - 100 * 5 / 7.2, 1000])
    assert found.largest_gap_um == pytest.approx(20)
    found = predict_blue(_profile(HOLLOW), film_uncertainty_um=0)
    assert found.may_touch_mm == () or max(b - a for a, b in found.may_touch_mm) < 1e-3


def test_edge_on_a_crowned_way_bears_in_the_middle_and_rocks_there():
    found = predict_blue(_profile(-HOLLOW))
    assert found.rests_at_mm == (500,)
    ((start, end),) = found.touches_mm
    assert start + end == pytest.approx(1000)
    assert np.interp(start, X, HOLLOW) == pytest.approx(5)


@pytest.mark.parametrize("seed", range(8))
def test_stretches_are_where_a_fine_search_finds_gaps_within_the_film(seed):
    """Second method: lowest of all lines through two stations that clear the rest, seen every 0.1 mm."""
    y = np.random.default_rng(seed).normal(0, 6, 12)
    x = np.linspace(0, 1100, 12)
    pairs = [(a, b) for a in range(12) for b in range(a + 1, 12)]
    lines = [y[a] + (y[b] - y[a]) / (x[b] - x[a]) * (x - x[a]) for a, b in pairs]
    clear = [line for line in lines if np.all(line >= y - 1e-9)]
    rest = min(clear, key=lambda line: np.interp(550, x, line))
    fine = np.arange(0, 1100.05, 0.1)
    wanted = np.interp(fine, x, rest - y) <= 5
    told = np.zeros(fine.size, bool)
    for start, end in predict_blue(_profile(y, x=x)).touches_mm:
        told |= (fine >= start) & (fine <= end)
    assert np.mean(wanted != told) < 1e-3


def test_uncertainty_leaves_further_stretches_open_and_never_those_already_told():
    found = predict_blue(_profile(HOLLOW, sigma=2.0))
    assert found.may_touch_mm
    for start, end in found.may_touch_mm:
        assert all(end <= a + 1e-9 or start >= b - 1e-9 for a, b in found.touches_mm)
    assert found.touches_mm == predict_blue(_profile(HOLLOW)).touches_mm


def test_thicker_film_shows_more():
    length = [
        sum(b - a for a, b in predict_blue(_profile(HOLLOW), film_um=film).touches_mm)
        for film in (1, 5, 10, 30)
    ]
    assert length == sorted(length)
    assert length[-1] == pytest.approx(1000)


def test_straight_way_is_blue_all_along():
    assert predict_blue(_profile(3 + 0.2 * X)).touches_mm == ((0, 1000),)


def test_short_edge_is_laid_in_overlapping_places_up_to_the_end():
    found = predict_blues(_profile(HOLLOW), Straightedge("short", 350))
    assert [each.from_mm for each in found] == pytest.approx([0, 175, 350, 525, 650])
    assert found[-1].to_mm == pytest.approx(1000)
    assert all(each.largest_gap_um < 20 for each in found)
    assert (
        len(predict_blues(_profile(HOLLOW), Straightedge("long", 5000)))
        == len(predict_blues(_profile(HOLLOW)))
        == 1
    )


def test_edge_off_the_face_and_film_below_nothing_are_refused():
    with pytest.raises(AnalysisError, match="0 to 1000 mm"):
        predict_blue(_profile(HOLLOW), from_mm=500, to_mm=1500)
    with pytest.raises(AnalysisError, match="0 µm or more"):
        predict_blue(_profile(HOLLOW), film_um=-1)


STEEL = Straightedge("two-foot", 1000.0, depth_mm=60.0, material="steel")
FINE = np.linspace(0, 1000, 41)


def hollow_by(um, sigma=1e-6):
    return _profile(um * ((FINE - 500) / 500) ** 2, sigma, FINE)


def test_stiff_edge_on_a_parabolic_hollow_marks_its_ends_only():
    """Derived: the gap is within 5 µm where (2x/L − 1)² ≥ 1 − 5/hollow."""
    for um, reach in ((20, 67), (10, 147)):
        (first, second) = predict_blue(hollow_by(um)).touches_mm
        assert [*first, *second] == pytest.approx([0, reach, 1000 - reach, 1000], abs=1.5)


def test_real_edge_on_the_same_hollow_bends_onto_it_and_is_blue_all_along():
    """Derived: on its ends it sags 5/384·q·L⁴/(E·I), a handbook formula; the gap is the hollow less that."""
    sag_um = 5 / 384 * 12 * 7850 * 9.80665 * 1.0**4 / (205e9 * 0.06**2) * 1e6
    found = predict_blue(hollow_by(20), STEEL)
    assert found.touches_mm == ((0, 1000),)
    assert found.largest_gap_um == pytest.approx(20 - sag_um, rel=1e-3)
    assert found.rests_at_mm == (0, 1000)
    first, *middle, last = predict_blue(hollow_by(10), STEEL).rests_at_mm
    assert (first, last) == (0, 1000)
    assert np.mean(middle) == pytest.approx(500)


def test_edge_whose_depth_is_not_known_leaves_bare_places_open():
    found = predict_blue(hollow_by(20), Straightedge("found in a drawer", 1000.0))
    assert not found.bends
    assert found.may_touch_mm[0] == pytest.approx((67, 933), abs=1.5)


@pytest.mark.parametrize(
    ("normal", "stands", "is_held"),
    [
        ("up", "lying", False),
        ("down", "lying", True),
        ("rear", "lying", True),
        ("front", "upright", True),
        ("up", "upright", True),
    ],
)
def test_edge_bends_onto_a_face_by_its_own_weight_only_where_that_looks_up(normal, stands, is_held):
    """Against an underside or a guide that stands a hand holds it; how far it bends then nobody knows."""
    faces = {"way": {"normal": normal, "shape": "flat"}}
    bed = parse_bed(bed_toml(bed={"stands": stands}, faces=faces))
    held = is_held_by_hand(bed, "way")
    assert held == is_held
    found = predict_blue(hollow_by(20), STEEL, held_by_hand=held)
    assert found.bends != is_held
    assert (found.touches_mm == ((0, 1000),)) != is_held
    assert bool(found.may_touch_mm) == is_held
    said = " ".join(blue_words([found], inch=False))
    assert ("how far two-foot bends onto it is not known" in said) == is_held


@pytest.mark.statistics
def test_uncertainty_of_the_gap_is_that_of_ways_drawn_from_the_map():
    """Second method: the gap of a hundred ways drawn, each laid anew; the ends carry the edge in all."""
    rng = np.random.default_rng(3)
    way = hollow_by(40, 0.5)
    gaps = []
    for _ in range(100):
        drawn = _profile(way.height_um + rng.normal(0, 0.5, 41), 0.5, FINE)
        gaps.append(np.interp(500, *_gap(predict_blue(drawn, STEEL))))
    stated = predict_blue(way, STEEL).largest_gap_expanded_um / 2
    assert np.std(gaps) == pytest.approx(stated, rel=0.25)
    assert stated == pytest.approx(0.5 * np.sqrt(1.5), rel=0.02)  # derived: the middle, and half of each end


def _gap(found):
    return found.gap.station_mm, found.gap.height_um


def test_blue_over_a_gap_of_14_contradicts_the_map_and_the_place_is_named():
    """Derived: (14 − 5)/√(2² + 2²) = 3.18 at one of 12 places; below 5 % in twelve, above 0.5 %."""
    x = np.linspace(0, 1100, 12)
    y = np.zeros(12)
    y[5] = -14
    way = Profile("invented way", x, y, np.diag([0] * 5 + [4.0] + [0] * 6))
    found = predict_blue(way, marks=[Mark(0, 1100, "full")])
    (told,) = found.contradicted
    assert told.at_mm == pytest.approx(x[5])
    assert told.sure == pytest.approx(9 / np.sqrt(8))
    assert (told.seen, told.predicted) == ("full", "bare")
    y[5] = -12
    fine = Profile("invented way", x, y, way.covariance_um2)
    assert not predict_blue(fine, marks=[Mark(0, 1100, "full")]).contradicted


def test_no_blue_where_the_edge_must_rest_contradicts_the_map_and_spots_say_nothing():
    way = hollow_by(60, 0.5)
    found = predict_blue(way, STEEL, film_um=8, marks=[Mark(0, 100, "bare"), Mark(300, 700, "spots")])
    assert [(each.seen, each.predicted) for each in found.contradicted] == [("bare", "blue")]


@pytest.mark.statistics
def test_right_maps_are_hardly_ever_contradicted_and_wrong_ones_mostly():
    """Simulated: 33 stations, u 1 µm, film 5 ± 2 µm; the film of the day is drawn too."""
    rng = np.random.default_rng(11)
    x = np.linspace(0, 1000, 33)
    rates = {}
    for low in (0.0, 12.0):
        named = 0
        for _ in range(150):
            true = np.cumsum(rng.normal(0, 0.6, 33))
            film = max(rng.normal(5, 2), 0.5)
            read = true + rng.normal(0, 1.0, 33)
            read[14:19] -= low
            blue = predict_blue(_profile(true, x=x), film_um=film).gap
            marks = _seen(x, np.interp(x, blue.station_mm, blue.height_um) <= film)
            found = predict_blue(_profile(read, 1.0, x), marks=marks)
            named += any(m.seen == "full" for m in found.contradicted) if low else bool(found.contradicted)
        rates[low] = named / 150
    assert rates[0.0] <= 0.04
    assert rates[12.0] >= 0.6


def _seen(x, is_blue):
    """Marks as one would write them down: a stretch for every run of like stations."""
    edges = np.flatnonzero(np.diff(is_blue.astype(int))) + 1
    half = (x[1] - x[0]) / 2
    marks = []
    for run in np.split(np.arange(x.size), edges):
        first, last = max(x[run[0]] - half + 1, 0), min(x[run[-1]] + half - 1, x[-1])
        marks.append(Mark(float(first), float(last), "full" if is_blue[run[0]] else "bare"))
    return marks


def test_mark_beside_the_edge_is_refused():
    with pytest.raises(AnalysisError, match="under the edge"):
        predict_blue(hollow_by(20), STEEL, from_mm=0, to_mm=500, marks=[Mark(400, 600, "full")])
