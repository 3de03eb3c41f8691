"""Whole frames of a journal found many at once: those that follow one right behind the other.

Each proves itself by its CRC as it does alone. Where one does not, or bytes lie between,
the run ends: what comes there is looked at frame by frame.
"""

from collections.abc import Iterator
from functools import cache
from typing import NamedTuple
from zlib import crc32

import numpy as np

from acquire.model.columns import pieces_of
from acquire.store.journal.frames import BODY_BYTES, CHUNK, HEADER_BYTES, LONGEST_BODY, MAGIC, Frame

MOST_PORTS = 64
FEW, LONGEST_TABLED = 32, 128
"""Fewer frames of one size, and longer ones, are checked one by one."""


class Run(NamedTuple):
    """Frames in columns, each of shape (n,)."""

    sent: np.ndarray
    """The bytes in which they stand."""
    sent_offset: int
    """Of these bytes in the journal."""
    start: np.ndarray
    end: np.ndarray
    """Of each frame in them."""
    sequence: np.ndarray
    kind: np.ndarray
    time_s: np.ndarray

    @property
    def offset(self) -> int:
        """Of the first of them in the journal."""
        return self.sent_offset + int(self.start[0])

    @property
    def size(self) -> int:
        """Bytes of all of them."""
        return int(self.end[-1] - self.start[0])

    @property
    def payload(self) -> np.ndarray:
        """Where the payload of each begins."""
        return self.start + (HEADER_BYTES + BODY_BYTES)

    def frames(self) -> Iterator[Frame]:
        """Each by itself."""
        for index in range(len(self.start)):
            yield self.frame(index)

    def frame(self, index: int) -> Frame:
        """One of them by itself."""
        start, end = int(self.start[index]), int(self.end[index])
        return Frame(
            self.sent_offset + start,
            self.sent_offset + end,
            int(self.sequence[index]),
            int(self.kind[index]),
            float(self.time_s[index]),
            self.sent[start + HEADER_BYTES + BODY_BYTES : end].tobytes(),
        )


def run_at(buffer: bytes, at: int, offset: int) -> Run | None:
    """The whole frames that follow each other from `at` on; None where there is none.

    `offset` is that of the buffer in the journal.
    """
    sent = np.frombuffer(buffer, np.uint8)
    start = at + np.flatnonzero((sent[at:-1] == MAGIC[0]) & (sent[at + 1 :] == MAGIC[1]))
    start = start[start + (HEADER_BYTES + BODY_BYTES) <= len(sent)]
    if not len(start) or start[0] != at:
        return None
    head = pieces_of(sent, start + len(MAGIC), 3 * 4).view("<u4").reshape(-1, 3)
    length, sequence, check = head.T.astype(np.int64)
    end = start + HEADER_BYTES + length
    can_be = (length >= BODY_BYTES) & (length <= LONGEST_BODY) & (end <= len(sent))
    start, end, sequence, check = (each[can_be] for each in (start, end, sequence, check))
    if (start[1:] != end[:-1]).any():  # the magic may stand in a payload too
        follows = np.isin(start, end) | (start == at)
        start, end, sequence, check = (each[follows] for each in (start, end, sequence, check))
    count = _until_false(np.concatenate([start[:1] == at, start[1:] == end[:-1]]))
    start, end = start[:count], end[:count]
    count = _until_false(checksums(sent, start, end) == check[:count])
    if not count:
        return None
    start, end = start[:count], end[:count]
    time_s = pieces_of(sent, start + HEADER_BYTES + 1, 8).view("<f8")
    return Run(sent, offset, start, end, sequence[:count], sent[start + HEADER_BYTES], time_s)


def checksums(sent: np.ndarray, start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """The CRC that each frame should have: of its length and number, and of its body."""
    found, sizes = np.zeros(len(start), np.int64), end - start
    numbered = slice(len(MAGIC), len(MAGIC) + 8)
    for size in np.flatnonzero(np.bincount(sizes)).tolist():
        alike = np.flatnonzero(sizes == size)
        frames = pieces_of(sent, start[alike], size).view(np.uint8).reshape(-1, size)
        checked = np.hstack([frames[:, numbered], frames[:, HEADER_BYTES:]])
        if len(alike) < FEW or size > LONGEST_TABLED:
            found[alike] = [crc32(each.tobytes()) for each in checked]
            continue
        # a CRC is linear over bits: what each byte of the frame adds to that of nothing but zeros
        of_all = np.full(len(alike), crc32(bytes(checked.shape[1])), np.uint32)
        for after, of_each in enumerate(reversed(checked.T)):
            of_all ^= _what_bytes_add(after).take(of_each, mode="clip")
        found[alike] = of_all
    return found


@cache
def _what_bytes_add(after: int) -> np.ndarray:
    """What each byte with so many more behind it changes in a CRC, shape (256,)."""
    none = crc32(bytes(after + 1))
    return np.array([crc32(bytes([byte]) + bytes(after)) ^ none for byte in range(256)], np.uint32)


def _until_false(holds: np.ndarray) -> int:
    return len(holds) if holds.all() else int(np.argmin(holds))


def chunks_by_port(run: Run) -> dict[str, tuple[np.ndarray, np.ndarray, bytes]] | None:
    """Chunks of a run: their times, their lengths and all their bytes, by the name of the port.

    None where that takes a closer look: a chunk shorter than the name that it claims, ports
    that are too many, names that are one once decoded.
    """
    is_chunk = run.kind == CHUNK
    payload, end, time_s = run.payload[is_chunk], run.end[is_chunk], run.time_s[is_chunk]
    size = run.sent[np.minimum(payload, len(run.sent) - 1)].astype(np.int64)
    begin = payload + 1 + size
    if (begin > end).any():
        return None
    found: dict[str, tuple[np.ndarray, np.ndarray, bytes]] = {}
    left = np.arange(len(payload))
    while len(left):
        is_ours = size[left] == size[left[0]]
        names = pieces_of(run.sent, payload[left[is_ours]], 1 + int(size[left[0]]))
        is_ours[is_ours] = names == names[0]
        of_port, left = left[is_ours], left[~is_ours]
        name = names[0].tobytes()[1:].decode("utf-8", "replace")
        if name in found or len(found) == MOST_PORTS:
            return None
        lengths = end[of_port] - begin[of_port]
        found[name] = time_s[of_port], lengths, run.sent[_spans(begin[of_port], lengths)].tobytes()
    return found


def _spans(begin: np.ndarray, lengths: np.ndarray) -> np.ndarray:
    """Every index from each begin on, `lengths` of them."""
    ends = np.cumsum(lengths)
    return np.arange(int(ends[-1]) if len(ends) else 0) + np.repeat(begin - (ends - lengths), lengths)
