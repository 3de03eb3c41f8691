"""One misread corrected or struck out: what was read stays, nothing else moves, and it lasts."""

import json
import shutil

import h5py
import numpy as np
import pytest

from acquire.cli import main
from acquire.record.conversion import convert_here
from acquire.store import files_of, read_traverse
from tests.invented import bed_toml, dial, import_text, survey_in

BED = bed_toml(400, name="invented lathe bed", faces=("way",), instruments={"dial": dial(1.5, resolution=1)})
TYPED = "station_mm,reading (thou),repeat,note\n0,1,1,\n100,20,1,chip?\n200,3,1,\n200,3.5,2,\n300,2,1,\n"


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    folder = survey_in(tmp_path_factory.mktemp("measured") / "survey", BED)
    assert import_text(folder, TYPED, *HOW) == 0
    return folder


@pytest.fixture
def survey(measured, tmp_path):
    return shutil.copytree(measured, tmp_path / "survey")


HOW = ("--face", "way", "-i", "dial", "-r", "line")


def correct(survey, *words, number=1):
    return main(["correct", str(survey), str(number), *words])


def the_stations(survey, number=1):
    return read_traverse(files_of(survey)[number]).stations


def test_misread_is_corrected_in_the_unit_in_which_the_run_was_read_and_nothing_else_moves(survey, capsys):
    before = the_stations(survey)
    as_it_was = files_of(survey)[1].read_bytes()
    assert correct(survey, "--station", "100", "--reading", "2.0", "--because", "a zero too many") == 0
    after = the_stations(survey)
    np.testing.assert_allclose(after.reading, np.array([1, 2.0, 3, 3.5, 2]) * 25.4)
    np.testing.assert_array_equal(np.delete(after.reading, 1), np.delete(before.reading, 1))
    assert "2.0 thou instead of +20 thou" in capsys.readouterr().out
    assert read_traverse(files_of(survey)[1]).streams["hand"].raw == TYPED.encode()
    assert (survey / "traverses" / "superseded" / "001-way-dial.h5").read_bytes() == as_it_was


def test_what_was_read_and_why_stay_in_the_file_and_in_show(survey, capsys):
    assert correct(survey, "--station", "100", "--reading", "2", "--because", "a zero too many") == 0
    with h5py.File(files_of(survey)[1]) as file:
        events = [text.decode() for text in file["events/text"][()]]
        notes = [text.decode() for text in file["stations/note"][()]]
    assert any("2 instead of +20 thou: a zero too many" in text for text in events)
    assert notes[1] == "chip?; read +20 thou, corrected: a zero too many"
    capsys.readouterr()
    assert main(["show", str(survey)]) == 0
    assert "traverse 1, 100 mm: 2 instead of +20 thou: a zero too many" in capsys.readouterr().out
    assert main(["show", str(survey), "--json"]) == 0
    (line,) = json.loads(capsys.readouterr().out)["traverses"]
    assert line["corrections"] == [
        {"station_mm": 100, "repeat": 1, "now": "2", "was": "+20 thou", "because": "a zero too many"}
    ]


def test_struck_reading_does_not_count_and_can_be_put_back(survey):
    assert correct(survey, "--station", "100mm", "--strike", "--because", "knocked") == 0
    assert the_stations(survey).station_mm.tolist() == [0, 200, 200, 300]
    assert correct(survey, "--station", "100", "--reading", "2", "--because", "read from the photograph") == 0
    assert the_stations(survey).reading[1] == pytest.approx(50.8)
    assert correct(survey, "--station", "100", "--as-read", "--because", "it was right") == 0
    assert the_stations(survey).reading[1] == pytest.approx(20 * 25.4)
    assert main(["show", str(files_of(survey)[1])]) == 0


def test_of_several_readings_at_a_station_one_must_be_named(survey, capsys):
    assert correct(survey, "--station", "200", "--strike", "--because", "knocked") == 1
    assert "--repeat 1 (+76.2 um), --repeat 2 (+88.9 um)" in capsys.readouterr().err
    assert correct(survey, "--station", "200", "--repeat", "2", "--strike", "--because", "knocked") == 0
    assert the_stations(survey).repeat.tolist() == [1, 1, 1, 1]


def test_correction_outlives_redo_in_the_unit_that_bed_toml_then_has(survey):
    assert import_text(survey, "station_mm,reading\n0,1\n100,20\n200,3\n", *HOW) == 0
    assert correct(survey, "--station", "100", "--reading", "2", "--because", "misread", number=2) == 0
    bed = (survey / "bed.toml").read_text(encoding="utf-8")
    (survey / "bed.toml").write_text(bed.replace('unit = "um"', 'unit = "thou"\nsign = -1'), encoding="utf-8")
    assert main(["redo", str(survey), "2"]) == 0
    np.testing.assert_allclose(the_stations(survey, 2).reading, np.array([-1, -2, -3]) * 25.4)


def test_export_and_import_keep_the_correction_and_what_was_read(survey, tmp_path, capsys):
    assert correct(survey, "--station", "100", "--reading", "2", "--because", "a zero too many") == 0
    assert correct(survey, "--station", "300", "--strike", "--because", "foot on a chip: wiped") == 0
    assert main(["export", str(survey), str(tmp_path / "out")]) == 0
    assert main(["import", str(survey), str(tmp_path / "out" / "001-way-dial.csv"), *HOW]) == 0
    again = the_stations(survey, 2)
    np.testing.assert_allclose(again.reading, the_stations(survey).reading)
    assert again.note[1].endswith("read +20 thou, corrected: a zero too many")
    capsys.readouterr()
    assert main(["show", str(files_of(survey)[2])]) == 0
    assert "station 300: struck out, read +2 thou: foot on a chip: wiped" in capsys.readouterr().out


