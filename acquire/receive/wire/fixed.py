"""Binary frames of fixed length: a value in struct code or BCD nibbles, with what goes with it.

Bytes are counted from 0 at the frame's first start byte. The checksum stands before the
end bytes, if any, and covers all before it from `checksum_from` on.
"""

import math
import struct
from collections.abc import Mapping
from typing import Any

from acquire.model.bed import Instrument
from acquire.model.bed_toml.wire_keys import CHECKSUM_BYTES, body_end
from acquire.receive.wire.decoding import OVERFLOW, Judgement, garbled, judge, request_bytes
from acquire.receive.wire.frames import CHECKSUMS, NOTHING, WAIT, FrameDecoder

ALL_BITS = 0xFF
DECIMALS_MASK = 0x0F
MOST_DECIMALS = 9


class FixedDecoder(FrameDecoder):
    """Decoder of the wire kind `fixed`."""

    def __init__(self, instrument: Instrument):
        wire = instrument.wire
        super().__init__(instrument, request_bytes(wire))
        self._wire = wire
        self._length = wire["length"]
        self._start = bytes.fromhex(wire.get("start", ""))
        self._end = bytes.fromhex(wire.get("end", ""))
        self._body = body_end(wire)
        self._from = wire.get("checksum_from", 0)
        self._checksum = CHECKSUMS[wire.get("checksum", "none")]
        self._check_bytes = CHECKSUM_BYTES[wire.get("checksum", "none")]

    def _size_at(self, start: int) -> int:
        if not self._start.startswith(self._pending[start : start + len(self._start)]):
            return NOTHING
        if len(self._pending) - start < self._length:
            return WAIT
        return (
            self._length if self._is_intact(bytes(self._pending[start : start + self._length])) else NOTHING
        )

    def _is_intact(self, frame: bytes) -> bool:
        check = frame[self._body : self._body + self._check_bytes]
        return (
            frame.startswith(self._start)
            and frame.endswith(self._end)
            and self._checksum(frame[self._from : self._body]) == check
        )

    def _read(self, frame: bytes) -> Judgement | None:
        status = self._wire.get("status_bits")
        if status is not None and frame[status["at"]] & status.get("mask", ALL_BITS) != status["good"]:
            return Judgement(math.nan, OVERFLOW, "the instrument itself says that it is no reading")
        value = _value(frame, self._wire["value"])
        if value is None:
            return garbled("a digit that is none")
        decimals = _decimals(frame, self._wire.get("decimals", 0))
        if decimals > MOST_DECIMALS:
            return garbled("decimals are too many", str(decimals))
        unit, is_known = self._unit(frame)
        if not is_known:
            return garbled("unknown unit bits")
        signed = -value if self._is_negative(frame) else value
        return judge(self.instrument, signed / 10**decimals * self._wire.get("scale", 1.0), unit)

    def _is_negative(self, frame: bytes) -> bool:
        sign = self._wire.get("sign")
        return sign is not None and frame[sign["at"]] & sign.get("mask", ALL_BITS) == sign["negative"]

    def _unit(self, frame: bytes) -> tuple[str | None, bool]:
        """The unit sent, if any, and whether its bits are known."""
        bits = self._wire.get("unit_bits")
        if bits is None:
            return None, True
        unit = bits["units"].get(str(_masked(frame[bits["at"]], bits.get("mask", ALL_BITS))))
        return unit, unit is not None


def _masked(byte: int, mask: int) -> int:
    """The bits under a mask, moved down to the lowest place."""
    return (byte & mask) // (mask & -mask)


def _decimals(frame: bytes, described: int | Mapping[str, Any]) -> int:
    if isinstance(described, int):
        return described
    return _masked(frame[described["at"]], described.get("mask", DECIMALS_MASK))


def _value(frame: bytes, field: Mapping[str, Any]) -> float | None:
    if "code" in field:
        return float(struct.unpack_from(field["code"], frame, field["at"])[0])
    digits = _nibbles(frame, field)
    return None if max(digits) > 9 else float("".join(map(str, digits)))


def _nibbles(frame: bytes, field: Mapping[str, Any]) -> list[int]:
    """The digits of a BCD field, the most significant first.

    Packed: two to a byte; of an odd number the highest nibble is left out. Not packed: one
    in the low half of each byte.
    """
    count, is_packed = field["bcd"], field.get("packed", True)
    size = (count + 1) // 2 if is_packed else count
    data = frame[field["at"] : field["at"] + size]
    if field.get("order", "high-first") == "low-first":
        data = data[::-1]
    digits = [nibble for byte in data for nibble in (byte >> 4, byte & 15)[0 if is_packed else 1 :]]
    return digits[-count:]
