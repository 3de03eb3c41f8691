"""Places along the bed: one tolerance for its ends, one for sameness."""

import numpy as np
import pytest

from acquire.entry.under_way import stations_to_read
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import EntryError
from acquire.model.places import SLACK_MM, end_where_rounded, is_in_stretches, is_on_bed, is_same_place
from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.reduce.written.readings import check_on_bed
from acquire.store.traverse_file.sense import faults
from tests.invented import bed_toml, dial, flat, level

BED = bed_toml(faces={"front": flat(carriage="front")}, instruments={"level": level(0.5), "dial": dial(0.5)})
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


IN_INCHES = """
[bed]
name = "invented"
length = "42 in"
station_pitch = "3 in"
[faces.way]
normal = "up"
UNWORN
[instruments.dial]
quantity = "offset"
unit = "thou"
standard_uncertainty = 0.1
"""


@pytest.mark.parametrize(("written", "ends"), [("[[0, 76], [990, 1067]]", 2), ("[[0.3, 75.3]]", 1)])
def test_unworn_stretch_written_in_whole_millimetres_takes_its_stations(written, ends):
    bed = parse_bed(IN_INCHES.replace("UNWORN", f"unworn_mm = {written}"))
    unworn = is_in_stretches(bed.faces["way"].unworn_mm, np.array(bed.station_mm))
    assert unworn.tolist() == [True, True, *([False] * 11), ends == 2, ends == 2]


def test_stretch_that_ends_a_millimetre_short_does_not_take_the_station():
    assert not is_in_stretches([(0.0, 75.2)], 76.2)


@pytest.mark.parametrize("written", ['length = "42 in"', "length_mm = 1067", 'length = "41.99 in"'])
def test_last_station_is_kept_where_the_length_was_rounded(written):
    bed = parse_bed(IN_INCHES.replace("UNWORN", "").replace('length = "42 in"', written))
    assert len(bed.station_mm) == 15 and bed.station_mm[-1] == pytest.approx(1066.8, abs=0.5)
    assert bed.station_mm[-1] <= bed.length_mm


def test_end_of_the_bed_is_taken_in_whole_millimetres_by_every_door():
    setup = Setup("dial", "offset", IN_INCHES.replace("UNWORN", ""), face="way", reference="line")
    check_on_bed(setup, 1067.0)
    with pytest.raises(EntryError):
        check_on_bed(setup, 1068.0)
    assert stations_to_read(setup, to_mm=1067.0) == setup.bed.station_mm
    assert end_where_rounded(1066.8, np.array([-0.4, 5.0, 1067.0, 1070.0])).tolist() == [
        0.0,
        5.0,
        1066.8,
        1070.0,
    ]
