"""Placings found in a stream, and what they scatter by, against invented truth."""

import numpy as np
import pytest

from acquire.bench.seating import (
    feet_um_per_reading,
    placings,
    reversal_of,
    seating_of,
    settled_readings,
)
from acquire.model.bed import Instrument
from acquire.model.errors import AcquireError
from acquire.reduce.tagging.dwells import Dwell

LEVEL = Instrument("level", "slope", "um/m", base_mm=200)
SCALE = feet_um_per_reading(LEVEL)
RATE_HZ = 20


def stood(rng, level, seconds, settling=40.0, noise=0.3):
    t = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return level + settling * np.exp(-t / 0.5) + rng.normal(0, noise, t.size)


def lifted(rng, seconds=2.0):
    return rng.normal(0, 1500, round(seconds * RATE_HZ))


def joined(*parts):
    reading = np.concatenate(parts)
    return np.arange(reading.size) / RATE_HZ, reading


def run(rng, levels):
    parts = []
    for level in levels:
        parts += [stood(rng, level, rng.uniform(6, 12)), lifted(rng, rng.uniform(1, 4))]
    return joined(*parts[:-1])


def test_each_placing_is_read_once_settled():
    rng = np.random.default_rng(1)
    levels = 20 + rng.normal(0, 3, 10)
    time_s, reading = run(rng, levels)
    found = placings(time_s, reading, um_per_reading=SCALE)
    assert len(found) == 10
    read = [station.reading for station in settled_readings(time_s, reading, found)]
    assert np.abs(np.array(read) - levels).max() < 0.5


@pytest.mark.whole
def test_seating_of_the_feet_comes_out_as_invented():
    """Feet that vary by 0.5 µm each on 200 mm: √2·0.5/0.2 = 3.54 µm/m between placings."""
    rng = np.random.default_rng(2)
    squared = []
    for _ in range(8):
        feet = rng.normal(0, 0.5, (10, 2))
        levels = 50 + (feet[:, 1] - feet[:, 0]) / 0.2
        time_s, reading = run(rng, levels)
        found = placings(time_s, reading, um_per_reading=SCALE)
        read = [station.reading for station in settled_readings(time_s, reading, found)]
        squared.append(seating_of(read, SCALE).seating_um ** 2)
    assert np.sqrt(np.mean(squared)) == pytest.approx(0.5, rel=3 / np.sqrt(2 * 72))


def test_scatter_of_ten_is_known_to_a_quarter():
    """24 % for ten readings: Guide to the expression of uncertainty (JCGM 100:2008), table E.1;
    from memory."""
    found = seating_of(np.random.default_rng(1).normal(0, 1, 10), 1.0)
    assert found.uncertainty_um / found.seating_um == pytest.approx(0.24, abs=0.005)


def test_lying_on_the_bench_meanwhile_is_no_placing():
    rng = np.random.default_rng(3)
    bench = stood(rng, 2500.0, 8)
    time_s, reading = joined(
        stood(rng, 20, 8), lifted(rng), bench, lifted(rng), stood(rng, 21, 8), lifted(rng), stood(rng, 19, 8)
    )
    found = placings(time_s, reading, um_per_reading=SCALE)
    assert [
        round(float(np.median(reading[(time_s > d.start_s + 3) & (time_s < d.end_s)]))) for d in found
    ] == [
        20,
        21,
        19,
    ]


def test_knock_without_lifting_is_no_new_placing():
    rng = np.random.default_rng(4)
    knock = rng.normal(20, 8, 10)
    time_s, reading = joined(stood(rng, 20, 8), knock, stood(rng, 20.5, 8, settling=0))
    assert len(placings(time_s, reading, um_per_reading=SCALE)) == 1


def test_lifting_shows_as_overflow_or_as_silence_too():
    rng = np.random.default_rng(5)
    first, second = stood(rng, 20, 7), stood(rng, 22, 7, settling=0)
    reading = np.concatenate([first, second])
    time_s = np.arange(reading.size) / RATE_HZ
    apart = np.where(np.arange(reading.size) < first.size, time_s, time_s + 3.0)
    assert len(placings(apart, reading, um_per_reading=SCALE)) == 2
    overflow = np.where(np.arange(reading.size) < first.size, time_s, time_s + 0.6)
    assert len(placings(overflow, reading, [7.2], um_per_reading=SCALE)) == 2


def test_placing_counts_only_after_it_has_stood():
    rng = np.random.default_rng(6)
    time_s, reading = joined(stood(rng, 20, 8), lifted(rng), stood(rng, 22, 2.5))
    assert len(placings(time_s, reading, um_per_reading=SCALE)) == 1


def test_fast_stream_is_judged_the_same():
    rng = np.random.default_rng(7)
    reading = run(rng, [20, 22, 19])[1]
    fast = np.repeat(reading, 50) + rng.normal(0, 0.3, reading.size * 50)
    times = np.arange(fast.size) / (RATE_HZ * 50)
    assert len(placings(times, fast, um_per_reading=SCALE)) == 3


