"""The table of wire kinds, and the decoding of a whole recorded stream."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np

from acquire.bed import Instrument
from acquire.wire.counter import CounterDecoder
from acquire.wire.decoding import Decoded, Decoder
from acquire.wire.fixed import FixedDecoder
from acquire.wire.lines import LinesDecoder
from acquire.wire.modbus import ModbusDecoder

DECODERS: Mapping[str, Callable[[Instrument], Decoder]] = {
    "lines": LinesDecoder,
    "fixed": FixedDecoder,
    "modbus": ModbusDecoder,
    "counter": CounterDecoder,
}

ASKED, OPENED, REOPENED, LOST = "asked", "opened", "reopened", "lost"
"""Kinds of events that bear on decoding. Their texts begin with the port's name and a colon; that of
`asked` ends with the name of the instrument that was asked."""


def decoder_for(instrument: Instrument) -> Decoder:
    """A fresh decoder for what the instrument's wire table describes.

    Examples
    --------
    >>> level = Instrument("level", "slope", "um/m", wire={"kind": "lines", "pattern": r"(?P<value>\\S+)"})
    >>> [reading.value for reading in decoder_for(level).feed(b"+12.5\\r\\n-3.0\\r\\n+4", 7.0)]
    [12.5, -3.0]
    """
    return DECODERS[instrument.wire["kind"]](instrument)


class WireEvent(Protocol):
    """What decoding needs of a recorded event."""

    @property
    def time_s(self) -> float:
        """When it happened."""

    @property
    def kind(self) -> str:
        """What sort of event."""

    @property
    def text(self) -> str:
        """The port's name, a colon, and more."""


@dataclass(frozen=True, eq=False)
class Readings:
    """All readings of one instrument in one stream, each array of shape (n,)."""

    time_s: np.ndarray
    value: np.ndarray
    """NaN where the flag is not good."""
    flag: np.ndarray
    arrival_s: np.ndarray
    raw_end: np.ndarray
    """Offset in the stream's bytes just after each reading."""
    reasons: Mapping[str, int]
    """How many were not good, by reason in words."""


def decode_all(
    instrument: Instrument,
    raw: bytes,
    chunk_end: Sequence[int] | np.ndarray,
    chunk_time_s: Sequence[float] | np.ndarray,
    events: Iterable[WireEvent] = (),
    port: str | None = None,
) -> Readings:
    """Decode a whole stream from its raw bytes, its chunks' arrival times and its events.

    Parameters
    ----------
    instrument : Instrument
        Whose readings are wanted.
    raw, chunk_end, chunk_time_s : bytes, arrays of shape (m,)
        The stream: all bytes, where each chunk ended, when it arrived.
    events : iterable
        Recorded events (`time_s`, `kind`, `text`); those of other ports are passed over.
    port : str, optional
        Name the stream was recorded under, where it is not the instrument's own.

    Examples
    --------
    >>> level = Instrument("level", "slope", "um/m", wire={"kind": "lines", "pattern": r"(?P<value>\\S+)"})
    >>> decode_all(level, b"1.5\\n?\\n2.5\\n", [5, 10], [0.1, 0.2]).value
    array([1.5, nan, 2.5])
    """
    decoder = decoder_for(instrument)
    return gathered(_decoded(decoder, raw, chunk_end, chunk_time_s, events, port or instrument.name))


def _decoded(
    decoder: Decoder,
    raw: bytes,
    chunk_end: Sequence[int] | np.ndarray,
    chunk_time_s: Sequence[float] | np.ndarray,
    events: Iterable[WireEvent],
    port: str,
) -> Iterator[Decoded]:
    waiting = [event for event in sorted(events, key=lambda event: event.time_s) if _bears(event, port)]
    position = 0
    ends = [0, *map(int, chunk_end)]
    for (start, end), time_s in zip(pairwise(ends), chunk_time_s, strict=True):
        while position < len(waiting) and waiting[position].time_s <= time_s:
            tell(decoder, waiting[position])
            position += 1
        yield from decoder.feed(raw[start:end], float(time_s))
    yield from decoder.finish()


def _bears(event: WireEvent, port: str) -> bool:
    return event.kind in (ASKED, OPENED, REOPENED, LOST) and event.text.startswith(f"{port}:")


def tell(decoder: Decoder, event: WireEvent) -> None:
    """Let a decoder know of an event on its own port."""
    if event.kind == ASKED:
        decoder.asked(event.text.partition(":")[2].strip(), event.time_s)
    elif event.kind in (OPENED, REOPENED, LOST):
        decoder.started(event.time_s)


def gathered(decoded: Iterable[Decoded]) -> Readings:
    """Readings as arrays, with the reasons counted."""
    rows = list(decoded)
    reasons: dict[str, int] = {}
    for row in rows:
        if row.reason:
            reasons[row.reason] = reasons.get(row.reason, 0) + 1
    return Readings(
        np.array([row.time_s for row in rows], float),
        np.array([row.value for row in rows], float),
        np.array([row.flag for row in rows], np.int64),
        np.array([row.arrival_s for row in rows], float),
        np.array([row.raw_end for row in rows], np.int64),
        reasons,
    )
