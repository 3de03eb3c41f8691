"""A stream decoded in blocks gives what feeding its chunks one by one gives."""

import random
from dataclasses import dataclass

import numpy as np
import pytest

from acquire.receive.wire import decode_all, decoder_for
from acquire.receive.wire.kinds import tell
from acquire.receive.wire.whole import CHUNKS_AT_ONCE


@dataclass(frozen=True)
class Happened:
    time_s: float
    kind: str
    text: str


NUMBER = r"(?P<value>[-+]?\d+(?:\.\d+)?)"
WIRES = {
    "lines": {"pattern": NUMBER},
    "lines ended by CR LF": {"pattern": NUMBER, "ends": "crlf", "longest_line": 20},
    "lines that are asked for": {"pattern": NUMBER, "ask": "R\\r\\n"},
    "counter": {"kind": "counter", "counts_per_mm": 200, "wrap": 1000, "pattern": r"(?P<value>\d+)"},
    "fixed": {"kind": "fixed", "length": 4, "start": "2b", "value": {"at": 1, "bcd": 6, "packed": True}},
}
WORDS = [
    b"+1.5",
    b"-22.75",
    b"7",
    b"999",
    b"",
    b"?!",
    b"\xff\xfe",
    b"nan",
    b"9.9E37",
    b"R",
    b"1" * 30,
    b"+" * 150,
]
ENDS = [b"\r\n", b"\r\n", b"\r\n", b"\n", b"\r", b""]


def stream_of(seed, length=1500):
    """Seeded lines, some spoiled, in chunks that end anywhere; and events among them."""
    rng = random.Random(seed)
    raw = b"".join(rng.choice(WORDS) + rng.choice(ENDS) for _ in range(length))
    ends = sorted({rng.randrange(1, len(raw)) for _ in range(length * rng.choice([1, 4]))} | {len(raw)})
    times = np.cumsum([rng.choice([0.0, 0.01, 0.02]) for _ in ends])
    kinds = ["asked", "lost", "reopened", "silent"]
    texts = ["level: level", "level: other", "dial: level"]
    events = [
        Happened(rng.uniform(-1, times[-1] + 1), rng.choice(kinds), rng.choice(texts))
        for _ in range(rng.choice([0, 3, 200]))
    ]
    return raw, ends, times, events


def one_by_one(level, raw, ends, times, events):
    """The plain way: each event told before the first chunk that is not before it."""
    decoder, out, start = decoder_for(level), [], 0
    waiting = sorted((event for event in events if event.text.startswith("level:")), key=lambda e: e.time_s)
    for end, time_s in zip(ends, times, strict=True):
        while waiting and waiting[0].time_s <= time_s:
            tell(decoder, waiting.pop(0))
        out += decoder.feed(raw[start:end], float(time_s))
        start = end
    return out + decoder.finish()


@pytest.mark.parametrize("wire", WIRES)
@pytest.mark.parametrize("seed", range(4))
def test_blocks_give_what_single_chunks_give(level_with, wire, seed):
    level = level_with(**WIRES[wire])
    raw, ends, times, events = stream_of(seed)
    plain = one_by_one(level, raw, ends, times, events)
    found = decode_all(level, raw, ends, times, events)
    assert len(plain) > 100
    for name in ("time_s", "value", "flag", "arrival_s", "raw_end"):
        expected = np.array([getattr(row, name) for row in plain])
        np.testing.assert_array_equal(getattr(found, name), expected, err_msg=name)
    reasons = [row.reason for row in plain if row.reason]
    assert counted(found) == {reason: reasons.count(reason) for reason in reasons}


def counted(found):
    """How many were not good, by reason."""
    return {why: each.count for why, each in found.refused.items()}


def test_line_over_the_edge_of_two_blocks_is_one_reading(level_with):
    chunks = 2 * CHUNKS_AT_ONCE + 3
    found = decode_all(
        level_with(pattern=NUMBER),
        b"12.5\n" * chunks,
        np.arange(1, chunks + 1) * 5 - 2,
        np.arange(chunks) * 0.1,
    )
    assert (found.value == 12.5).all() and len(found.value) == chunks - 1


def test_unequal_columns_are_refused(level_with):
    with pytest.raises(ValueError, match="2 chunks but 1 times"):
        decode_all(level_with(pattern=NUMBER), b"1\n2\n", [2, 4], [0.1])


def test_nothing_is_read_across_a_gap(level_with):
    """A chunk of no bytes says that bytes are missing: +12 and 3.4 are no +123.4, and 3.4 is no reading."""
    found = decode_all(level_with(pattern=NUMBER), b"+1.0\n+123.4\n+5.0\n", [8, 8, 17], [0.1, 0.1, 0.3])
    assert found.value[found.flag == 0].tolist() == [1.0, 5.0]
    assert counted(found) == {
        "bytes after it are missing": 1,
        "bytes before it are missing": 1,
    }


def test_line_that_begins_at_a_gap_is_not_trusted(level_with):
    """12.345 without its beginning is 2.345, as long as its neighbours may be."""
    raw = b"1.111\n2.345\n2.351\n"
    found = decode_all(level_with(pattern=NUMBER), raw, [6, 6, len(raw)], [0.1, 0.1, 0.3])
    assert found.flag.tolist() == [0, 1, 0]
    assert found.value[found.flag == 0].tolist() == [1.111, 2.351]


def test_answer_to_a_request_that_is_lost_is_not_taken(level_with):
    events = [Happened(0.0, "asked", "level: level"), Happened(3.0, "asked", "level: level")]
    raw = b"+1.0\n+9.0\n+2.0\n"
    found = decode_all(level_with(pattern=NUMBER, ask="R"), raw, [5, 5, 10, 15], [0.2, 0.2, 2.0, 3.2], events)
    assert found.value.tolist() == [1.0, 2.0]
    assert found.time_s == pytest.approx([0.1, 3.1])
