"""The minimum zone against linear programming, brute force, published lines and invariances."""

from fractions import Fraction
from itertools import combinations

import numpy as np
import pytest
from scipy.optimize import linprog
from scipy.spatial import ConvexHull

from acquire.model.errors import AnalysisError
from analysis.linear.minimum_zone import minimum_zone, minimum_zone_widths


def width_by_linear_programme(x, y):
    """Second method: least w with |y - a - b·x| <= w/2, solved by a general library."""
    one, half = np.ones_like(x), np.full_like(x, 0.5)
    rows = np.block(
        [[-one[:, None], -x[:, None], -half[:, None]], [one[:, None], x[:, None], -half[:, None]]]
    )
    found = linprog(
        [0, 0, 1], A_ub=rows, b_ub=np.concatenate([-y, y]), bounds=[(None, None)] * 2 + [(0, None)]
    )
    assert found.status == 0
    return found.fun


def width_by_all_slopes(x, y):
    """Third method: the best slope is that of some pair of points."""
    return min(
        np.ptp(y - (y[b] - y[a]) / (x[b] - x[a]) * x)
        for a, b in combinations(range(len(x)), 2)
        if x[a] != x[b]
    )


@pytest.mark.parametrize("seeds", [range(12), pytest.param(range(12, 40), marks=pytest.mark.statistics)])
def test_width_equals_linear_programming_on_random_sets_with_ties(seeds):
    for seed in seeds:
        rng = np.random.default_rng(seed)
        n = int(rng.integers(2, 60))
        x = rng.integers(0, 12, n).astype(float) if seed % 2 else rng.normal(size=n)
        x[0], x[-1] = 0.0, 12.0
        y = rng.integers(-3, 4, n).astype(float) if seed % 3 else rng.normal(size=n)
        assert minimum_zone(x, y).width == pytest.approx(width_by_linear_programme(x, y), abs=1e-8)
        assert minimum_zone(x, y).width == pytest.approx(width_by_all_slopes(x, y), abs=1e-12)


@pytest.mark.parametrize("form", ["noise", "tilted", "hollow", "crowned", "ties", "parabola", "line"])
def test_thinning_a_long_record_loses_no_point_of_the_hull(form):
    """A hull by a general library, then the zone of its corners alone, gives the same zone."""
    rng = np.random.default_rng(11)
    x = np.linspace(0, 1500, 20_011)
    bow, noise = 30 * (x / 750 - 1) ** 2, rng.normal(size=x.size)
    y = {
        "noise": noise,
        "tilted": 5 * x + noise,
        "hollow": bow + noise,
        "crowned": noise - bow,
        "ties": rng.integers(0, 3, x.size).astype(float),
        "parabola": bow,
        "line": 0.25 * x,
    }[form]
    zone = minimum_zone(x, y)
    rest = y - zone.intercept - zone.slope * x
    assert np.ptp(rest) == pytest.approx(zone.width, abs=1e-8)
    if form == "line":
        assert zone.width == pytest.approx(0, abs=1e-9)
    else:
        corners = ConvexHull(np.column_stack([x, y])).vertices
        assert zone.width == pytest.approx(minimum_zone(x[corners], y[corners]).width, abs=1e-8)


def test_three_points_touch_and_the_middle_line_runs_halfway():
    rng = np.random.default_rng(5)
    x, y = np.sort(rng.uniform(0, 1000, 50)), rng.normal(size=50)
    zone = minimum_zone(x, y)
    rest = y - zone.intercept - zone.slope * x
    a, b = zone.pair
    assert x[a] < x[zone.opposite] < x[b]
    assert rest.max() == pytest.approx(-rest.min()) == pytest.approx(zone.width / 2)
    assert abs(rest[[a, b, zone.opposite]]) == pytest.approx(zone.width / 2)


def test_order_of_the_points_does_not_matter_and_indices_are_those_given():
    rng = np.random.default_rng(6)
    x, y = np.arange(30.0), rng.normal(size=30)
    shuffle = rng.permutation(30)
    straight, mixed = minimum_zone(x, y), minimum_zone(x[shuffle], y[shuffle])
    assert mixed.width == straight.width
    assert tuple(shuffle[list(mixed.pair)]) == straight.pair
    assert shuffle[mixed.opposite] == straight.opposite


def test_added_line_turns_the_zone_without_widening_it():
    rng = np.random.default_rng(7)
    x, y = np.arange(100.0), rng.normal(size=100)
    plain, tilted = minimum_zone(x, y), minimum_zone(x, y + 3 - 0.7 * x)
    assert tilted.width == pytest.approx(plain.width, abs=1e-12)
    assert tilted.slope == pytest.approx(plain.slope - 0.7)


def test_published_uniform_line_to_a_square(reference_case):
    published = reference_case("uniform_line_to_powers")["published"]
    x = np.linspace(0, 1, 1001)
    zone = minimum_zone(x, x**2)
    assert zone.width == pytest.approx(published["square_zone"], abs=1e-12)
    assert zone.slope == pytest.approx(published["square_slope"], abs=1e-12)
    assert zone.intercept == pytest.approx(published["square_intercept"], abs=1e-12)


def test_seven_points_have_a_zone_of_eight_sevenths(reference_case):
    case = reference_case("seven_points_three_lines")
    expected = float(Fraction(case["derived"]["minimum_zone"]))
    assert minimum_zone(case["x"], case["y"]).width == pytest.approx(expected, abs=1e-12)


def test_many_sets_bisected_side_by_side_agree_with_the_exact_zones():
    rng = np.random.default_rng(8)
    x = np.sort(rng.uniform(0, 1000, 25))
    samples = rng.normal(size=(60, 25)) + 0.1 * x
    exact = [minimum_zone(x, row).width for row in samples]
    # The starting bracket is four widths wide, halved 20 times.
    np.testing.assert_allclose(minimum_zone_widths(x, samples), exact, rtol=1e-5)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ([1], [1]),
        ([1, 1], [0, 5]),
        ([0, 1, 2], [0, 1]),
        ([0, np.nan, 2], [0, 1, 2]),
        ([0, 1, 2], [0, np.inf, 2]),
    ],
)
def test_points_that_have_no_zone_are_refused(x, y):
    with pytest.raises(AnalysisError, match="minimum zone"):
        minimum_zone(x, y)


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("place", [0, 12_345, 49_999])
def test_one_bad_height_in_a_long_record_is_refused(bad, place):
    y = np.random.default_rng(9).normal(size=50_000)
    y[place] = bad
    with pytest.raises(AnalysisError, match="not a finite number"):
        minimum_zone(np.arange(50_000.0), y)
