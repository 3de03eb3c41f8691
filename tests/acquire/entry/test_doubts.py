"""The slip guard on invented worn ways: how often it asks for nothing, how often it finds a slip."""

import numpy as np
import pytest

from acquire.entry.doubts import doubt_of, doubt_of_column, doubt_of_digits
from acquire.model.bed import Instrument
from acquire.model.companion import Prediction
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


@pytest.mark.whole
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


VIAL = Instrument("vial", "slope", "in/ft", per_division=0.0005, resolution=0.1, standard_uncertainty=0.1)
TENTHS = Instrument("dial", "offset", "thou", per_division=1, resolution=0.5, standard_uncertainty=0.3)


@pytest.mark.parametrize(
    ("instrument", "typed", "meant"),
    [
        (VIAL, "0.0015", "is it 0.0015 in/ft?"),
        (TENTHS, "0.002", "is it 0.002 in?"),
        (TENTHS, "-0.0035", "is it -0.0035 in?"),
        (DIAL, "0.004", "is it 0.004 mm?"),
        (DIAL, "12.347", "read it again"),
        (VIAL, "1.5 / 0.0005", "is it 0.0005 in/ft?"),
    ],
)
def test_digits_far_below_the_resolution_are_questioned_with_the_unit_that_fits(instrument, typed, meant):
    words = doubt_of_digits(instrument, 300, typed)
    assert words is not None and words.endswith(meant)


@pytest.mark.parametrize("typed", ["3", "-2.5", "0", "1.25", "0.002 in", "1.5 / 2.5", "3.5 thou"])
def test_halves_and_tenths_of_a_division_and_written_units_are_not_questioned(typed):
    assert doubt_of_digits(VIAL if "/" in typed else TENTHS, 300, typed) is None


def test_reading_of_a_vial_is_doubted_in_the_divisions_that_were_read():
    near = stations_of(np.arange(3) * 100.0, VIAL.to_contract(np.array([-4.4, -5.2, -5.0])))
    words = doubt_of(VIAL, near, 300.0, float(VIAL.to_contract(34.0)), None)
    assert words.startswith(
        "station 300 mm: 34 div jumps out of its neighbours (the one beside it reads -5 div)"
    )
    predicted = Prediction(float(VIAL.to_contract(3.4)), 1.0, "the reverse run")
    words = doubt_of(VIAL, near, 300.0, float(VIAL.to_contract(-34.0)), predicted)
    assert words.startswith("station 300 mm is 37.4 div off what the reverse run says")


def test_readings_asked_for_in_another_unit_may_be_as_fine_as_they_are():
    """A dial of 1 µm whose readings are typed in inches: 0.0021 in is 53 µm."""
    assert doubt_of_digits(DIAL, 300, "0.0021", "in") is None


def test_number_without_a_stated_resolution_is_not_questioned():
    assert doubt_of_digits(Instrument("any", "offset", "um"), 300, "0.00042") is None


@pytest.mark.parametrize(
    ("reading", "words"),
    [
        ([1, 2.5, 3, 0], None),
        ([0.0015, 0.002, 0.001, 0], "3 readings; at station 0 mm: 0.0015 is finer than dial shows"),
        (
            [1, 2.347, 3, 0],
            "station 100 mm: 2.347 is finer than dial shows (steps of 0.5 div): read it again",
        ),
        ([1.2345, 2.347, 3.1113, 0.01], None),  # means of many readings
    ],
)
def test_file_whose_readings_are_too_fine_is_doubted_unless_they_are_means(reading, words):
    shown = stations_of(np.arange(4) * 100.0, TENTHS.to_contract(np.array(reading, float)))
    found = doubt_of_column(TENTHS, shown)
    assert found is None if words is None else found.startswith(words)
