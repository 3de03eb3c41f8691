"""The streams of a recording: each instrument's bytes decoded, its samples put in time."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.columns import IN_MEMORY, Columns
from acquire.model.errors import EntryError, TraverseFileError
from acquire.model.position import Position
from acquire.model.recorded import Event
from acquire.model.traverse import FLAGS, Setup, Stream
from acquire.receive.wire.whole import Refused, decode_all
from acquire.reduce.tagging.lumps import lumps_of
from acquire.reduce.tagging.sample_times import sample_times
from acquire.store.journal import Chunks

NOTHING = Chunks.of([])
BESIDE = "beside"
"""Kind of the event that names an instrument recorded beside the others."""
USABLE_LUMP_S = 0.3
"""Of lines in longer lumps those whose time is not known are not used."""
LATE_S = 0.5
"""A reply that took longer than twice this leaves its time too open to be used."""


def _recorded(setup: Setup, events: Iterable[Event]) -> list[Instrument]:
    return setup.recorded_with(event.text for event in events if event.kind == BESIDE)


def port_of(instrument: Instrument, ports: Iterable[str], known: Mapping[str, Instrument]) -> str | None:
    """Name under which the instrument's bytes were kept: its own, or the first on the same port."""
    names = list(ports)
    if instrument.name in names:
        return instrument.name
    return next(
        (
            name
            for name in names
            if name in known and known[name].port is not None and known[name].port == instrument.port
        ),
        None,
    )


def decoded_streams(
    setup: Setup, chunks: Mapping[str, Chunks], events: Sequence[Event], columns: Columns = IN_MEMORY
) -> tuple[dict[str, Stream], dict[str, Mapping[str, Refused]]]:
    """Streams by instrument, and for each what in it is not good, by reason.

    Raw bytes of a port that several instruments share are kept with the one that names
    it; bytes of an instrument that bed.toml no longer describes are kept undecoded. One
    stream is at work at a time; what is done goes into `columns`.
    """
    known = setup.bed.instruments
    streams: dict[str, Stream] = {}
    refused: dict[str, Mapping[str, Refused]] = {}
    for instrument in _recorded(setup, events):
        port = port_of(instrument, chunks, known)
        raw = chunks.get(port or "", NOTHING)
        stream, refused[instrument.name] = _stream(instrument, raw, events, port, columns)
        columns.let_go()
        is_own = port == instrument.name
        streams[instrument.name] = stream if is_own else _without_raw(stream)
    for name, raw in chunks.items():
        if name not in streams:
            streams[name] = Stream.undecoded(name, raw.raw, raw.chunk_end, raw.chunk_time_s)
    return streams, refused


def _stream(
    instrument: Instrument, raw: Chunks, events: Sequence[Event], port: str | None, columns: Columns
) -> tuple[Stream, Mapping[str, Refused]]:
    found = decode_all(instrument, raw.raw, raw.chunk_end, raw.chunk_time_s, events, port, columns)
    was_asked = is_asked(instrument) and any(event.kind == "asked" for event in events)
    was_asked = was_asked or instrument.wire.get("kind") == "modbus"
    columns.let_go()
    lumps = None if was_asked else lumps_of(found.time_s)
    time_s = found.time_s if was_asked else sample_times(found.time_s) if lumps is None else lumps.time_s
    time_s = time_s - instrument.lag_s
    time_s = columns.keep(np.maximum.accumulate(time_s, out=time_s))
    flag = np.asarray(found.flag, np.uint8).copy()
    if lumps is not None and lumps.length_s >= USABLE_LUMP_S:
        flag[~lumps.is_known & (flag == FLAGS["good"])] = FLAGS["late"]
    if was_asked:
        slow = found.arrival_s - found.time_s > LATE_S
        flag[slow & (flag == FLAGS["good"])] = FLAGS["late"]
    stream = Stream(
        instrument.name,
        instrument.reading_unit,
        time_s,
        np.asarray(found.value, float),
        flag,
        found.arrival_s,
        raw.raw,
        raw.chunk_end,
        raw.chunk_time_s,
    )
    return stream, found.refused


def is_asked(instrument: Instrument) -> bool:
    """Whether it sends when it is asked, so that its readings have a request to tell their time."""
    return "ask" in instrument.wire or instrument.wire.get("kind") == "modbus"


def _without_raw(stream: Stream) -> Stream:
    return replace(stream, raw=b"", chunk_end=np.zeros(0, np.int64), chunk_time_s=np.zeros(0))


def chunks_of(stream: Stream) -> Chunks:
    """The stream's raw bytes as the chunks in which they came."""
    return Chunks(stream.raw, np.asarray(stream.chunk_end, np.int64), np.asarray(stream.chunk_time_s, float))


def check_can_be(setup: Setup, events: Iterable[Event]) -> None:
    """Refuse a setup that does not fit its own bed.toml.

    It comes out of a journal or a file, and `redo` puts the present bed.toml under it: an instrument
    may have been renamed or lost its wire table since, and a file may be anybody's.

    Raises
    ------
    TraverseFileError
        If the instrument is not described, measures something else, is not described on the
        wire though its bytes were recorded, or its position names no way to tell the place.
    """
    where = f"traverse {setup.number:03d}"
    if setup.described.quantity != setup.quantity:
        raise TraverseFileError(
            where, f"{setup.instrument} is described as reading {setup.described.quantity}", setup.quantity
        )
    if setup.source != "record":
        return
    try:
        Position.parse(setup.position)
    except EntryError as error:
        raise TraverseFileError(where, error.found, error.needed) from error
    for instrument in _recorded(setup, events):
        if "kind" not in instrument.wire:
            raise TraverseFileError(
                where,
                f"bed.toml does not say how {instrument.name} speaks",
                f"[instruments.{instrument.name}.wire], as when it was recorded",
            )
