"""Where each part of a traverse stands in its HDF5 file, in which unit and type.

Writer and reader share this one table. Every dataset but the two texts in the root
is one column; the columns of a group have one length and share the group's scale
(its dimension and coordinate), as netCDF and xarray expect.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from acquire.model.traverse import Events, Stations, Stream, Traverse

REAL, WHOLE, SMALL, TEXT = "float64", "int64", "uint8", "text"

STREAM = {"time_s": REAL, "value": REAL, "flag": SMALL, "arrival_s": REAL}
RAW = {"chunk_time_s": REAL, "chunk_end": WHOLE}
STATIONS = {
    "station_mm": REAL,
    "reading": REAL,
    "standard_uncertainty": REAL,
    "scatter": REAL,
    "samples": WHOLE,
    "repeat": WHOLE,
    "time_s": REAL,
    "note": TEXT,
}
EVENTS = {"time_s": REAL, "kind": TEXT, "text": TEXT}

MEANING = {
    "time_s": "time from the start of the recording",
    "value": "reading in the instrument's own unit and sign",
    "flag": "what is wrong with a reading, if anything",
    "arrival_s": "when the reading's last byte arrived",
    "bytes": "everything that the port sent, as it came",
    "chunk_end": "offset in bytes after each chunk that arrived",
    "chunk_time_s": "when each chunk arrived",
    "station_mm": "place along the bed, from station 0",
    "reading": "reading in the unit of its kind, signed as described",
    "standard_uncertainty": "standard uncertainty of the reading by itself",
    "scatter": "the part of it that the samples show",
    "samples": "how many samples the reading is a mean of",
    "repeat": "1, 2, ... at one station within the traverse",
    "note": "remark on the reading",
    "kind": "kind of event",
    "text": "what happened",
}
_UNITS = {"station_mm": "mm", "bytes": "1", "chunk_end": "byte"}


@dataclass(frozen=True, eq=False)
class Column:
    """One dataset: its values, unit, and the scale it belongs to (None: none)."""

    path: str
    values: np.ndarray
    units: str
    scale: str | None

    @property
    def name(self) -> str:
        """The last part of the path."""
        return self.path.rsplit("/", 1)[-1]

    @property
    def group(self) -> str:
        """The path without its last part."""
        return self.path.rsplit("/", 1)[0]

    @property
    def is_scale(self) -> bool:
        """Whether the other columns of the group hang on this one."""
        return self.path == self.scale


def as_text(words: Iterable[str]) -> np.ndarray:
    """Texts as UTF-8 of one width; what such a column cannot hold is replaced by a visible mark.

    Examples
    --------
    >>> as_text(["mark", "µm"]).tolist()
    [b'mark', b'\\xc2\\xb5m']
    """
    encoded = [word.replace("\0", "␀").encode("utf-8", "replace") for word in words]
    width = max(map(len, encoded), default=1)
    return np.array(encoded, dtype=f"S{max(width, 1)}")


def _units(name: str, own: str) -> str:
    return _UNITS.get(name) or ("s" if name.endswith("_s") else own)


def _group(group: str, table: dict[str, str], part: object, own_units: dict[str, str]) -> Iterator[Column]:
    scale = f"{group}/{next(iter(table))}"
    for name, kind in table.items():
        found = getattr(part, name)
        values = as_text(found) if kind == TEXT else np.ascontiguousarray(found, dtype=kind)
        yield Column(f"{group}/{name}", values, _units(name, own_units.get(name, "1")), scale)


def stream_columns(stream: Stream) -> Iterator[Column]:
    """The columns of one instrument's stream, raw bytes last."""
    group = f"streams/{stream.instrument}"
    yield from _group(group, STREAM, stream, {"value": stream.unit})
    yield from _group(f"{group}/raw", RAW, stream, {})
    yield Column(f"{group}/raw/bytes", np.frombuffer(stream.raw, np.uint8), "1", None)


def station_columns(stations: Stations, unit: str) -> Iterator[Column]:
    """The columns of the stations; `unit` is the contract's for what was measured."""
    notes = stations.note or ("",) * len(stations)
    named = Stations(**{**vars(stations), "note": notes})
    own = dict.fromkeys(("reading", "standard_uncertainty", "scatter"), unit)
    return _group("stations", STATIONS, named, own)


def event_columns(events: Events) -> Iterator[Column]:
    """The columns of the events."""
    return _group("events", EVENTS, events, {})


def columns_of(traverse: Traverse, unit: str) -> Iterator[Column]:
    """Every column of a traverse, one at a time."""
    for stream in traverse.streams.values():
        yield from stream_columns(stream)
    yield from station_columns(traverse.stations, unit)
    yield from event_columns(traverse.events)
