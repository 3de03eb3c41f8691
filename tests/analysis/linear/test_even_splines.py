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
    np.testing.assert_allclose(splines.values(place).toarray(), plain(place), atol=1e-12)
    slopes = plain.derivative()(place)
    np.testing.assert_allclose(splines.slopes(place).toarray(), slopes, atol=1e-11 / splines.step)


def test_the_last_place_of_all_still_lies_on_the_last_piece():
    values = EvenSplines(0.0, 10.0, 2).values(np.array([20.0])).toarray()
    np.testing.assert_allclose(values, [[0, 0, 1 / 6, 4 / 6, 1 / 6]], atol=1e-15)
