"""Lines of text, as instruments send them."""

import math
import re
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.model.bed import Instrument
from acquire.model.bed_toml.patterns import line_pattern, pattern_fault
from acquire.model.quantity import OFFSET
from acquire.model.traverse import FLAGS
from acquire.receive.wire.kinds import decoder_for
from acquire.receive.wire.lines import number

NUMBER = r"(?P<value>[-+]?\d+(?:\.\d+)?)"
ANYTHING = r"(?P<value>\S*)"


def fed(instrument, data, time_s=1.0):
    return decoder_for(instrument).feed(data, time_s)


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n"])
def test_every_usual_line_end_ends_a_line(level_with, end):
    found = fed(level_with(pattern=NUMBER), end.join([b"+1.5", b"-2.25", b"3", b""]))
    assert [reading.value for reading in found] == [1.5, -2.25, 3.0]


def test_line_cut_between_cr_and_lf_is_one_line(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER))
    first, second = decoder.feed(b"12.5\r", 1.0), decoder.feed(b"\n13.5\r\n", 2.0)
    assert [reading.value for reading in first + second] == [12.5, 13.5]


def test_unfinished_line_is_never_read(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER))
    assert decoder.feed(b"12.3", 1.0) == []
    assert [reading.value for reading in decoder.feed(b"45\n", 2.0)] == [12.345]


@given(cuts=st.lists(st.integers(0, 29), max_size=8))
def test_readings_do_not_depend_on_the_pieces_in_which_bytes_arrive(cuts):
    from acquire.model.bed import Instrument

    level = Instrument("level", "slope", "um/m", wire={"kind": "lines", "pattern": NUMBER})
    stream = b"+1.5\r\n?\r\n\n-2.25\r300\n+4.5\r\n7\n"
    places = sorted({0, len(stream), *cuts})
    decoder = decoder_for(level)
    pieces = [stream[a:b] for a, b in pairwise(places)]
    found = [reading for piece in pieces for reading in decoder.feed(piece, 0.0)]
    assert [(r.text, r.raw_end) for r in found] == [(r.text, r.raw_end) for r in fed(level, stream, 0.0)]


def test_numeric_response_forms_of_ieee_488_2_are_read():
    """From memory: NR1 whole numbers, NR2 with a point, NR3 with an exponent."""
    assert [number(text) for text in ("-123", "-1.23", "-1.23E+00")] == [-123.0, -1.23, -1.23]


@pytest.mark.parametrize("text", ["9.9E37", "-9.9E37", "9.91E37", "+9.90000E+37"])
def test_numbers_that_stand_for_infinity_or_nothing_are_never_readings(level_with, text):
    """From memory (IEEE 488.2): 9.9E37 infinity, −9.9E37 minus infinity, 9.91E37 not a number."""
    (reading,) = fed(level_with(pattern=ANYTHING), text.encode() + b"\n")
    assert reading.flag == FLAGS["overflow"] and math.isnan(reading.value)


@pytest.mark.parametrize("text", ["nan", "inf", "-Infinity", "1_000", "0x1F", "1,5", "1.2.3", "٣", "", "--1"])
def test_what_is_no_plain_number_is_garbled(level_with, text):
    (reading,) = fed(level_with(pattern=r"V(?P<value>.*)"), b"V" + text.encode() + b"\n")
    assert reading.flag == FLAGS["garbled"] and math.isnan(reading.value) and reading.reason


def test_decimal_comma_is_read_only_where_the_table_says_so(level_with):
    pattern = r"(?P<value>[-+]?\d+[.,]\d+)"
    comma = fed(level_with(pattern=pattern, decimal=","), b"-0,25\n0.25\n")
    assert comma[0].value == -0.25 and comma[1].flag == FLAGS["garbled"]
    assert fed(level_with(pattern=pattern), b"-0,25\n")[0].flag == FLAGS["garbled"]


@pytest.mark.parametrize(
    ("line", "value"),
    [(b"0.02 mm/m", 20.0), (b"-3 um/m", -3.0), ("5 µm/m".encode(), 5.0), ("5 µm/m".encode("latin-1"), 5.0)],
)
def test_unit_in_the_line_is_converted_to_what_the_instrument_reads(level_with, line, value):
    (reading,) = fed(level_with(pattern=NUMBER + r" (?P<unit>\S+)"), line + b"\n")
    assert reading.value == pytest.approx(value)


def test_unit_in_the_line_is_converted_to_divisions_of_a_vial(level_with):
    vial = level_with(pattern=NUMBER + " ?(?P<unit>.*)", instrument={"unit": "mm/m", "per_division": 0.02})
    assert [r.value for r in fed(vial, b"0.05 mm/m\n2 div\n3\n")] == pytest.approx([2.5, 2.0, 3.0])


