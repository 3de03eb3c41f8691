"""Still records against invented truth."""

import numpy as np
import pytest

from acquire.bench.still import (
    allan_deviation,
    averaging,
    disturbances,
    dwell_means,
    shown_step,
    still_record,
)
from acquire.model.errors import AcquireError

RATE_HZ = 20.0
T = np.arange(0, 600, 1 / RATE_HZ)


def autoregressive(rng, count, size, rho):
    """Noise in which each sample remembers the last: y_k = rho·y_(k−1) + e_k."""
    noise = rng.normal(0, size * np.sqrt(1 - rho**2), count)
    noise[0] /= np.sqrt(1 - rho**2)
    for k in range(1, count):
        noise[k] += rho * noise[k - 1]
    return noise


def deviation_of_mean(size, rho, n):
    """Of the mean of n successive samples of such noise (derived: the sum of all covariances)."""
    sums = (1 + rho) / (1 - rho) - 2 * rho * (1 - rho**n) / (n * (1 - rho) ** 2)
    return size * np.sqrt(sums / n)


def test_dwell_means_are_right_where_single_samples_fail_both_ways():
    rho, n = np.exp(-1 / (RATE_HZ * 4.0)), 60
    found = []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        stream = autoregressive(rng, T.size, 1.0, rho) + rng.normal(0, 1.5, T.size)
        found.append(still_record(T, stream, 3.0))
    truth = np.hypot(deviation_of_mean(1.0, rho, n), 1.5 / np.sqrt(n))
    means = np.mean([record.standard_uncertainty for record in found])
    single = np.mean([record.sample_scatter for record in found])
    assert means == pytest.approx(truth, rel=0.08)
    assert single > 1.8 * truth, "undivided, single samples overstate"
    assert single / np.sqrt(n) < 0.35 * truth, "divided by √n, they understate"


def test_station_means_under_flicker_are_covered(pink):
    """Two sigma from one still record hold the stations of another ten minutes of the same noise."""
    inside = []
    for seed in range(30):
        rng = np.random.default_rng(seed)
        first, second = (rng.normal(0, 1, T.size) + pink(rng, T.size, 0.5) for _ in range(2))
        u = still_record(T, first, 3.0).standard_uncertainty
        mean = dwell_means(T, second, 3.0)[1]
        inside.append(np.mean(np.abs(mean - mean.mean()) < 2 * u))
    naive = 2 * 1.1 / np.sqrt(60)
    assert 0.90 <= np.mean(inside) <= 0.99
    assert np.mean(np.abs(mean - mean.mean()) < naive) < 0.80


def test_drift_is_found_and_does_not_enter_the_scatter():
    rng = np.random.default_rng(4)
    stream = 12.0 + 30.0 / 3600 * T + rng.normal(0, 1.0, T.size)
    record = still_record(T, stream)
    assert record.has_drifted
    assert abs(record.drift_per_hour - 30.0) < 3 * record.drift_uncertainty_per_hour < 3.0
    assert record.standard_uncertainty == pytest.approx(1 / np.sqrt(60), rel=0.15)


def test_drift_is_seldom_claimed_where_there_is_none():
    claims = [
        still_record(T, np.random.default_rng(seed).normal(0, 1, T.size)).has_drifted for seed in range(60)
    ]
    assert np.mean(claims) < 0.15


@pytest.mark.parametrize("step", [0.1, 0.5, 0.02, 5.0])
def test_step_is_found_and_counts_where_noise_does_not_smooth_it(step):
    rng = np.random.default_rng(1)
    smooth = still_record(T, np.round(rng.normal(40, 3 * step, T.size) / step) * step)
    stuck = still_record(T, np.round((40.3 * step + rng.normal(0, 0.1 * step, T.size)) / step) * step)
    assert smooth.resolution == pytest.approx(step) and not smooth.is_stuck
    assert smooth.standard_uncertainty == pytest.approx(3 * step / np.sqrt(60), rel=0.15)
    assert stuck.is_stuck and stuck.standard_uncertainty >= 0.99 * step / np.sqrt(12)


def test_reading_that_never_changes_has_no_step():
    record = still_record(T, np.full(T.size, 7.0))
    assert record.resolution is None and record.standard_uncertainty == 0.0
    assert shown_step(np.array([1 / 3, 2 / 3, 5 / 3])) == pytest.approx(1 / 3)


def test_somebody_leaning_on_the_bed_is_told_and_noise_is_not(pink):
    rng = np.random.default_rng(8)
    stream = rng.normal(0, 1, T.size) + pink(rng, T.size, 0.5)
    assert still_record(T, stream).disturbed_s == ()
    stream[T > 250] += 6.0
    (at_s,) = still_record(T, stream).disturbed_s
    assert abs(at_s - 250) < 4


