"""Places along the bed: one tolerance for its ends, one for sameness."""

import numpy as np
import pytest

from acquire.model.errors import EntryError
from acquire.model.places import SLACK_MM, is_on_bed, is_same_place
from acquire.model.traverse import Setup
from acquire.reduce.written.values import check_on_bed

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
    half = 100.0 if setup is SETUPS[0] else 0.0  # the carriage's own bearing is not the level's base
    kept = [x for x in places if setup.is_on_bed(x)]
    assert (kept[0], kept[-1]) == (half - SLACK_MM, 1000 - half + SLACK_MM)


def test_a_column_of_places_is_judged_as_each_is():
    x = np.array([-2.1, -2.0, 0.0, 1002.0, 1002.1])
    assert is_on_bed(1000.0, x).tolist() == [is_on_bed(1000.0, float(each)) for each in x]


def test_a_place_in_inches_is_the_place_in_millimetres():
    assert is_same_place(round(6.5 * 25.4, 2), 6.5 * 25.4)
    assert not is_same_place(100.0, 100.02)
