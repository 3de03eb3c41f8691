"""Stepped traverses: one settled reading for each place where the instrument stood still."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.columns import IN_MEMORY, Columns
from acquire.model.places import is_same_place
from acquire.model.traverse import Setup
from acquire.reduce.no_station import is_before_begin, is_taken_back, numbered
from acquire.reduce.placed import LUMPS, Placed, places_in_order
from acquire.reduce.tagging import (
    Dwell,
    SettledStation,
    candidate_places,
    dwells_by_marks,
    dwells_by_position,
    dwells_by_reading,
    settled_stations,
    snapped,
    step_at_rest,
    worth_keeping,
)
from acquire.reduce.tagging.dwells import DEPARTURE_S, SHORTEST_DWELL_S
from acquire.reduce.tagging.places import snap_reach_mm
from acquire.store.journal import Event

SPARSE_S = 1.5
"""Readings usually farther apart than this are sent one by one, at the press of a key."""
DOUBLE_PRESS_S = 1.0
"""Nobody carries an instrument to the next station in less: a second reading then is one more at the same."""
SHORTEST_SURE_S = 1.0
"""What must be left of a dwell beside what the times may be out by."""
BEFORE_BEGIN, ONE_REST, TOO_MANY = "before_begin", "one_rest", "too_many"
"""Kinds of derived events: a rest left out as no station; marks between which nothing moved; more
stops than stations."""


@dataclass(frozen=True, eq=False)
class Row:
    """One reading that counts."""

    station_mm: float
    reading: float
    scatter: float
    samples: int
    time_s: float
    note: str = ""


@dataclass(frozen=True, eq=False)
class Found:
    """Rows of a traverse in the order taken, what there is to say, and which readings were bumped."""

    rows: tuple[Row, ...]
    said: tuple[Event, ...] = ()
    bumped: tuple[int, ...] = ()
    """Indices in the measuring instrument's stream."""


def dwells_on_scale(record: Placed) -> list[Dwell]:
    """Where the position stream stood still long enough to be read."""
    return worth_keeping(dwells_by_position(record.scale_time_s, record.scale_mm, record.scale_gap_s))


def stations_by_dwells(
    record: Placed, dwells: Sequence[Dwell], is_snapped: bool, columns: Columns = IN_MEMORY
) -> Found:
    """Settled readings of dwells whose positions are known."""
    setup = record.setup
    sure = [_surely(dwell, record.slack_s) for dwell in dwells]
    long_enough = [dwell for dwell in sure if not record.slack_s or dwell.length_s >= SHORTEST_SURE_S]
    too_short = _too_short(record, [dwell for dwell in sure if dwell not in long_enough])
    found = _settled(record, [_as_sent(dwell, setup.described.lag_s) for dwell in long_enough], columns)
    candidates = places_meant(setup)
    stood = np.array([station.dwell.position_mm for station, _ in found.stations])
    meant = _visited(snapped(stood, candidates), candidates) if is_snapped else stood
    rows = tuple(
        _row(station, float(place), _joined(note, _stood(float(at), float(place))))
        for (station, note), place, at in zip(found.stations, meant, stood, strict=True)
    )
    said = (*too_short, *found.said)
    if not is_snapped or not is_before_begin(setup.direction, meant, candidates):
        return Found(rows, said, found.bumped)
    words = f"the rest at {stood[0]:.1f} mm, before the traverse began, is no station"
    first = Event(max(0.0, rows[0].time_s), BEFORE_BEGIN, words)
    return Found(rows[1:], (first, *said), found.bumped)


def _surely(dwell: Dwell, slack_s: float) -> Dwell:
    """The part of a dwell in which a reading was surely taken, though its time may be out by so much."""
    return replace(dwell, start_s=dwell.start_s + slack_s, end_s=dwell.end_s - slack_s) if slack_s else dwell


def _too_short(record: Placed, dwells: Sequence[Dwell]) -> list[Event]:
    if not dwells:
        return []
    needed_s = SHORTEST_SURE_S + 2 * record.slack_s
    words = (
        f"{len(dwells)} stops were too short for lines in lumps: nothing is taken there; stand still for "
        f"{needed_s:.0f} s and more"
    )
    return [Event(max(0.0, dwells[0].start_s), LUMPS, words)]


def _visited(place_mm: np.ndarray, candidates: np.ndarray) -> np.ndarray:
    """Stops at no place of the bed but, as near as is set by hand, where it stood before, are repeats."""
    places = place_mm.copy()
    reach_mm = snap_reach_mm(candidates)
    for k in range(1, len(places)):
        near = places[:k][np.abs(places[:k] - places[k]) <= reach_mm]
        if len(near) and not np.isin(places[k], candidates):
            places[k] = near[0]
    return places