def test_missing_stretches_are_left_out():
    rng = np.random.default_rng(2)
    there = (T < 100) | (T > 161)
    record = still_record(T[there], rng.normal(0, 1, T.size)[there])
    assert record.dwells in (179, 180) and record.standard_uncertainty == pytest.approx(0.13, abs=0.02)


def test_slow_instrument_has_one_reading_a_dwell():
    t = np.arange(0, 600, 5.0)
    record = still_record(t, np.random.default_rng(3).normal(0, 1, t.size), 3.0)
    assert record.dwells > 100 and record.standard_uncertainty == pytest.approx(1.0, rel=0.2)


def test_short_record_is_refused_with_how_long_it_takes():
    with pytest.raises(AcquireError, match="found 3 stretches of 3 s; needed: 12"):
        still_record(T[:200], np.zeros(200))


def test_allan_deviation_of_the_published_nine_readings():
    """Nine frequency readings used to check such programs, with both deviations, in NIST Special
    Publication 1065 (handbook of frequency stability analysis); from memory."""
    readings = np.array([892, 809, 823, 798, 671, 644, 883, 903, 677.0])
    assert allan_deviation(readings, 1) == pytest.approx(91.22945, abs=5e-6)
    assert allan_deviation(readings, 2) == pytest.approx(115.8082, abs=5e-5)


def test_floor_is_where_averaging_gains_no_more(pink):
    rng = np.random.default_rng(6)
    white = averaging(T, rng.normal(0, 1, T.size))[1]
    assert white[6] == pytest.approx(1 / 8, rel=0.1), "white noise falls as 1/√n"
    record = still_record(T, rng.normal(0, 1, T.size) + pink(rng, T.size, 1.0))
    assert record.floor > 3 / np.sqrt(64 * 20) and record.floor_after_s < 60


def test_drift_is_told_by_the_hour_and_its_uncertainty_covers_it():
    """Invented: 30 an hour under white noise of 1; ten minutes then tell the slope to a few an hour."""
    rng = np.random.default_rng(14)
    record = still_record(T, 12.0 + 30.0 / 3600 * T + rng.normal(0, 1.0, T.size))
    # one mean of 3 s scatters by 1/√60; the slope of 200 of them over 600 s (derived): σ·√(12/n)/L
    expected = 3600 * (1 / np.sqrt(60)) * np.sqrt(12 / 200) / 600
    assert record.drift_uncertainty_per_hour == pytest.approx(expected, rel=0.35)
    assert record.drift_per_hour == pytest.approx(30.0, abs=3 * record.drift_uncertainty_per_hour)
    assert record.has_drifted


@pytest.mark.parametrize(("size", "stuck"), [(0.05, True), (0.4, True), (0.8, False), (3.0, False)])
def test_display_whose_noise_is_under_half_a_step_or_so_is_stuck(size, stuck):
    """Steps of 1: noise of half a step and less does not carry the reading over them (q²/12 is then all)."""
    rng = np.random.default_rng(3)
    record = still_record(T, np.round(rng.normal(0.3, size, T.size)) + (T > 599))
    assert record.is_stuck is stuck
    if stuck:
        assert record.standard_uncertainty >= 1 / 12**0.5


def test_uncertainty_of_the_scatter_goes_by_the_number_of_stations():
    record = still_record(T, np.random.default_rng(2).normal(0, 1, T.size), 3.0)
    assert record.dwells == 200
    assert record.dwell_scatter_uncertainty == pytest.approx(record.dwell_scatter / np.sqrt(2 * 198))


def test_display_that_flickers_by_one_step_was_not_knocked_and_one_that_jumps_by_more_was():
    """Nearly all means alike: they usually differ by nothing, and one step of the display is no knock."""
    flicker = np.where(np.arange(40) % 13 == 6, 0.1, 0.0)
    assert disturbances(np.arange(40) * 3.0, flicker, 0.1) == ()
    assert disturbances(np.arange(40) * 3.0, flicker + 0.5 * (np.arange(40) > 20), 0.1) == (61.5,)


def test_drift_is_less_sure_where_the_noise_is_slow():
    """Stations alike by 0.8 are worth a ninth of as many: a drift is known three times worse (derived)."""
    rng = np.random.default_rng(21)
    per_dwell = np.repeat(autoregressive(rng, 200, 1.0, 0.8), 60)
    slow = still_record(T, per_dwell + rng.normal(0, 0.05, T.size), 3.0)
    naive = 3600 * slow.dwell_scatter * np.sqrt(12 / slow.dwells) / slow.lasted_s
    assert 1.8 < slow.drift_uncertainty_per_hour / naive < 4.5
