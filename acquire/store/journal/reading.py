"""Reads a journal back: what is whole in it, and what is lost and where.

Tolerates a cut at any byte, flipped bits, missing, repeated and zeroed pages. A
journal is read one record at a time (`records`) or gathered by port (`read_journal`).
"""

import math
from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple, overload

import numpy as np

from acquire.model.errors import TraverseFileError
from acquire.model.plain_files import open_plain
from acquire.model.traverse import Setup
from acquire.store.journal import frames

LARGEST_BYTES = 1 << 31
"""Largest journal that is gathered in memory: eight hours of four busy instruments take a tenth."""
MOST_DAMAGE_TOLD = 50


class Chunk(NamedTuple):
    """Bytes as they came from a port. (A tuple: millions are made of an hour.)"""

    port: str
    time_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class Event:
    """What happened and when."""

    time_s: float
    kind: str
    text: str = ""


@dataclass(frozen=True, slots=True)
class End:
    """The traverse was ended; `complete`: by the operator or at the last station."""

    time_s: float
    complete: bool


@dataclass(frozen=True, slots=True)
class Lost:
    """Something that was in the journal and cannot be read."""

    lost_bytes: int
    text: str
    time_s: float
    """Time of the last whole record before it."""


Record = Setup | Chunk | Event | End | Lost


@dataclass(frozen=True, eq=False)
class Chunks(Sequence[tuple[float, bytes]]):
    """What one port sent: (time_s, bytes) of each chunk in order, kept without an object for each.

    A chunk of no bytes stands where bytes may be missing: what comes before it and what comes
    after it must not be read as one.
    """

    raw: bytes
    chunk_end: np.ndarray
    """Offset in `raw` after each chunk."""
    chunk_time_s: np.ndarray

    @classmethod
    def of(cls, pairs: Iterable[tuple[float, bytes]]) -> "Chunks":
        """From pairs of time and bytes.

        Examples
        --------
        >>> list(Chunks.of([(0.0, b"+1"), (0.5, b".0")]))
        [(0.0, b'+1'), (0.5, b'.0')]
        """
        gathering = _Gathering()
        for time_s, data in pairs:
            gathering.add(time_s, data)
        return gathering.chunks()

    def __len__(self) -> int:
        return len(self.chunk_end)

    @overload
    def __getitem__(self, index: int) -> tuple[float, bytes]: ...
    @overload
    def __getitem__(self, index: slice) -> list[tuple[float, bytes]]: ...
    def __getitem__(self, index: int | slice) -> tuple[float, bytes] | list[tuple[float, bytes]]:
        if isinstance(index, slice):
            return [self[each] for each in range(*index.indices(len(self)))]
        index = range(len(self))[index]
        start = int(self.chunk_end[index - 1]) if index else 0
        return float(self.chunk_time_s[index]), self.raw[start : int(self.chunk_end[index])]

    def __iter__(self) -> Iterator[tuple[float, bytes]]:
        start = 0
        for time_s, end in zip(self.chunk_time_s, self.chunk_end, strict=True):
            yield float(time_s), self.raw[start : int(end)]
            start = int(end)


@dataclass
class _Gathering:
    raw: bytearray = field(default_factory=bytearray)
    ends: array = field(default_factory=lambda: array("q"))
    times_s: array = field(default_factory=lambda: array("d"))

    def add(self, time_s: float, data: bytes) -> None:
        self.raw += data
        self.ends.append(len(self.raw))
        self.times_s.append(time_s)

    def chunks(self) -> Chunks:
        if not self.ends:
            return Chunks(b"", np.zeros(0, np.int64), np.zeros(0))
        return Chunks(bytes(self.raw), np.frombuffer(self.ends, np.int64), np.frombuffer(self.times_s, float))


@dataclass(frozen=True, eq=False)
class JournalContents:
    """A journal gathered: all from which a traverse is derived."""

    setup: Setup
    chunks: Mapping[str, Chunks]
    """By the name of the port."""
    events: Sequence[Event]
    complete: bool
    """Its last record says that the operator or the last station ended it, and nothing is lost."""
    lost_bytes: int = 0
    damage: Sequence[str] = ()
    """What is lost and where, in words."""


def records(path: Path | str) -> Iterator[Record]:
    """Every record of a journal in order, and a `Lost` wherever something is missing.

    Holds a megabyte and a frame in memory at most.

    Raises
    ------
    TraverseFileError
        If it cannot be opened, is no journal, or a newer one.
    """
    path = Path(path)
    try:
        with open_plain(path) as file:
            _check_head(path, file.read(len(frames.HEAD)))
            file.seek(0)
            yield from _Numbered().records(frames.scan(file), str(path))
    except OSError as error:
        raise TraverseFileError(str(path), f"cannot be read ({error.strerror})", "a journal") from error


