"""Continuous traverses: the mean of every millimetre, with the carriage's acceleration taken out."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from acquire.model.columns import IN_MEMORY, Columns
from acquire.model.recorded import Event
from acquire.model.traverse import Row
from acquire.reduce.placed import LUMPS, Placed
from acquire.reduce.stopping import Found, stations_by_dwells
from acquire.reduce.tagging.acceleration import SLOWEST_RATE_HZ, tilt_without_acceleration, window_seconds
from acquire.reduce.tagging.binning import binned
from acquire.reduce.tagging.dwells import DEPARTURE_S, Dwell, worth_keeping
from acquire.reduce.tagging.sample_times import MOST_LATENESS_S

JOLT_LAGS = 4.0
"""After so many of its lags a level has forgotten the jolt of a start."""


def stations_by_bins(record: Placed, columns: Columns = IN_MEMORY) -> Found:
    """Means over each millimetre of all readings whose place is known.

    Of a level on a moving carriage the readings about each start and stop are left out: the
    push and the jolt tilt it by more than can be taken off.  Where it stood long enough the
    settled reading counts instead.
    """
    if record.slack_s > MOST_LATENESS_S and record.setup.described.gravity and record.setup.measures.is_angle:
        words = (
            f"times are out by up to {record.slack_s:.2f} s where lines come in lumps: what the carriage's "
            "acceleration does to a level drawn along cannot be taken off, and nothing is taken; step it"
        )
        return Found((), (Event(0.0, LUMPS, words),))
    corrected, said = _acceleration_out(record, columns)
    smoothed_over = 1 if corrected is record else _window_samples(record)
    standing = Found(())
    if record.has_scale and record.setup.described.gravity and record.setup.measures.is_angle:
        columns.let_go()
        width_s = 0.0 if corrected is record else window_seconds(float(np.median(np.diff(record.time_s))))
        corrected = jolts_out(corrected, record.stops, width_s, columns)
        standing = stations_by_dwells(record, worth_keeping(record.stops), is_snapped=False, columns=columns)
    columns.let_go()
    bins = binned(
        corrected.time_s,
        corrected.position_mm,
        corrected.reading,
        smoothed_over=smoothed_over,
        let_go=columns.let_go,
    )
    columns_of_rows = (bins.position_mm, bins.reading, bins.scatter, bins.samples, bins.time_s)
    rows = map(Row, *(column.tolist() for column in columns_of_rows))
    return Found((*rows, *standing.rows), (*said, *standing.said), standing.bumped)


def jolts_out(record: Placed, stops: Sequence[Dwell], width_s: float, columns: Columns) -> Placed:
    """The record without the readings of each stop, of the push before its end and of the jolt after it."""
    lag_s = record.setup.described.lag_s
    reading = record.reading.copy()
    for stop in stops:
        start_s = stop.start_s - lag_s - width_s / 2
        end_s = stop.end_s + max(DEPARTURE_S, (JOLT_LAGS - 1) * lag_s) + width_s / 2
        reading[np.searchsorted(record.time_s, start_s) : np.searchsorted(record.time_s, end_s, "right")] = (
            np.nan
        )
    return replace(record, reading=columns.keep(reading))


def _window_samples(record: Placed) -> int:
    """Samples within one window of the correction."""
    interval_s = float(np.median(np.diff(record.time_s)))
    return max(1, round(window_seconds(interval_s) / interval_s)) if interval_s > 0 else 1


def _acceleration_out(record: Placed, columns: Columns) -> tuple[Placed, tuple[Event, ...]]:
    """The record with tilt from acceleration taken out, where that applies and is allowed."""
    setup = record.setup
    if not setup.measures.has_feet_along or not setup.described.gravity:
        return record, ()
    if not setup.acceleration_corrected:
        return record, (Event(0.0, "acceleration", "tilt from acceleration was left in, as asked"),)
    if not record.has_scale:
        words = "tilt from acceleration could not be taken out: there is no position stream"
        return record, (Event(0.0, "acceleration", words),)
    if float(np.median(np.diff(record.scale_time_s))) > 1 / SLOWEST_RATE_HZ:
        words = f"tilt from acceleration could not be taken out: under {SLOWEST_RATE_HZ:g} positions a second"
        return record, (Event(0.0, "acceleration", words),)
    known = np.isfinite(record.position_mm) & np.isfinite(record.reading)
    columns.let_go()
    parts = list(_unbroken(record.time_s, known, record.scale_gap_s))
    columns.let_go()
    corrected = np.full(len(record.reading), np.nan)
    for part in parts:
        corrected[part] = tilt_without_acceleration(
            record.time_s[part],
            record.reading[part],
            record.position_mm[part],
            setup.described.lag_s,
            columns=columns,
        )
    corrected = columns.keep(corrected)
    off = np.abs(record.reading - corrected)
    largest = float(np.max(off, initial=0.0, where=np.isfinite(corrected)))
    words = (
        f"tilt from the carriage's acceleration taken out (up to {largest:.0f} µm/m), "
        "readings smoothed over 1 to 2 s; `record --no-acceleration-correction` leaves it in"
    )
    return replace(record, reading=corrected), (Event(0.0, "acceleration", words),)


def _unbroken(time_s: np.ndarray, known: np.ndarray, longest_gap_s: float) -> Iterator[np.ndarray | slice]:
    """Where the known readings are, parted where they pause; a slice where nothing lies between."""
    index = np.flatnonzero(known)
    index = index[np.diff(time_s[index], prepend=-np.inf) > 0]
    breaks = np.flatnonzero(np.diff(time_s[index]) > longest_gap_s) + 1
    for part in np.split(index, breaks):
        if len(part) > 8:
            is_all = part[-1] - part[0] == len(part) - 1
            yield slice(int(part[0]), int(part[-1]) + 1) if is_all else part
