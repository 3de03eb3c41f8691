"""A line as the instrument sends it makes the pattern: right lines are taken, damaged ones are not."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.model.bed_toml.examples import UnclearExampleError, pattern_of_example
from acquire.model.bed_toml.reading import parse_bed
from acquire.receive.wire.kinds import decoder_for

BED = """[bed]
name = "invented"
length_mm = 400
station_pitch_mm = 100
[faces.way]
normal = "up"
[instruments.it]
quantity = "{quantity}"
unit = "{unit}"
standard_uncertainty = 1
{more}
[instruments.it.port]
url = "loop://"
[instruments.it.wire]
kind = "lines"
example = '{example}'
"""


def reader_of(example, quantity="offset", unit="mm", more=""):
    bed = parse_bed(BED.format(quantity=quantity, unit=unit, more=more, example=example))
    return decoder_for(bed.instruments["it"])


def read(example, *lines, **how):
    """The values of the lines; None for each that is garbled."""
    return values(reader_of(example, **how), *lines)


def values(decoder, *lines):
    found = decoder.feed("".join(f"{line}\r\n" for line in lines).encode(), 9.0)
    return [reading.value if reading.flag == 0 else None for reading in found]


@pytest.mark.parametrize(
    ("example", "lines", "expected"),
    [
        ("+012.3", ["+012.3", "-000.5", "+999.9"], [12.3, -0.5, 999.9]),
        ("1.5", ["1.5", "-12.5", "103.0"], [1.5, -12.5, 103.0]),
        ("D1 -1,250 mm", ["D1 2,500 mm", "D1 -0,001 mm"], [2.5, -0.001]),
        ("X {+1.50} T 21", ["X +2.25 T 7", "X -2.25 T 121"], [2.25, -2.25]),
        ("X +1.50 Y {-0.25}", ["X +9.00 Y 1.50"], [1.5]),
        ("B 03 +1.234E+00 mm", ["B 04 -2.500E-01 mm"], [-0.25]),
        ("+  1.25", ["+ 12.25", "-  0.50"], [12.25, -0.5]),
        ("123", ["123", "-7", "0"], [123, -7, 0]),
        ("A=-.5;OK", ["A=.5;OK", "A=-.5;OK"], [0.5, -0.5]),
    ],
)
def test_lines_like_the_example_are_read(example, lines, expected):
    assert read(example, *lines) == pytest.approx(expected)


@pytest.mark.parametrize(
    ("example", "line"),
    [
        ("+012.3", "+12.3"),  # a digit lost on the way
        ("+012.3", "012.3"),
        ("+012.3", "+012."),
        ("1.50", "1.5"),
        ("D1 +1.250 mm", "D2 +1.250 mm"),
        ("D1 +1.250 mm", "D1 +1.25 mm"),
        ("D1 +1.250 mm", "D1 +1.250"),
        ("+1.5", "+1.5+1.5"),
        ("+1.5", "ERR"),
        ("X {+1.50} T 21", "X +1.50 T"),
    ],
)
def test_line_that_lost_something_is_garbled_not_another_number(example, line):
    assert read(example, line, example.translate({ord("{"): None, ord("}"): None}))[0] is None


def test_unit_in_a_line_stands_for_itself_whether_the_example_shows_one_or_not():
    assert read("+1.250 mm", "+0.0500 in", "+1.250 mm") == pytest.approx([1.27, 1.25])
    assert read("+1.250", "+1.250 mm", "+1.250", "+0.100in") == pytest.approx([1.25, 1.25, 2.54])
    level = {"quantity": "slope", "unit": "um/m", "more": "base_mm = 200"}
    assert read("+012.3 um/m", "+012.3 µm/m", "+000.1 mm/m", **level) == pytest.approx([12.3, 100])
    assert read("+012.3", "+012.3 um/m", "+012.3 furlong", "+012.3 mm", **level) == [12.3, None, None]


def test_trailing_unit_is_no_garble_for_a_pattern_of_ones_own_either():
    text = BED.format(quantity="offset", unit="mm", more="", example="1.5")
    text = text.replace("example = '1.5'", r"pattern = 'A(?P<value>[-+]\d+\.\d+)'")
    decoder = decoder_for(parse_bed(text).instruments["it"])
    found = values(decoder, "A+1.5", "A+1.5 mm", "A+0.1in", "A+1.5 x", "A+1.5 mm?")
    assert found[:3] == pytest.approx([1.5, 1.5, 2.54]) and found[3:] == [None, None]


@pytest.mark.parametrize(
    "example", ["ready", "X +1.5 Y -2.5", "", "{}", "a {1} b {2}", "{1", "D1", "{1.2.3}"]
)
def test_example_without_one_clear_number_is_refused_with_words(example):
    with pytest.raises(UnclearExampleError, match="number"):
        pattern_of_example(example)


def numerals(most):
    """So many digits at most; to draw strings of an alphabet would take thirty times as long."""
    return st.builds("{:0{}d}".format, st.integers(0, 10**most - 1), st.integers(1, most))


@settings(max_examples=25)
@given(
    st.sampled_from(["", "D1 ", "X=", "CH2: ", "a.b "]),
    st.sampled_from(["+", "-", ""]),
    numerals(6) | st.builds("{}.{}".format, numerals(6), numerals(5)),
    st.sampled_from(["", " mm", "mm", " in", " OK", ";ok", " T 7", ' "', " |*+?("]),
)
def test_every_marked_example_is_like_itself(before, sign, digits, after):
    """Whatever stands around the number, the line of the example is taken, and its number is the value."""
    example = f"{before}{{{sign}{digits}}}{after}"
    match = re.fullmatch(pattern_of_example(example).pattern, f"{before}{sign}{digits}{after}".strip())
    assert match is not None and match["value"] == sign + digits
