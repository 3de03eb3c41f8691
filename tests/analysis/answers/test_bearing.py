"""Predicted blue: where an edge rests, what the film carries over, and what is left open."""

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from analysis.answers.bearing import bearing, bearings
from analysis.linear.profile import Profile

X = np.linspace(0, 1000, 11)
HOLLOW = 20 * ((X - 500) / 500) ** 2


def _profile(y, sigma=1e-6, x=X):
    return Profile("invented way", x, y, sigma**2 * np.eye(len(x)))


def test_edge_on_a_hollow_way_bears_at_its_ends():
    """Derived: the gap is 0 at the end and 20(1 − 0.8²) = 7.2 µm at 100 mm, straight between."""
    found = bearing(_profile(HOLLOW))
    assert found.rests_at_mm == (0, 1000)
    assert np.ravel(found.touches_mm) == pytest.approx([0, 100 * 5 / 7.2, 1000 - 100 * 5 / 7.2, 1000])
    assert found.largest_gap_um == pytest.approx(20)
    assert found.may_touch_mm == () or max(b - a for a, b in found.may_touch_mm) < 1e-3


def test_edge_on_a_crowned_way_bears_in_the_middle_and_rocks_there():
    found = bearing(_profile(-HOLLOW))
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
    for start, end in bearing(_profile(y, x=x)).touches_mm:
        told |= (fine >= start) & (fine <= end)
    assert np.mean(wanted != told) < 1e-3


def test_uncertainty_leaves_further_stretches_open_and_never_those_already_told():
    found = bearing(_profile(HOLLOW, sigma=2.0))
    assert found.may_touch_mm
    for start, end in found.may_touch_mm:
        assert all(end <= a + 1e-9 or start >= b - 1e-9 for a, b in found.touches_mm)
    assert found.touches_mm == bearing(_profile(HOLLOW)).touches_mm


def test_thicker_film_shows_more():
    length = [
        sum(b - a for a, b in bearing(_profile(HOLLOW), film_um=film).touches_mm) for film in (1, 5, 10, 30)
    ]
    assert length == sorted(length)
    assert length[-1] == pytest.approx(1000)


def test_straight_way_is_blue_all_along():
    assert bearing(_profile(3 + 0.2 * X)).touches_mm == ((0, 1000),)


def test_short_edge_is_laid_in_overlapping_places_up_to_the_end():
    found = bearings(_profile(HOLLOW), 350)
    assert [each.from_mm for each in found] == pytest.approx([0, 175, 350, 525, 650])
    assert found[-1].to_mm == pytest.approx(1000)
    assert all(each.largest_gap_um < 20 for each in found)
    assert len(bearings(_profile(HOLLOW), 5000)) == len(bearings(_profile(HOLLOW))) == 1


def test_edge_off_the_face_and_film_below_nothing_are_refused():
    with pytest.raises(AnalysisError, match="0 to 1000 mm"):
        bearing(_profile(HOLLOW), from_mm=500, to_mm=1500)
    with pytest.raises(AnalysisError, match="0 µm or more"):
        bearing(_profile(HOLLOW), film_um=-1)
    with pytest.raises(AnalysisError, match="more than 0 mm"):
        bearings(_profile(HOLLOW), 0)
