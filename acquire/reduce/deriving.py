"""`derive`: a recording's contents in, its traverse out; and back again for `redo`."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import compress

import numpy as np

from acquire.model.columns import Columns
from acquire.model.errors import TraverseFileError
from acquire.model.places import is_same_place
from acquire.model.recorded import Event
from acquire.model.slips import as_meant, gaps_left, parsed, undone
from acquire.model.traverse import FLAGS, HAND_PORT, Events, Row, Setup, Stations, Stream, Traverse
from acquire.receive.wire.whole import Refused
from acquire.reduce.correcting import corrected
from acquire.reduce.in_order import stations_by_order
from acquire.reduce.placed import Placed, placed
from acquire.reduce.running import stations_by_bins
from acquire.reduce.stopping import Found, places_meant, stations_by_dwells
from acquire.reduce.streams import NOTHING, check_can_be, chunks_of, decoded_streams
from acquire.reduce.tagging.dwells import Dwell, worth_keeping
from acquire.reduce.tagging.faults import frozen
from acquire.reduce.way_gone import OTHER_WAY, as_gone, other_way_words
from acquire.reduce.written.imported import readings_imported
from acquire.reduce.written.readings import ReadingsTable, mode_of
from acquire.reduce.written.typed import readings_typed
from acquire.store.journal import JournalContents

DERIVED_KINDS = frozenset(
    {
        "acceleration", "before_begin", "bumped", "creeping", "damage", "doubt", "feed", "frozen", "garbled",
        "late", "lumps", "mode", "no_position", "not_taken", "off_bed", "one_rest", "other_way",
        "out_of_range", "overflow", "places", "repeated", "settling", "standing", "station_gap", "taken_as",
        "too_many", "understood", "unplaced",
    }
)  # fmt: skip
"""Kinds of events that `derive` adds; it leaves them out when it starts again from a file."""

MOSTLY_STOPPED, STOPPED_SHARE = 0.6, 0.2
"""Of the time between the first stop and the last, standing still for more than this is stepping."""


def derive(contents: JournalContents) -> Traverse:
    """Derive a traverse from what was recorded, typed or imported; nothing else enters.

    Parameters
    ----------
    contents : JournalContents
        The setup, the raw bytes of each port in chunks with their times, the events, and
        whether the recording was ended properly.

    Returns
    -------
    Traverse
        Readings decoded and placed, stations in the contract's units, every event, and
        what derivation itself has to say as further events.
    """
    contents = replace(contents, setup=as_gone(contents.setup, contents.events))
    check_can_be(contents.setup, contents.events)
    found = _recorded(contents) if contents.setup.source == "record" else _written(contents)
    return _as_meant(found) if contents.setup.taken_as else found


def _as_meant(traverse: Traverse) -> Traverse:
    """The run with the slips undone that its setup names; an event says so."""
    setup = traverse.setup
    slip = parsed(setup.taken_as.split(), setup)
    stations = undone(setup, traverse.stations, slip, gaps_left(traverse.events))
    lost = len(traverse.stations) - len(stations)
    words = f"taken as: {slip.words} (`redo --as {' --as '.join(slip.names)}`)"
    words += f"; {lost} of its stations then lie off the bed and are left out" if lost else ""
    events = Events.of([Event(0.0, "taken_as", words), *traverse.events])
    return replace(traverse, setup=as_meant(setup, slip), stations=stations, events=events)


def contents_of(traverse: Traverse) -> JournalContents:
    """What `derive` needs to derive this traverse again: raw bytes, chunk times, the events that came."""
    kept = [event for event in traverse.events if event.kind not in DERIVED_KINDS]
    chunks = {name: chunks_of(stream) for name, stream in traverse.streams.items() if len(stream.chunk_end)}
    setup = traverse.setup
    if setup.taken_as:
        setup = as_meant(setup, parsed(setup.taken_as.split(), setup))
    return JournalContents(setup, chunks, kept, traverse.complete)


def _written(contents: JournalContents) -> Traverse:
    setup = contents.setup
    if setup.source == "import" and not contents.complete:
        raise TraverseFileError(
            f"traverse {setup.number:03d}",
            "not all of the imported file was kept" + "".join(f" ({words})" for words in contents.damage[:1]),
            "the whole file: a cut number reads as another",
            "import it again; `waylog undo` takes this one out",
        )
    raw = contents.chunks.get(HAND_PORT, NOTHING)
    table = _table(setup, raw.raw[:])
    stream = Stream.undecoded(HAND_PORT, raw.raw, raw.chunk_end, raw.chunk_time_s)
    said = [Event(0.0, "station_gap", words) for words in _gaps_told(table)]
    said += [Event(0.0, "understood", words) for words in table.understood]
    said += [Event(0.0, "doubt", words) for words in table.doubts]
    events = _events(contents, said)
    stations = corrected(setup, table.stations, contents.events, table.unit or setup.unit)
    return Traverse(setup, {HAND_PORT: stream}, stations, events, table.mode, contents.complete)


def _gaps_told(table: ReadingsTable) -> list[str]:
    notes = table.gap_note or ("",) * len(table.gap_mm)
    return [
        f"station {place:g}: {note or 'left out on purpose'}"
        for place, note in zip(table.gap_mm, notes, strict=True)
    ]


def _table(setup: Setup, raw: bytes) -> ReadingsTable:
    readers = {"enter": readings_typed, "import": readings_imported}
    if setup.source not in readers:
        raise TraverseFileError(
            f"traverse {setup.number:03d}", f"found source {setup.source!r}", "record | enter | import"
        )
    return readers[setup.source](setup, raw)


def _recorded(contents: JournalContents) -> Traverse:
    setup = contents.setup
    columns = contents.columns
    streams, refused = decoded_streams(setup, contents.chunks, contents.events, columns)
    record = placed(setup, streams, contents.events, columns)
    found, mode = _stations_and_mode(record, columns)
    columns.let_go()
    streams[setup.instrument], flagged = _flagged(streams[setup.instrument], record, found, columns)
    rows, off_bed = on_bed(setup, found.rows)
    said = [*record.said, *found.said, *flagged, *_counted(refused), *off_bed, *_other_way(record, rows)]
    events = _events(contents, said)
    stations = corrected(setup, _stations(setup, rows), contents.events, None)
    columns.let_go()
    return Traverse(setup, streams, stations, events, mode, contents.complete)


def _other_way(record: Placed, rows: Sequence[Row]) -> list[Event]:
    """Words on a position that ran against the direction asked for."""
    if not record.has_scale or not rows:
        return []
    in_time = sorted(rows, key=lambda row: row.time_s)
    places = np.array([row.station_mm for row in in_time])
    words = other_way_words(record.setup.direction, places, "the position")
    return [] if words is None else [Event(max(0.0, in_time[-1].time_s), OTHER_WAY, words)]


def _stations_and_mode(record: Placed, columns: Columns) -> tuple[Found, str]:
    """Stations, and whether the traverse was stepped or continuous."""
    setup = record.setup
    if setup.placed_by.is_stations or not (record.has_scale or setup.placed_by.is_feed):
        return stations_by_order(record), setup.mode_asked or "stepped"
    dwells = worth_keeping(record.stops) if record.has_scale else []
    steps = is_stepping(setup, dwells, _longest_run_mm(record, dwells))
    columns.let_go()
    runs = setup.mode_asked == "continuous" or (not setup.mode_asked and not steps)
    if runs:
        return stations_by_bins(record, columns), "continuous"
    mode = mode_of(setup, np.round([dwell.position_mm for dwell in dwells], 0))
    return stations_by_dwells(record, dwells, is_snapped=mode == "stepped", columns=columns), mode


def _longest_run_mm(record: Placed, dwells: Sequence[Dwell]) -> float:
    """How far it went at the most without standing still: before, between and after the dwells."""
    if not record.has_scale or not dwells:
        return np.inf
    edges = [-np.inf, *(time_s for dwell in dwells for time_s in (dwell.start_s, dwell.end_s)), np.inf]
    runs = zip(edges[::2], edges[1::2], strict=True)
    time_s, place_mm = record.scale_time_s, record.scale_mm
    spans = [place_mm[np.searchsorted(time_s, a) : np.searchsorted(time_s, b, "right")] for a, b in runs]
    return max((float(np.ptp(span)) for span in spans if len(span)), default=0.0)


def is_stepping(setup: Setup, dwells: Sequence[Dwell], longest_run_mm: float) -> bool:
    """Whether these stops are a stepped traverse, not just where a continuous one began, rested and ended.

    `longest_run_mm` is how far it went at the most between two stops.  Stepping spends a
    fifth at least of the time between first and last stop standing still, and stops where it
    is meant to or at even distances; who rests now and then on a continuous run does
    neither, unless standing takes up most of the time.  With one or two stops only, runs of
    a step and a half at the most are stepping: the traverse was ended early.

    Examples
    --------
    A run of 40 s along the bed between two stops is continuous; five stops in turn are not:

    >>> bed = '[bed]\\nname = "b"\\nlength_mm = 900\\nstation_pitch_mm = 100\\n[faces.a]\\nnormal = "up"\\n'
    >>> bed += '[instruments.i]\\nquantity = "offset"\\nunit = "um"\\nstandard_uncertainty = 1\\n'
    >>> setup = Setup("i", "offset", bed, face="a", reference="line")
    >>> is_stepping(setup, [Dwell(0, 5, 0.0), Dwell(45, 50, 900.0)], 900.0)
    False
    >>> is_stepping(setup, [Dwell(9 * k, 9 * k + 6, 100.0 * k) for k in range(5)], 400.0)
    True
    """
    if not dwells:
        return False
    if len(dwells) < 3:
        step_mm = float(max(setup.described.base_mm or 0.0, *np.diff(setup.bed.station_mm)))
        return longest_run_mm <= 1.5 * step_mm
    inside_s = sum(dwell.length_s for dwell in dwells[1:-1])
    share = inside_s / max(dwells[-1].start_s - dwells[0].end_s, 1e-9)
    return share >= MOSTLY_STOPPED or (share >= STOPPED_SHARE and _is_orderly(setup, dwells))


def _is_orderly(setup: Setup, dwells: Sequence[Dwell]) -> bool:
    """Whether most stops are at places they may be meant for, or at even distances."""
    stood = np.array([dwell.position_mm for dwell in dwells])
    places = places_meant(setup)
    off = np.abs(stood[:, None] - places[None, :]).min(axis=1) if len(places) else np.full(len(stood), np.inf)
    pitch = float(np.min(np.diff(places))) if len(places) > 1 else np.inf
    steps = np.abs(np.diff(stood))
    is_even = bool(np.median(np.abs(steps - np.median(steps))) <= 0.1 * np.median(steps))
    return is_even or float(np.mean(off <= min(3.0, pitch / 6))) >= 0.5


def on_bed(setup: Setup, rows: Sequence[Row]) -> tuple[list[Row], list[Event]]:
    """The rows whose places can be, and words on the others."""
    is_on = np.asarray(setup.is_on_bed(np.array([row.station_mm for row in rows])))
    kept, off = list(compress(rows, is_on)), list(compress(rows, ~is_on))
    if not off:
        return kept, []
    places = sorted(row.station_mm for row in off)
    feet = ", both feet on it" if setup.foot_base_mm else ""
    words = (
        f"{len(off)} readings at {places[0]:.1f} to {places[-1]:.1f} mm are off the bed "
        f"(0 to {setup.bed.length_mm:g} mm{feet}) and left out: look at sign and offset_mm of the scale"
    )
    return kept, [Event(max(0.0, off[0].time_s), "off_bed", words)]


def _stations(setup: Setup, rows: Sequence[Row]) -> Stations:
    """Rows in order of station; visits of one station numbered in the order they were made."""
    numbered: list[Row] = []
    for row in sorted(rows, key=lambda row: (row.station_mm, row.time_s)):
        is_again = bool(numbered) and is_same_place(row.station_mm, numbered[-1].station_mm)
        numbered.append(row._replace(repeat=numbered[-1].repeat + 1) if is_again else row)
    return Stations.of(numbered, setup.described.uncertainty)


def _flagged(stream: Stream, record: Placed, found: Found, columns: Columns) -> tuple[Stream, list[Event]]:
    """The measuring stream with frozen, placeless and bumped readings flagged, and words on each."""
    flag = stream.flag.copy()
    said: list[Event] = []
    needs_place = record.has_scale or record.setup.placed_by.kind in ("feed", "scale")
    is_frozen = frozen(record.time_s, columns.keep(stream.value[record.index]), record.position_mm)
    columns.let_go()
    if is_frozen.any():
        at = record.index[is_frozen]
        flag[at] = FLAGS["frozen"]
        words = f"{at.size} readings repeat one value to the last digit while the position moves"
        said.append(Event(float(stream.time_s[at[0]]), "frozen", f"{stream.instrument}: {words}"))
    if needs_place:
        lost = record.index[np.isnan(record.position_mm)]
        lost = lost[flag[lost] == FLAGS["good"]]
        flag[lost] = FLAGS["no_position"]
        said.extend(_placeless(stream, record, lost))
    flag[list(found.bumped)] = FLAGS["bumped"]
    return replace(stream, flag=flag), said


def _placeless(stream: Stream, record: Placed, lost: np.ndarray) -> list[Event]:
    if len(lost) == 0:
        return []
    at_s = max(0.0, float(stream.time_s[lost[0]]))
    scale = record.setup.placed_by.scale
    if not record.has_scale and scale is not None:
        return [Event(at_s, "no_position", f"{scale} gave no position: no reading could be placed")]
    said = _gaps(record)
    last_s = float(record.scale_time_s[-1]) if len(record.scale_time_s) else float("inf")
    if record.time_s[-1] - last_s > record.scale_gap_s:
        said.append(Event(last_s, "no_position", f"the position stream stopped at {last_s:.1f} s for good"))
    kind = "no_position" if said else "unplaced"
    return [*said, Event(at_s, kind, f"{len(lost)} readings have no position and are not used")]


def _gaps(record: Placed) -> list[Event]:
    """Where the position stream stopped and went on: one event, however often."""
    steps_s = np.diff(record.scale_time_s)
    gaps = np.flatnonzero(steps_s > record.scale_gap_s)
    if not len(gaps):
        return []
    first_s, last_s = float(record.scale_time_s[gaps[0]]), float(record.scale_time_s[gaps[-1]])
    words = f"the position stream stopped for {steps_s[gaps[0]]:.1f} s"
    if len(gaps) > 1:
        words = (
            f"the position stream stopped {len(gaps)} times between {first_s:.1f} and {last_s:.1f} s, "
            f"for {steps_s[gaps].min():.1f} to {steps_s[gaps].max():.1f} s"
        )
    return [Event(first_s, "no_position", words)]


def _counted(refused: Mapping[str, Mapping[str, Refused]]) -> list[Event]:
    """One event for each reason why readings of an instrument are not good."""
    return [
        Event(max(0.0, found.first_s), "garbled", f"{name}: not taken: {reason}: {found.words()}")
        for name, by_reason in refused.items()
        for reason, found in sorted(by_reason.items())
    ]


def _events(contents: JournalContents, said: Sequence[Event]) -> Events:
    """What was recorded and what derivation says, in order of time."""
    damage = [Event(0.0, "damage", words) for words in contents.damage]
    return Events.of(sorted([*contents.events, *said, *damage], key=lambda event: event.time_s))
