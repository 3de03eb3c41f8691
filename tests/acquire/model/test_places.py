"""Places along the bed: one tolerance for its ends, one for sameness."""

import numpy as np
import pytest

from acquire.model.errors import EntryError
from acquire.model.places import SLACK_MM, is_on_bed, is_same_place
from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.reduce.written.values import check_on_bed
from acquire.store.traverse_file.sense import faults

BED = """
[bed]
name = "invented bed of the tests"
length_mm = 1000
station_pitch_mm = 100
[faces.front]
normal = "up"
carriage = "front"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 0.5
[instruments.dial]
quantity = "offset"
unit = "um"
standard_uncertainty = 0.5
"""
SETUPS = [
    Setup("level", "slope", BED, face="front"),
    Setup("level", "slope", BED, face="carriage"),
    Setup("dial", "offset", BED, face="front", reference="line"),
]


@pytest.mark.parametrize("setup", SETUPS, ids=["level", "level on the carriage", "indicator"])
def test_what_is_typed_is_refused_where_a_recording_would_leave_it_out(setup):
    def is_taken(station_mm):
        try:
            check_on_bed(setup, station_mm)
        except EntryError:
            return False
        return True

    places = np.linspace(-120, 1120, 1241).tolist()
    assert [is_taken(x) for x in places] == [setup.is_on_bed(x) for x in places]
    kept = [x for x in places if setup.is_on_bed(x)]
    # only a foot may hang over; a carriage's own bearing is not the level's base
    first = 100.0 - SLACK_MM if setup is SETUPS[0] else 0.0
    assert (kept[0], kept[-1]) == (first, 1000 - first)


@pytest.mark.parametrize("setup", SETUPS, ids=["level", "level on the carriage", "indicator"])
def test_no_place_that_is_taken_is_refused_by_the_file(setup):
    """Otherwise a recording could not be converted."""
    kept = np.array([x for x in np.linspace(-120, 1120, 1241).tolist() if setup.is_on_bed(x)])
    zero, one = np.zeros(kept.size), np.ones(kept.size, np.int64)
    stations = Stations(kept, zero, zero, zero, one, one, zero)
    assert faults(Traverse(setup, {}, stations, Events.none(), "stepped", True)) == []


def test_a_column_of_places_is_judged_as_each_is():
    x = np.array([-2.0, 0.0, 1000.0, 1000.5])
    assert is_on_bed(1000.0, x).tolist() == [is_on_bed(1000.0, float(each)) for each in x]


def test_a_place_in_inches_is_the_place_in_millimetres():
    assert is_same_place(round(6.5 * 25.4, 2), 6.5 * 25.4)
    assert not is_same_place(100.0, 100.02)
