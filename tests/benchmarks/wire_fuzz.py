"""Damaged byte streams against every wire kind: python tests/benchmarks/wire_fuzz.py [MUTATIONS].

Frames are written here by hand, with checksums computed bit by bit, and share nothing with
the decoders. Some are damaged; all are fed in random pieces. Shown: nothing raises, no
reading comes from bytes that are no intact frame, and every intact frame comes out, also
right after a damaged one. The short form is tests/acquire/receive/wire/test_wire_fuzz.py.
"""

import random
import re
import struct
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

from acquire.model.bed import Instrument
from acquire.receive.wire.kinds import decoder_for


def crc_bit_by_bit(data: bytes) -> bytes:
    """CRC-16/MODBUS by its definition: one bit of the message at a time."""
    register = 0xFFFF
    for byte in data:
        for bit in range(8):
            carry = (register ^ (byte >> bit)) & 1
            register = (register >> 1) ^ (0xA001 if carry else 0)
    return bytes([register & 255, register >> 8])


def nibble_digits(number: int, count: int) -> bytes:
    """A decimal number as packed digits, written with string handling alone."""
    return bytes.fromhex(f"{number:0{count}d}")


@dataclass(frozen=True)
class Kind:
    """A wire kind: the instrument, one intact frame of a number, and the check of a frame."""

    instrument: Instrument
    write: Callable[[int], bytes]
    value: Callable[[int], float]
    read_back: Callable[[bytes, int], float | None]
    """The value of the intact frame that ends at a place of the whole stream, by its own check."""
    length: int = 1
    """Bytes of a frame that no mark ends."""


def written_line(number: int) -> bytes:
    return (("-" if number % 2 else "+") + f"{number / 1000:011.3f} mm").encode() + b"\r\n"


def value_of_line(number: int) -> float:
    return number / 1000 * (-1 if number % 2 else 1)


def line_ending_at(stream: bytes, end: int) -> float | None:
    line = re.split(rb"[\r\n]", stream[:end].rstrip(b"\r\n"))[-1]
    found = re.fullmatch(rb"([-+])(\d{7}\.\d{3}) mm", line.strip())
    return None if found is None else float(found[1] + found[2])


def written_fixed(number: int) -> bytes:
    body = b"\xaa\x55" + nibble_digits(number % 10**8, 8) + bytes([0x80 if number % 3 == 0 else 0, 0x03])
    return body + crc_bit_by_bit(body)


def value_of_fixed(number: int) -> float:
    return number % 10**8 / 1000 * (-1 if number % 3 == 0 else 1)


def fixed_ending_at(stream: bytes, end: int) -> float | None:
    frame = stream[end - 10 : end]
    is_intact = len(frame) == 10 and frame[:2] == b"\xaa\x55" and crc_bit_by_bit(frame[:8]) == frame[8:]
    if not is_intact or not frame[2:6].hex().isdecimal():
        return None
    return int(frame[2:6].hex()) / 10 ** (frame[7] & 15) * (-1 if frame[6] & 0x80 else 1)


def written_modbus(number: int) -> bytes:
    body = bytes([17, 4, 4]) + struct.pack(">i", number - 500_000)
    return body + crc_bit_by_bit(body)


def modbus_ending_at(stream: bytes, end: int) -> float | None:
    frame = stream[end - 9 : end]
    if frame[:3] != bytes([17, 4, 4]) or crc_bit_by_bit(frame[:7]) != frame[7:]:
        return None
    return float(int.from_bytes(frame[3:7], "big", signed=True))


def written_counter(number: int) -> bytes:
    return b"C%09d\n" % number


def counter_ending_at(stream: bytes, end: int) -> float | None:
    line = re.split(rb"[\r\n]", stream[:end].rstrip(b"\r\n"))[-1]
    found = re.fullmatch(rb"C(\d{9})", line.strip())
    return None if found is None else int(found[1]) / 200


def _millimetres(wire: dict) -> Instrument:
    return Instrument("invented", "position", "mm", wire=wire)