def test_steady_drift_over_the_placings_is_taken_off():
    rng = np.random.default_rng(8)
    seats = rng.normal(0, 0.3, 10)
    drifting = seating_of(10 + 2.0 * np.arange(10) + seats, 1.0)
    assert drifting.drift == pytest.approx(18, abs=1.0) and drifting.seating_um < 0.6
    claims = [seating_of(rng.normal(0, 0.3, 10), 1.0).drift != 0.0 for _ in range(500)]
    assert sum(claims) <= 3, "chance makes one such trend in a thousand"


def test_few_placings_and_instruments_without_feet_are_refused():
    with pytest.raises(AcquireError, match="found 3 placings"):
        seating_of([1, 2, 3], 1.0)
    with pytest.raises(AcquireError, match="position"):
        feet_um_per_reading(Instrument("scale", "position", "mm"))
    with pytest.raises(AcquireError, match="--across"):
        feet_um_per_reading(Instrument("cross", "roll", "um/m"))
    assert feet_um_per_reading(Instrument("cross", "roll", "um/m"), 300) == pytest.approx(0.3 / np.sqrt(2))
    assert feet_um_per_reading(Instrument("dial", "offset", "thou")) == 1.0


def test_reversal_gives_zero_and_slope_whatever_the_drift():
    zero, slope, drift = 4.0, 13.0, 0.7
    found = reversal_of(slope + zero - drift, -slope + zero, slope + zero + drift)
    assert (found.zero, found.slope) == (pytest.approx(zero), pytest.approx(slope))
    assert found.closing == pytest.approx(2 * drift)


@pytest.mark.parametrize(
    ("described", "gauge_mm", "um"),
    [
        ({"quantity": "slope", "unit": "um/m", "base_mm": 200}, None, 0.2 / 2**0.5),
        ({"quantity": "slope", "unit": "um/m", "base_mm": 200}, 400.0, 0.2 / 2**0.5),
        ({"quantity": "roll", "unit": "um/m", "base_mm": 150}, 400.0, 0.4 / 2**0.5),
        ({"quantity": "roll", "unit": "um/m", "base_mm": 150}, None, 0.15 / 2**0.5),
        ({"quantity": "offset", "unit": "mm"}, None, 1.0),
    ],
)
def test_seating_of_a_foot_hangs_on_how_far_apart_the_two_stand(described, gauge_mm, um):
    """A level across stands on the ways, however long its own base is."""
    assert feet_um_per_reading(Instrument("it", **described), gauge_mm) == pytest.approx(um)


def test_seating_and_its_uncertainty_are_those_of_few_placings():
    """By hand: 1 2 4 1 have the mean 2 and squares 1 0 4 1, so that s = √(6/3); known to 1/√(2·3) of it."""
    found = seating_of([1.0, 2.0, 4.0, 1.0], 0.5)
    assert found.scatter == pytest.approx(2**0.5) and found.drift == 0.0
    assert found.seating_um == pytest.approx(0.5 * 2**0.5)
    assert found.uncertainty_um == pytest.approx(found.seating_um / 6**0.5)


def test_drift_over_placings_is_from_the_first_to_the_last():
    """Ten placings that rise by 2 each, but for a flicker of 0.1: 18 from the first to the last."""
    flicker = 0.1 * np.array([1, -1, -1, 1, 1, -1, -1, 1, 1, -1])
    found = seating_of(2.0 * np.arange(10) + flicker, 1.0)
    assert found.drift == pytest.approx(18.0, rel=0.02)
    assert found.scatter == pytest.approx(0.1 * (10 / 8) ** 0.5, rel=0.02)  # of ten about a line


def test_zero_and_slope_by_turning_end_for_end_with_their_signs():
    """A place that falls by 12 read with a zero of +5: −7, turned 17, turned back −7; with drift 2 more."""
    found = reversal_of(-7.0, 17.0 + 1.0, -7.0 + 2.0)
    assert (found.zero, found.slope, found.closing) == (6.0, -12.0, 2.0)


def test_push_of_a_hand_that_lifts_it_again_is_no_part_of_a_placing():
    """In its last quarter of a second the level already tilts by 400 µm/m: nothing of that is in the mean."""
    rng = np.random.default_rng(6)
    held = [stood(rng, level, 8.0, settling=0.0) for level in (20.0, 23.0)]
    pushed = [np.concatenate([each[:-5], each[-5:] + 400.0]) for each in held]
    time_s, reading = joined(pushed[0], lifted(rng), pushed[1])
    found = [Dwell(0.0, time_s[len(held[0]) - 1]), Dwell(time_s[-len(held[1])], time_s[-1])]
    read = [station.reading for station in settled_readings(time_s, reading, found)]
    assert read == pytest.approx([20.0, 23.0], abs=0.2)
