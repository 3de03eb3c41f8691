"""Files of earlier format versions, kept as they were written, stay readable.

The files in tests/captures/version_1 were made once by make_version_1.py beside them;
the values expected here follow by hand from what that script sends.
"""

import shutil
from pathlib import Path

import numpy as np
import pytest

from acquire.record.conversion import convert_here
from acquire.reduce import contents_of, derive
from acquire.store import read_traverse
from acquire.store.journal import read_journal

VERSION_1 = Path(__file__).parents[3] / "captures" / "version_1"


def test_recorded_level_of_version_1():
    traverse = read_traverse(VERSION_1 / "recorded.h5")
    assert traverse.complete
    assert traverse.setup.state == {"clamped": True, "note": "20 °C"}
    assert traverse.readings == 399 and traverse.garbled == 1
    stream = traverse.streams["level"]
    assert stream.unit == "div"
    assert stream.raw.startswith(b"+0.0\r\n+0.0\r\n")
    assert np.count_nonzero(~stream.is_good) == 1
    # stops at half a division more each; a division is 0.02 mm/m = 20 um/m
    np.testing.assert_allclose(traverse.stations.reading, [0, 10, 20, 30], atol=1e-9)
    assert traverse.stations.station_mm.tolist() == [100, 300, 500, 700]


def test_typed_readings_of_version_1():
    traverse = read_traverse(VERSION_1 / "typed.h5")
    assert (traverse.setup.front, traverse.setup.rear) == ("front-vee", "rear-flat")
    assert traverse.stations.station_mm.tolist() == [0, 400, 400, 800]
    assert traverse.stations.reading.tolist() == [3, -2.5, -2, 20]
    assert traverse.stations.repeat.tolist() == [1, 1, 2, 1]


def test_imported_indicator_of_version_1():
    traverse = read_traverse(VERSION_1 / "imported.h5")
    assert traverse.setup.reference == "front-vee"
    np.testing.assert_allclose(traverse.stations.reading, [0, 1.5 * 25.4, -0.5 * 25.4])


def test_span_over_a_roller_of_version_1():
    traverse = read_traverse(VERSION_1 / "spanned.h5")
    assert (traverse.setup.quantity, traverse.setup.face, traverse.setup.other) == ("span", "front-vee", None)
    assert traverse.stations.reading.tolist() == [12000, 11990.5, 12003]
    assert traverse.stations.note == ("", "wiped", "")


@pytest.mark.parametrize("name", ["recorded", "typed", "imported", "spanned"])
def test_version_1_can_be_derived_anew(name):
    old = read_traverse(VERSION_1 / f"{name}.h5")
    new = derive(contents_of(old))
    np.testing.assert_array_equal(new.stations.station_mm, old.stations.station_mm)
    np.testing.assert_allclose(new.stations.reading, old.stations.reading, atol=1.0)


def test_cut_journal_of_version_1_still_becomes_a_file(tmp_path):
    journal = tmp_path / "001-front-vee-level.journal"
    shutil.copy(VERSION_1 / "cut-short.journal", journal)
    assert len(read_journal(journal).chunks["level"]) == 400
    converted = convert_here(journal, tmp_path / "001-front-vee-level.h5")
    assert not converted.complete
    assert (converted.readings, converted.garbled) == (399, 1)