def _as_sent(dwell: Dwell, lag_s: float) -> Dwell:
    """The dwell at the times to which the readings in it were put.

    Readings of a lagging instrument are put back by its lag, which is right while the truth
    changes slowly; but the jolt of a departure shows at once, so it is put back too far.
    """
    return replace(dwell, start_s=dwell.start_s - lag_s, end_s=dwell.end_s - lag_s)


def places_meant(setup: Setup) -> np.ndarray:
    """Every place that a stop may have been meant for."""
    return candidate_places(np.array(setup.bed.station_mm), setup.described.step_mm, setup.bed.length_mm)


def _stood(at_mm: float, place_mm: float) -> str:
    return f"stood at {at_mm:.2f} mm" if abs(at_mm - place_mm) > 0.5 else ""


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
    found = _settled(record, [replace(d, end_s=max(d.start_s, d.end_s - DEPARTURE_S)) for d in dwells])
    rows = tuple(_row(station, station.dwell.position_mm, note) for station, note in found.stations)
    return Found(rows, (*said, *found.said), found.bumped)


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
    found = _settled(record, named)
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
    rows = tuple(_row(station, station.dwell.position_mm, note) for station, note in found.stations)
    return Found(rows, tuple(said), found.bumped)


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
                rows.append(Row(place, float(record.reading[k]), 0.0, 1, float(record.time_s[k])))
        return Found(tuple(rows))
    presses = presses_in_turn(record)
    if len(presses) > len(places):
        return Found((), (_one_too_many(record, presses, places, "readings sent one by one"),))
    rows = [
        Row(float(place), float(record.reading[k]), 0.0, 1, float(record.time_s[k]))
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


@dataclass(frozen=True, eq=False)
class _Settled:
    stations: tuple[tuple[SettledStation, str], ...]
    said: tuple[Event, ...]
    bumped: tuple[int, ...]


def _settled(record: Placed, dwells: Sequence[Dwell], columns: Columns = IN_MEMORY) -> _Settled:
    """Settled readings, bumps cut off first, with a note where one is due."""
    instrument = record.setup.described
    good = np.isfinite(record.reading)
    time_s, reading, index = (
        columns.keep(column[good]) for column in (record.time_s, record.reading, record.index)
    )
    resolution = instrument.contract_resolution
    unit = instrument.contract_unit
    kept: list[Dwell] = []
    notes: dict[int, str] = {}
    said: list[Event] = []
    bumped: list[int] = []
    for whole in dwells:
        dwell = whole
        first, last = np.searchsorted(time_s, [dwell.start_s, dwell.end_s + 1e-9])
        step = step_at_rest(reading[first:last], _noise(reading[first:last]), resolution)
        if step is not None:
            at = first + step.index
            bumped.append(int(index[at]))
            words = f"bumped: the reading stepped by {step.size:+.3g} {unit} at rest and stayed"
            said.append(
                Event(
                    float(time_s[at]),
                    "bumped",
                    f"station {dwell.position_mm:.1f}: {words.partition(': ')[2]}",
                )
            )
            dwell = _longer_part(whole, float(time_s[at - 1]), float(time_s[at]))
            notes[len(kept)] = words
        kept.append(dwell)
    result = settled_stations(
        time_s, reading, kept, negligible=max(0.1, resolution / 4), floor=instrument.uncertainty
    )
    if result.settling.time_constants_s:
        constants = " and ".join(f"{T:.2f}" for T in result.settling.time_constants_s)
        said.append(Event(0.0, "settling", f"time constant {constants} s, fitted over {len(kept)} stations"))
    stations = []
    for station in result.stations:
        note = notes.get(kept.index(station.dwell), "")
        if station.is_creeping:
            note = _joined(note, "still creeping")
        stations.append((station, note))
    said += _creeping([station for station, _ in stations if station.is_creeping])
    return _Settled(tuple(stations), tuple(said), tuple(bumped))


def _creeping(stations: Sequence[SettledStation]) -> list[Event]:
    """One event for all stations whose reading had not come to rest."""
    if not stations:
        return []
    places = sorted(station.dwell.position_mm for station in stations)
    words = f"station {places[0]:.1f}: still creeping"
    if len(stations) > 1:
        words = f"{len(stations)} stations from {places[0]:.1f} to {places[-1]:.1f}: still creeping"
    return [Event(stations[0].time_s, "creeping", words)]


def _longer_part(dwell: Dwell, before_s: float, after_s: float) -> Dwell:
    """The part before a bump, which has the zero of what came earlier, unless it is too short."""
    if before_s - dwell.start_s >= SHORTEST_DWELL_S or before_s - dwell.start_s >= dwell.end_s - after_s:
        return replace(dwell, end_s=before_s)
    return replace(dwell, start_s=after_s)


def _noise(reading: np.ndarray) -> float:
    if len(reading) < 4:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(reading, 2))) / np.sqrt(6))


def _row(station: SettledStation, place_mm: float, note: str) -> Row:
    return Row(place_mm, station.reading, station.scatter, station.samples, station.time_s, note)


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)
