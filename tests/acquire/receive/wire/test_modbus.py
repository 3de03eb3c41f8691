"""Modbus RTU: our client against published frames and against a server from outside the project."""

import struct

import pytest

from acquire.model.bed import Instrument, Port
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import FLAGS
from acquire.receive.ports.asking import plan_ports
from acquire.receive.ports.reader import PortReader
from acquire.receive.wire.frames import crc16
from acquire.receive.wire.kinds import decoder_for, tell
from acquire.receive.wire.modbus import with_crc


def meter(name="meter", url="loop://", **wire):
    described = {"kind": "modbus", "register": 0, **wire}
    return Instrument(name, "temperature", "degC", port=Port(url, 19200), wire=described)


@pytest.mark.parametrize(
    ("body", "closing"),
    [
        ("01 03 00 02 00 01", "25 CA"),  # published: read in public threads
        ("10 06 02 02 00 03", "6A F2"),  # published: likewise
        ("01 03 02 01 84", "B9 B7"),  # published: likewise
        ("01 03 00 00 00 0A", "C5 CD"),  # from memory, verified
        ("11 03 00 6B 00 03", "76 87"),  # from memory, verified
    ],
)
def test_frames_are_closed_as_published(body, closing):
    assert with_crc(bytes.fromhex(body)) == bytes.fromhex(body + closing)


def test_crc_has_its_published_check_value():
    """Published (catalogue of CRC parameters): CRC-16/MODBUS of 123456789 is 0x4B37."""
    assert crc16(b"123456789") == 0x4B37


def test_request_is_the_published_one():
    assert decoder_for(meter(register=2)).request() == bytes.fromhex("01 03 00 02 00 01 25 CA")


def test_published_reply_is_read():
    (reading,) = decoder_for(meter(scale=0.1)).feed(bytes.fromhex("01 03 02 01 84 B9 B7"), 1.0)
    assert reading.value == pytest.approx(38.8)


@pytest.mark.parametrize(
    ("kind", "code", "value"),
    [
        ("int16", ">h", -5),
        ("uint16", ">H", 65),
        ("int32", ">i", -40),
        ("uint32", ">I", 70),
        ("float32", ">f", 1.5),
    ],
)
@pytest.mark.parametrize("order", ["high-first", "low-first"])
def test_every_type_and_word_order_is_read(kind, code, value, order):
    data = struct.pack(code, value)
    if order == "low-first" and len(data) == 4:
        data = data[2:] + data[:2]
    frame = with_crc(bytes([1, 3, len(data)]) + data)
    assert decoder_for(meter(type=kind, word_order=order)).feed(frame, 1.0)[0].value == value


def test_refusal_is_told_in_words():
    """From memory (Modbus application protocol): code 2 is an illegal data address."""
    (reading,) = decoder_for(meter()).feed(with_crc(bytes([1, 0x83, 2])), 1.0)
    assert reading.flag == FLAGS["garbled"] and "no such register" in reading.reason


def test_reply_with_a_wrong_crc_is_no_reading_and_the_next_is_read():
    good = with_crc(bytes([1, 3, 2, 0, 7]))
    found = decoder_for(meter()).feed(good[:-1] + b"\0" + good, 1.0)
    assert [reading.flag for reading in found] == [FLAGS["garbled"], 0]


def test_own_request_heard_back_is_passed_over():
    decoder = decoder_for(meter())
    found = decoder.feed(decoder.request() + with_crc(bytes([1, 3, 2, 0, 7])), 1.0)
    assert [reading.value for reading in found] == [7.0]


def test_replies_of_two_registers_of_one_unit_are_told_apart_by_whose_turn_it_is():
    first, second = meter("a", register=0), meter("b", register=1)
    decoders = [decoder_for(first), decoder_for(second)]
    got = {"a": [], "b": []}
    for name, number in (("a", 11), ("b", 22), ("a", 33)):
        for instrument, decoder in zip(("a", "b"), decoders, strict=True):
            decoder.asked(name, 1.0)
            got[instrument] += [r.value for r in decoder.feed(with_crc(bytes([1, 3, 2, 0, number])), 1.1)]
    assert got == {"a": [11.0, 33.0], "b": [22.0]}


@pytest.mark.statistics
def test_real_server_on_a_pseudo_terminal_answers_our_reader(modbus_server):
    """The server is pymodbus, from the package registry: an independent peer."""
    url = modbus_server({0: 0x0123, 1: 0x4048, 2: 0xF5C3, 10: 0xFFFE})
    instruments = [
        meter("whole", url, register=10, every_s=0.02),
        meter("real", url, register=1, type="float32", every_s=0.02),
        meter("absent", url, register=500, every_s=0.05),
    ]
    plan = plan_ports(instruments)
    assert plan.port_of == {"whole": "whole", "real": "whole", "absent": "whole"}
    decoders = {instrument.name: decoder_for(instrument) for instrument in instruments}
    found = {name: [] for name in decoders}
    with PortReader(plan.specs, requests=plan.requests) as reader:
        for _ in range(2000):
            item = reader.get(10.0)
            for name, decoder in decoders.items():
                if isinstance(item, Chunk):
                    found[name] += decoder.feed(item.data, item.time_s)
                elif isinstance(item, Event):
                    tell(decoder, item)
            if all(len(readings) >= 5 for readings in found.values()):
                break
    assert {reading.value for reading in found["whole"]} == {-2.0}
    assert {round(reading.value, 5) for reading in found["real"]} == {3.14}
    assert {reading.reason for reading in found["absent"]} == {"refused: it has no such register"}
    assert all(r.time_s < r.arrival_s for r in found["whole"])
