"""One reading of a finished traverse corrected or struck out; the file as it was is kept."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from acquire.model.corrections import AS_READ, CORRECTION, STRUCK, Correction
from acquire.model.errors import EntryError, SurveyError
from acquire.model.places import ROUNDING_MM, is_same_place
from acquire.model.recorded import Event
from acquire.model.traverse import Setup, Stations, Traverse
from acquire.model.units import length_text
from acquire.record.redoing import alone, contents_kept, put_in_place
from acquire.reduce import derive
from acquire.reduce.correcting import bare_unit, reading_at
from acquire.reduce.in_order import stops_in_turn
from acquire.reduce.no_station import NO_STATION, REST, numbered, taken_back
from acquire.reduce.placed import placed
from acquire.reduce.way_gone import DIRECTION
from acquire.reduce.written.typed import typed_reading
from acquire.store import files_of, read_traverse
from acquire.store.journal import JournalContents
from acquire.store.traverse_file.writer import traverse_beside

MOST_NAMED = 5


@dataclass(frozen=True)
class Corrected:
    """What was corrected, and where the file went that held the reading as it was."""

    correction: Correction
    setup: Setup
    kept: Path
    others_changed: int
    """Readings that this waylog derives otherwise than the one that made the file: none, as a rule."""


@dataclass(frozen=True, eq=False)
class Misread:
    """One reading of a traverse, as it was read, whatever was corrected since."""

    path: Path
    traverse: Traverse
    station_mm: float
    repeat: int
    unit: str
    """Of bare numbers."""
    was: str
    """What was read, in words; without a colon, which parts them in the file."""
    now: str | None
    """What counts in its place by an earlier correction; None where none is in force."""


def find_misread(survey: Path | str, number: int, station_mm: float, repeat: int | None = None) -> Misread:
    """The reading of a traverse at a place.

    Raises
    ------
    SurveyError, TraverseFileError
        If there is no such traverse, or it cannot be read.
    EntryError
        If there is no reading at that place, there are several and `repeat` does not say which,
        or the traverse was drawn: it has no single readings.
    """
    path = _finished(survey, number)
    traverse = read_traverse(path)
    _check_is_as_written(traverse.setup)
    as_read = derive(_without_corrections(traverse))
    setup = traverse.setup
    if setup.source == "record" and traverse.mode == "continuous":
        raise EntryError(
            f"traverse {number}",
            "found a continuous traverse, whose stations are means of what was read on the way",
            "one with single readings",
            "run it again; `waylog undo` takes it out",
        )
    unit = bare_unit(traverse)
    lost = _lost(traverse, as_read.stations, station_mm, repeat)
    if lost is not None:
        return Misread(path, traverse, lost.station_mm, lost.repeat, unit, lost.was, lost.now)
    row = _only_row(setup, as_read.stations, station_mm, repeat)
    shown = setup.described.as_shown(float(as_read.stations.reading[row]), unit)
    place_mm, which = float(as_read.stations.station_mm[row]), int(as_read.stations.repeat[row])
    now = next((each.now for each in _corrections_at(traverse, place_mm, which)), None)
    return Misread(path, traverse, place_mm, which, unit, f"{shown:+.6g} {unit}", now)


def correct(
    survey: Path | str, misread: Misread, because: str, words: str | None = None, *, as_read: bool = False
) -> Corrected:
    """Let `words` count in place of one reading; without words it is struck out, or put back `as_read`.

    The traverse is derived anew from its own raw bytes and its own description; the file as it
    was goes to `superseded/`.

    Raises
    ------
    EntryError
        If `words` are no reading of the instrument, or it is the only reading left.
    SurveyError, TraverseFileError
        If it cannot be derived or written; the file is then as it was.
    """
    setup = misread.traverse.setup
    if words is not None:
        _check_reading(setup, words, misread.unit)
    now = words if words is not None else AS_READ if as_read else STRUCK
    correction = Correction(misread.station_mm, misread.repeat, now, misread.was, because)
    old, new, kept = _amended(Path(survey), misread.path, CORRECTION, correction.as_text())
    return Corrected(correction, setup, kept, _others_changed(old, new, correction))


def correct_direction(survey: Path | str, number: int, direction: str, because: str) -> Path:
    """Say after the run which way it went; gives where the file went that said otherwise.

    Raises
    ------
    EntryError
        If the places of its readings hang on the direction: they would all be others.
    SurveyError, TraverseFileError
        If there is no such traverse, or it cannot be derived or written.
    """
    path = _finished(survey, number)
    setup = read_traverse(path).setup
    _check_is_as_written(setup)
    if setup.direction == direction:
        raise EntryError(
            f"traverse {number}", f"found that it went {direction} already", "the other direction"
        )
    if setup.source == "enter" or (setup.source == "record" and not setup.placed_by.scale):
        raise EntryError(
            f"traverse {number}",
            f"found that its stations were taken in turn, {setup.direction}",
            "one whose places a scale or a file gave",
            "`waylog redo` can put readings that were taken the other way to their places",
        )
    return _amended(Path(survey), path, DIRECTION, f"{direction}: {because}")[2]


def correct_stop(survey: Path | str, number: int, which: int, because: str) -> tuple[Traverse, Path]:
    """Say that the how-manieth rest (or reading sent by its key) of a run in turn was no station.

    Gives the traverse as it then is, and where the file went that counted it.

    Raises
    ------
    EntryError
        If the stations are not taken in turn, or there is no such rest.
    SurveyError, TraverseFileError
        If there is no such traverse, or it cannot be derived or written.
    """
    path = _finished(survey, number)
    traverse = read_traverse(path)
    setup, events = traverse.setup, contents_kept(traverse).events
    record = placed(setup, traverse.streams, events) if setup.source == "record" else None
    if record is None or not setup.placed_by.is_stations or record.marks:
        raise EntryError(
            f"traverse {number}",
            "found that its stations were not taken in turn from rests",
            "a recording by --position stations without a mark",
            "`waylog correct --station S --strike` takes one reading out",
        )
    stops = stops_in_turn(record)
    if which > len(stops):
        raise EntryError(
            f"traverse {number}", f"found {len(stops)} rests in it", f"one of these: {numbered(stops)}"
        )
    middle_s = (stops[which - 1].start_s + stops[which - 1].end_s) / 2
    text = f"{taken_back(REST, middle_s)}: {because}"
    _, new, kept = _amended(Path(survey), path, NO_STATION, text, may_be_empty=True)
    return new, kept


def _amended(
    survey: Path, path: Path, kind: str, text: str, *, may_be_empty: bool = False
) -> tuple[Traverse, Traverse, Path]:
    """Derive a traverse anew with one more event; as it was, as it is, and where the old file went."""
    with alone(survey):
        old = read_traverse(path)
        contents = contents_kept(old)
        event = Event(float(np.max(old.events.time_s, initial=0.0)), kind, text)
        new = derive(replace(contents, events=[*contents.events, event]))
        if not len(new.stations) and not may_be_empty:
            raise EntryError(
                f"traverse {old.number}", "found no other reading in it", "one that is left",
                f"`waylog undo SURVEY --number {old.number}` takes the whole traverse out",
            )  # fmt: skip
        with traverse_beside(path, new) as file:
            return old, new, put_in_place(file)


def _check_is_as_written(setup: Setup) -> None:
    """Refuse where places and readings are not those that were written: which is meant would be a guess."""
    if setup.taken_as not in ("", "turned"):
        again = " --as ".join(setup.taken_as.split())
        raise EntryError(
            f"traverse {setup.number}",
            f"found that it is taken as something else than was written ({setup.taken_as})",
            "a run as it was written",
            f"`waylog redo SURVEY {setup.number} --as written`, correct it, then `--as {again}` again",
        )


def _finished(survey: Path | str, number: int) -> Path:
    files = files_of(survey)
    if number not in files:
        numbers = ", ".join(map(str, files)) or "none is there"
        raise SurveyError(str(survey), f"found no finished traverse {number}", numbers)
    return files[number]


def _check_reading(setup: Setup, words: str, unit: str) -> None:
    if setup.standing is not None:
        raise EntryError(
            f"traverse {setup.number}",
            f"found that the changes of {setup.standing} were taken off every reading",
            "a reading struck out: nothing tells what to take off another",
        )
    typed_reading(setup.described, words, unit)


def _without_corrections(traverse: Traverse) -> JournalContents:
    contents = contents_kept(traverse)
    return replace(contents, events=[event for event in contents.events if event.kind != CORRECTION])


def _corrections_at(traverse: Traverse, station_mm: float, repeat: int | None) -> list[Correction]:
    return [
        each
        for each in traverse.corrections
        if is_same_place(each.station_mm, station_mm) and repeat in (None, each.repeat)
    ]


def _lost(traverse: Traverse, stations: Stations, station_mm: float, repeat: int | None) -> Correction | None:
    """A correction at a place where nothing is read any more: it can still be taken back."""
    for each in _corrections_at(traverse, station_mm, repeat):
        if reading_at(stations, each.station_mm, each.repeat) is None:
            return each
    return None


def _only_row(setup: Setup, stations: Stations, station_mm: float, repeat: int | None) -> int:
    where = f"traverse {setup.number}"
    here = np.flatnonzero(is_same_place(stations.station_mm, station_mm))
    if not len(here):
        near = np.abs(stations.station_mm - station_mm) <= ROUNDING_MM
        here = np.flatnonzero(near) if len(np.unique(stations.station_mm[near])) == 1 else here
    if not len(here):
        found = f"found no reading at {_place(setup, station_mm)}"
        raise EntryError(where, found, f"one of {_nearest(setup, stations, station_mm)}")
    chosen = [int(row) for row in here if repeat is None or stations.repeat[row] == repeat]
    if len(chosen) != 1:
        shown = setup.described.as_shown(stations.reading[here])
        told = ", ".join(
            f"--repeat {which} ({value:+.6g} {setup.described.reading_unit})"
            for which, value in zip(stations.repeat[here], shown, strict=True)
        )
        found = f"found {len(here)} readings at {_place(setup, station_mm)}"
        raise EntryError(where, found, f"which one: {told}")
    return chosen[0]


def _nearest(setup: Setup, stations: Stations, station_mm: float) -> str:
    places = np.unique(stations.station_mm)
    near = np.sort(places[np.argsort(np.abs(places - station_mm), kind="stable")[:MOST_NAMED]])
    feet = " (a level's station is the middle of its base)" if setup.foot_base_mm else ""
    return ", ".join(_place(setup, float(place)) for place in near) + feet


def _place(setup: Setup, station_mm: float) -> str:
    return length_text(station_mm, setup.bed.is_inch)


def _others_changed(old: Traverse, new: Traverse, correction: Correction) -> int:
    """Readings other than the corrected one that are not as they were."""
    theirs = [_readings(each.stations, correction) for each in (old, new)]
    places = theirs[0].keys() | theirs[1].keys()
    return sum(theirs[0].get(place) != theirs[1].get(place) for place in places)


def _readings(stations: Stations, correction: Correction) -> dict[tuple[float, int], float]:
    skipped = reading_at(stations, correction.station_mm, correction.repeat)
    return {
        (float(stations.station_mm[row]), int(stations.repeat[row])): float(stations.reading[row])
        for row in range(len(stations))
        if row != skipped
    }
