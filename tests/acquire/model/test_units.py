"""Shop units at the doors.

Factors are exact by definition: 1 in = 25.4 mm, 1″ = π/648000 rad; that 0.02 mm/m is 4.125296″ and
0.0005 in/ft 41.6667 µm/m follows from them (derived).
"""

import contextlib
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.model.errors import UnitError
from acquire.model.quantity import QUANTITIES
from acquire.model.units import (
    height_numbers,
    height_text,
    parse_reading,
    slope_numbers,
    slope_text,
)

DEFINED = [
    (1, "position", "in", 25.4),
    (1, "offset", "thou", 25.4),
    (1, "slope", "arcsec", 4.84813681109536),
    (0.02, "slope", "mm/m", 4.125296 * 4.84813681109536),
    (0.0005, "slope", "in/ft", 41.6667),
    (1, "roll", "deg", 17453.2925199433),
]


@pytest.mark.parametrize(("value", "quantity", "unit", "contract"), DEFINED)
def test_factors_are_those_of_the_definitions(value, quantity, unit, contract):
    assert QUANTITIES[quantity].to_contract(value, unit) == pytest.approx(contract, rel=1e-6)


def test_every_quantity_has_its_contract_unit_at_factor_one():
    assert all(each.units[each.contract_unit] == 1.0 for each in QUANTITIES.values())


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("3", 3, None),
        ("+3,5", 3.5, None), (".5", 0.5, None), ("−2 thou", -2, "thou"), ("1e-3 in", 0.001, "in"),
        ("2 div", 2, "div"), ("5 μm", 5, "um"), ("2'", 120, "arcsec"), ("-1°30′", -5400, "arcsec"),
        ("0°0'1,5\"", 1.5, "arcsec"), ("1°8″", 3608, "arcsec"), ('3"', 3, "in"), ("0.02 mm/m", 0.02, "mm/m"),
    ],
)  # fmt: skip
def test_hand_written_numbers_are_understood(text, value, unit):
    reading = parse_reading(text)
    assert reading.value == pytest.approx(value) and reading.unit == unit


MINUS = {"hyphen-minus": "-", "minus": "−", "en dash": "–", "em dash": "—", "hyphen": "‐",
         "hyphen that does not break": "‑", "figure dash": "‒", "full width": "－"}  # fmt: skip
"""What keyboards, spreadsheets and word processors put for a minus (common practice)."""


@pytest.mark.parametrize(
    ("digits", "value"),
    [("3", 3), (" 0,02 mm", 0.02), (".5 thou", 0.5), ("1e-3 in", 0.001), ("2'08.5″", 128.5), ("1°30'", 5400)],
)
def test_every_sign_for_a_minus_stands_before_every_form_of_a_number(digits, value):
    for name, minus in MINUS.items():
        assert parse_reading(minus + digits).value == pytest.approx(-value), name


@pytest.mark.parametrize(
    "text", ["", "-", "1,234.5", "1.2.3", "1 2", "nan", "inf", "1e999", "2°8", "five", "3 µ"]
)
def test_what_is_no_number_with_a_known_unit_is_refused(text):
    with pytest.raises(UnitError):
        parse_reading(text)


@pytest.mark.statistics
@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.text(max_size=12))
def test_any_text_is_a_finite_reading_or_a_unit_error(text):
    with contextlib.suppress(UnitError):
        assert math.isfinite(parse_reading(text).value)


def test_no_more_digits_than_the_uncertainty_supports():
    assert height_text(-41.26, uncertainty_um=0.2) == "-41.3 µm (-1.624 thou)"
    assert height_text(-41.26, uncertainty_um=20) == "-40 µm (-1.6 thou)"
    assert slope_text(0.04, uncertainty_um_per_m=1) == "0 µm/m (0.00 thou/ft)"


@pytest.mark.parametrize("inch", [False, True])
@pytest.mark.parametrize("u", [0.03, 0.3, 2.0, 3.0, 12.0, 30.0, 127.0, 400.0])
def test_what_is_nothing_in_one_unit_is_nothing_in_the_other(u, inch):
    for um in [*(0.1 * k * u for k in range(-40, 41)), 10.0, 12.7, 25.4]:
        for first, second in (height_numbers(um, inch, u), slope_numbers(um, inch, u)):
            assert (float(first) == 0) == (float(second) == 0), (um, u, first, second)


def test_no_digit_is_printed_that_lies_below_the_uncertainty():
    """A standard uncertainty of 30 µm is more than a thou: neither tenths of it nor single µm are known."""
    assert height_text(10.0, inch=True, uncertainty_um=30.0) == "0 thou (0 µm)"
    assert height_text(40.0, inch=True, uncertainty_um=30.0) == "2 thou (40 µm)"
    assert height_text(10.0, uncertainty_um=30.0) == "10 µm (0.4 thou)"


def test_slope_of_no_stated_uncertainty_is_said_to_a_hundredth_of_a_thou_a_foot():
    assert slope_text(0.0, inch=True) == "0.00 thou/ft (0 µm/m)"
    assert slope_text(-8.33, inch=True) == "-0.10 thou/ft (-8 µm/m)"
    assert slope_text(-8.33) == "-8.3 µm/m (-0.100 thou/ft)"