def test_unit_of_another_quantity_is_garbled(level_with):
    (reading,) = fed(level_with(pattern=NUMBER + r" (?P<unit>\w+)"), b"1.5 mm\n")
    assert reading.flag == FLAGS["garbled"] and reading.words == "'mm' is a unit that does not fit a slope"


def test_two_instruments_pick_their_own_values_from_one_line(level_with):
    line = b"X +1.50 T 21.3\r\n"
    along = level_with(pattern=r"X (?P<value>[-+]\d+\.\d+) T \S+")
    across = level_with(pattern=r"X \S+ T (?P<value>\d+\.\d+)")
    assert fed(along, line)[0].value == 1.5 and fed(across, line)[0].value == 21.3


def test_pattern_must_match_the_whole_line(level_with):
    found = fed(level_with(pattern=NUMBER), b"12.5 ERR\n 12.5 \nmenu 3\n")
    assert [reading.flag for reading in found] == [FLAGS["garbled"], 0, FLAGS["garbled"]]


def test_cut_off_line_is_counted_and_skipped(level_with):
    found = fed(level_with(pattern=r"(?P<value>[-+]\d{2}\.\d{3})"), b"+12.345\r\n+12.\r\n+12.347\r\n")
    assert [reading.flag for reading in found] == [0, FLAGS["garbled"], 0]


def test_endless_line_is_garbled_once_and_reading_goes_on_at_the_next_end(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER, longest_line=20))
    found = [reading for _ in range(1000) for reading in decoder.feed(b"7" * 50, 0.0)]
    assert [reading.flag for reading in found] == [FLAGS["garbled"]]
    assert [reading.value for reading in decoder.feed(b"7\r\n+1.5\r\n", 1.0)] == [1.5]
    assert len(decoder._pending) <= 20


def test_readings_beyond_the_described_range_or_any_possible_one_are_out_of_range(level_with):
    narrow = level_with(pattern=NUMBER, instrument={"range": (-100.0, 100.0)})
    flags = [reading.flag for reading in fed(narrow, b"100\n-100.5\n")]
    assert flags == [0, FLAGS["out_of_range"]]
    assert fed(level_with(pattern=NUMBER), b"2000000\n")[0].flag == FLAGS["out_of_range"]


def test_reading_that_is_not_good_has_no_value(level_with):
    """Whoever forgets to look at the flag must find nothing to count with."""
    narrow = level_with(pattern=NUMBER, instrument={"range": (-100.0, 100.0)})
    for line in (b"-100.5\n", b"9.9e37\n", b"-9.9E37\n", b"x\n"):
        (reading,) = fed(narrow, line)
        assert reading.flag != 0 and math.isnan(reading.value)


def test_what_no_indicator_can_read_is_held_against_the_limit_in_its_own_unit():
    """Of a dial in mm: as large as the largest length is a reading, beyond it is none."""
    most_mm = OFFSET.highest / 1000
    dial = Instrument("dial", "offset", "mm", wire={"kind": "lines", "pattern": NUMBER})
    within, beyond = fed(dial, f"{0.9 * most_mm:.3f}\n{-1.1 * most_mm:.3f}\n".encode())
    assert (within.flag, beyond.flag) == (0, FLAGS["out_of_range"])


def test_first_line_without_its_beginning_is_not_taken_for_a_smaller_number(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER))
    decoder.started(10.0)
    assert decoder.feed(b"2.345\r\n", 10.01) == []
    found = decoder.feed(b"12.346\r\n", 10.11)
    assert [reading.flag for reading in found] == [FLAGS["garbled"], 0]
    assert found[0].raw_end == 6


def test_whole_first_line_is_kept(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER))
    decoder.started(10.0)
    found = decoder.feed(b"12.345\r\n", 10.01) + decoder.feed(b"12.346\r\n", 10.11)
    assert [reading.value for reading in found] == [12.345, 12.346]
    assert found[0].arrival_s == 10.01


def test_first_line_long_after_opening_is_given_at_once(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER))
    decoder.started(10.0)
    assert [reading.value for reading in decoder.feed(b"2.5\r\n", 14.0)] == [2.5]


def test_line_half_read_when_the_port_went_is_not_joined_to_what_comes_after(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER))
    decoder.feed(b"12.3", 1.0)
    decoder.started(5.0)
    found = decoder.feed(b"45\n12.5\n12.6\n", 5.01)
    assert [reading.value for reading in found if reading.flag == 0] == [12.5, 12.6]
    assert [reading.text for reading in found if reading.flag != 0] == ["12.3", "45"]
    assert found[-1].raw_end == len(b"12.345\n12.5\n12.6\n")


