"""Modbus RTU, the client's side: one register or two, read when asked.

Request: unit, function (3 holding, 4 input), register, count, CRC. Reply: unit, function,
byte count, data, CRC; or unit, function + 128, code, CRC. The CRC goes low byte first,
everything else high byte first. Frames of other units on the same wire are passed over.
"""

import struct
from collections.abc import Mapping

from acquire.model.bed import Instrument
from acquire.receive.wire.decoding import Judgement, garbled, judge
from acquire.receive.wire.frames import NOTHING, WAIT, FrameDecoder, crc16

FUNCTIONS: Mapping[str, int] = {"holding": 3, "input": 4}
CODES: Mapping[str, str] = {"int16": ">h", "uint16": ">H", "int32": ">i", "uint32": ">I", "float32": ">f"}
REFUSALS: Mapping[int, str] = {
    1: "it does not know this function; try the other of holding | input",
    2: "it has no such register",
    3: "it does not take this count",
    4: "it failed",
    6: "it is busy",
}
EXCEPTION_BYTES = 5


def with_crc(body: bytes) -> bytes:
    """A frame closed by its CRC.

    Examples
    --------
    A frame read in a public thread (reference frames are in the tests):

    >>> with_crc(bytes.fromhex("01 03 00 02 00 01")).hex(" ")
    '01 03 00 02 00 01 25 ca'
    """
    return body + crc16(body).to_bytes(2, "little")


class ModbusDecoder(FrameDecoder):
    """Decoder of the wire kind `modbus`."""

    def __init__(self, instrument: Instrument):
        wire = instrument.wire
        self._code = CODES[wire.get("type", "int16")]
        self._bytes = struct.calcsize(self._code)
        self._is_low_first = wire.get("word_order", "high-first") == "low-first"
        self._scale = wire.get("scale", 1.0)
        unit, function = wire.get("unit_id", 1), FUNCTIONS[wire.get("registers", "holding")]
        self._reply = bytes([unit, function, self._bytes])
        self._refusal = bytes([unit, function | 0x80])
        body = struct.pack(">BBHH", unit, function, wire["register"], self._bytes // 2)
        super().__init__(instrument, with_crc(body))

    def _size_at(self, start: int) -> int:
        begins = [
            (prefix, size)
            for prefix, size in self._kinds()
            if prefix.startswith(bytes(self._pending[start : start + len(prefix)]))
        ]
        left = len(self._pending) - start
        for _, size in begins:
            frame = bytes(self._pending[start : start + size])
            if left >= size and with_crc(frame[:-2]) == frame:
                return size
        return WAIT if any(left < size for _, size in begins) else NOTHING

    def _kinds(self) -> tuple[tuple[bytes, int], ...]:
        request = self._request or b""
        return (
            (self._reply, 5 + self._bytes),
            (self._refusal, EXCEPTION_BYTES),
            (request, len(request)),
        )

    def _read(self, frame: bytes) -> Judgement | None:
        if frame == self._request:
            return None  # an adapter on two wires hears what it sends
        if frame.startswith(self._refusal):
            return garbled(f"refused: {REFUSALS.get(frame[2], f'code {frame[2]}')}")
        data = frame[3:-2]
        if self._is_low_first:
            data = data[2:] + data[:2] if len(data) == 4 else data
        return judge(self.instrument, struct.unpack(self._code, data)[0] * self._scale)
