"""The slip guard on invented worn ways: how often it asks for nothing, how often it finds a slip."""

import numpy as np
import pytest

from acquire.entry.doubts import doubt_of
from acquire.model.bed import Instrument
from acquire.model.traverse import Stations

DIAL = Instrument("dial", "offset", "um", standard_uncertainty=1.0, resolution=1)
LEVEL = Instrument("level", "slope", "um/m", base_mm=200, standard_uncertainty=1.0, resolution=1)
BEDS = 60


def stations_of(station_mm, reading):
    count = len(station_mm)
    ones = np.ones(count)
    return Stations(
        station_mm, reading, ones, 0 * ones, ones.astype(int), ones.astype(int), np.full(count, np.nan)
    )


def worn_ways(rng):
    """Readings on invented ways with one hollow each, in whole units, with noise and a tilt."""
    for _ in range(BEDS):
        middle, width, depth = rng.uniform(300, 1300), rng.uniform(150, 500), rng.uniform(20, 120)

        def height(x, middle=middle, width=width, depth=depth):
            return -depth * np.exp(-(((x - middle) / width) ** 2))

        by_dial = np.arange(0, 1600, 50.0)
        yield DIAL, by_dial, np.round(height(by_dial) + rng.uniform(-20, 20) + rng.normal(0, 1, by_dial.size))
        feet = np.arange(100, 1600, 200.0)
        slope = (height(feet + 100) - height(feet - 100)) / 0.2
        yield LEVEL, feet, np.round(slope + rng.uniform(-50, 50) + rng.normal(0, 2, feet.size))


def test_true_readings_are_seldom_questioned():
    asked = {"dial": [], "level": []}
    for instrument, place, reading in worn_ways(np.random.default_rng(7)):
        asked[instrument.name] += [
            doubt_of(instrument, stations_of(place[:k], reading[:k]), place[k], reading[k], None) is not None
            for k in range(1, len(place))
        ]
    assert np.mean(asked["dial"]) < 0.01  # 1860 readings
    assert np.mean(asked["level"]) < 0.05  # 420 readings, 200 mm apart: each differs much from the next


@pytest.mark.parametrize(
    ("factor", "share"),
    [(10.0, 0.7), (25.4, 0.9), (1000.0, 0.95), (-1.0, 0.3)],
    ids=["ten times", "thou as µm", "mm as µm", "sign"],
)
def test_slip_with_the_dial_is_mostly_found(factor, share):
    """A slip that lands among its neighbours (a sign near zero) cannot be found from them."""
    rng = np.random.default_rng(7)
    found = []
    for instrument, place, reading in worn_ways(rng):
        if instrument is DIAL:
            k = int(rng.integers(4, len(place)))
            before = stations_of(place[:k], reading[:k])
            found.append(doubt_of(instrument, before, place[k], factor * reading[k], None) is not None)
    assert np.mean(found) > share
