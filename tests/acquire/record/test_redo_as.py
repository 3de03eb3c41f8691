"""A slip of a whole run undone by `redo --as`: derived anew, the old file kept, and it stays so."""

import json

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import EntryError
from acquire.record.redoing import redo
from acquire.store import read_traverse
from tests.invented import bed_toml, dial, imported, level, survey_in

BED = bed_toml(faces=("way",), instruments={"level": level(seating_um=0.5), "dial": dial(seating_um=0.5)})


@pytest.fixture
def one_run(tmp_path):
    """A level's run from a CSV: 100 to 900 mm, readings 1 to 5, the one at 300 mm left out."""
    survey = survey_in(tmp_path / "survey", BED)
    imported(survey, range(100, 901, 200), (1, "", 3, 4, 5), "--face", "way", "-i", "level")
    return survey


def path_of(survey):
    (path,) = (survey / "traverses").glob("001-*.h5")
    return path


def readings(survey):
    stations = read_traverse(path_of(survey)).stations
    return dict(zip(stations.station_mm.tolist(), stations.reading.tolist(), strict=True))


def test_run_taken_in_the_other_order_stays_so_and_can_be_put_back(one_run):
    (done,) = redo(one_run, [1], corrections=["order"])
    assert readings(one_run) == {900: 1, 500: 3, 300: 4, 100: 5}  # the gap is at 700 now
    assert read_traverse(path_of(one_run)).setup.direction == "reverse"
    assert any("taken as: written, now order" in change for change in done.changes)
    assert list((one_run / "traverses" / "superseded").iterdir()) == [done.kept]
    redo(one_run)  # a plain redo leaves it as it is
    assert readings(one_run) == {900: 1, 500: 3, 300: 4, 100: 5}
    redo(one_run, [1], corrections=["written"])
    found = read_traverse(path_of(one_run))
    assert readings(one_run) == {100: 1, 500: 3, 700: 4, 900: 5}
    assert (found.setup.direction, found.setup.taken_as) == ("forward", "")
    assert "taken_as" not in found.events.kind


def test_run_measured_from_the_other_end_of_the_bed_is_put_where_it_was_read(one_run):
    """A second run over a part of the bed, which turned about its own places would stay there."""
    imported(one_run, (100, 200, 300), (6, 7, 8), "--face", "way", "-i", "level")
    (path,) = (one_run / "traverses").glob("002-*.h5")
    assert main(["redo", str(one_run), "2", "--as", "mirrored"]) == 0
    found = read_traverse(path)
    assert dict(zip(found.stations.station_mm, found.stations.reading, strict=True)) == {
        900: 6,
        800: 7,
        700: 8,
    }
    assert found.setup.direction == "reverse"
    assert "measured from the other end of the bed (`redo --as mirrored`)" in found.events.text[0]
    redo(one_run, [2], corrections=["written"])
    found = read_traverse(path)
    assert (found.stations.station_mm.tolist(), found.setup.direction) == ([100, 200, 300], "forward")


def test_turned_level_keeps_its_readings_and_is_known_as_turned(one_run):
    redo(one_run, [1], corrections=["turned"])
    assert read_traverse(path_of(one_run)).setup.turned is True
    assert readings(one_run) == {100: 1, 500: 3, 700: 4, 900: 5}
    redo(one_run, [1], corrections=["turned"])  # said twice is said once
    assert read_traverse(path_of(one_run)).setup.turned is True


def test_unit_and_shift_are_undone_together(one_run):
    redo(one_run, [1], corrections=["unit:mm/m", "shifted:-200"])
    assert readings(one_run) == {300: 3000, 500: 4000, 700: 5000}  # a foot of the first would hang over
    words = read_traverse(path_of(one_run)).events.text[0]
    assert "1 of its stations" in words and "--as unit:mm/m --as shifted:-200" in words


def test_show_tells_what_a_run_is_taken_as(one_run, capsys):
    main(["redo", str(one_run), "1", "--as", "turned", "--as", "order"])
    capsys.readouterr()
    main(["show", str(one_run), "--json"])
    (line,) = json.loads(capsys.readouterr().out)["traverses"]
    assert (line["taken_as"], line["direction"]) == ("turned order", "reverse")
    main(["show", str(one_run)])
    shown = capsys.readouterr().out
    assert "taken as" in shown and "turned order" in shown


def test_slip_that_makes_no_sense_of_a_run_alters_nothing(one_run, capsys):
    before = path_of(one_run).read_bytes()
    with pytest.raises(EntryError, match="sideways"):
        redo(one_run, [1], corrections=["sideways"])
    assert main(["redo", str(one_run), "--as", "turned"]) == 2
    assert path_of(one_run).read_bytes() == before
    assert not (one_run / "traverses" / "superseded").exists()


def test_reading_of_a_run_that_is_taken_otherwise_is_corrected_as_written(one_run, capsys):
    redo(one_run, [1], corrections=["order"])
    wanted = ["correct", str(one_run), "1", "--station", "500", "--reading", "2", "--because", "misread"]
    assert main(wanted) == 1
    assert "--as written" in capsys.readouterr().err
    np.testing.assert_array_equal(list(readings(one_run).values()), [5, 4, 3, 1])
