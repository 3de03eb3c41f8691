"""Settled stations: the numbers worked out for the recipe, and simulated streams with known truth."""

import numpy as np
import pytest
from scipy.optimize import least_squares

from acquire.reduce.tagging.dwells import Dwell, dwells_by_position, dwells_by_reading, worth_keeping
from acquire.reduce.tagging.settled import settled_stations
from acquire.reduce.tagging.settling import DwellSamples, fit_settling
from tests.benchmarks.settled_stations import score, simulated_stream

LEVELS = (100.0, 110.0, 95.0, 102.0, 90.0, 99.0)
AMPLITUDES = (50.0, -80.0, 30.0, 120.0, -40.0, 60.0)


@pytest.fixture
def six_dwells():
    """Derived case: 20 Hz, six dwells of 8 s, one second of settling, a ripple of 1.7 Hz."""
    t = np.arange(0, 8, 0.05)
    ripple = 0.2 * np.sin(2 * np.pi * 1.7 * t)
    reading = [level + a * np.exp(-t) + ripple for level, a in zip(LEVELS, AMPLITUDES, strict=True)]
    time_s = np.concatenate([t + 10 * k for k in range(6)])
    dwells = worth_keeping([Dwell(10.0 * k, 10.0 * k + 7.95, 100.0 * k) for k in range(6)])
    return time_s, np.concatenate(reading), dwells


def test_time_constant_and_levels_of_the_derived_case_come_out(six_dwells):
    # Derived for this project: a consistency case, not outside evidence.
    found = settled_stations(*six_dwells)
    assert found.settling.time_constants_s == pytest.approx((1.0,), abs=0.01)
    assert [s.reading for s in found.stations] == pytest.approx(LEVELS, abs=0.10)


def test_plain_mean_of_a_dwell_fails_after_a_quick_move(six_dwells):
    time_s, reading, dwells = six_dwells
    found = settled_stations(time_s, reading, dwells)
    for station, level, amplitude in zip(found.stations, LEVELS, AMPLITUDES, strict=True):
        inside = (time_s >= station.dwell.start_s) & (time_s <= station.dwell.end_s)
        plain = reading[inside].mean()
        # Mean of a·exp(−t/1 s) over 7.65 s is a/7.65: micrometres per metre, not tenths.
        assert abs(plain - level) > 0.8 * abs(amplitude) / 7.65
        assert abs(plain - level) > 10 * abs(station.reading - level)


def test_steady_level_is_not_given_a_settling():
    random = np.random.default_rng(5)
    t = np.arange(0, 40, 0.05)
    reading = 20.0 + random.normal(0, 1, t.size)
    found = settled_stations(t, reading, [Dwell(10.0 * k, 10.0 * k + 8) for k in range(4)])
    assert found.settling.time_constants_s == ()
    assert not any(s.is_creeping for s in found.stations)


def test_two_time_constants_are_told_from_one():
    random = np.random.default_rng(6)
    t = np.arange(0, 12, 0.05)
    reading = [30 + a * np.exp(-t / 0.4) + b * np.exp(-t / 2.5) for a, b in ((90, 40), (-70, 30), (60, -50))]
    time_s = np.concatenate([t + 15 * k for k in range(3)])
    noisy = np.concatenate(reading) + random.normal(0, 0.2, 3 * t.size)
    found = settled_stations(time_s, noisy, [Dwell(15.0 * k, 15.0 * k + 11.7) for k in range(3)])
    assert found.settling.time_constants_s == pytest.approx((0.4, 2.5), rel=0.1)
    # The slow part is still 0.5 µm/m at the end: the fitted end value, inside its uncertainty.
    for station in found.stations:
        assert abs(station.reading - 30) < 3 * station.scatter + 0.1


def test_a_drift_that_does_not_stop_is_called_creeping():
    t = np.arange(0, 8, 0.05)
    reading = 5.0 * t + np.random.default_rng(7).normal(0, 0.1, t.size)
    found = settled_stations(t, reading, [Dwell(0.0, 7.7)], floor=1.0)
    assert found.stations[0].is_creeping


