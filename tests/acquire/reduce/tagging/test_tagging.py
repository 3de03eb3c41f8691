"""Positions by time, places, bins, sample times, tilt from acceleration, faults."""

import numpy as np
import pytest
from scipy.integrate import trapezoid  # numpy's own has this name from version 2 on

from acquire.reduce.tagging.acceleration import tilt_without_acceleration
from acquire.reduce.tagging.binning import binned, passes
from acquire.reduce.tagging.faults import frozen, step_at_rest
from acquire.reduce.tagging.positions import candidate_places, places_of, positions_at, snapped
from acquire.reduce.tagging.sample_times import sample_times

G = 9.80665  # standard gravity, exact by definition


def test_position_is_by_time_whatever_the_rates():
    t = np.arange(0, 10, 0.013)
    assert positions_at(t, np.array([0.0, 10.0]), np.array([0.0, 100.0]), 20.0) == pytest.approx(10 * t)


def test_nothing_is_extrapolated_and_gaps_have_no_position():
    found = positions_at(
        np.array([-0.1, 0.0, 1.0, 2.0, 5.0, 8.0, 8.5]), np.array([0.0, 2, 8]), np.array([0.0, 2, 8]), 3.0
    )
    assert np.isnan(found).tolist() == [True, False, False, False, True, False, True]


def test_naive_integral_of_an_accelerated_level_errs_as_derived():
    # Derived: an undamped level integrated over x errs by (v² − v0²)/2g, 5.099 µm at 10 mm/s.
    t = np.linspace(0, 2, 20_001)
    acceleration = 5.0  # mm/s², from rest to 10 mm/s
    x = 0.5 * acceleration * t**2
    apparent = acceleration * 1e3 / G * np.ones_like(t)
    error_um = trapezoid(apparent, x / 1e3)
    assert error_um == pytest.approx(5.099, abs=0.001)


def test_tilt_under_a_swaying_feed_comes_out():
    # Derived case: x = 5t + (2/π) sin(πt) mm, y = 7 + 1e6·a/g, 50 Hz, one-second window: 7 ± 0.25.
    t = np.arange(0, 20, 0.02)
    x = 5 * t + 2 / np.pi * np.sin(np.pi * t)
    y = 7 - 2 * np.pi * np.sin(np.pi * t) * 1e3 / G
    assert np.ptp(y) > 1000
    tilt = tilt_without_acceleration(t, y, x)
    known = np.isfinite(tilt)
    assert known.sum() > 900 and np.abs(tilt[known] - 7).max() < 0.25


def test_lag_of_the_level_is_taken_into_account():
    dt, lag = 0.0005, 0.4
    t = np.arange(0, 30, dt)
    x = 5 * t + 2 / np.pi * np.sin(np.pi * t)
    driven = 7 - 2 * np.pi * np.sin(np.pi * t) * 1e3 / G
    shown = np.empty_like(driven)
    shown[0] = 7.0
    for k in range(1, len(t)):
        shown[k] = driven[k] + (shown[k - 1] - driven[k]) * np.exp(-dt / lag)
    every = slice(None, None, 40)
    # The position stream is on the true time, the readings are put back by the lag.
    at = np.interp(t[every] - lag, t, x)
    corrected = tilt_without_acceleration(t[every] - lag, shown[every], at, lag)
    ignored = tilt_without_acceleration(t[every] - lag, shown[every], at, 0.0)
    late = slice(300, -300)
    assert np.nanmax(np.abs(corrected[late] - 7)) < 0.5 < 100 < np.nanmax(np.abs(ignored[late] - 7))


def test_slope_of_the_way_itself_is_left_alone():
    t = np.arange(0, 100, 0.05)
    x = 5.0 * t
    slope = 40 * np.sin(x / 100)
    tilt = tilt_without_acceleration(t, slope, x)
    known = np.isfinite(tilt)
    assert np.abs(tilt[known] - slope[known]).max() < 0.1


def test_level_is_stepped_foot_to_foot_as_far_as_it_fits():
    stations = np.arange(0, 1001, 50.0)
    assert places_of(stations, 200).tolist() == [100, 300, 500, 700, 900]
    assert places_of(stations[:-1], 200, length_mm=1000).tolist() == [100, 300, 500, 700, 900]
    assert places_of(stations, 200, "reverse").tolist() == [900, 700, 500, 300, 100]
    assert 150.0 in candidate_places(stations, 200)


