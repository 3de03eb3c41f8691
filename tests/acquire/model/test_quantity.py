"""One row a quantity: what everybody who must tell quantities apart asks."""

import pytest

from acquire.model.bed import Instrument
from acquire.model.bed_toml.keys import INSTRUMENT
from acquire.model.errors import TraverseFileError, UnitError
from acquire.model.quantity import MEASURING, QUANTITIES
from acquire.model.traverse import Setup


def test_contract_units_are_those_that_files_promise():
    assert {name: each.contract_unit for name, each in QUANTITIES.items()} == {
        "slope": "um/m", "roll": "um/m", "offset": "um", "span": "um",
        "position": "mm", "temperature": "degC",
    }  # fmt: skip
    assert MEASURING == ("slope", "roll", "offset", "span")


@pytest.mark.parametrize("measures", QUANTITIES.values(), ids=lambda each: each.name)
def test_a_unit_of_another_quantity_is_refused_with_those_allowed(measures):
    foreign = next(u for other in QUANTITIES.values() for u in other.units if u not in measures.units)
    with pytest.raises(UnitError, match=measures.contract_unit):
        measures.to_contract(1.0, foreign)


def test_a_measuring_quantity_is_an_angle_or_a_length_and_never_both():
    for each in QUANTITIES.values():
        assert each.is_measuring == (each.is_angle != each.is_length)


def test_only_what_stands_on_two_feet_along_steps_by_its_base():
    """A cross level may have a base; along the bed it reads at one place."""
    step = {q: Instrument("i", q, QUANTITIES[q].contract_unit, base_mm=200.0).step_mm for q in MEASURING}
    assert step == {"slope": 200.0, "roll": None, "offset": None, "span": None}


def test_keys_of_an_instrument_follow_the_table():
    assert INSTRUMENT["base_mm"].only_for == ("slope", "roll")
    assert INSTRUMENT["pad_mm"].only_for == ("slope",)
    assert INSTRUMENT["carrier_feet_mm"].only_for == MEASURING
    assert INSTRUMENT["overhang_along_mm"].only_for == ("offset", "span")
    assert INSTRUMENT["seating_um"].only_for == MEASURING


def test_traverse_of_no_known_quantity_is_refused_by_number():
    with pytest.raises(TraverseFileError, match="traverse 007: found a quantity 'colour'"):
        _ = Setup("i", "colour", "", number=7).measures