def test_sample_time_is_arrival_less_the_time_on_the_wire(level_with):
    """Twelve bytes of ten bits at 9600 baud last 12.5 ms."""
    from acquire.model.bed import Port

    level = level_with(pattern=NUMBER, instrument={"port": Port("/dev/ttyUSB0", 9600)}, ends="crlf")
    (reading,) = fed(level, b"+0000.3772\r\n", 2.0)
    assert reading.time_s == pytest.approx(2.0 - 0.0125) and reading.arrival_s == 2.0


def test_asked_reading_is_stamped_in_the_middle_of_request_and_reply(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER, ask="R\\r\\n"))
    assert decoder.request() == b"R\r\n"
    decoder.asked("level", 4.0)
    (reading,) = decoder.feed(b"R\r\n1.5\r\n", 4.2)
    assert reading.time_s == pytest.approx(4.1) and reading.value == 1.5


def test_same_answer_twice_to_one_request_is_repeated(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER, ask="R"))
    decoder.asked("level", 4.0)
    found = decoder.feed(b"1.5\n1.5\n", 4.1)
    decoder.asked("level", 5.0)
    found += decoder.feed(b"1.5\n", 5.1)
    assert [reading.flag for reading in found] == [0, FLAGS["repeated"], 0]


def test_answer_to_another_instrument_on_the_same_port_is_not_ours(level_with):
    decoder = decoder_for(level_with(pattern=NUMBER, ask="A"))
    decoder.asked("other", 1.0)
    assert decoder.feed(b"99\n", 1.1) == []
    decoder.asked("level", 2.0)
    assert [reading.value for reading in decoder.feed(b"1.5\n", 2.1)] == [1.5]


OPEN = [
    (r"(?P<value>(\d+)*)x", b"1" * 119),
    (r"(?P<value>(a|a)*)b", b"a" * 119),
    (r"(?P<value>.*.*.*.*)x", b"1" * 119),
    (r"(?P<value>(\d|\d\d)+)x", b"1" * 119),
    (r"(?P<value>\d*)(?:x?x?x?x?x?x?x?x?x?x?x?x?x?x?x?x?x?x?x?x?)y", b"x" * 40),
    (r"(?P<value>(?:x+y?)+)z", b"x" * 40),
]


@pytest.mark.parametrize(("pattern", "line"), OPEN)
def test_line_that_a_pattern_could_match_in_countless_ways_holds_nothing_up(
    level_with, at_once, pattern, line
):
    """Python's own matcher takes hours on these."""
    decoder = decoder_for(level_with(pattern=pattern))
    with at_once():
        (reading,) = decoder.feed(line + b"\n", 1.0)
    assert reading.flag == FLAGS["garbled"]


@pytest.mark.parametrize(
    ("pattern", "why"),
    [
        (r"(?P<value>\d+)(?=x)", "looks ahead"),
        (r"(?<=x)(?P<value>\d+)", "looks ahead or behind"),
        (r"(?P<value>\d+)(?P=value)", "refers back"),
        (r"(?P<value>\d+) (x)\2", "refers back"),
        (r"(?P<value>(", "no regular expression"),
        (r"(?P<value>\d{,3})", "{0,3}"),
        (r"(?P<value>\d{1,4000})", "invalid repetition size"),
    ],
)
def test_pattern_that_cannot_be_matched_in_linear_time_is_refused(capfd, pattern, why):
    assert why in (pattern_fault(pattern) or "")
    assert capfd.readouterr() == ("", "")  # the library would say so itself


@pytest.mark.filterwarnings("ignore:Possible nested set", "ignore:Possible set")
@given(
    st.text(alphabet=r"ab\d.*+?()[]|1{},^-", max_size=14),
    st.text(alphabet="ab1.-{}", max_size=8),
)
def test_pattern_takes_of_a_line_what_pythons_own_matcher_takes(pattern, line):
    """A second implementation, which needs no more than a moment for so short a line."""
    pattern = f"(?P<value>{pattern}).*"
    try:
        expected = re.compile(pattern).fullmatch(line)
    except re.error:
        return
    if pattern_fault(pattern) is None:
        found = line_pattern(pattern).fullmatch(line)
        assert (found is None) == (expected is None)
        if found and "(" not in pattern[1:]:  # of a repeated group that takes nothing they keep another turn
            assert found["value"] == expected["value"]
