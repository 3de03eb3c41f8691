"""Work on columns of a long recording: the same as on whole ones, and little of them in memory."""

import tracemalloc
from itertools import groupby

import numpy as np
import pytest

from acquire.reduce.tagging import faults
from acquire.reduce.tagging.acceleration import tilt_without_acceleration
from acquire.reduce.tagging.faults import frozen
from acquire.reduce.tagging.positions import interpolated
from acquire.store.scratch import scratch

COUNT = 600_000
COLUMN_BYTES = 8 * COUNT


@pytest.fixture
def on_disk(tmp_path):
    """Time, reading and place of a drawn run of over an hour and a half, kept on the disk."""
    random = np.random.default_rng(12)
    time_s = np.arange(COUNT) * 0.01 + random.uniform(0, 0.001, COUNT)
    place_mm = 800 - 790 * np.cos(time_s * np.pi / 900)
    with scratch(tmp_path) as columns:
        yield columns, [columns.keep(each) for each in (time_s, random.normal(size=COUNT), place_mm)]


def most_bytes(function):
    """What a function returns, and what it held at the most."""
    tracemalloc.start()
    try:
        return function(), tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def test_tilt_of_a_long_run_holds_not_two_of_its_columns(on_disk):
    columns, (time_s, reading, place_mm) = on_disk
    found, held = most_bytes(lambda: tilt_without_acceleration(time_s, reading, place_mm, columns=columns))
    assert held < 2 * COLUMN_BYTES
    in_memory = tilt_without_acceleration(*(np.array(each) for each in (time_s, reading, place_mm)))
    np.testing.assert_array_equal(found, in_memory)


def test_search_for_frozen_readings_holds_no_column(on_disk):
    _, (time_s, reading, place_mm) = on_disk
    found, held = most_bytes(lambda: frozen(time_s, reading, place_mm))
    assert held < COLUMN_BYTES and not found.any()


def test_interpolation_near_by_is_that_over_all_to_the_bit():
    for seed in range(20):
        random = np.random.default_rng(seed)
        time_s = np.cumsum(random.exponential(1.0, random.integers(2, 40)))
        values = random.normal(size=time_s.size)
        at_s = np.sort(random.uniform(*np.sort(random.uniform(-5, time_s[-1] + 5, 2)), 15))
        at_s = np.sort(np.append(at_s, random.choice(time_s, 3)))
        np.testing.assert_array_equal(interpolated(at_s, time_s, values), np.interp(at_s, time_s, values))
        np.testing.assert_array_equal(
            interpolated(at_s, time_s, values, outside=np.nan),
            np.interp(at_s, time_s, values, left=np.nan, right=np.nan),
        )


def test_repeats_are_those_that_are_counted_one_by_one(monkeypatch):
    for seed in range(20):
        monkeypatch.setattr(faults, "AT_ONCE", 7)
        random = np.random.default_rng(seed)
        value = np.repeat(random.normal(size=30), random.integers(1, 25, 30))
        value[random.integers(0, value.size, 3)] = np.nan
        time_s, place_mm = np.arange(value.size) * 1.0, np.arange(value.size) * 4.0
        expected = []
        for _, group in groupby(value.tolist()):
            count = len(list(group))
            expected += [count >= 10] * count
        assert frozen(time_s, value, place_mm).tolist() == expected
        assert frozen(time_s[:0], value[:0], place_mm[:0]).tolist() == []
