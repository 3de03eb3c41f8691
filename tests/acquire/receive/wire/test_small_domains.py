"""Domains so small that every value can be tried."""

import struct
from itertools import product

import pytest
from pymodbus.framer import FramerRTU

from acquire.model.bed import Port
from acquire.model.traverse import FLAGS
from acquire.receive.wire.decoding import wire_time_s
from acquire.receive.wire.frames import CHECKSUMS, crc16
from acquire.receive.wire.kinds import decoder_for

EVERY_BYTE = [bytes([byte]) for byte in range(256)]
PAIRS = [bytes([first, second]) for first in range(0, 256, 5) for second in range(256)]


def by_division(data: bytes) -> int:
    """CRC-16 of the Modbus serial line guide (V1.02, 6.2.2, from memory), bit by bit as written there."""
    register = 0xFFFF
    for byte in data:
        register ^= byte
        for _ in range(8):
            carry = register & 1
            register >>= 1
            if carry:
                register ^= 0xA001
    return register


def test_crc_of_every_byte_and_of_pairs_is_that_of_the_division():
    assert all(crc16(data) == by_division(data) for data in EVERY_BYTE + PAIRS)


def test_crc_of_every_byte_is_that_of_another_library():
    swapped = [struct.unpack(">H", CHECKSUMS["crc16"](data))[0] for data in EVERY_BYTE]
    assert swapped == [FramerRTU.compute_CRC(data) for data in EVERY_BYTE]


@pytest.mark.parametrize(
    ("name", "close"), [("sum", lambda a, b: (a + b) % 256), ("xor", lambda a, b: a ^ b)]
)
def test_checksum_of_every_byte_and_of_pairs(name, close):
    assert [CHECKSUMS[name](data) for data in EVERY_BYTE] == EVERY_BYTE
    assert all(CHECKSUMS[name](data) == bytes([close(*data)]) for data in PAIRS)


def test_fixed_frame_of_every_length_is_read_and_one_wrong_byte_spoils_it(level_with):
    for length in range(5, 257):
        keys = {"kind": "fixed", "length": length, "start": "aa", "value": {"at": 1, "code": "B"}}
        decoder = decoder_for(level_with(**keys, checksum="crc16"))
        body = bytes([0xAA, 7]) + bytes(index % 97 for index in range(length - 4))
        frame = body + CHECKSUMS["crc16"](body)
        assert values_of(decoder.feed(frame * 2, 1.0)) == [7.0, 7.0], length
        assert values_of(decoder.feed(frame[:2] + bytes([frame[2] ^ 1]) + frame[3:], 2.0)) == [], length
        assert values_of(decoder.feed(frame, 3.0)) == [7.0], length


def values_of(decoded):
    """The good readings."""
    return [reading.value for reading in decoded if reading.flag == FLAGS["good"]]


def test_time_on_the_wire_counts_start_data_parity_and_stop_bits():
    """10 bits a byte at 8N1 (asynchronous serial framing); one more with parity."""
    for bytesize, parity, stopbits in product((5, 6, 7, 8), "NEOMS", (1, 1.5, 2)):
        port = Port("/dev/invented", 1200, bytesize, parity, stopbits)
        bits = 1 + bytesize + (parity != "N") + stopbits
        assert wire_time_s(port, 120) == pytest.approx(0.1 * bits), port
