"""Finding speed and framing on a line simulated bit by bit: its voltage in time, not its bytes."""

import random

import pytest

from acquire.bench.identify import identify
from acquire.receive.wire.scoring import (
    Heard,
    frame_length,
    framing_of,
    is_certain,
    line_shape,
    score,
    whole_lines,
)

SPEEDS = (9600, 4800, 2400, 1200, 19200, 38400, 57600, 115200)
FRAMINGS = ("8N1", "7E1", "7O1", "7N2", "8E1", "8O1")


def framed_bits(byte, framing):
    """One character as it goes over the wire: start bit 0, data low bit first, parity, stop bits 1."""
    size, parity, stops = int(framing[0]), framing[1], int(framing[2])
    data = [(byte >> place) & 1 for place in range(size)]
    parities = {"N": [], "E": [sum(data) % 2], "O": [1 - sum(data) % 2]}
    return [0, *data, *parities[parity], *[1] * stops]


class Wire:
    """A line that idles high and carries lines of text with pauses between them; times in seconds."""

    def __init__(self, lines, speed, framing, pause_s):
        self.changes = [(0.0, 1)]
        now_s = 0.01
        for line in lines:
            for byte in line:
                for bit in framed_bits(byte, framing):
                    if bit != self.changes[-1][1]:
                        self.changes.append((now_s, bit))
                    now_s += 1 / speed
            if self.changes[-1][1] == 0:
                self.changes.append((now_s, 1))
            now_s += pause_s
        self.end_s = now_s
        self._at = 0

    def level(self, time_s):
        while self._at + 1 < len(self.changes) and self.changes[self._at + 1][0] <= time_s:
            self._at += 1
        return self.changes[self._at][1]

    def next_change(self, time_s, level):
        self.level(time_s)
        for at in range(self._at, len(self.changes)):
            if self.changes[at][1] == level and self.changes[at][0] >= time_s:
                return self.changes[at][0]
        return None

    def received(self, speed, from_s):
        """What a receiver set to 8N1 at `speed` makes of it: bytes and framing errors."""
        self._at, now_s, data, errors = 0, from_s, bytearray(), 0
        while (fall_s := self.next_change(now_s, 0)) is not None:
            bits = [self.level(fall_s + (place + 0.5) / speed) for place in range(10)]
            data.append(sum(bit << place for place, bit in enumerate(bits[1:9])))
            now_s = fall_s + 9.5 / speed
            if bits[9] == 0:
                errors += 1
                if self.level(now_s) == 0:
                    now_s = self.next_change(now_s, 1) or self.end_s
        return bytes(data), errors


def invented_device(rng):
    """Lines of some instrument: a slowly wandering number in a form of its own."""
    width, decimals = rng.choice([(6, 1), (8, 3), (9, 4), (7, 2)])
    before, after = rng.choice(["", "", "A", "X ", "ST,"]), rng.choice(["", " mm", " um/m", "in", ""])
    end = rng.choice(["\r\n", "\r\n", "\r", "\n"])
    value, lines = rng.uniform(-300, 300), []
    for _ in range(14):
        value += rng.gauss(0, 0.02)
        lines.append(f"{before}{value:+0{width + 1}.{decimals}f}{after}{end}".encode())
    return lines


def device_of(seed):
    """A seeded device: its speed and framing, its wire, and where in its stream listening begins."""
    rng = random.Random(seed)
    speed, framing = rng.choice(SPEEDS), rng.choice(FRAMINGS)
    true_speed = speed * (1 + rng.uniform(-0.012, 0.012))
    wire = Wire(invented_device(rng), true_speed, framing, rng.choice([0.0, 0.004, 0.05]))
    return speed, framing, wire, rng.uniform(0, wire.end_s / 4)


def heard_of(seed):
    """What is heard of a seeded device at every speed."""
    speed, framing, wire, from_s = device_of(seed)
    return speed, framing, [Heard(listen, *wire.received(listen, from_s)) for listen in SPEEDS]


@pytest.mark.statistics
def test_identify_finds_speed_and_framing_of_at_least_95_of_100_devices():
    right = 0
    for seed in range(100):
        speed, framing, wire, from_s = device_of(seed)

        def listening(port, most_s, is_enough, request, wire=wire, from_s=from_s):
            data, errors = wire.received(port.baud, from_s)
            if (port.bytesize, port.parity) == (8, "N"):
                return data, errors
            return bytes(byte & (2**port.bytesize - 1) for byte in data), 0

        found = identify("/dev/invented", listening=listening).port
        right += (found.baud, f"{found.bytesize}{found.parity}{found.stopbits:g}") == (speed, framing)
    assert right >= 95


@pytest.mark.statistics
def test_no_wrong_speed_is_ever_called_certain_and_the_right_one_mostly_is():
    certain = 0
    for seed in range(100, 140):
        speed, _, heard = heard_of(seed)
        assert {one.baud for one in heard if is_certain(one)} <= {speed}
        certain += any(is_certain(one) for one in heard)
    assert certain >= 36


def test_receiver_of_the_tests_reads_its_own_framing_exactly():
    line = b"+0012.34\r\n"
    assert Wire([line], 9600, "8N1", 0.0).received(9600, 0.0) == (line, 0)


def test_even_and_odd_parity_need_the_errors_that_the_driver_counts():
    line = b"+0012.34\r\n" * 5
    data, errors = Wire([line], 9600, "8O1", 0.0).received(9600, 0.0)
    assert framing_of(Heard(9600, data, errors)).parity == "O"
    assert framing_of(Heard(9600, data, None)).parity == "N"


def test_silence_scores_nothing():
    assert score(Heard(9600, b"")) == 0.0 and "too little" in framing_of(Heard(9600, b"")).doubt


def test_first_and_last_line_are_left_out_for_they_may_be_cut():
    assert whole_lines(b"2.5\r\n+12.5\r\n+12.6\r\n+1") == [b"+12.5", b"+12.6"]


@pytest.mark.parametrize(
    ("lines", "values"),
    [
        (["+12.5", "-3.25", "4.0"], [12.5, -3.25, 4.0]),
        (["A,1,+12.50,mm", "A,1,-3.25,mm"], [12.5, -3.25]),
        (["- 0.5 mm  21.0 C", "+10.5 mm  21.0 C", "+ 0.7 mm  21.0 C"], [-0.5, 10.5, 0.7]),
        (["0,25", "-1,50"], [0.25, -1.5]),
        (["-1.23E+00", "4.56E-01"], [-1.23, 0.456]),
    ],
)
def test_proposed_pattern_reads_the_lines_that_it_was_made_from(dial_with, lines, values):
    from acquire.receive.wire.kinds import decoder_for

    shape = line_shape(lines)
    dial = dial_with(kind="lines", pattern=shape.pattern, decimal=shape.decimal)
    found = decoder_for(dial).feed("\n".join([*lines, ""]).encode(), 0.0)
    assert [reading.value for reading in found] == pytest.approx(values)


def test_number_that_varies_is_the_value():
    assert line_shape(["7 +1.0 20", "7 +2.0 20"]).pattern.index("?P<value>") > 5


@pytest.mark.parametrize("lines", [[], ["menu", "help"], ["A 1", "B 2"], ["1 2", "1"]])
def test_lines_that_differ_otherwise_get_no_pattern(lines):
    assert line_shape(lines) is None


def test_length_of_binary_frames_is_seen():
    rng = random.Random(1)
    data = b"".join(b"\xaa\x55" + bytes([rng.randrange(256), rng.randrange(4), 0]) for _ in range(30))
    assert frame_length(data) == 5 and frame_length(random.Random(2).randbytes(200)) is None
