"""Damaged byte streams, in short; the long form is tests/benchmarks/wire_fuzz.py."""

import random

import pytest

from acquire.receive.wire.kinds import decoder_for

KINDS = ["lines", "fixed", "modbus", "counter"]


@pytest.mark.statistics
@pytest.mark.parametrize("kind", KINDS)
def test_damaged_streams_give_no_false_reading_and_lose_no_intact_frame(wire_fuzz, kind):
    outcome = wire_fuzz.run(kind, 3000, seed=20251125)
    assert (outcome.false_readings, outcome.lost) == (0, 0)
    assert outcome.good > 1.5 * outcome.mutations


@pytest.mark.statistics
@pytest.mark.parametrize("kind", KINDS)
def test_pure_noise_never_raises_and_is_held_in_bounded_memory(wire_fuzz, kind):
    rng = random.Random(7)
    decoder = decoder_for(wire_fuzz.KINDS[kind].instrument)
    for turn in range(200):
        decoder.feed(rng.randbytes(500), turn * 0.01)
        if turn % 50 == 0:
            decoder.asked("invented", turn * 0.01)
    decoder.finish()
    assert len(decoder._pending) <= 300


def test_own_generator_agrees_with_the_published_check_values(wire_fuzz):
    """CRC-16/MODBUS of the text 123456789 is 0x4B37, low byte first (published, catalogue of CRCs)."""
    assert wire_fuzz.crc_bit_by_bit(b"123456789") == bytes.fromhex("37 4B")
