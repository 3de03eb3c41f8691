"""Readings by hand or from a file, put in order: what both doors hand on."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.traverse import Setup, Stations


@dataclass(frozen=True)
class OneReading:
    """One reading that counts, in the contract's units."""

    station_mm: float
    reading: float
    repeat: int
    time_s: float = math.nan
    note: str = ""


@dataclass(frozen=True, eq=False)
class ReadingsTable:
    """The stations of one written traverse, and what was made of what was written."""

    stations: Stations
    mode: str
    """stepped | continuous."""
    gap_mm: tuple[float, ...] = ()
    """Stations that were left out on purpose."""
    understood: tuple[str, ...] = ()
    """A line each on how it was read, for the person to look over."""
    doubts: tuple[str, ...] = ()
    """What was taken but looks odd."""
    unit: str | None = None
    """Of bare numbers, where it is not the instrument's own."""
    gap_note: tuple[str, ...] = ()
    """What was written beside each gap; empty where nothing was beside any."""


def gather(
    setup: Setup,
    readings: Sequence[OneReading],
    gap_mm: Sequence[float] = (),
    understood: Sequence[str] = (),
    doubts: Sequence[str] = (),
) -> ReadingsTable:
    """Put the readings in order of station and repeat, with the instrument's own uncertainty."""
    ordered = sorted(readings, key=lambda item: (item.station_mm, item.repeat))
    count = len(ordered)
    stations = Stations(
        station_mm=np.array([item.station_mm for item in ordered], float),
        reading=np.array([item.reading for item in ordered], float),
        standard_uncertainty=np.full(count, setup.described.uncertainty),
        scatter=np.zeros(count),
        samples=np.ones(count, np.int64),
        repeat=np.array([item.repeat for item in ordered], np.int64),
        time_s=np.array([item.time_s for item in ordered], float),
        note=tuple(item.note for item in ordered) if any(item.note for item in ordered) else (),
    )
    return ReadingsTable(
        stations, mode_of(setup, stations.station_mm), tuple(gap_mm), tuple(understood), tuple(doubts)
    )


def mode_of(setup: Setup, station_mm: np.ndarray) -> str:
    """Stepped, or continuous: as asked for, else a slope spaced under half its base is continuous.

    Examples
    --------
    >>> bed = '''
    ... [bed]
    ... name = "invented"
    ... length_mm = 1000
    ... station_pitch_mm = 100
    ... [faces.way]
    ... normal = "up"
    ... [instruments.level]
    ... quantity = "slope"
    ... unit = "um/m"
    ... base_mm = 200
    ... standard_uncertainty = 1
    ... '''
    >>> setup = Setup("level", "slope", bed, face="way")
    >>> mode_of(setup, np.arange(100.0, 900.0, 200.0)), mode_of(setup, np.arange(100.0, 900.0, 5.0))
    ('stepped', 'continuous')
    """
    if setup.mode_asked:
        return setup.mode_asked
    places = np.unique(station_mm)
    if not setup.described.step_mm or len(places) < 2:
        return "stepped"
    spacing_mm = float(np.median(np.diff(places)))
    return "continuous" if spacing_mm < 0.499 * setup.described.step_mm else "stepped"
