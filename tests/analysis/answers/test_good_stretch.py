"""Stretches that are good to a limit, and what would have to come off."""

from types import SimpleNamespace

import numpy as np
import pytest

from analysis.answers.good_enough import GoodTo, good_stretch, relief, serves
from analysis.linear.minimum_zone import minimum_zone
from analysis.linear.profile import Profile


@pytest.mark.statistics
@pytest.mark.parametrize("seed", range(12))
def test_no_longer_stretch_is_as_good(seed):
    """Second method: every stretch by itself."""
    rng = np.random.default_rng(seed)
    x = np.cumsum(rng.uniform(40, 160, 15))
    h = np.cumsum(rng.normal(0, 2, 15))
    found = good_stretch(Profile("f", x, h, np.zeros((15, 15))), 3.0)
    longest = max(
        (
            x[j] - x[i]
            for i in range(15)
            for j in range(i + 2, 15)
            if width(x[i : j + 1], h[i : j + 1]) <= 3.0
        ),
        default=None,
    )
    assert (found.to_mm - found.from_mm if found else None) == pytest.approx(longest)


def width(x, h):
    return minimum_zone(x, h).width


@pytest.mark.statistics
def test_uncertainty_shortens_a_stretch():
    x = np.arange(0, 1001, 100.0)
    h = np.array([0, 1, -1, 0, 2, 6, 9, 7, 3, -1, 0.0])
    sure, doubted = (good_stretch(Profile("f", x, h, s**2 * np.eye(11)), 5.0) for s in (1e-9, 0.8))
    assert doubted.to_mm - doubted.from_mm < sure.to_mm - sure.from_mm
    assert good_stretch(Profile("f", x, h, 25 * np.eye(11)), 4.0) is None


@pytest.mark.parametrize(("standard_uncertainty", "is_good"), [(0.1, True), (1.0, False)])
def test_face_serves_where_its_zone_and_its_uncertainty_stay_within_the_limit(standard_uncertainty, is_good):
    """By hand: a spot 2 µm proud is a zone of 2 µm; its ± is 0.2 µm and more, or 2 µm and more."""
    x = np.arange(0, 1001, 100.0)
    profile = Profile("f", x, 2.0 * (x == 500), standard_uncertainty**2 * np.eye(11))
    shape = SimpleNamespace(profile=profile, curve_is_sure=True)
    assert serves(shape, 99.0, False, GoodTo(3.0, True)) is is_good


def test_face_with_that_taken_off_is_good_all_along_and_less_would_not_do():
    """Derived: 0 1 −1 0 2 6 9 7 3 −1 0 within 5 µm: 2, 5 and 3 µm off at 500 to 700 mm."""
    x = np.arange(0, 1001, 100.0)
    h = np.array([0, 1, -1, 0, 2, 6, 9, 7, 3, -1, 0.0])
    off = relief(Profile("f", x, h, np.zeros((11, 11))), 5.0).removal_um
    assert off == pytest.approx([0, 0, 0, 0, 0, 2, 5, 3, 0, 0, 0])
    assert width(x, h - off) <= 5 + 1e-9
    assert width(x, h - 0.9 * off) > 5
