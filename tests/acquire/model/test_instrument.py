"""Sign, unit, divisions and offset of a reading: known in one place, for one reading or a column of them."""

import numpy as np
import pytest

from acquire.model.bed import Instrument

INSTRUMENTS = [
    Instrument("vial", "slope", "mm/m", per_division=0.02, sign=-1, resolution=0.5),
    Instrument("dial", "offset", "thou", per_division=0.5),
    Instrument("level", "slope", "arcsec"),
    Instrument("scale", "position", "in", sign=-1, offset_mm=1600.0),
]


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda each: each.name)
@pytest.mark.parametrize("unit", [None, "contract"])
def test_what_is_shown_is_what_the_contract_value_came_from(instrument, unit):
    """Invariance: one undoes the other, for a column as for a single reading."""
    unit = instrument.contract_unit if unit else None
    readings = np.random.default_rng(4).normal(0, 30, 50)
    values = instrument.to_contract(readings, unit)
    np.testing.assert_allclose(instrument.as_shown(values, unit), readings, atol=1e-9)
    assert values.tolist() == [instrument.to_contract(float(each), unit) for each in readings]


@pytest.mark.parametrize(
    ("instrument", "reading", "meant"),
    [
        # derived: 2 divisions of 0.02 mm/m are 40 µm/m; half a thou is 12.7 µm; 1 inch is 25.4 mm by
        # definition; an arcsecond is pi/648000 rad
        (INSTRUMENTS[0], 2.0, -40.0),
        (INSTRUMENTS[1], 1.0, 12.7),
        (INSTRUMENTS[2], 1.0, 1e6 * np.pi / 648000),
        (INSTRUMENTS[3], 10.0, 1600.0 - 254.0),
    ],
)
def test_sign_unit_divisions_and_offset_all_count(instrument, reading, meant):
    assert instrument.to_contract(reading) == pytest.approx(meant, rel=1e-12)


def test_step_and_unit_of_what_is_read():
    vial, dial = INSTRUMENTS[:2]
    assert vial.reading_unit == "div" and INSTRUMENTS[2].reading_unit == "arcsec"
    assert vial.contract_resolution == pytest.approx(10.0) and dial.contract_resolution == 0.0
