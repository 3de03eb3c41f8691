"""Profiles refuse what cannot be, and subtract with what they share."""

import tracemalloc

import numpy as np
import pytest

from acquire.model.errors import AnalysisError
from acquire.model.traverse import Stations
from analysis.linear.profile import Profile, nearest_place
from analysis.observe.stations import at_their_stations


@pytest.mark.parametrize(
    ("station", "height", "covariance", "word"),
    [
        ([0, 100], [0, 1, 2], np.eye(2), "one height for each station"),
        ([0, 100], [0, 1], np.eye(3), "square covariance"),
        ([], [], np.empty((0, 0)), "one height for each station"),
        ([0, 100], [0, np.nan], np.eye(2), r"height_um\[1\] is not a finite number"),
        ([0, np.inf], [0, 1], np.eye(2), r"station_mm\[1\]"),
        ([0, 100], [0, 1], [[1, 0], [0, np.inf]], r"covariance_um2\[1, 1\]"),
        ([100, 100], [0, 1], np.eye(2), "stations that rise"),
        ([100, 0], [0, 1], np.eye(2), "station 0 mm after 100 mm"),
        ([0, 100], [0, 1], [[1, 0.5], [0.4, 1]], "not symmetric"),
        ([0, 100], [0, 1], [[1, 0], [0, -1]], "variance of -1"),
        ([0, 100], [0, 1], [[1, 2], [2, 1]], "larger than its variances allow"),
    ],
)
def test_profile_that_cannot_be_is_refused_with_its_reason(station, height, covariance, word):
    with pytest.raises(AnalysisError, match=word):
        Profile("front-vee", station, height, covariance)


def test_profile_cannot_be_altered_through_the_arrays_it_was_made_of():
    height = np.array([1.0, 2.0])
    profile = Profile("f", [0, 100], height, np.eye(2))
    height[0] = 99
    assert profile.height_um[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        profile.height_um[0] = 5


def test_difference_is_taken_at_the_common_stations_only():
    a = Profile("a", [0, 100, 200, 300], [1, 2, 3, 4], np.diag([1, 2, 3, 4]))
    b = Profile("b", [100, 150, 300], [10, 20, 30], np.diag([5, 6, 7]))
    difference = a.minus(b, cross_covariance_um2=None)
    assert difference.station_mm.tolist() == [100, 300]
    assert difference.height_um.tolist() == [-8, -26]
    assert np.diag(difference.covariance_um2).tolist() == [7, 11]


def test_shared_errors_cancel_in_the_difference_as_monte_carlo_says():
    """Two maps built from common and own errors: the spread of their difference is the stated one."""
    rng = np.random.default_rng(3)
    A, B, common = rng.normal(size=(3, 4, 4))
    shared = common @ common.T
    a = Profile("a", np.arange(4.0), np.zeros(4), A @ A.T + shared)
    b = Profile("b", np.arange(4.0), np.zeros(4), B @ B.T + shared)
    stated = a.minus(b, cross_covariance_um2=shared).covariance_um2
    s, ea, eb = (rng.normal(size=(200_000, 4)) @ M.T for M in (common, A, B))
    # 200 000 draws: a relative standard error of 0.3 % of each variance.
    np.testing.assert_allclose(np.cov((s + ea - s - eb).T), stated, atol=0.02 * stated.max())


def test_profiles_without_a_common_station_are_not_subtracted():
    a, b = Profile("a", [0, 100], [0, 0], np.eye(2)), Profile("b", [50, 150], [0, 0], np.eye(2))
    with pytest.raises(AnalysisError, match="none of them shared"):
        a.minus(b, cross_covariance_um2=None)


def test_cross_covariance_of_the_wrong_shape_is_refused():
    a, b = Profile("a", [0, 100], [0, 0], np.eye(2)), Profile("b", [0], [0], [[1]])
    with pytest.raises(AnalysisError, match=r"shape \(2, 1\)"):
        a.minus(b, cross_covariance_um2=np.zeros((1, 2)))


@pytest.mark.parametrize("count", [1, 2, 40])
def test_nearest_place_is_that_of_the_table_of_all_distances(count):
    random = np.random.default_rng(count)
    rising = np.sort(random.integers(0, 60, count)).astype(float)
    rising = np.unique(rising)
    at_mm = np.concatenate([random.uniform(-9, 70, 200), rising, rising[:-1] + np.diff(rising) / 2])
    of_all = np.abs(at_mm[:, None] - rising[None, :]).argmin(axis=1)
    np.testing.assert_array_equal(nearest_place(rising, at_mm), of_all)


def test_stations_of_a_long_bed_are_found_without_a_table_of_all_distances():
    """Of 5,000 places such a table is 200 MB, of the 20,000 of the benchmark 3 GB."""
    places = np.arange(5000) * 10.0
    ones = np.ones(5000)
    read = Stations(places + 0.2, ones, ones, ones, ones, ones, ones)
    tracemalloc.start()
    found = at_their_stations(read, places)
    _, most_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    np.testing.assert_array_equal(found.station_mm, places)
    assert most_bytes < 10e6
