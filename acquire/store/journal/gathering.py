"""Gathers a journal by port: all from which a traverse is derived."""

from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import overload

import numpy as np

from acquire.model.columns import IN_MEMORY, Columns, Raw
from acquire.model.errors import TraverseFileError
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.store.journal.reading import Batch, End, Lost, Record, batches

LARGEST_BYTES = 1 << 31
"""Largest journal that is gathered: eight hours of four busy instruments take a fifth."""
MOST_DAMAGE_TOLD = 50
SPILL_BYTES = 1 << 18
"""So many bytes of a port are gathered before they are put into its columns."""


@dataclass(frozen=True, eq=False)
class Chunks(Sequence[tuple[float, bytes]]):
    """What one port sent: (time_s, bytes) of each chunk in order, kept without an object for each.

    A chunk of no bytes stands where bytes may be missing: what comes before it and what comes
    after it must not be read as one.
    """

    raw: Raw
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
        gathering = _Gathering(IN_MEMORY)
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


class _Gathering:
    """The chunks of one port as they come."""

    def __init__(self, columns: Columns):
        self._raw, self._ends = columns.column(np.uint8), columns.column(np.int64)
        self._times_s = columns.column(float)
        self._end = 0
        self._start_anew()

    def _start_anew(self) -> None:
        self._new_raw, self._new_ends, self._new_times_s = bytearray(), array("q"), array("d")

    def add(self, time_s: float, data: bytes) -> None:
        self._end += len(data)
        self._new_raw += data
        self._new_ends.append(self._end)
        self._new_times_s.append(time_s)
        self._spill_if_due()

    def add_all(self, times_s: np.ndarray, lengths: np.ndarray, data: bytes) -> None:
        ends = self._end + np.cumsum(lengths)
        self._end = int(ends[-1])
        self._new_raw += data
        self._new_ends.frombytes(ends.astype(np.int64).tobytes())
        self._new_times_s.frombytes(times_s.astype(float).tobytes())
        self._spill_if_due()

    def _spill_if_due(self) -> None:
        if len(self._new_raw) + 16 * len(self._new_ends) > SPILL_BYTES:
            self._spill()

    def _spill(self) -> None:
        self._raw.append(np.frombuffer(self._new_raw, np.uint8))
        self._ends.append(np.frombuffer(self._new_ends, np.int64))
        self._times_s.append(np.frombuffer(self._new_times_s, float))
        self._start_anew()

    def chunks(self) -> Chunks:
        self._spill()
        return Chunks(self._raw.raw(), self._ends.whole(), self._times_s.whole())


class _Ports:
    """The ports of a journal by name, and which of them may lack bytes just now."""

    def __init__(self, columns: Columns):
        self._columns = columns
        self._ports: dict[str, _Gathering] = {}
        self._broken: dict[str, float] = {}

    def add(self, name: str, time_s: float, data: bytes) -> None:
        self._named(name).add(time_s, data)

    def add_all(self, chunks: Mapping[str, tuple[np.ndarray, np.ndarray, bytes]]) -> None:
        for name, columns in chunks.items():
            self._named(name).add_all(*columns)

    def break_off(self, time_s: float) -> None:
        """Something is lost here, of which port cannot be known."""
        self._broken |= dict.fromkeys(self._ports, time_s)

    def _named(self, name: str) -> _Gathering:
        if name not in self._ports:
            self._ports[name] = _Gathering(self._columns)
        if name in self._broken:
            self._ports[name].add(self._broken.pop(name), b"")
        return self._ports[name]

    def chunks(self) -> dict[str, Chunks]:
        return {name: self._ports.pop(name).chunks() for name in list(self._ports)}


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
    columns: Columns = IN_MEMORY
    """Where columns derived from it may be put."""


def read_journal(path: Path | str, columns: Columns = IN_MEMORY) -> JournalContents:
    """Gather everything that is whole in a journal; what it holds is put into `columns`.

    Raises
    ------
    TraverseFileError
        If it is no journal, its first record (what was to be measured) is lost, or it is
        larger than `LARGEST_BYTES`.
    """
    path = Path(path)
    if path.is_file() and path.stat().st_size > LARGEST_BYTES:
        raise TraverseFileError(str(path), "is larger than 2 GiB", "a journal of one traverse")
    return _gathered(batches(path), str(path), columns)


def _gathered(found: Iterable[Record | Batch], where: str, columns: Columns) -> JournalContents:
    setup: Setup | None = None
    ports = _Ports(columns)
    events: list[Event] = []
    lost: list[Lost] = []
    complete = False
    for item in found:
        last = item.last if isinstance(item, Batch) else item
        complete = isinstance(last, End) and last.complete
        for record in item.others if isinstance(item, Batch) else (item,):
            if isinstance(record, Chunk):
                ports.add(record.port, record.time_s, record.data)
            elif isinstance(record, Event):
                events.append(record)
            elif isinstance(record, Setup):
                setup = setup or record
            elif isinstance(record, Lost):
                lost.append(record)
                ports.break_off(record.time_s)
        if isinstance(item, Batch):
            ports.add_all(item.chunks)
    if setup is None:
        raise TraverseFileError(
            where,
            "its first record, which says what was measured, cannot be read",
            "a journal with its beginning",
            "keep the file: the bytes of the instruments may still be in it",
        )
    return JournalContents(
        setup=setup,
        chunks=ports.chunks(),
        events=events,
        complete=complete and not lost,
        lost_bytes=sum(each.lost_bytes for each in lost),
        damage=_words(lost),
        columns=columns,
    )


def _words(lost: list[Lost]) -> tuple[str, ...]:
    told = [each.text for each in lost[:MOST_DAMAGE_TOLD]]
    if len(lost) > MOST_DAMAGE_TOLD:
        told.append(f"and {len(lost) - MOST_DAMAGE_TOLD} more places")
    return tuple(told)
