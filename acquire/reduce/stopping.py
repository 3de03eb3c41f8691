"""Stepped traverses: one settled reading for each place where the instrument stood still."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.columns import IN_MEMORY, Columns
from acquire.model.places import ROUNDING_MM
from acquire.model.recorded import Event
from acquire.model.traverse import Row, Setup
from acquire.reduce.no_station import is_before_begin
from acquire.reduce.placed import LUMPS, Placed
from acquire.reduce.tagging.dwells import SHORTEST_DWELL_S, Dwell
from acquire.reduce.tagging.faults import step_at_rest
from acquire.reduce.tagging.positions import candidate_places, snap_reach_mm, snapped
from acquire.reduce.tagging.scatter import noise_of
from acquire.reduce.tagging.settled import SettledStation, settled_stations

SHORTEST_SURE_S = 1.0
"""What must be left of a dwell beside what the times may be out by."""
BEFORE_BEGIN = "before_begin"
"""Kind of derived event: a rest left out as no station."""


@dataclass(frozen=True, eq=False)
class Found:
    """Rows of a traverse in the order taken, what there is to say, and which readings were bumped."""

    rows: tuple[Row, ...]
    said: tuple[Event, ...] = ()
    bumped: tuple[int, ...] = ()
    """Indices in the measuring instrument's stream."""


def stations_by_dwells(
    record: Placed, dwells: Sequence[Dwell], is_snapped: bool, columns: Columns = IN_MEMORY
) -> Found:
    """Settled readings of dwells whose positions are known."""
    setup = record.setup
    sure = [_surely(dwell, record.slack_s) for dwell in dwells]
    long_enough = [dwell for dwell in sure if not record.slack_s or dwell.length_s >= SHORTEST_SURE_S]
    too_short = _too_short(record, [dwell for dwell in sure if dwell not in long_enough])
    found = settled_at(record, [_as_sent(dwell, setup.described.lag_s) for dwell in long_enough], columns)
    candidates = places_meant(setup)
    stood = np.array([row.station_mm for row in found.rows])
    meant = _visited(snapped(stood, candidates), candidates) if is_snapped else stood
    rows = tuple(
        row._replace(station_mm=place, note=_joined(row.note, _stood(row.station_mm, place)))
        for row, place in zip(found.rows, meant.tolist(), strict=True)
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
    return f"stood at {at_mm:.2f} mm" if abs(at_mm - place_mm) > ROUNDING_MM else ""


def settled_at(record: Placed, dwells: Sequence[Dwell], columns: Columns = IN_MEMORY) -> Found:
    """Settled readings where each dwell stood, bumps cut off first, with a note where one is due."""
    instrument = record.setup.described
    good = np.isfinite(record.reading)
    time_s, reading, index = (
        columns.keep(column[good]) for column in (record.time_s, record.reading, record.index)
    )
    kept: list[Dwell] = []
    notes: dict[int, str] = {}
    said: list[Event] = []
    bumped: list[int] = []
    for whole in dwells:
        dwell, bump = whole, _bump_in(whole, time_s, reading, instrument.contract_resolution)
        if bump is not None:
            at, size = bump
            bumped.append(int(index[at]))
            words = f"the reading stepped by {size:+.3g} {instrument.contract_unit} at rest and stayed"
            said.append(Event(float(time_s[at]), "bumped", f"station {dwell.position_mm:.1f}: {words}"))
            dwell = _longer_part(whole, float(time_s[at - 1]), float(time_s[at]))
            notes[len(kept)] = f"bumped: {words}"
        kept.append(dwell)
    negligible = max(0.1, instrument.contract_resolution / 4)
    result = settled_stations(time_s, reading, kept, negligible=negligible, floor=instrument.uncertainty)
    if result.settling.time_constants_s:
        constants = " and ".join(f"{T:.2f}" for T in result.settling.time_constants_s)
        said.append(Event(0.0, "settling", f"time constant {constants} s, fitted over {len(kept)} stations"))
    rows = []
    for each in result.stations:
        note = _joined(notes.get(kept.index(each.dwell), ""), "still creeping" if each.is_creeping else "")
        place_mm = each.dwell.position_mm
        rows.append(Row(place_mm, each.reading, each.scatter, each.samples, each.time_s, note))
    said += _creeping([each for each in result.stations if each.is_creeping])
    return Found(tuple(rows), tuple(said), tuple(bumped))


def _bump_in(
    dwell: Dwell, time_s: np.ndarray, reading: np.ndarray, resolution: float
) -> tuple[int, float] | None:
    """From which reading on a reading at rest has stepped and stayed, and by how much."""
    first, last = np.searchsorted(time_s, [dwell.start_s, dwell.end_s + 1e-9])
    step = step_at_rest(reading[first:last], noise_of(reading[first:last]), resolution)
    return None if step is None else (int(first + step.index), step.size)


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


def _joined(*notes: str) -> str:
    return "; ".join(note for note in notes if note)
