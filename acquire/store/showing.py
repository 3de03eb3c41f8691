"""What a survey or one traverse file holds, as plain values for `waylog show`."""

from collections import Counter
from dataclasses import asdict
from pathlib import Path
from typing import Any

from acquire.model.errors import WaylogError
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import FLAGS, Setup, Stream, Traverse
from acquire.store import read_survey, read_traverse, survey_bed, traverse_folder
from acquire.store.kept import read_tests

Values = dict[str, Any]


def survey_shown(survey: Path) -> Values:
    """The survey's traverses in order of number, and the recordings under way or cut short."""
    bed = survey_bed(survey)
    return {
        "survey": str(survey),
        "bed": bed.name,
        "display": "inch" if bed.is_inch else "metric",
        "traverses": [line_of(traverse) for traverse in read_survey(survey)],
        "under_way": [_in_passing(path) for path in sorted(traverse_folder(survey).glob("*.journal"))],
        "tests": [asdict(kept) for kept in read_tests(survey)],
    }


def file_shown(path: Path) -> Values:
    """One traverse file: its line, its streams, its events, what is wrong with readings."""
    if path.suffix == ".journal":
        return {"traverses": [], "under_way": [under_way(path)]}
    traverse = read_traverse(path)
    return {
        "display": "inch" if traverse.setup.bed.is_inch else "metric",
        "traverses": [line_of(traverse)],
        "streams": [stream_shown(stream) for stream in traverse.streams.values()],
        "events": [asdict(event) for event in traverse.events],
        "state": dict(traverse.setup.state),
    }


def line_of(traverse: Traverse) -> Values:
    """What one line says of a traverse."""
    setup = traverse.setup
    ways = {"front": setup.front, "rear": setup.rear} if setup.front or setup.rear else {}
    places = traverse.stations.station_mm
    return {
        "number": traverse.number,
        "face": setup.face,
        **ways,
        "instrument": setup.instrument,
        "quantity": setup.quantity,
        "direction": setup.direction,
        "reference": setup.reference,
        "mode": traverse.mode,
        "taken_as": setup.taken_as or None,
        "readings": traverse.readings,
        "garbled": traverse.garbled,
        "stations": len(set(places.tolist())),
        "from_mm": float(places.min()) if len(places) else None,
        "to_mm": float(places.max()) if len(places) else None,
        "complete": traverse.complete,
        "created_utc": setup.created_utc,
        "corrections": [asdict(each) for each in traverse.corrections],
    }


def stream_shown(stream: Stream) -> Values:
    """What one instrument sent: how much, how long, and what could not be used."""
    counts = Counter(stream.flag.tolist())
    times_s = stream.time_s
    return {
        "instrument": stream.instrument,
        "unit": stream.unit,
        "readings": stream.readings,
        "raw_bytes": len(stream.raw),
        "lasted_s": float(times_s[-1] - times_s[0]) if len(times_s) else 0.0,
        **{name: counts.get(number, 0) for name, number in FLAGS.items()},
    }


def under_way(path: Path) -> Values:
    """A journal: of what, and how far it got; read in passing, so its last record may be half there."""
    from acquire.store.journal import records  # which hardly any survey that is shown asks for

    found: Values = {"file": path.name, "face": None, "instrument": None, "last_s": None, "bytes": 0}
    for record in records(path):
        if isinstance(record, Setup):
            found |= {"face": record.subject, "instrument": record.instrument, "source": record.source}
        elif isinstance(record, Chunk | Event):
            found["last_s"] = record.time_s
            found["bytes"] += len(record.data) if isinstance(record, Chunk) else 0
    return found


def _in_passing(path: Path) -> Values:
    """Likewise; a journal that cannot be read does not keep the others from being shown."""
    try:
        return under_way(path)
    except WaylogError as error:
        return {"file": path.name, "unreadable": str(error)}
