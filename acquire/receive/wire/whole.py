"""The decoding of a whole recorded stream, in bounded memory.

A stream of eight hours holds millions of chunks.  They are handed to the decoder in blocks
that no event parts, and what comes out goes into growing columns: no object is kept for a
reading, and the readings are those that come of feeding every chunk by itself.
"""

import math
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.columns import IN_MEMORY, Columns, Raw
from acquire.model.recorded import Event
from acquire.receive.wire.decoding import Decoded, Decoder, Rows, shown
from acquire.receive.wire.kinds import ASKED, LOST, OPENED, REOPENED, decoder_for, tell

CHUNKS_AT_ONCE = 16384
CHUNKS_AFTER_EVENT = 16
"""After an event so few are looked at by themselves: a line may lack its beginning there."""
ROWS_AT_ONCE = 4096
EXAMPLE_BYTES = 40
_COLUMNS: Mapping[str, type] = {
    "time_s": float,
    "value": float,
    "flag": np.uint8,
    "arrival_s": float,
}


@dataclass(frozen=True, eq=False)
class Readings:
    """All readings of one instrument in one stream, each array of shape (n,)."""

    time_s: np.ndarray
    value: np.ndarray
    """NaN where the flag is not good."""
    flag: np.ndarray
    arrival_s: np.ndarray
    refused: Mapping[str, "Refused"]
    """What was not good, by reason in words."""


@dataclass
class Refused:
    """Readings that are not good for one and the same reason."""

    example: str
    """What the first of them was."""
    first_s: float
    last_s: float
    count: int = 0
    lowest: float = math.inf
    highest: float = -math.inf

    def words(self) -> str:
        """How many, when, the first of them, and between which values they lie.

        Examples
        --------
        >>> Refused("1e+09", 0.5, 7.25, 3, -2e6, 1e9).words()
        '3 from 0.5 to 7.2 s (the first: 1e+09; from -2e+06 to 1e+09)'
        """
        when = (
            f"from {self.first_s:.1f} to {self.last_s:.1f} s"
            if self.count > 1
            else f"at {self.first_s:.1f} s"
        )
        parts = [f"the first: {self.example}" if self.count > 1 else self.example] if self.example else []
        parts += [f"from {self.lowest:g} to {self.highest:g}"] if self.lowest < self.highest else []
        return f"{self.count} {when}" + (f" ({'; '.join(parts)})" if parts else "")

    def add(self, row: Decoded) -> None:
        """Count one more."""
        self.count += 1
        self.last_s = row.arrival_s
        if isinstance(row.found, float):
            self.lowest, self.highest = min(self.lowest, row.found), max(self.highest, row.found)


def decode_all(
    instrument: Instrument,
    raw: Raw,
    chunk_end: Sequence[int] | np.ndarray,
    chunk_time_s: Sequence[float] | np.ndarray,
    events: Iterable[Event] = (),
    port: str | None = None,
    columns: Columns = IN_MEMORY,
) -> Readings:
    """Decode a whole stream from its raw bytes, its chunks' arrival times and its events.

    Parameters
    ----------
    instrument : Instrument
        Whose readings are wanted.
    raw, chunk_end, chunk_time_s : bytes, arrays of shape (m,)
        The stream: all bytes, where each chunk ended, when it arrived. At a chunk of no
        bytes something is missing: nothing is read across it.
    events : iterable
        Recorded events (`time_s`, `kind`, `text`); those of other ports are passed over.
    port : str, optional
        Name the stream was recorded under, where it is not the instrument's own.
    columns : Columns, optional
        Where the readings are put.

    Examples
    --------
    >>> level = Instrument("level", "slope", "um/m", wire={"kind": "lines", "pattern": r"(?P<value>\\S+)"})
    >>> decode_all(level, b"1.5\\n?\\n2.5\\n", [5, 10], [0.1, 0.2]).value
    array([1.5, nan, 2.5])
    """
    ends, times_s = np.asarray(chunk_end, np.int64), np.asarray(chunk_time_s, float)
    if len(ends) != len(times_s):
        raise ValueError(f"{len(ends)} chunks but {len(times_s)} times")
    found = _decoded(decoder_for(instrument), raw, ends, times_s, events, port or instrument.name)
    return gathered(found, raw, columns)