KINDS = {
    "lines": Kind(
        _millimetres({"kind": "lines", "pattern": r"(?P<value>[-+]\d{7}\.\d{3}) (?P<unit>mm)"}),
        written_line,
        value_of_line,
        line_ending_at,
    ),
    "fixed": Kind(
        _millimetres(
            {
                "kind": "fixed",
                "length": 10,
                "start": "AA 55",
                "value": {"at": 2, "bcd": 8},
                "sign": {"at": 6, "mask": 128, "negative": 128},
                "decimals": {"at": 7},
                "checksum": "crc16",
            }
        ),
        written_fixed,
        value_of_fixed,
        fixed_ending_at,
        10,
    ),
    "modbus": Kind(
        _millimetres({"kind": "modbus", "unit_id": 17, "register": 2, "registers": "input", "type": "int32"}),
        written_modbus,
        lambda number: float(number - 500_000),
        modbus_ending_at,
        9,
    ),
    "counter": Kind(
        _millimetres({"kind": "counter", "counts_per_mm": 200, "pattern": r"C(?P<value>\d{9})"}),
        written_counter,
        lambda number: number / 200,
        counter_ending_at,
    ),
}


def damaged(frame: bytes, rng: random.Random) -> bytes:
    """The frame with one thing wrong with it."""
    place = rng.randrange(len(frame))
    return (
        lambda: frame[:place] + bytes([frame[place] ^ (1 << rng.randrange(8))]) + frame[place + 1 :],
        lambda: frame[:place] + frame[place + 1 :],
        lambda: frame[:place] + rng.randbytes(rng.randint(1, 6)) + frame[place:],
        lambda: frame[:place],
        lambda: frame[place:],
        lambda: frame[:place] + frame,
        lambda: rng.randbytes(rng.randint(1, 40)),
        lambda: frame[:place] + bytes([rng.choice(b"\r\n\x00\xff\x1b0.-")]) + frame[place + 1 :],
    )[rng.randrange(8)]()


@dataclass(frozen=True)
class Outcome:
    """What one damaged stream came to."""

    mutations: int
    false_readings: int
    lost: int
    good: int


def one_stream(kind: Kind, rng: random.Random, frames: int = 60) -> Outcome:
    """Damage some frames of a stream, feed it in pieces, and hold what comes out against the bytes.

    A frame counts as intact if its bytes are whole and nothing before it runs into it: for
    lines, the one before has its end; a cut-off binary frame whose last byte is also the
    first of the next is whole itself, and either may be taken.
    """
    pieces, expected, mutations = [], [], 0
    for number in (rng.randrange(10**6) for _ in range(frames)):
        frame = kind.write(number)
        if rng.random() < 0.4:
            mutations += 1
            pieces.append(damaged(frame, rng))
            continue
        pieces.append(frame)
        expected.append((len(b"".join(pieces)), number))
    pieces += [kind.write(1), kind.write(2), kind.write(3)]
    stream = b"".join(pieces)
    wanted = {end: kind.value(n) for end, n in expected if kind.read_back(stream, end) is not None}
    decoder, good, at = decoder_for(kind.instrument), {}, 0
    while at < len(stream):
        size = rng.choice((1, 2, 7, 30, 200))
        for reading in decoder.feed(stream[at : at + size], at * 1e-3):
            if reading.flag == 0:
                good[reading.raw_end] = reading.value
        at += size
    false = sum(kind.read_back(stream, end) != value for end, value in good.items())
    found = {place for end in good for place in range(end - kind.length + 1, end + kind.length + 1)}
    lost = sum(end not in found for end in wanted)
    false += sum(good.get(end, value) != value for end, value in wanted.items())
    return Outcome(mutations, false, lost, len(good))


def run(name: str, mutations: int, seed: int = 1) -> Outcome:
    """So many mutations of one kind."""
    rng = random.Random(f"{name} {seed}")
    done = Outcome(0, 0, 0, 0)
    while done.mutations < mutations:
        one = one_stream(KINDS[name], rng)
        done = Outcome(
            done.mutations + one.mutations,
            done.false_readings + one.false_readings,
            done.lost + one.lost,
            done.good + one.good,
        )
    return done


if __name__ == "__main__":
    wanted_mutations = int(sys.argv[1]) if len(sys.argv) > 1 else 100_000
    for kind_name in KINDS:
        began = time.perf_counter()
        outcome = run(kind_name, wanted_mutations)
        print(f"{kind_name}: {outcome}, {time.perf_counter() - began:.1f} s")
