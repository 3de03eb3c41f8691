"""A stream decoded in blocks gives what feeding its chunks one by one gives."""

import random
from collections import Counter
from itertools import pairwise

import numpy as np
import pytest

from acquire.model.recorded import Event
from acquire.model.traverse import FLAGS
from acquire.receive.wire.kinds import decoder_for, tell
from acquire.receive.wire.regular import blind_from
from acquire.receive.wire.whole import CHUNKS_AT_ONCE, decode_all

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
        Event(rng.uniform(-1, times[-1] + 1), rng.choice(kinds), rng.choice(texts))
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


@pytest.mark.statistics
@pytest.mark.parametrize("wire", WIRES)
@pytest.mark.parametrize("seed", range(4))
def test_blocks_give_what_single_chunks_give(level_with, wire, seed):
    level = level_with(**WIRES[wire])
    raw, ends, times, events = stream_of(seed)
    plain = one_by_one(level, raw, ends, times, events)
    found = decode_all(level, raw, ends, times, events)
    assert len(plain) > 100
    for name in ("time_s", "value", "flag", "arrival_s"):
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
    events = [Event(0.0, "asked", "level: level"), Event(3.0, "asked", "level: level")]
    raw = b"+1.0\n+9.0\n+2.0\n"
    found = decode_all(level_with(pattern=NUMBER, ask="R"), raw, [5, 5, 10, 15], [0.2, 0.2, 2.0, 3.2], events)
    assert found.value.tolist() == [1.0, 2.0]
    assert found.time_s == pytest.approx([0.1, 3.1])


PATTERNS = [
    NUMBER,
    r"(?P<value>[-+]?\d+\.\d+)",
    r"X(?P<value>[-+ ]?\d*\.?\d+) ?\w*",
    r"(?P<value>.*)",
    r"\d+,(?P<value>[-+]?\d+(?:[.,]\d+)?),.*",
    r"(?P<value>\S+)(?: (?P<unit>\S+))?",
    r"(?:(?P<value>\d+)|none)",
    r"01A(?P<value>[-+]?\d+(?:\.\d+)?)",
    r"01A(?P<value>[-+]?\d+)|(?P<unit>2)",
    r"(?P<value>[-+]?[0-4]\.\d+).*",
    r"(?P<value>[-+]?\d{1,2}\.\d{2})",
]
PIECES = [
    *(b"%+.2f" % value for value in (0, 1.5, -22.75, 999.0, 1e5, -1e12)),
    b"1.5E+3", b"- 0.5", b"+ 7", b"9.9E37", b"nan", b"inf", b"1,5", b"12,34,x", b"X+1.25 mm", b"X 3", b"none",
    b"2 mm/m", b"2 um/m", b"", b" ", b"\t4\t", b"?", b"\xff", b"\xc2\xb5", b"\x00", b"\x1c5", b"\x0b6",
    "\u0663".encode(), b"1_000", b"0x10", b".5", b"5.", b"1" * 30,
    b"01A+1.25", b"02A+1.25", b"01A7", b"11A7", b"123456789012345", b"0.12345678901234567", b"-0.00", b"-0",
]  # fmt: skip
LINE_ENDS = {
    "any": [b"\n", b"\r\n", b"\r", b"\n\r"],
    "lf": [b"\n", b"\r\n"],
    "cr": [b"\r", b"\r\n"],
    "crlf": [b"\r\n"],
}


@pytest.mark.statistics
@pytest.mark.parametrize("seed", range(60))
def test_regular_blocks_parsed_at_once_are_to_the_bit_what_each_line_by_itself_gives(level_with, seed):
    """Random wires: patterns, ends, decimal signs, ranges; mostly regular lines among odd ones."""
    rng = random.Random(seed)
    ends = rng.choice(list(LINE_ENDS))
    wire = {
        "pattern": rng.choice(PATTERNS),
        "decimal": rng.choice(".,"),
        "longest_line": 24 + 96 * (seed % 2),
    }
    wire |= {} if ends == "any" else {"ends": ends}
    bounds = rng.choice([None, (-100.0, 100.0), (0.0, 5.0)])
    level = level_with(**wire, instrument={"range": bounds})
    share_odd = rng.choice([0.0, 0.01, 0.3])
    usual = [b"%+.2f" % rng.uniform(-9, 9) for _ in range(50)]
    words = [rng.choice(PIECES if rng.random() < share_odd else usual) for _ in range(900)]
    raw, chunks = b"".join(word + rng.choice(LINE_ENDS[ends]) for word in words), [0]
    while chunks[-1] < len(raw):
        chunks.append(min(len(raw), chunks[-1] + rng.choice([1, 5, 7, 7, 7, 40])))
    times = np.cumsum([rng.uniform(0, 0.02) for _ in chunks[1:]])
    at_once = decode_all(level, raw, chunks[1:], times)
    decoder = decoder_for(level)
    plain = []
    for (start, end), time_s in zip(pairwise(chunks), times, strict=True):
        plain += decoder.feed(raw[start:end], float(time_s))
    plain += decoder.finish()
    for name in ("time_s", "value", "flag", "arrival_s"):
        found = getattr(at_once, name)
        assert found.tobytes() == np.array([getattr(row, name) for row in plain], found.dtype).tobytes(), name
    assert counted(at_once) == Counter(row.reason for row in plain if row.reason)


def test_pattern_that_tells_digits_apart_is_tried_on_every_line(level_with):
    """Lines that differ in their digits alone are not alike to it."""
    lines = [b"%d.5\n" % (k % 10) for k in range(200)]
    found = decode_all(
        level_with(pattern=r"(?P<value>[0-4]\.\d)"), b"".join(lines), np.arange(1, 201) * 4, np.arange(200)
    )
    assert found.flag.tolist() == [0 if k % 10 < 5 else FLAGS["garbled"] for k in range(200)]


@pytest.mark.parametrize(
    "pattern",
    [
        r"1(?P<value>\d+)|2",
        r"(?P<value>[0-5]+)",
        r"(?P<value>\d)(?P=value)",
        r"(?P<value>[.-0-9]+)",
        r"(?P<value>[]{2}]+)",
        r"(?P<value>[\]{2}]+)",
        r"\x31(?P<value>\d+)",
        r"(?P<value>\d+)7",
        r"(?<!1)(?P<value>\d+)",
    ],
)
def test_pattern_that_may_tell_digits_apart_is_never_taken_for_blind(pattern):
    assert blind_from(pattern) is None


def test_regular_lines_are_not_looked_at_one_by_one(level_with, monkeypatch):
    from acquire.receive.wire.lines import LinesDecoder

    looked_at = []
    read = LinesDecoder._read
    monkeypatch.setattr(LinesDecoder, "_read", lambda self, line: looked_at.append(line) or read(self, line))
    lines = [b"%+.3f\r\n" % (0.001 * k) for k in range(20_000)]
    lines[777] = b"?!\r\n"
    ends = np.cumsum([len(line) for line in lines])
    found = decode_all(level_with(pattern=NUMBER), b"".join(lines), ends, 0.01 * np.arange(len(lines)))
    assert len(found.value) == 20_000 and looked_at == [b"?!"]