def _decoded(
    decoder: Decoder,
    raw: Raw,
    ends: np.ndarray,
    times_s: np.ndarray,
    events: Iterable[Event],
    port: str,
) -> Iterator[Decoded | Rows]:
    waiting = [event for event in sorted(events, key=lambda event: event.time_s) if _bears(event, port)]
    event_times_s = [event.time_s for event in waiting]
    told, start, latest_s = 0, 0, -math.inf
    for begin in range(0, len(ends), CHUNKS_AT_ONCE):
        chunk_end, chunk_time_s = (
            ends[begin : begin + CHUNKS_AT_ONCE],
            times_s[begin : begin + CHUNKS_AT_ONCE],
        )
        so_far_s = _latest(chunk_time_s, latest_s)
        latest_s = float(so_far_s[-1])
        due = event_times_s[told : bisect_right(event_times_s, latest_s, lo=told)]
        told_at = np.searchsorted(so_far_s, due)
        gaps = np.flatnonzero(np.diff(chunk_end, prepend=start) == 0)
        done = 0
        for first, last in pairwise(_cuts(len(chunk_end), told_at, gaps)):
            while done < len(due) and told_at[done] <= first:
                tell(decoder, waiting[told])
                done, told = done + 1, told + 1
            end = int(chunk_end[last - 1])
            if chunk_end[first] == start:
                decoder.interrupted(float(chunk_time_s[first]))
            else:
                part = slice(first, last)
                yield from _fed(decoder, raw[start:end], chunk_end[part] - start, chunk_time_s[part])
            start = end
    yield from decoder.finish()


def _latest(chunk_time_s: np.ndarray, before_s: float) -> np.ndarray:
    """The latest time up to each chunk; those that are no time count for nothing."""
    known_s = np.nan_to_num(chunk_time_s, nan=-np.inf, posinf=np.inf, neginf=-np.inf)
    return np.maximum.accumulate(np.maximum(known_s, before_s))


def _fed(
    decoder: Decoder, data: bytes, chunk_end: np.ndarray, chunk_time_s: np.ndarray
) -> Iterable[Decoded | Rows]:
    rows = decoder.feed_block(data, chunk_end, chunk_time_s)
    if rows is None:
        return decoder.feed_chunks(data, chunk_end.tolist(), chunk_time_s.tolist())
    return (rows,)


def _bears(event: Event, port: str) -> bool:
    return event.kind in (ASKED, OPENED, REOPENED, LOST) and event.port == port


def _cuts(chunks: int, told_at: np.ndarray, gaps: np.ndarray) -> list[int]:
    """Where blocks begin and end: at every event and soon after it, and about every gap."""
    cuts = np.concatenate([[0], told_at, told_at + CHUNKS_AFTER_EVENT, gaps, gaps + 1, [chunks]])
    return np.unique(cuts[cuts <= chunks]).astype(int).tolist()


def gathered(decoded: Iterable[Decoded | Rows], raw: Raw = b"", columns: Columns = IN_MEMORY) -> Readings:
    """Readings as arrays; what is not good is counted, and of each kind the first is told."""
    growing = {name: columns.column(kind) for name, kind in _COLUMNS.items()}
    refused: dict[str, Refused] = {}
    for found in _in_rows(decoded):
        for name, column in growing.items():
            column.append(getattr(found, name))
        for row in found.refused:
            if row.reason not in refused:
                refused[row.reason] = Refused(_example(row, raw), row.arrival_s, row.arrival_s)
            refused[row.reason].add(row)
    return Readings(**{name: column.whole() for name, column in growing.items()}, refused=refused)


def _in_rows(decoded: Iterable[Decoded | Rows]) -> Iterator[Rows]:
    """Readings that came one by one in columns too, in the same order."""
    single: list[Decoded] = []
    for found in decoded:
        if isinstance(found, Decoded):
            single.append(found)
        if single and (isinstance(found, Rows) or len(single) >= ROWS_AT_ONCE):
            yield _rows_of(single)
            single = []
        if isinstance(found, Rows):
            yield found
    if single:
        yield _rows_of(single)


def _rows_of(single: Sequence[Decoded]) -> Rows:
    values: dict[str, Any] = {
        name: np.array([getattr(row, name) for row in single], kind) for name, kind in _COLUMNS.items()
    }
    return Rows(**values, refused=[row for row in single if row.reason])


def _example(row: Decoded, raw: Raw) -> str:
    """What was found, else the end of the line or frame itself."""
    if row.found != "":
        return f"{row.found:g}" if isinstance(row.found, float) else repr(row.found)
    lines = raw[max(0, row.raw_end - EXAMPLE_BYTES) : row.raw_end].strip().splitlines()
    return repr(shown(lines[-1])) if lines else ""
