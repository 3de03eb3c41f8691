"""Checksums of binary frames."""

from collections.abc import Callable, Mapping

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
