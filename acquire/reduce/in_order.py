"""Stations without a scale: marks, or stretches of rest and readings sent by key, each the next in turn."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.places import is_same_place
from acquire.model.recorded import Event
from acquire.model.traverse import Row
from acquire.reduce.no_station import is_taken_back, numbered
from acquire.reduce.placed import Placed, places_in_order
from acquire.reduce.stopping import Found, settled_at
from acquire.reduce.tagging.dwells import (
    DEPARTURE_S,
    SHORTEST_DWELL_S,
    Dwell,
    dwells_by_marks,
    dwells_by_reading,
)

SPARSE_S = 1.5
"""Readings usually farther apart than this are sent one by one, at the press of a key."""
DOUBLE_PRESS_S = 1.0
"""Nobody carries an instrument to the next station in less: a second reading then is one more at the same."""
ONE_REST, TOO_MANY = "one_rest", "too_many"
"""Kinds of derived events: marks between which nothing moved; more stops than stations."""


def stations_by_order(record: Placed) -> Found:
    """Readings at the bed's places in turn: at each mark, else in each quiet stretch, else one by one."""
    setup = record.setup
    places = places_in_order(setup)
    if _is_sparse(record):
        return _one_by_one(record, places)
    good = np.isfinite(record.reading)
    resolution = setup.described.contract_resolution
    quiet = dwells_by_reading(record.time_s[good], record.reading[good], resolution)
    if not record.marks:
        return _in_turn(record, rests_in_turn(record), places)
    end_s = float(record.time_s[-1]) if len(record.time_s) else 0.0
    meant = dwells_by_marks(quiet, [time_s for time_s, _ in record.marks], end_s)
    said, dwells, stations = [], [], []
    for (mark_s, _), dwell, place in zip(record.marks, meant, _marked_places(record, places), strict=True):
        if dwell is None or place is None:
            reason = "the reading never came to rest" if dwell is None else "no station is left for it"
            said.append(Event(mark_s, "not_taken", f"mark at {mark_s:.2f} s: {reason}; nothing is taken"))
        else:
            dwells.append(replace(dwell, position_mm=place))
            stations.append(place)
    said += _one_rest(record, quiet)
    found = settled_at(record, [replace(d, end_s=max(d.start_s, d.end_s - DEPARTURE_S)) for d in dwells])
    return replace(found, said=(*said, *found.said))


def _marked_places(record: Placed, places: np.ndarray) -> list[float | None]:
    """Place of each mark: the one it names, else the next in turn."""
    found: list[float | None] = []
    turn = 0
    for _, named in record.marks:
        if named is not None:
            near = np.flatnonzero(is_same_place(places, named))
            turn = int(near[0]) + 1 if len(near) else turn
            found.append(named)
        else:
            found.append(float(places[turn]) if turn < len(places) else None)
            turn += 1
    return found


def _long_enough(quiet: Sequence[Dwell]) -> list[Dwell]:
    shortened = [replace(dwell, end_s=dwell.end_s - DEPARTURE_S) for dwell in quiet]
    return [dwell for dwell in shortened if dwell.length_s >= SHORTEST_DWELL_S - DEPARTURE_S]


def _one_rest(record: Placed, quiet: Sequence[Dwell]) -> list[Event]:
    """Words on marks of two stations between which the reading shows no move."""
    pairs = [(one, other) for one, other in pairwise(record.marks) if one[1] != other[1]]
    unmoved = [
        (one, other)
        for one, other in pairs
        if any(dwell.start_s <= one[0] and other[0] <= dwell.end_s for dwell in quiet)
    ]
    if 2 * len(unmoved) > len(pairs):  # an instrument that does not show when it is moved
        return []
    return [
        Event(
            other_s,
            ONE_REST,
            f"between the marks of {one:g} and {other:g} mm the reading shows no move: was Enter pressed "
            f"twice? Then strike station {other:g} out with `waylog correct`",
        )
        for (_, one), (other_s, other) in unmoved
        if one is not None and other is not None
    ]


def rests_in_turn(record: Placed) -> list[Dwell]:
    """What would each be a station in turn: the quiet stretches, without those that were said to be none."""
    good = np.isfinite(record.reading)
    quiet = dwells_by_reading(
        record.time_s[good], record.reading[good], record.setup.described.contract_resolution
    )
    return [d for d in _long_enough(quiet) if not is_taken_back(d.start_s, d.end_s, record.no_rests_s)]


