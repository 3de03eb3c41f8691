"""Reads a journal back one record at a time: what is whole in it, and what is lost and where.

Tolerates a cut at any byte, flipped bits, missing, repeated and zeroed pages.
"""

import io
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import numpy as np

from acquire.model.errors import TraverseFileError, told_as
from acquire.model.plain_files import open_plain
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.store.journal import frames
from acquire.store.journal.runs import Run, chunks_by_port, run_at


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
class Batch:
    """Many records that follow one another, none of them lost."""

    chunks: Mapping[str, tuple[np.ndarray, np.ndarray, bytes]]
    """By port: times, lengths, and all their bytes."""
    others: Sequence[Record]
    last: Record | None
    """The last of all; None where it is a chunk."""


def records(path: Path | str) -> Iterator[Record]:
    """Every record of a journal in order, and a `Lost` wherever something is missing.

    Holds a megabyte and a frame in memory at most.

    Raises
    ------
    TraverseFileError
        If it cannot be opened, is no journal, or a newer one.
    """
    for record in _opened(Path(path), frames.scan):
        assert not isinstance(record, Batch)
        yield record


def batches(path: Path | str) -> Iterator[Record | Batch]:
    """The same, where nothing is amiss many records at once."""
    return _opened(Path(path), lambda file: frames.scan_by(file, run_at))


def _opened(
    path: Path, scan: Callable[[BinaryIO], Iterable[frames.Frame | frames.Loss | Run]]
) -> Iterator[Record | Batch]:
    with told_as(TraverseFileError, path, "cannot be read", "a journal"), open_plain(path) as file:
        _check_head(path, file.read(len(frames.HEAD)))
        file.seek(0)
        yield from Numbered().records(scan(file), str(path))


def _check_head(path: Path, head: bytes) -> None:
    if head != frames.HEAD and head.startswith(frames.HEAD_ANY_VERSION) and head.endswith(b"\n"):
        found = head[len(frames.HEAD_ANY_VERSION) : -1].decode("ascii", "replace")
        raise TraverseFileError(
            str(path), f"a journal of version {found}", "version 1", "bring waylog up to date"
        )


_KINDS = (frames.SETUP, frames.CHUNK, frames.EVENT, frames.END)


class Numbered:
    """Turns frames into records, watching their sequence numbers."""

    def __init__(self) -> None:
        self._expected = 0
        self._time_s = 0.0
        self._loss: tuple[int, int] | None = None

    def records(
        self, found: Iterable[frames.Frame | frames.Loss | Run], where: str
    ) -> Iterator[Record | Batch]:
        for item in found:
            batch = self._batch(item, where) if isinstance(item, Run) else None
            if batch is not None:
                yield batch
                continue
            for each in item.frames() if isinstance(item, Run) else (item,):
                yield from self._one(each, where)
        yield from self._told(f"after {self._time_s:.3f} s, at its end")

    def _batch(self, run: Run, where: str) -> Batch | None:
        """A run as it stands; None where something in it, or before it, is amiss."""
        count = len(run.start)
        is_next = self._loss is None and (run.sequence == self._expected + np.arange(count)).all()
        is_whole = np.isin(run.kind, (frames.SETUP, frames.END)) | (run.payload < run.end)
        if not is_next or not (is_whole & np.isfinite(run.time_s) & np.isin(run.kind, _KINDS)).all():
            return None
        chunks = chunks_by_port(run)
        if chunks is None:
            return None
        rows = np.flatnonzero(run.kind != frames.CHUNK).tolist()
        others = [record for row in rows if (record := self._record(run.frame(row), where)) is not None]
        self._expected, self._time_s = int(run.sequence[-1]) + 1, float(run.time_s[-1])
        return Batch(chunks, others, others[-1] if rows and rows[-1] == count - 1 else None)

    def _one(self, item: frames.Frame | frames.Loss, where: str) -> Iterator[Record]:
        record = self._record(item, where) if isinstance(item, frames.Frame) else None
        if not isinstance(item, frames.Frame) or record is None:
            self._lose(item.offset, item.end)
            return
        if self._loss is not None or item.sequence != self._expected:
            yield from self._missing(item)
        self._expected, self._time_s = item.sequence + 1, item.time_s
        yield record

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


LOOK_BYTES = 1 << 20
"""Read at one look: whoever comes late to a long recording catches up in several."""


class Following:
    """One journal, from its first record on, while somebody else writes it: what is new since the last look.

    It is read only, never locked, and a frame that is half there is left for the next look.

    Examples
    --------
    >>> following = Following(Path("traverses/002-front-vee-level.journal"))
    >>> list(following.news())
    Traceback (most recent call last):
    FileNotFoundError: [Errno 2] No such file or directory: 'traverses/002-front-vee-level.journal'
    """

    def __init__(self, path: Path):
        self.path = path
        self._offset = len(frames.HEAD)
        self._most_bytes = frames.LONGEST_SETUP + frames.LONGEST_BODY  # its first record may be long
        self._numbered = Numbered()
        self.is_behind = False
        """Whether there was more than one look takes."""

    def news(self) -> Iterator[Record]:
        """The records that have become whole since the last call; of a long journal not all at once.

        Raises
        ------
        OSError
            If the journal is gone: its recording ended, and its traverse file is there.
        TraverseFileError
            If it says no longer what was measured.
        """
        data = self._next_bytes()
        found = list(frames.scan(io.BytesIO(frames.HEAD + data)))
        if found and isinstance(found[-1], frames.Loss):
            found.pop()  # the beginning of a frame, or damage that a later look finds behind it
        read = found[-1].end - len(frames.HEAD) if found else 0
        self._offset += read
        if self.is_behind and not read:
            self._offset += len(data)  # a megabyte without one whole frame
        for record in self._numbered.records(found, str(self.path)):
            assert not isinstance(record, Batch)
            yield record

    def _next_bytes(self) -> bytes:
        with open_plain(self.path) as file:
            file.seek(self._offset)
            data = file.read(self._most_bytes)
        self.is_behind = len(data) == self._most_bytes
        self._most_bytes = LOOK_BYTES
        return data
