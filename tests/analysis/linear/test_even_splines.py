"""Second method: scipy's B-splines, which take knots of any kind."""

import numpy as np
import pytest
from scipy.interpolate import BSpline

from analysis.linear.even_splines import EvenSplines


@pytest.mark.parametrize("seed", range(5))
def test_values_and_slopes_are_those_of_general_splines(seed):
    random = np.random.default_rng(seed)
    pieces = int(random.integers(1, 40))
    splines = EvenSplines(random.normal(0, 100), random.uniform(0.5, 20), pieces)
    place = np.sort(random.uniform(splines.first, splines.last, 200))
    place[:2] = splines.first, splines.first + splines.step * (pieces // 2)
    knots = splines.first + splines.step * np.arange(-3, pieces + 4)
    plain = BSpline(knots, np.eye(pieces + 3), 3)
    np.testing.assert_allclose(splines.values(place).full(), plain(place), atol=1e-12)
    slopes = plain.derivative()(place)
    np.testing.assert_allclose(splines.slopes(place).full(), slopes, atol=1e-11 / splines.step)


def test_the_last_place_of_all_still_lies_on_the_last_piece():
    values = EvenSplines(0.0, 10.0, 2).values(np.array([20.0])).full()
    np.testing.assert_allclose(values, [[0, 0, 1 / 6, 4 / 6, 1 / 6]], atol=1e-15)


@pytest.mark.parametrize("seed", range(3))
def test_sums_over_rows_are_those_of_the_full_rows(seed):
    random = np.random.default_rng(seed)
    splines = EvenSplines(0.0, 1.0, 6)
    place = random.uniform(0, 6, 40)
    rows = splines.values(place).times_rows(random.normal(size=40))
    full = rows.full()
    unknown, column, columns = random.normal(size=9), random.normal(size=40), random.normal(size=(40, 3))
    np.testing.assert_allclose(rows @ unknown, full @ unknown, atol=1e-14)
    np.testing.assert_allclose(rows.transposed_times(column), full.T @ column, atol=1e-13)
    np.testing.assert_allclose(rows.transposed_times(columns), full.T @ columns, atol=1e-13)
    slopes = splines.slopes(place)
    np.testing.assert_allclose(rows.against(slopes), full.T @ slopes.full(), atol=1e-13)
    square = full.T @ full
    for below, diagonal in enumerate(rows.squared()):
        np.testing.assert_allclose(diagonal[: 9 - below], np.diag(square, -below), atol=1e-13)