def test_what_cannot_be_is_refused_and_leaves_the_file_as_it_was(survey, capsys):
    as_it_was = files_of(survey)[1].read_bytes()
    assert correct(survey, "--station", "150", "--strike", "--because", "x") == 1
    assert "one of 0 mm, 100 mm, 200 mm, 300 mm" in capsys.readouterr().err
    assert correct(survey, "--station", "100", "--reading", "2 furlongs", "--because", "x") == 1
    assert correct(survey, "--station", "100", "--strike", "--because", "x", number=7) == 1
    assert correct(survey, "--station", "100", "--strike") == 2
    assert correct(survey, "--station", "100", "--because", "x") == 2
    assert correct(survey, "--station", "100", "--strike", "--reading", "1", "--because", "x") == 2
    assert files_of(survey)[1].read_bytes() == as_it_was
    assert not (survey / "traverses" / "superseded").exists()


def test_only_reading_is_not_struck_out(survey, capsys):
    assert import_text(survey, "station_mm,reading\n0,1\n", *HOW) == 0
    assert correct(survey, "--station", "0", "--strike", "--because", "x", number=2) == 1
    assert "waylog undo SURVEY --number 2" in capsys.readouterr().err


def test_correction_that_finds_no_reading_after_redo_is_refused_not_forgotten(survey, capsys):
    """As where what a newer waylog derives stands elsewhere; here the place is altered in the file."""
    level = (
        '\n[instruments.vial]\nquantity = "slope"\nunit = "um/m"\nbase_mm = 200\nstandard_uncertainty = 1\n'
    )
    (survey / "bed.toml").write_text(BED + level, encoding="utf-8")
    feet = "from_mm,to_mm,reading\n0,200,1\n200,400,9\n"
    assert import_text(survey, feet, "--face", "way", "-i", "vial") == 0
    path = files_of(survey)[2]
    assert correct(survey, "--station", "300", "--reading", "2", "--because", "misread", number=2) == 0
    with h5py.File(path, "r+") as file:
        moved = [text.replace(b"station 300", b"station 310") for text in file["events/text"][()]]
        file["events/text"][...] = np.array(moved, file["events/text"].dtype)
    as_it_was = path.read_bytes()
    capsys.readouterr()
    assert main(["redo", str(survey), "2"]) == 1
    assert "--as-read` takes the correction back" in capsys.readouterr().err
    assert path.read_bytes() == as_it_was
    assert correct(survey, "--station", "310", "--as-read", "--because", "base mended", number=2) == 0
    assert the_stations(survey, 2).reading.tolist() == [1, 9]
    assert main(["redo", str(survey), "2"]) == 0


@pytest.mark.whole
def test_person_at_a_terminal_is_asked_for_the_reading_and_the_reason(survey, at_a_terminal):
    done = at_a_terminal(["correct", survey, "1", "--station", "100"], b"two\n2.0\na zero too many\n")
    assert done.returncode == 0, done.stderr
    assert "+20 thou was read at 100 mm." in done.stderr and "needed: one reading" in done.stderr
    assert the_stations(survey).reading[1] == pytest.approx(50.8)
    left = at_a_terminal(["correct", survey, "1", "--station", "100"], b"\n")
    assert left.returncode == 0 and "corrected since to 2.0" in left.stderr
    assert "nothing was changed" in left.stderr


def test_station_of_a_recorded_run_is_corrected_and_its_bytes_stay(survey, cut_short):
    path = cut_short(ended=True).with_suffix(".h5")
    convert_here(path.with_suffix(".journal"), path)
    before = read_traverse(path)
    assert correct(survey, "--station", "300", "--reading", "-4", "--because", "hair on it", number=2) == 0
    after = read_traverse(path)
    row = before.stations.station_mm.tolist().index(300)
    assert after.stations.reading[row] == -4 and after.stations.samples[row] == 1
    others = np.arange(len(before.stations)) != row
    np.testing.assert_array_equal(after.stations.reading[others], before.stations.reading[others])
    assert after.streams["level"].raw == before.streams["level"].raw


def test_rest_that_was_no_station_is_said_afterwards_and_the_others_are_taken(survey, cut_short, capsys):
    """Six rests in turn for the five stations of this level's bed: none is taken until one is named."""
    path = cut_short(stops=6, ended=True).with_suffix(".h5")
    convert_here(path.with_suffix(".journal"), path)
    assert len(read_traverse(path).stations) == 0
    assert correct(survey, "--no-station", "9", "--because", "x", number=2) == 1
    assert "found 6 rests" in capsys.readouterr().err
    assert correct(survey, "--no-station", "1", "--because", "before the beginning", number=2) == 0
    stations = read_traverse(path).stations
    assert stations.station_mm.tolist() == [100, 300, 500, 700, 900]
    np.testing.assert_allclose(stations.reading, [10, 20, 30, 40, 50], atol=1)
    assert correct(survey, "--no-station", "1", "--because", "x", number=1) == 1


def test_run_turned_round_after_a_reading_was_struck_out_keeps_the_places_of_the_others(survey):
    """The last station was struck out: the first reading belongs there all the same."""
    assert correct(survey, "--station", "300", "--strike", "--because", "knocked") == 0
    assert main(["redo", str(survey), "1", "--as", "order"]) == 0
    stations = the_stations(survey)
    assert stations.station_mm.tolist() == [100, 100, 200, 300]
    np.testing.assert_allclose(sorted(stations.reading[:2]), np.array([3, 3.5]) * 25.4)
    np.testing.assert_allclose(stations.reading[2:], np.array([20, 1]) * 25.4)
