"""The journal's bytes: a head, then frames that each prove themselves.

A frame is `\\xa5J`, the length of its body, its sequence number, and a CRC-32 over
length, number and body (little-endian, 4 bytes each). The body is one byte of kind,
the time as a 64-bit float, and what the kind holds. A reader that meets damage looks
for the next frame whose CRC is right; the sequence numbers tell what is missing even
where the gap leaves no trace, and a stale frame cannot come back as a new one.

The CRC-32 is that of IEEE 802.3 (`zlib.crc32`).
"""

import struct
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import BinaryIO, Generic, NamedTuple, Protocol, TypeVar

HEAD = b"waylog journal 1\n"
HEAD_ANY_VERSION = b"waylog journal "
MAGIC = b"\xa5J"
SETUP, CHUNK, EVENT, END = range(1, 5)

_HEADER = struct.Struct("<2sIII")
_NUMBERED = struct.Struct("<II")
_BODY = struct.Struct("<Bd")
HEADER_BYTES, BODY_BYTES = _HEADER.size, _BODY.size
LONGEST_SETUP = 1 << 23
"""The bed's description may be a megabyte, and JSON may write each byte of it as six."""
LONGEST_BODY = 1 << 15
"""Of every other frame: what a damaged length can make a reader wait for."""
LONGEST_PIECE = 1 << 14
"""Longer chunks are kept as several frames of one time."""
_READ_BYTES = 1 << 20
_WORTH_BYTES = 1 << 16
"""So much at once pays for looking through the whole window."""


class Frame(NamedTuple):
    """One whole frame: where it stands and what it holds. (A tuple: millions are made of an hour.)"""

    offset: int
    end: int
    sequence: int
    kind: int
    time_s: float
    payload: bytes


@dataclass(frozen=True, slots=True)
class Loss:
    """Bytes that belong to no whole frame."""

    offset: int
    end: int


class Many(Protocol):
    """Whole frames one right behind the other."""

    @property
    def offset(self) -> int:
        """Of the first of them in the journal."""

    @property
    def size(self) -> int:
        """Bytes of all of them."""


R = TypeVar("R", bound=Many)


def encode(sequence: int, kind: int, time_s: float, payload: bytes) -> bytes:
    """The bytes of one frame.

    Examples
    --------
    >>> import io
    >>> [frame.payload for frame in scan(io.BytesIO(HEAD + encode(0, EVENT, 1.5, b"mark")))]
    [b'mark']
    """
    body = _BODY.pack(kind, time_s) + payload
    check = zlib.crc32(body, zlib.crc32(_NUMBERED.pack(len(body), sequence)))
    return _HEADER.pack(MAGIC, len(body), sequence, check) + body


def named(name: str, data: bytes) -> bytes:
    """A payload that begins with a name.

    Examples
    --------
    >>> split_name(named("level", b"+1.0"))
    ('level', b'+1.0')
    """
    encoded = name.encode("utf-8", "replace")[:255]
    return bytes([len(encoded)]) + encoded + data


def split_name(payload: bytes) -> tuple[str, bytes]:
    """Take such a payload apart again."""
    length = payload[0]
    return payload[1 : 1 + length].decode("utf-8", "replace"), payload[1 + length :]


def scan(file: BinaryIO) -> Iterator[Frame | Loss]:
    """Every whole frame of a journal, and what lies between them; in bounded memory."""
    return _Scan(file).walk()


def scan_by(file: BinaryIO, run_at: Callable[[bytes, int, int], R | None]) -> Iterator[Frame | Loss | R]:
    """The same, many frames at once where `run_at(buffer, at, offset)` finds that many whole ones there."""
    return _Scan(file, run_at).walk()


class _Scan(Generic[R]):
    """A window that moves over the file: a megabyte and a frame at most."""

    def __init__(self, file: BinaryIO, run_at: Callable[[bytes, int, int], R | None] = lambda *_: None):
        self._file, self._run_at = file, run_at
        self._runs_from = 0
        head = file.read(len(HEAD))
        self._has_head = head == HEAD
        self._buffer = b"" if self._has_head else head
        self._offset = len(head) - len(self._buffer)
        self._first = len(HEAD)
        self._at_end = False

    def walk(self) -> Iterator[Frame | Loss | R]:
        at, lost_from = 0, None
        while True:
            needed = self._bytes_needed(at)
            if needed > len(self._buffer) - at and not self._at_end:
                self._refill(at)
                at = 0
                continue
            frame = self._run(at) or self._frame(at, needed)
            if frame is None and at >= len(self._buffer):
                break
            if frame is None:
                lost_from = self._offset + at if lost_from is None else lost_from
                at = self._next_magic(at + 1)
                continue
            if lost_from is not None:
                yield Loss(lost_from, frame.offset)
                lost_from = None
            yield frame
            at += needed if isinstance(frame, Frame) else frame.size
        if lost_from is not None:
            yield Loss(lost_from, self._offset + at)

    def _bytes_needed(self, at: int) -> int:
        """How long the frame at `at` claims to be; its header's length where that cannot be."""
        if len(self._buffer) - at < _HEADER.size:
            return _HEADER.size
        magic, length, _, _ = _HEADER.unpack_from(self._buffer, at)
        if magic != MAGIC or length < _BODY.size:
            return _HEADER.size
        if length > LONGEST_BODY and (length > LONGEST_SETUP or self._offset + at != self._first):
            return _HEADER.size
        return _HEADER.size + length

    def _run(self, at: int) -> R | None:
        """Many frames at once; not tried again soon where it did not pay."""
        if self._offset + at < self._runs_from:
            return None
        run = self._run_at(self._buffer, at, self._offset)
        size = run.size if run is not None else 0
        self._runs_from = self._offset + at + size + (0 if size >= _WORTH_BYTES else _WORTH_BYTES)
        return run

    def _frame(self, at: int, needed: int) -> Frame | None:
        end = at + needed
        if needed <= _HEADER.size or len(self._buffer) < end:
            return None
        body = self._buffer[at + _HEADER.size : end]
        numbered = self._buffer[at + len(MAGIC) : at + len(MAGIC) + _NUMBERED.size]
        _, _, sequence, check = _HEADER.unpack_from(self._buffer, at)
        if zlib.crc32(body, zlib.crc32(numbered)) != check:
            return None
        kind, time_s = _BODY.unpack_from(body)
        return Frame(self._offset + at, self._offset + end, sequence, kind, time_s, body[_BODY.size :])

    def _next_magic(self, at: int) -> int:
        """Where the next frame may begin: never past a first half of the magic at the window's end."""
        found = self._buffer.find(MAGIC, at)
        if found >= 0:
            return found
        ends_in_half = self._buffer.endswith(MAGIC[:1]) and at < len(self._buffer) and not self._at_end
        return len(self._buffer) - ends_in_half

    def _refill(self, at: int) -> None:
        more = self._file.read(_READ_BYTES)
        self._at_end = not more
        self._offset += at
        self._buffer = self._buffer[at:] + more