def _one_too_many(record: Placed, dwells: Sequence[Dwell], places: np.ndarray, what: str) -> Event:
    number = record.setup.number
    words = (
        f"{len(dwells)} {what} for {len(places)} stations: none is taken, for it is not known which is no "
        f"station ({numbered(dwells)}). Say it: `waylog correct SURVEY {number} --no-station 1`"
    )
    return Event(float(record.time_s[-1]), TOO_MANY, words)


def _in_turn(record: Placed, dwells: Sequence[Dwell], places: np.ndarray) -> Found:
    if len(dwells) > len(places):
        return Found((), (_one_too_many(record, dwells, places, "stretches of rest"),))
    named = [replace(d, position_mm=float(x)) for d, x in zip(dwells, places, strict=False)]
    found = settled_at(record, named)
    said = list(found.said)
    if len(dwells) != len(places):
        said.append(
            Event(
                float(record.time_s[-1]) if len(record.time_s) else 0.0,
                "places",
                f"{len(dwells)} quiet stretches for {len(places)} stations, taken in turn from "
                f"{places[0]:g} mm: look whether one is missing or one too many, or mark each with Enter",
            )
        )
    return replace(found, said=tuple(said))


def is_sent_by_key(instrument: Instrument) -> bool:
    """Whether nothing speaks against its sending a reading only when its key is pressed."""
    wire = instrument.wire
    return not ("ask" in wire or "rate_hz" in wire or wire.get("kind") == "modbus")


def _is_sparse(record: Placed) -> bool:
    """Whether the instrument sends a reading only when its key is pressed."""
    if len(record.time_s) == 0 or not is_sent_by_key(record.setup.described):
        return False
    return len(record.time_s) < 2 or is_one_at_a_time(record.time_s)


def is_one_at_a_time(time_s: np.ndarray) -> bool:
    """Whether readings came far apart, as keys are pressed; a key pressed twice counts once.

    Examples
    --------
    >>> is_one_at_a_time(np.array([4, 11, 11.4, 19])), is_one_at_a_time(np.arange(0, 9, 0.1))
    (True, False)
    """
    gaps_s = np.diff(time_s)
    apart = gaps_s[gaps_s >= DOUBLE_PRESS_S]
    return 3 * len(apart) >= len(gaps_s) and float(np.median(apart)) > SPARSE_S


def _one_by_one(record: Placed, places: np.ndarray) -> Found:
    """Each reading sent is a station; marks, where there are some, name its place."""
    if record.marks:
        rows = []
        for (mark_s, _), place in zip(record.marks, _marked_places(record, places), strict=True):
            before = np.flatnonzero(record.time_s <= mark_s)
            if len(before) and place is not None:
                k = before[-1]
                rows.append(Row(place, float(record.reading[k]), time_s=float(record.time_s[k])))
        return Found(tuple(rows))
    presses = presses_in_turn(record)
    if len(presses) > len(places):
        return Found((), (_one_too_many(record, presses, places, "readings sent one by one"),))
    rows = [
        Row(float(place), float(record.reading[k]), time_s=float(record.time_s[k]))
        for place, press in zip(places, presses, strict=False)
        for k in np.flatnonzero((record.time_s >= press.start_s) & (record.time_s <= press.end_s))
        if np.isfinite(record.reading[k])
    ]
    said: tuple[Event, ...] = ()
    if len(presses) != len(places):
        words = f"{len(presses)} readings sent one by one for {len(places)} stations, taken in turn"
        said = (Event(float(record.time_s[-1]), "places", words),)
    return Found(tuple(rows), said)


def presses_in_turn(record: Placed) -> list[Dwell]:
    """Readings sent one by one, those within a second as one; without those that were said to be none."""
    found: list[Dwell] = []
    for time_s in map(float, record.time_s):
        if found and time_s - found[-1].end_s < DOUBLE_PRESS_S:
            found[-1] = replace(found[-1], end_s=time_s)
        else:
            found.append(Dwell(time_s, time_s))
    return [press for press in found if not is_taken_back(press.start_s, press.end_s, record.no_rests_s)]


def stops_in_turn(record: Placed) -> list[Dwell]:
    """What is a station each where neither a scale nor marks tell: rests, or readings sent one by one."""
    return presses_in_turn(record) if _is_sparse(record) else rests_in_turn(record)