def test_dwell_close_to_a_place_is_meant_for_it_and_one_between_is_not():
    assert snapped(np.array([101.9, 102.1, 150.0]), np.arange(0, 500, 100.0)).tolist() == [100, 102.1, 150]
    assert snapped(np.array([11.1]), np.arange(0, 100, 10.0)).tolist() == [11.1]


def test_bins_are_means_with_their_own_positions():
    random = np.random.default_rng(1)
    t = np.arange(0, 100, 0.01)
    bins = binned(t, 5 * t, 3 + random.normal(0, 1, t.size))
    assert len(bins.reading) == 500 and (bins.samples == 20).all()
    assert bins.position_mm[3] == pytest.approx(3.475)
    z = (bins.reading - 3) / bins.scatter
    assert np.std(z) == pytest.approx(1.0, abs=0.1)


def test_run_back_over_the_bed_is_a_second_pass():
    x = np.concatenate([np.arange(0, 500.0), np.arange(500, 0, -1.0)])
    number = passes(x)
    assert number.max() == 2 and number[:500].max() == 1 and number[520:].min() == 2
    assert binned(np.arange(1000.0), x, x).passing.max() == 2


def test_hesitation_of_a_hand_is_no_second_pass():
    x = np.concatenate([np.arange(0, 100.0), np.arange(100, 90, -1.0), np.arange(90, 300.0)])
    assert passes(x).max() == 1


@pytest.mark.parametrize("step_mm", [0.0, 1.0, 10.0])
def test_passes_are_those_of_a_walk_through_every_place(step_mm):
    """Second method: a turn counts as soon as it is 20 mm back from the farthest place so far."""
    rng = np.random.default_rng(20)
    for _ in range(40):
        x = np.repeat(np.cumsum(rng.normal(0, 9, rng.integers(1, 60))), rng.integers(1, 4))
        x = np.round(x / step_mm) * step_mm if step_mm else x
        expected = np.ones(len(x), int)
        begin, way = 0, 0
        for here in range(len(x)):
            so_far = x[begin : here + 1]
            back_mm = np.abs(x[here] - x[begin]) if way == 0 else np.max(way * so_far) - way * x[here]
            if back_mm > 20.0 and way:
                begin += int(np.argmax(way * so_far))
                expected[begin + 1 :] += 1
            if back_mm > 20.0:
                way = -way or (1 if x[here] > x[begin] else -1)
        assert passes(x).tolist() == expected.tolist()


@pytest.mark.parametrize(("rate_hz", "seconds"), [(10.0, 60), (100.0, 60), (100.0, 5)])
def test_sample_times_are_better_than_arrivals(rate_hz, seconds):
    random = np.random.default_rng(2)
    true = np.arange(0, seconds, 1 / rate_hz)
    arrival = np.maximum.accumulate(true + random.uniform(0.001, 0.016, true.size))
    error, naive = sample_times(arrival) - true, arrival - true
    assert np.std(error) < np.std(naive) / 8


def test_stream_without_a_rate_keeps_its_arrivals():
    arrival = np.cumsum(np.random.default_rng(3).exponential(2.0, 100))
    assert sample_times(arrival) == pytest.approx(arrival, abs=1e-9)


def test_sample_times_follow_a_clock_that_wanders():
    index = np.arange(0, 6000)
    true = index * 0.1 + 0.002 * np.sin(2 * np.pi * index * 0.1 / 200)
    arrival = true + np.random.default_rng(4).uniform(0.001, 0.016, index.size)
    assert np.std(sample_times(arrival) - true) < 0.0005


def test_sample_times_never_run_backwards():
    random = np.random.default_rng(5)
    arrival = np.sort(np.concatenate([np.arange(0, 40, 0.05), 100 + np.arange(0, 40, 0.05)]))
    arrival = np.maximum.accumulate(arrival + random.uniform(0, 0.02, arrival.size))
    assert (np.diff(sample_times(arrival)) >= 0).all()


def test_constant_reading_at_rest_is_not_frozen():
    t = np.arange(0, 30, 0.1)
    assert not frozen(t, np.zeros(t.size), np.full(t.size, 100.0)).any()
    assert frozen(t, np.zeros(t.size), 5 * t).all()


def test_step_within_the_noise_is_no_step():
    random = np.random.default_rng(6)
    noise = random.normal(0, 1, 200)
    assert step_at_rest(noise, 1.0) is None
    assert step_at_rest(noise + np.where(np.arange(200) < 120, 0, 15), 1.0).index == 120


def test_settling_is_no_step():
    t = np.arange(0, 8, 0.05)
    assert step_at_rest(100 * np.exp(-t / 0.5), 0.1) is None