def test_nudge_keeps_the_later_dwell_and_a_return_stays_a_repeat():
    stops = [(0, 0.0), (5, 0.0), (7, 98.0), (12, 98.0), (12.5, 100.0), (18, 100.0), (20, 0.0), (25, 0.0)]
    t = np.arange(0, 25, 0.05)
    x = np.interp(t, *np.transpose(stops))
    kept = worth_keeping(dwells_by_position(t, x))
    assert [round(d.position_mm) for d in kept] == [0, 100, 0]


def test_departure_is_dropped_and_short_stops_are_no_station():
    assert worth_keeping([Dwell(0.0, 2.2, 0.0), Dwell(5.0, 8.0, 100.0)]) == [Dwell(5.0, 7.7, 100.0)]


def test_gap_in_the_positions_parts_a_dwell():
    t = np.concatenate([np.arange(0, 5, 0.05), np.arange(9, 14, 0.05)])
    assert len(dwells_by_position(t, np.full(t.size, 50.0))) == 2


@pytest.mark.parametrize("seed", range(12))
def test_without_positions_the_reading_tells_the_stops_apart_though_it_settles(seed):
    """A nudge with a rest before it is a stop of its own to whoever has no scale; nothing else may be."""
    stream = simulated_stream(seed)
    stops = dwells_by_position(stream.time_s, stream.position_mm)
    rests = [dwell for dwell in dwells_by_reading(stream.time_s, stream.reading) if dwell.length_s >= 2.0]
    assert len(stream.station_mm) <= len(rests) <= sum(stop.length_s >= 1.5 for stop in stops)
    for rest in rests:
        assert any(stop.start_s - 0.3 <= rest.start_s and rest.end_s <= stop.end_s + 0.6 for stop in stops)


@pytest.mark.statistics
def test_simulated_streams_keep_what_the_recipe_promises():
    """Short form of tests/benchmarks/settled_stations.py; other seeds than its own."""
    result = score(range(1000, 1024))
    assert result.missed + result.false <= 0.005 * result.stations
    assert result.rms <= 0.65
    assert 0.93 <= result.coverage <= 0.995
    assert result.plain_mean_rms > 10 * result.rms


def test_time_constants_are_those_of_a_search_over_every_dwell_by_itself():
    """A second method: scipy's variable projection, least squares of each dwell by numpy's own."""
    rng = np.random.default_rng(12)
    dwells = []
    for count, start in ((90, 0.05), (140, 0.25), (60, 0.0), (200, 0.1)):
        t = start + 0.05 * np.arange(count)
        quick, slow = rng.normal(0, 80, 2)
        reading = 1e4 + quick * np.exp(-t / 0.4) + slow * np.exp(-t / 1.7) + rng.normal(0, 0.1, count)
        dwells.append(DwellSamples(t, reading))

    def residuals(logarithms):
        left = []
        for each in dwells:
            columns = np.column_stack(
                [np.ones(len(each.time_s)), *(np.exp(-each.time_s / T) for T in np.exp(logarithms))]
            )
            level = np.linalg.lstsq(columns, each.reading, rcond=None)[0]
            left.append(each.reading - columns @ level)
        return np.concatenate(left)

    expected = np.exp(least_squares(residuals, np.log([0.3, 2.0]), xtol=1e-12).x)
    found = fit_settling(dwells)
    # the grid of the search ends about a per cent wide
    np.testing.assert_allclose(found.time_constants_s, expected, rtol=0.03)
    free = sum(len(each.time_s) for each in dwells) - 3 * len(dwells) - 2
    of_fit = np.sqrt(np.sum(residuals(np.log(found.time_constants_s)) ** 2) / free)
    np.testing.assert_allclose(found.deviation, of_fit, rtol=1e-9)
