"""Binary frames of fixed length."""

import struct

import pytest

from acquire.model.traverse import FLAGS
from acquire.receive.wire.kinds import decoder_for

BARE = {"kind": "fixed", "length": 4, "start": "02", "value": {"at": 1, "code": ">h"}, "checksum": "sum"}


def fed(instrument, data):
    return decoder_for(instrument).feed(data, 1.0)


@pytest.mark.parametrize(
    "code", ["b", "B", "<h", ">h", "<H", ">H", "<i", ">i", "<I", ">I", "<f", ">f", "<d", ">q"]
)
def test_every_struct_code_is_read_as_python_packs_it(dial_with, code):
    """Outside check: the interpreter's own packing."""
    size = struct.calcsize(code)
    dial = dial_with(kind="fixed", length=size + 2, start="7E", end="0D", value={"at": 1, "code": code})
    (reading,) = fed(dial, b"\x7e" + struct.pack(code, 93) + b"\x0d")
    assert reading.value == 93.0


def test_negative_numbers_and_scale(dial_with):
    dial = dial_with(kind="fixed", length=3, start="AA", value={"at": 1, "code": "<h"}, scale=0.001)
    assert fed(dial, b"\xaa" + struct.pack("<h", -1250))[0].value == pytest.approx(-1.25)


@pytest.mark.parametrize(
    ("checksum", "closing"), [("sum", b"\x37"), ("xor", b"\x37"), ("crc16", None), ("none", b"")]
)
def test_each_checksum_lets_the_right_frame_through_and_no_other(dial_with, wire_fuzz, checksum, closing):
    """By hand, hexadecimal: 02 + 01 + 34 is 37, and so is 02 xor 01 xor 34."""
    body = b"\x02\x01\x34"
    if checksum == "crc16":
        closing = wire_fuzz.crc_bit_by_bit(body)
    dial = dial_with(**{**BARE, "length": 3 + len(closing), "checksum": checksum})
    assert [reading.value for reading in fed(dial, body + closing)] == [308.0]
    if closing:
        spoilt = body + bytes([closing[0] ^ 1]) + closing[1:]
        assert [r.value for r in fed(dial, spoilt * 3 + body + closing) if r.flag == 0] == [308.0]


def test_frame_without_its_end_bytes_is_none(dial_with):
    dial = dial_with(kind="fixed", length=4, start="02", end="0D", value={"at": 1, "code": ">h"})
    found = fed(dial, b"\x02\x01\x34\x0a" + b"\x02\x01\x35\x0d")
    assert [each.value for each in found if each.flag == 0] == [309.0]


def test_checksum_may_leave_out_the_start_bytes(dial_with):
    dial = dial_with(**{**BARE, "checksum_from": 1})
    assert fed(dial, b"\x02\x01\x34\x35")[0].value == 308.0


@pytest.mark.parametrize(
    ("field", "data", "value"),
    [
        ({"at": 1, "bcd": 6}, "12 34 56", 123456.0),
        ({"at": 1, "bcd": 5}, "12 34 56", 23456.0),
        ({"at": 1, "bcd": 6, "order": "low-first"}, "56 34 12", 123456.0),
        ({"at": 1, "bcd": 3, "packed": False}, "01 02 33", 123.0),
        ({"at": 1, "bcd": 3, "packed": False, "order": "low-first"}, "03 02 01", 123.0),
    ],
)
def test_digits_in_nibbles_are_read_in_their_order(dial_with, field, data, value):
    dial = dial_with(kind="fixed", length=5, start="FF", end="0A", value=field, instrument={"unit": "um"})
    assert fed(dial, bytes.fromhex("FF" + data + "0A"))[0].value == value


def indicator(dial_with, **more):
    return dial_with(
        kind="fixed",
        length=8,
        start="F0 F1",
        value={"at": 2, "bcd": 6},
        sign={"at": 5, "mask": 0x80, "negative": 0x80},
        decimals={"at": 5, "mask": 0x0F},
        unit_bits={"at": 6, "mask": 0x30, "units": {"0": "mm", "1": "in"}},
        status_bits={"at": 6, "mask": 0x03, "good": 0},
        checksum="xor",
        **more,
    )


def frame(digits, sign_and_decimals, bits):
    body = bytes.fromhex("F0F1" + digits) + bytes([sign_and_decimals, bits])
    check = 0
    for byte in body:
        check ^= byte
    return body + bytes([check])


def test_sign_decimal_point_unit_and_status_all_count(dial_with):
    found = fed(
        indicator(dial_with),
        frame("001250", 0x83, 0x00) + frame("000500", 0x04, 0x10) + frame("000001", 0x00, 0x01),
    )
    assert [reading.value for reading in found[:2]] == pytest.approx([-1.25, 0.05 * 25.4])
    assert found[2].flag == FLAGS["overflow"] and "no reading" in found[2].reason


@pytest.mark.parametrize(
    ("digits", "sign_and_decimals", "bits", "why"),
    [("00A250", 0x03, 0x00, "digit"), ("001250", 0x0C, 0x00, "decimals"), ("001250", 0x03, 0x20, "unit")],
)
def test_intact_frame_with_an_impossible_field_is_garbled(dial_with, digits, sign_and_decimals, bits, why):
    (reading,) = fed(indicator(dial_with), frame(digits, sign_and_decimals, bits))
    assert reading.flag == FLAGS["garbled"] and why in reading.reason


def test_intact_frame_is_found_inside_what_a_false_start_claims(dial_with):
    dial = indicator(dial_with)
    good = frame("001250", 0x03, 0x00)
    found = fed(dial, b"\xf0\xf1\x00" + good + good)
    assert [reading.flag for reading in found] == [FLAGS["garbled"], 0, 0]
    assert found[0].raw_end == 3


def test_reply_without_start_or_checksum_is_read_from_the_request_on(dial_with):
    dial = dial_with(kind="fixed", length=2, value={"at": 0, "code": ">H"}, ask="?")
    decoder = decoder_for(dial)
    decoder.asked("dial", 1.0)
    assert decoder.feed(b"\x01", 1.1) == []
    decoder.asked("dial", 2.0)
    assert [r.value for r in decoder.feed(b"\x00\x07", 2.1) if r.flag == 0] == [7.0]


@pytest.mark.parametrize("bits", [0x7FC00000, 0x7F800000, 0xFF800000])
def test_floats_that_are_no_number_are_garbled(dial_with, bits):
    dial = dial_with(kind="fixed", length=5, start="AA", value={"at": 1, "code": ">f"})
    assert fed(dial, b"\xaa" + bits.to_bytes(4, "big"))[0].flag == FLAGS["garbled"]
