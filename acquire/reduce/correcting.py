"""Corrections of single readings, put on the stations that the raw bytes give."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from acquire.model.corrections import Correction, corrections_in_force
from acquire.model.errors import EntryError, TraverseFileError
from acquire.model.places import is_same_place
from acquire.model.recorded import Event
from acquire.model.traverse import HAND_PORT, Setup, Stations, Traverse
from acquire.reduce.written.imported import readings_imported
from acquire.reduce.written.readings import expected_unit
from acquire.reduce.written.typed import typed_reading


def corrected(setup: Setup, stations: Stations, events: Iterable[Event], unit: str | None) -> Stations:
    """The stations with every correction among `events` that is in force.

    Parameters
    ----------
    setup : Setup
    stations : Stations
        As the raw bytes give them.
    events : iterable of Event
    unit : str, optional
        Of bare numbers in this traverse, where it is not the instrument's own.

    Raises
    ------
    TraverseFileError
        If a correction finds no reading at its place: the misread would count again in silence.
    """
    try:
        in_force = corrections_in_force(events)
        for each in in_force:
            stations = _with(setup, stations, each, unit)
    except EntryError as error:
        where = f"traverse {setup.number:03d}: {error.where}"
        raise TraverseFileError(where, error.found, error.needed, error.do) from error
    kept = np.ones(len(stations), bool)
    for each in in_force:
        if each.is_struck:
            kept[_row_of(setup, stations, each)] = False
    return stations if kept.all() else stations.at(kept)


def reading_at(stations: Stations, station_mm: float, repeat: int) -> int | None:
    """Index of one reading; None where there is none."""
    found = np.flatnonzero(is_same_place(stations.station_mm, station_mm) & (stations.repeat == repeat))
    return int(found[0]) if len(found) else None


def bare_unit(traverse: Traverse) -> str:
    """The unit in which a bare number of this traverse was written or shown."""
    setup = traverse.setup
    if setup.source == "import" and HAND_PORT in traverse.streams:
        return readings_imported(setup, traverse.streams[HAND_PORT].raw[:]).unit or expected_unit(setup)
    return expected_unit(setup)


def _row_of(setup: Setup, stations: Stations, correction: Correction) -> int:
    row = reading_at(stations, correction.station_mm, correction.repeat)
    if row is None:
        place = f"--station {correction.station_mm:g} --repeat {correction.repeat}"
        raise EntryError(
            "a correction",
            f"found no reading {correction.repeat} at {correction.station_mm:g} mm any more",
            "the reading that was corrected",
            f"`waylog correct SURVEY {setup.number} {place} --as-read` takes the correction back",
        )
    return row


def _with(setup: Setup, stations: Stations, correction: Correction, unit: str | None) -> Stations:
    """The stations with one reading replaced, and the reason noted with it."""
    row = _row_of(setup, stations, correction)
    if correction.is_struck:
        return stations
    notes = list(stations.note or ("",) * len(stations))
    words = f"read {correction.was}, corrected: {correction.because}"
    notes[row] = "; ".join(part for part in (notes[row], words) if part)
    changed = {
        "reading": typed_reading(setup.described, correction.now, unit),
        "scatter": 0.0,
        "samples": 1,
        "standard_uncertainty": setup.described.uncertainty,
    }
    columns = {}
    for name, value in changed.items():
        columns[name] = getattr(stations, name).copy()
        columns[name][row] = value
    return replace(stations, note=tuple(notes), **columns)
