"""Agreement of two results: normalised error, chi-square, and what could have been seen."""

import importlib.util
import sys
from pathlib import Path

import numpy as np
import pytest

from analysis.linear.agreement import agreement


def test_single_pair_gives_the_published_normalised_error():
    # Derived from the definition (proficiency-testing practice): 0.0023/sqrt(0.0020² + 0.0015²) = 0.92.
    verdict = agreement(np.array([0.0023]), np.array([[(0.0020**2 + 0.0015**2) / 4]]))
    assert verdict.normalised_error[0] == pytest.approx(0.92, abs=1e-12)


def _removed(covariance):
    n = len(covariance)
    line = np.column_stack([np.ones(n), np.arange(n)])
    keep = np.eye(n) - line @ np.linalg.pinv(line)
    return keep, keep @ covariance @ keep.T


@pytest.fixture(scope="module")
def benchmark():
    path = Path(__file__).parents[2] / "benchmarks" / "agreement.py"
    spec = importlib.util.spec_from_file_location("agreement_of_maps", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


KINDS = ["independent", "stepped", "stepped and dial", "uneven", "smooth"]


@pytest.mark.statistics
@pytest.mark.parametrize("count", [5, 21])
@pytest.mark.parametrize("kind", KINDS)
def test_right_maps_are_called_different_once_in_a_hundred(benchmark, kind, count):
    """40,000 draws: the share is sure to 0.05 %, the limits themselves to as much."""
    judge = benchmark.Judge(benchmark.KINDS[kind](count))
    assert 0.008 <= judge.disagreements(np.random.default_rng(3), 40_000) <= 0.012


@pytest.mark.statistics
@pytest.mark.parametrize("kind", KINDS)
def test_difference_that_would_have_been_seen_is_seen_four_times_in_five_at_every_station(benchmark, kind):
    judge = benchmark.Judge(benchmark.KINDS[kind](11))
    power = judge.power(np.random.default_rng(4), 4000)
    assert power.min() >= 0.78
    assert power.min() <= 0.9  # no larger than need be


def test_single_pair_is_one_test_at_one_in_a_hundred():
    """|z| beyond 2.576, the two-sided normal quantile: published tables; by draws, to 2 %."""
    verdict = agreement(np.array([0.0]), np.eye(1))
    assert 2 * verdict.largest_by_chance == pytest.approx(2.576, rel=0.02)
    assert verdict.chi_square_by_chance == pytest.approx(6.635, rel=0.03)
    assert verdict.smallest_detectable == pytest.approx(2.576 + 0.842, rel=0.02)


def test_line_that_is_taken_off_makes_a_difference_at_the_end_harder_to_see():
    """Of three stations the line leaves one part in six of what the end is off by."""
    keep, covariance = _removed(np.eye(3))
    with_line = agreement(np.zeros(3), covariance, np.arange(3.0))
    # one direction is left, in which X at an end moves X/√6 of a noise of 1
    assert with_line.smallest_detectable == pytest.approx((2.576 + 0.842) * 6**0.5, rel=0.02)
    assert keep[0, 0] == pytest.approx(1 / 6)


def test_difference_of_twice_the_smallest_detectable_is_caught():
    n = 15
    keep, covariance = _removed(np.eye(n))
    verdict = agreement(np.zeros(n), covariance)
    bump = np.zeros(n)
    bump[7] = 2 * verdict.smallest_detectable
    assert not agreement(keep @ bump, covariance).agree


@pytest.mark.statistics
def test_diagonal_alone_misjudges_a_correlated_difference():
    # Heights summed from slopes wander together: seen as independent they look impossible.
    n = 40
    walk = np.minimum.outer(np.arange(n), np.arange(n)) + 1e-6
    rng = np.random.default_rng(8)
    draws = [np.linalg.cholesky(walk + 1e-9 * np.eye(n)) @ rng.standard_normal(n) for _ in range(60)]
    full = sum(not agreement(d, walk).agree for d in draws)
    diagonal = [agreement(d, np.diag(np.diag(walk))).chi_square for d in draws]
    assert full <= 6
    assert np.std(diagonal) > 3 * np.sqrt(2 * n)  # far wider than a chi-square with n degrees


def test_maps_that_differ_at_one_place_disagree_and_so_do_those_that_differ_a_little_everywhere():
    """Forty independent stations, u = 1: 4.3u at one place is 18 of a chi-square whose limit lies beyond 60;
    1.7u everywhere is none by itself, and 116 together. Either test alone condemns."""
    one_place, everywhere, noise = np.zeros(40), np.full(40, 1.7), np.ones(40)
    one_place[7] = 4.3
    at_one, over_all, none = (agreement(each, np.eye(40)) for each in (one_place, everywhere, noise))
    assert at_one.chi_square < at_one.chi_square_by_chance and not at_one.agree
    assert over_all.largest_normalised_error < over_all.largest_by_chance and not over_all.agree
    assert none.agree


def test_difference_that_would_have_been_seen_is_the_one_at_the_station_where_least_is_seen():
    """One station three times as unsure as the others: what is seen there is three times as much."""
    unsure = np.ones(9)
    unsure[4] = 3.0
    alike, least = agreement(np.zeros(9), np.eye(9)), agreement(np.zeros(9), np.diag(unsure**2))
    assert least.smallest_detectable == pytest.approx(3 * alike.smallest_detectable, rel=0.02)
