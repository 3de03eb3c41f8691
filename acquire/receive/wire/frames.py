"""Finding whole frames among bytes of which some may be wrong, missing or too many.

After a frame that fails its check the search goes on one byte later, never a frame
later: an intact frame is found even where a garbled one claims its first bytes.
"""

from abc import abstractmethod
from collections.abc import Callable, Iterable, Mapping

from acquire.model.bed import Instrument
from acquire.receive.wire.decoding import Decoder, Frame, Judgement, garbled

_POLYNOMIAL = 0xA001  # x^16 + x^15 + x^2 + 1, bits reversed


def _byte_remainder(byte: int) -> int:
    for _ in range(8):
        byte = (byte >> 1) ^ (_POLYNOMIAL if byte & 1 else 0)
    return byte


_REMAINDERS = tuple(_byte_remainder(byte) for byte in range(256))


def crc16(data: bytes) -> int:
    """CRC-16/MODBUS: reversed polynomial A001, start FFFF; sent low byte first.

    Examples
    --------
    The published check value of the text 123456789:

    >>> hex(crc16(b"123456789"))
    '0x4b37'
    """
    remainder = 0xFFFF
    for byte in data:
        remainder = (remainder >> 8) ^ _REMAINDERS[(remainder ^ byte) & 0xFF]
    return remainder


def _sum(data: bytes) -> bytes:
    return bytes([sum(data) & 0xFF])


def _xor(data: bytes) -> bytes:
    result = 0
    for byte in data:
        result ^= byte
    return bytes([result])


CHECKSUMS: Mapping[str, Callable[[bytes], bytes]] = {
    "none": lambda data: b"",
    "sum": _sum,
    "xor": _xor,
    "crc16": lambda data: crc16(data).to_bytes(2, "little"),
}
"""The bytes that close a frame, by the name in `bed.toml`."""


WAIT, NOTHING = 0, -1
LONGEST_GARBLED = 256


class FrameDecoder(Decoder):
    """The part that the binary kinds share.

    A kind supplies `_size_at`, the length of the frame that begins at a place, and `_read`.
    """

    def __init__(self, instrument: Instrument, request: bytes | None = None):
        super().__init__(instrument, request)
        self._skipped = bytearray()

    def asked(self, instrument: str, time_s: float) -> None:
        """Learn of a request; a reply that is still incomplete will not be completed."""
        if self._request is not None:
            self._skip(len(self._pending))
        if not self._is_ours:
            self._skipped.clear()  # replies to others are nothing garbled
        super().asked(instrument, time_s)

    def started(self, time_s: float) -> None:
        """Learn that the port was opened: what is half read is broken off."""
        super().started(time_s)
        self._skipped.clear()

    @abstractmethod
    def _size_at(self, start: int) -> int:
        """Length of the intact frame that begins at `start` of the pending bytes.

        WAIT where more bytes could complete one, NOTHING where none can begin there.
        """

    @abstractmethod
    def _read(self, frame: bytes) -> Judgement | None:
        """What a frame says; None where it is to be passed over."""

    def _cut(self) -> Iterable[tuple[Frame, Judgement]]:
        found: list[tuple[Frame, Judgement]] = []
        start = 0
        while start < len(self._pending):
            size = self._size_at(start)
            if size == WAIT:
                break
            if size == NOTHING:
                start += 1
                continue
            self._skip(start)
            frame = bytes(self._pending[:size])
            judgement = self._read(frame)
            found.extend(self._told())
            end, start = self._drop(size), 0
            if judgement is not None:
                found.append((Frame(frame, end, size), judgement))
        self._skip(start)
        if len(self._skipped) >= LONGEST_GARBLED:
            found.extend(self._told())
        return found

    def _skip(self, count: int) -> None:
        self._skipped += self._pending[:count]
        self._drop(count)

    def _told(self) -> list[tuple[Frame, Judgement]]:
        """The bytes between two frames that belong to none, told as one."""
        if not self._skipped:
            return []
        skipped = bytes(self._skipped)
        self._skipped.clear()
        reason = "bytes of no intact frame"
        return [(Frame(skipped, self._taken, len(skipped)), garbled(reason))]