def _check_head(path: Path, head: bytes) -> None:
    if head != frames.HEAD and head.startswith(frames.HEAD_ANY_VERSION) and head.endswith(b"\n"):
        found = head[len(frames.HEAD_ANY_VERSION) : -1].decode("ascii", "replace")
        raise TraverseFileError(
            str(path), f"a journal of version {found}", "version 1", "bring waylog up to date"
        )


class _Numbered:
    """Turns frames into records, watching their sequence numbers."""

    def __init__(self) -> None:
        self._expected = 0
        self._time_s = 0.0
        self._loss: tuple[int, int] | None = None

    def records(self, found: Iterable[frames.Frame | frames.Loss], where: str) -> Iterator[Record]:
        for item in found:
            record = self._record(item, where) if isinstance(item, frames.Frame) else None
            if not isinstance(item, frames.Frame) or record is None:
                self._lose(item.offset, item.end)
                continue
            if self._loss is not None or item.sequence != self._expected:
                yield from self._missing(item)
            self._expected, self._time_s = item.sequence + 1, item.time_s
            yield record
        yield from self._told(f"after {self._time_s:.3f} s, at its end")

    def _lose(self, offset: int, end: int) -> None:
        first, count = self._loss or (offset, 0)
        self._loss = (first, count + end - offset)

    def _missing(self, frame: frames.Frame) -> Iterator[Lost]:
        skipped = frame.sequence - self._expected
        if skipped and self._loss is None:
            self._loss = (frame.offset, 0)
        between = f"between {self._time_s:.3f} s and {frame.time_s:.3f} s"
        yield from self._told(f"{between}: {skipped} record(s)" if skipped else between)

    def _told(self, where: str) -> Iterator[Lost]:
        if self._loss is not None:
            offset, count = self._loss
            yield Lost(count, f"{count} bytes cannot be read from byte {offset} on, {where}", self._time_s)
            self._loss = None

    def _record(self, frame: frames.Frame, where: str) -> Record | None:
        """The record in a whole frame; None for a stale one and for one that means nothing here."""
        kind, time_s, payload = frame.kind, frame.time_s, frame.payload
        if frame.sequence < self._expected or not math.isfinite(time_s):
            return None
        if kind == frames.CHUNK and payload:
            name, data = frames.split_name(payload)
            return Chunk(name, time_s, data)
        if kind == frames.SETUP:
            return Setup.from_json(payload.decode("utf-8", "replace"), where)
        if kind == frames.END:
            return End(time_s, payload == b"\x01")
        if kind != frames.EVENT or not payload:
            return None
        name, data = frames.split_name(payload)
        return Event(frame.time_s, name, data.decode("utf-8", "replace"))


def read_journal(path: Path | str) -> JournalContents:
    """Gather everything that is whole in a journal.

    Raises
    ------
    TraverseFileError
        If it is no journal, its first record (what was to be measured) is lost, or it is
        larger than `LARGEST_BYTES`.
    """
    path = Path(path)
    if path.is_file() and path.stat().st_size > LARGEST_BYTES:
        raise TraverseFileError(str(path), "is larger than 2 GiB", "a journal of one traverse")
    return _gathered(records(path), str(path))


def _gathered(found: Iterable[Record], where: str) -> JournalContents:
    setup: Setup | None = None
    ports: dict[str, _Gathering] = {}
    events: list[Event] = []
    lost: list[Lost] = []
    broken: dict[str, float] = {}
    complete = False
    for record in found:
        complete = isinstance(record, End) and record.complete
        if isinstance(record, Chunk):
            port = ports.setdefault(record.port, _Gathering())
            if record.port in broken:
                port.add(broken.pop(record.port), b"")
            port.add(record.time_s, record.data)
        elif isinstance(record, Event):
            events.append(record)
        elif isinstance(record, Setup):
            setup = setup or record
        elif isinstance(record, Lost):
            lost.append(record)
            broken |= dict.fromkeys(ports, record.time_s)
    if setup is None:
        raise TraverseFileError(
            where,
            "its first record, which says what was measured, cannot be read",
            "a journal with its beginning",
            "keep the file: the bytes of the instruments may still be in it",
        )
    return JournalContents(
        setup=setup,
        chunks={port: ports.pop(port).chunks() for port in list(ports)},
        events=events,
        complete=complete and not lost,
        lost_bytes=sum(each.lost_bytes for each in lost),
        damage=_words(lost),
    )


def _words(lost: list[Lost]) -> tuple[str, ...]:
    told = [each.text for each in lost[:MOST_DAMAGE_TOLD]]
    if len(lost) > MOST_DAMAGE_TOLD:
        told.append(f"and {len(lost) - MOST_DAMAGE_TOLD} more places")
    return tuple(told)
