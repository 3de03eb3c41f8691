"""Lengths as people write them.

1 in = 25.4 mm and 1 ft = 0.3048 m exactly, t/°C = (t/°F − 32)/1.8: NIST Special Publication 811 (2008),
appendix B.8, from memory.  Other expected numbers follow from these (derived).
"""

import contextlib
import math
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.model.errors import UnitError
from acquire.model.lengths import in_mm, in_um, parse_length
from acquire.model.options import ABOVE_0, FROM_0, Written
from acquire.model.units import Reading, parse_degrees

INCH_MARKS = ["in", " in", " in.", " inch", " inches", '"', "″", "”", "''", "′′", " IN"]
FOOT_MARKS = ["'", "′", "’", "ft", " ft", " ft.", " foot", " feet"]


@pytest.mark.parametrize(
    ("number", "inches"),
    [("12", 12), ("6 1/2", 6.5), ("6-1/2", 6.5), ("6½", 6.5), ("6 ½", 6.5), ("1⁄2", 0.5), ("⅜", 0.375),
     ("0,5", 0.5), (".5", 0.5), ("3 15/16", 3.9375), ("1e-3", 0.001)],
)  # fmt: skip
def test_every_inch_mark_and_fraction_is_read(number, inches):
    for mark in INCH_MARKS:
        assert parse_length(number + mark) == Reading(pytest.approx(inches, abs=1e-15), "in"), mark


@pytest.mark.parametrize(
    ("behind", "inches"),
    [("", 48), (' 3"', 51), ("3", 51), ("-3″", 51), (" - 3 1/2 in", 51.5), ("3½”", 51.5), (", 3 in", 51)],
)
def test_feet_and_the_inches_behind_them_are_read(behind, inches):
    for mark in FOOT_MARKS:
        assert parse_length(f"4{mark}{behind}") == Reading(inches, "in"), mark


@pytest.mark.parametrize("minus", ["-", "−", "–", "‐", "‑", "—"])
def test_every_sign_that_is_used_for_minus_is_one(minus):
    assert parse_length(f"{minus}3 thou") == Reading(-3.0, "thou")
    assert parse_length(f'{minus} 1/2"') == Reading(-0.5, "in")


@pytest.mark.parametrize(
    ("text", "mm"),
    [("304.8mm", 304.8), ("304,8 mm", 304.8), ("1.2 m", 1200), ("30cm", 300),
     ("5 µm", 0.005), ("5 μm", 0.005),
     ("2 thou", 0.0508), ("1 ft", 304.8), ("42 in", 1066.8), ("1/64 in", 0.396875)],
)  # fmt: skip
def test_units_are_worth_what_they_are_defined_as(text, mm):
    assert in_mm(parse_length(text), is_inch=False) == pytest.approx(mm, abs=1e-9)
    assert in_um(parse_length(text), is_inch=True) == pytest.approx(1000 * mm, abs=1e-6)


@pytest.mark.parametrize(
    "text",
    ["", " ", "-", "in", "six", "1,234.5", "1.234,5 mm", "6 5/4", "1/0", "--3", "+-3", "6 1/2 1/2",
     "12 furlong",
     "4' 13\"", "4.5' 3\"", "4'''", '6""', "4'\"", "12 in 3", "3' 6mm", "1 2", "nan", "inf", "1e999",
     "²", "6 1.5/2",
     "0x10", "1_000", "9" * 70, "5 mm/m", "3°"],
)  # fmt: skip
def test_what_is_no_length_is_refused_in_one_line(text):
    with pytest.raises(UnitError) as refused:
        parse_length(text)
    assert "\n" not in str(refused.value) and "such as" in str(refused.value)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(st.text(alphabet="0123456789 .,/'\"-+−½⅛infthoumµe", max_size=12))
def test_any_text_is_a_finite_length_or_refused(text):
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse_length(text).value)


@settings(max_examples=100, deadline=None, derandomize=True)
@given(st.integers(0, 40), st.integers(0, 11), st.integers(0, 63))
def test_feet_inches_and_sixty_fourths_are_their_sum(feet, inches, parts):
    expected = Fraction(12 * feet + inches) + Fraction(parts, 64)
    assert parse_length(f"{feet}' {inches} {parts}/64\"").value == float(expected)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ("32 °F", 0),
        ("212F", 100),
        ("-40 degF", -40),
        ("68°F", 20),
        ("20 °C", 20),
        ("19,5C", 19.5),
        ("−4 °f", -20),
    ],
)
def test_temperatures_are_read_in_either_unit(text, celsius):
    assert parse_degrees(text) == pytest.approx(celsius)


@pytest.mark.parametrize("text", ["68", "", "F", "warm", "20 K", "20 mm F"])
def test_temperature_without_its_unit_is_refused(text):
    with pytest.raises(UnitError):
        parse_degrees(text)


@pytest.mark.parametrize(
    ("option", "text"), [(ABOVE_0, "0"), (ABOVE_0, "-1 in"), (FROM_0, "-1"), (Written(), "x")]
)
def test_option_refuses_what_lies_below_its_lowest(option, text):
    import click

    with pytest.raises(click.BadParameter):
        option.convert(text, None, None)
