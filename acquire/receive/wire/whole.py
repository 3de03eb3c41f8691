"""The decoding of a whole recorded stream, in bounded memory.

A stream of eight hours holds millions of chunks.  They are handed to the decoder in blocks
that no event parts, and what comes out goes into growing columns: no object is kept for a
reading, and the readings are those that come of feeding every chunk by itself.
"""

import math
from array import array
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from acquire.model.bed import Instrument
from acquire.receive.wire.decoding import Decoded, Decoder, Rows, shown
from acquire.receive.wire.kinds import ASKED, LOST, OPENED, REOPENED, WireEvent, decoder_for, tell

CHUNKS_AT_ONCE = 4096
EXAMPLE_BYTES = 40
_COLUMNS: Mapping[str, str] = {"time_s": "d", "value": "d", "flag": "B", "arrival_s": "d", "raw_end": "q"}
_KINDS: Mapping[str, type] = {"d": float, "B": np.uint8, "q": np.int64}


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
        The stream: all bytes, where each chunk ended, when it arrived. At a chunk of no
        bytes something is missing: nothing is read across it.
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
    ends, times_s = np.asarray(chunk_end, np.int64), np.asarray(chunk_time_s, float)
    if len(ends) != len(times_s):
        raise ValueError(f"{len(ends)} chunks but {len(times_s)} times")
    found = _decoded(decoder_for(instrument), raw, ends, times_s, events, port or instrument.name)
    return gathered(found, raw)


def _decoded(
    decoder: Decoder,
    raw: bytes,
    ends: np.ndarray,
    times_s: np.ndarray,
    events: Iterable[WireEvent],
    port: str,
) -> Iterator[Decoded | Rows]:
    waiting = [event for event in sorted(events, key=lambda event: event.time_s) if _bears(event, port)]
    told_at = told_before(times_s, [event.time_s for event in waiting])
    position = 0
    gaps = np.flatnonzero(np.diff(ends, prepend=0) == 0)
    for first, last in pairwise(_cuts(len(ends), told_at, gaps)):
        while position < len(waiting) and told_at[position] <= first:
            tell(decoder, waiting[position])
            position += 1
        start = int(ends[first - 1]) if first else 0
        if ends[first] == start:
            decoder.interrupted(float(times_s[first]))
            continue
        data = raw[start : int(ends[last - 1])]
        block = slice(first, last)
        chunk_end, chunk_time_s = (ends[block] - start).tolist(), times_s[block].tolist()
        rows = decoder.feed_block(data, chunk_end, chunk_time_s)
        if rows is None:
            yield from decoder.feed_chunks(data, chunk_end, chunk_time_s)
        else:
            yield rows
    yield from decoder.finish()


def _bears(event: WireEvent, port: str) -> bool:
    return event.kind in (ASKED, OPENED, REOPENED, LOST) and event.text.startswith(f"{port}:")


def told_before(chunk_time_s: np.ndarray, event_time_s: Sequence[float]) -> np.ndarray:
    """For each event the first chunk that did not arrive before it; the number of chunks if none.

    Examples
    --------
    >>> told_before(np.array([1.0, 2.0, 2.0, 3.0]), [0.5, 2.0, 2.5, 9.0])
    array([0, 1, 3, 4])
    """
    latest_s = np.maximum.accumulate(np.nan_to_num(chunk_time_s, nan=-np.inf, posinf=np.inf, neginf=-np.inf))
    return np.searchsorted(latest_s, np.asarray(event_time_s, float))


def _cuts(chunks: int, told_at: np.ndarray, gaps: np.ndarray) -> list[int]:
    """Where blocks begin and end: at every event, about every gap, and often enough."""
    regular = np.arange(0, chunks, CHUNKS_AT_ONCE)
    cuts = np.concatenate([regular, told_at[told_at < chunks], gaps, gaps + 1, [chunks]])
    return np.unique(cuts).astype(int).tolist()


def gathered(decoded: Iterable[Decoded | Rows], raw: bytes = b"") -> Readings:
    """Readings as arrays; what is not good is counted, and of each kind the first is told."""
    columns: dict[str, array] = {name: array(code) for name, code in _COLUMNS.items()}
    refused: dict[str, Refused] = {}
    for found in decoded:
        for name, column in columns.items():
            if isinstance(found, Rows):
                column.frombytes(getattr(found, name).tobytes())
            else:
                column.append(getattr(found, name))
        for row in found.refused if isinstance(found, Rows) else (found,) if found.reason else ():
            if row.reason not in refused:
                refused[row.reason] = Refused(_example(row, raw), row.arrival_s, row.arrival_s)
            refused[row.reason].add(row)
    found_all = {name: _as_column(column, _KINDS[_COLUMNS[name]]) for name, column in columns.items()}
    return Readings(**found_all, refused=refused)


def _example(row: Decoded, raw: bytes) -> str:
    """What was found, else the end of the line or frame itself."""
    if row.found != "":
        return f"{row.found:g}" if isinstance(row.found, float) else repr(row.found)
    lines = raw[max(0, row.raw_end - EXAMPLE_BYTES) : row.raw_end].strip().splitlines()
    return repr(shown(lines[-1])) if lines else ""


def _as_column(values: array, dtype: type) -> np.ndarray:
    return np.frombuffer(values, dtype) if len(values) else np.zeros(0, dtype)
