"""Slips of writing down: named, undone, and undone again."""

import re

import numpy as np
import pytest

from acquire.model.errors import EntryError
from acquire.model.quantity import OFFSET, ROLL, SLOPE
from acquire.model.slips import (
    are_turned_alike,
    as_meant,
    parsed,
    run_slips,
    slip_of_reading,
    together,
    undone,
)
from acquire.model.traverse import Setup, Stations
from tests.invented import bed_toml, dial, level

BED = bed_toml(
    faces=("way",),
    instruments={"level": level(2), "vial": level(0.1, per_division=20), "dial": dial(0.1, unit="thou")},
)


def setup_of(instrument="level", **more):
    quantity = "offset" if instrument == "dial" else "slope"
    return Setup(instrument, quantity, BED, source="enter", face="way", **more)


def run(station_mm=(100.0, 300, 500, 900), reading=(1.0, 2, 3, 4)):
    x = np.array(station_mm)
    none = np.zeros(len(x))
    return Stations(x, np.array(reading), none + 2.0, none, none + 1, none + 1, np.arange(len(x)) * 60.0)


@pytest.mark.parametrize(
    ("reading", "words"),
    [(34.0, "ten times too large"), (-3.4, "sign"), (86.0, "thou"), (3.9, None), (60.0, None)],
)
def test_slip_is_named_only_where_it_explains_the_reading(reading, words):
    guess = slip_of_reading(reading, 3.4, 0.3, OFFSET)
    assert (guess is None) if words is None else words in guess


def test_beside_nothing_no_slip_is_named_that_would_make_nothing_of_whatever_was_typed():
    assert slip_of_reading(50.0, -3.0, 2.0, SLOPE) is None
    assert "ten times too small" in (slip_of_reading(2.0, 20.0, 1.0, SLOPE) or "")


def test_unit_of_an_angle_is_no_slip_of_a_length():
    assert slip_of_reading(48.5, 10.0, 0.2, SLOPE) == "µm/m written where arcsec are read"
    assert slip_of_reading(48.5, 10.0, 0.2, OFFSET) is None


@pytest.mark.parametrize(
    ("instrument", "names"),
    [
        (
            "level",
            {
                "turned",
                "order",
                "turned order",
                "mirrored",
                "turned mirrored",
                "unit:arcsec",
                "unit:mm/m",
                "times:20",
                "times:10",
            },
        ),
        ("vial", {"turned", "unit:um/m", "unit:arcsec", "times:2", "shifted:+200", "shifted:-200"}),
        ("dial", {"sign", "sign order", "unit:um", "unit:mm", "times:0.1"}),
    ],
)
def test_every_run_is_suspected_of_what_its_instrument_invites(instrument, names):
    found = {" ".join(slip.names) for slip in run_slips(setup_of(instrument), run())}
    assert names <= found
    assert len(found) == len(run_slips(setup_of(instrument), run()))


def test_places_from_a_scale_are_neither_in_the_wrong_order_nor_shifted():
    setup = setup_of(position="scale:dro")
    names = " ".join(" ".join(slip.names) for slip in run_slips(setup, run()))
    assert not {"order", "mirrored", "shifted"} & set(re.split(r"[ :]", names))
    for name in ("order", "mirrored"):
        with pytest.raises(EntryError, match="scale"):
            parsed([name], setup)


def test_order_turns_the_readings_round_over_their_places_with_their_gaps():
    """Typed from 100: 1 2 3 - 4; they were read from 900: derived by hand."""
    slip = parsed(["order"], setup_of())
    found = undone(setup_of(), run(), slip, gap_mm=[700.0])
    assert dict(zip(found.station_mm, found.reading, strict=True)) == {900: 1, 700: 2, 500: 3, 100: 4}
    np.testing.assert_array_equal(found.time_s, [180.0, 120, 60, 0])
    assert as_meant(setup_of(), slip).direction == "reverse"


def test_places_measured_from_the_other_end_are_turned_about_the_bed():
    """Of a bed of 1000 mm; first read was what was typed first, now farthest from station 0: by hand."""
    slip = parsed(["mirrored"], setup_of())
    found = undone(setup_of(), run(station_mm=(100.0, 200, 300, 400)), slip)
    assert dict(zip(found.station_mm, found.reading, strict=True)) == {900: 1, 800: 2, 700: 3, 600: 4}
    np.testing.assert_array_equal(found.time_s, [180.0, 120, 60, 0])
    assert as_meant(setup_of(), slip).direction == "reverse"
    assert as_meant(as_meant(setup_of(), slip), slip) == setup_of()
    both = parsed(["order", "mirrored"], setup_of())
    assert as_meant(setup_of(), both).direction == "forward"
    np.testing.assert_array_equal(
        undone(setup_of(), run(station_mm=(100.0, 200, 300, 400)), both).reading, [1, 2, 3, 4]
    )
    assert together(("mirrored",), slip.names) == ("written",)


@pytest.mark.parametrize(
    ("station_mm", "gap_mm", "is_alike"),
    [
        ((100.0, 400, 600, 900), (), True),
        ((100.0, 300, 500, 900), (), False),
        ((100.0, 300, 900), (700.0,), True),
    ],
)
def test_turned_about_its_own_places_is_turned_about_the_bed_where_they_lie_evenly_about_its_middle(
    station_mm, gap_mm, is_alike
):
    assert are_turned_alike(setup_of(), np.array(station_mm), gap_mm) is is_alike


def test_unit_multiplies_readings_and_their_scatter_but_not_the_instrument():
    setup = setup_of("vial")
    slip = parsed(["unit:um/m"], setup)
    found = undone(setup, run(reading=(20.0, 40, 60, 80)), slip)
    np.testing.assert_allclose(found.reading, [1, 2, 3, 4])
    np.testing.assert_allclose(found.standard_uncertainty, 2.0)  # 0.1 divisions of 20 µm/m


def test_shift_leaves_out_what_then_lies_off_the_bed():
    found = undone(setup_of(), run(), parsed(["shifted:200"], setup_of()))
    np.testing.assert_array_equal(found.station_mm, [300, 500, 700])


def test_turning_twice_is_not_turning():
    setup = setup_of()
    slip = parsed(["turned", "order"], setup)
    assert as_meant(as_meant(setup, slip), slip) == setup
    assert together(("turned", "order"), slip.names) == ("written",)


@pytest.mark.parametrize(
    "name", ["sideways", "unit:furlong", "unit:um/m", "times:0", "times:nan", "shifted:", ""]
)
def test_names_that_mean_nothing_are_refused(name):
    with pytest.raises(EntryError):
        parsed([name], setup_of())


def test_a_dial_is_not_turned_end_for_end():
    with pytest.raises(EntryError, match="--as sign"):
        parsed(["turned"], setup_of("dial"))
    assert parsed(["turned"], setup_of()).is_turned and ROLL.is_angle
