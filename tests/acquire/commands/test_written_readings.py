"""The commands that take written readings: start, enter, import, undo, through the command line."""

import io
import json
import subprocess
import sys

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import read_bed
from acquire.record.keeping import lines_of
from acquire.store import files_of, read_traverse
from tests.invented import bed_toml, dial, flat, level, survey_in
from tests.terminals import wait_for

pytestmark = pytest.mark.whole

BED = bed_toml(
    800,
    name="invented lathe bed",
    faces={"way": flat(), "side": {"normal": "front"}},
    instruments={"level": level(), "dial": dial(1.5)},
    state={"stands_on": "blocks"},
)


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path / "survey", BED)


@pytest.fixture
def csv_of(tmp_path):
    def write(text):
        path = tmp_path / "run.csv"
        path.write_bytes(text.encode())
        return str(path)

    return write


def imported(survey, path, *more):
    return main(["import", str(survey), path, "--face", "way", "-i", "dial", "-r", "line", *more])


def test_imported_file_becomes_a_traverse_that_holds_its_bytes(survey, csv_of, capsys):
    text = "station_mm;reading\r\n0;1,5\r\n100;\r\n200;-2\r\n"
    assert imported(survey, csv_of(text), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    traverse = read_traverse(files_of(survey)[1])
    assert told["traverse"] == 1 and told["readings"] == 2 and told["gap_mm"] == [100]
    np.testing.assert_array_equal(traverse.stations.reading, [1.5, -2])
    assert traverse.streams["hand"].raw == text.encode()
    assert traverse.complete and traverse.setup.state == {"stands_on": "blocks"}
    assert files_of(survey, "journal") == {}


def test_what_was_understood_is_shown_and_a_preview_keeps_nothing(survey, csv_of, capsys):
    assert imported(survey, csv_of("reading (thou)\tstation_mm\n1.5\t0\n"), "--preview") == 0
    shown = capsys.readouterr()
    assert "tabs" in shown.err and "'reading (thou)' in thou" in shown.err and "1.50 thou" in shown.err
    assert "nothing kept" in shown.out and files_of(survey) == {}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("station_mm,reading\n0,0,5\n", "cannot be told apart"),
        ("station_mm,reading\n0,1\n100,2 furlongs\n", "line 3"),
        ("station_mm,reading\n0,1\n900,2\n", "0 to 800"),
    ],
)
def test_bad_file_is_refused_in_one_line_and_nothing_is_kept(survey, csv_of, capsys, text, words):
    assert imported(survey, csv_of(text)) == 1
    told = capsys.readouterr().err.strip().splitlines()
    assert len(told) == 1 and words in told[0]
    assert list((survey / "traverses").iterdir()) == []


def test_level_on_a_side_face_and_a_missing_file_are_refused(survey, csv_of, capsys):
    path = csv_of("station_mm,reading\n100,1\n")
    assert main(["import", str(survey), path, "--face", "side", "-i", "level"]) == 1
    assert imported(survey, str(survey / "none.csv")) == 1
    told = capsys.readouterr().err
    assert "sees only up and down" in told and "cannot be read" in told


def test_unknown_option_is_wrong_usage(survey, csv_of):
    assert imported(survey, csv_of("x"), "--sideways") == 2


def test_undo_moves_the_last_traverse_aside_and_its_number_is_not_used_again(survey, csv_of, capsys):
    path = csv_of("station_mm,reading\n0,1\n")
    assert [imported(survey, path), imported(survey, path)] == [0, 0]
    second = files_of(survey)[2].read_bytes()
    assert main(["undo", str(survey)]) == 0
    assert list(files_of(survey)) == [1]
    assert (survey / "traverses" / "withdrawn" / "002-way-dial.h5").read_bytes() == second
    assert imported(survey, path) == 0 and list(files_of(survey)) == [1, 3]
    assert main(["undo", str(survey), "--number", "9"]) == 1
    assert "traverse 9" in capsys.readouterr().err


def test_undo_does_not_guess_between_a_finished_traverse_and_one_cut_short(
    survey, csv_of, monkeypatch, capsys
):
    assert imported(survey, csv_of("station_mm,reading\n0,1\n")) == 0
    assert entered(monkeypatch, survey, "1\n") == 0
    assert main(["undo", str(survey)]) == 1
    assert "--number 2 or --number 1" in capsys.readouterr().err
    assert main(["undo", str(survey), "--number", "2"]) == 0
    assert (survey / "traverses" / "withdrawn" / "002-way-level.journal").is_file()
    assert main(["undo", str(survey)]) == 0 and files_of(survey) == {}
    assert main(["undo", str(survey)]) == 1


def entered(monkeypatch, survey, typed, *more):
    monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
    return main(["enter", str(survey), "way", "-i", "level", *more])


def test_lines_from_a_pipe_become_a_traverse(survey, monkeypatch, capsys):
    assert entered(monkeypatch, survey, "1\n\n-0,02 mm/m\n-\n4\n") == 0
    traverse = read_traverse(files_of(survey)[1])
    np.testing.assert_allclose(traverse.stations.station_mm, [100, 300, 700])
    np.testing.assert_allclose(traverse.stations.reading, [1, -20, 4])
    assert traverse.mode == "stepped" and traverse.complete
    assert np.isfinite(traverse.stations.time_s).all()
    assert "traverse 1" in capsys.readouterr().out


def test_entry_whose_input_ends_goes_on_with_the_same_command(survey, monkeypatch):
    assert entered(monkeypatch, survey, "1\n2\n") == 0
    assert files_of(survey) == {} and list(files_of(survey, "journal")) == [1]
    assert entered(monkeypatch, survey, "3\n4\n") == 0
    np.testing.assert_allclose(read_traverse(files_of(survey)[1]).stations.reading, [1, 2, 3, 4])
    assert files_of(survey, "journal") == {}


def test_other_direction_and_new_do_not_go_on_with_an_entry_cut_short(survey, monkeypatch):
    assert entered(monkeypatch, survey, "1\n") == 0
    assert entered(monkeypatch, survey, "4\n", "--direction", "reverse") == 0
    assert entered(monkeypatch, survey, "9\n", "--new") == 0
    assert list(files_of(survey, "journal")) == [1, 2, 3]


def test_entry_without_a_reading_leaves_nothing_behind(survey, monkeypatch):
    for typed, code in (("", 1), ("q\n", 0)):
        assert entered(monkeypatch, survey, typed) == code
        assert list((survey / "traverses").glob("*.journal")) == []


def test_killed_entry_keeps_every_line_and_goes_on_where_it_stopped(survey, monkeypatch, start):
    command = [sys.executable, "-m", "acquire.cli", "enter", str(survey), "way", "-i", "level"]
    typing = start(command, stdin=subprocess.PIPE, stderr=subprocess.DEVNULL)
    typing.stdin.write(b"1\n2\n3.5 um/m\n")
    typing.stdin.flush()
    wait_for(lambda: len(_lines(survey)) == 3, "three lines kept")
    typing.kill()
    typing.wait()
    assert [line.words for line in _lines(survey)] == ["1", "2", "3.5 um/m"]
    assert entered(monkeypatch, survey, "4\n") == 0
    np.testing.assert_allclose(read_traverse(files_of(survey)[1]).stations.reading, [1, 2, 3.5, 4])


def _lines(survey):
    journals = list(files_of(survey, "journal").values())
    return lines_of(journals[0]) if journals else []


def test_start_takes_everything_by_options_and_its_bed_reads_back(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    folder = tmp_path / "lathe"
    words = [
        "start", str(folder), "--name", 'the "old" lathe', "--length", "60 in", "--pitch", "100",
        "--faces", "four-ways", "--gauge", "300", "--instrument", "vial", "--instrument", "cross-level",
        "--base", "8 in", "--stands-on", "blocks", "--free", "--headstock-on", "--carriage-off",
        "--temperature-top", "19.5", "--temperature-bottom", "18", "--asked-of", "the fitter",
    ]  # fmt: skip
    assert main(words) == 0
    bed = read_bed(folder / "bed.toml")
    assert bed.name == 'the "old" lathe' and bed.length_mm == 1524
    assert bed.carriage_ways() == ("front-vee", "rear-flat") and len(bed.faces) == 4
    assert bed.instruments["vial"].base_mm == 203.2 and set(bed.instruments) == {"vial", "cross-level"}
    assert bed.state["clamped"] is False and bed.state["temperature_top_degC"] == 19.5
    assert (folder / "traverses").is_dir()
    assert "lock it off" in capsys.readouterr().err


def test_start_without_answers_says_what_it_took_as_an_example(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert main(["start", str(tmp_path / "b"), "--inch"]) == 0
    assert "length 60 in" in capsys.readouterr().err
    bed = read_bed(tmp_path / "b" / "bed.toml")
    assert bed.is_inch and bed.length_mm == 1524


@pytest.mark.parametrize("kind", ["level", "vial", "cross-level", "indicator", "micrometer", "scale"])
def test_every_kind_of_instrument_starts_with_a_bed_that_reads(tmp_path, monkeypatch, kind):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert main(["start", str(tmp_path / "b"), "--instrument", kind, "--face", "a:rear:groove:12"]) == 0
    bed = read_bed(tmp_path / "b" / "bed.toml")
    assert list(bed.instruments) == [kind] and bed.faces["a"].across_mm == 12


def test_start_leaves_an_existing_survey_as_it_is(survey, monkeypatch, capsys):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert main(["start", str(survey), "--length", "100"]) == 1
    assert (survey / "bed.toml").read_text() == BED and "found a survey there" in capsys.readouterr().err


def test_start_writes_no_bed_that_could_not_be_read(tmp_path, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert main(["start", str(tmp_path / "b"), "--length", "100", "--pitch", "500"]) == 1
    assert main(["start", str(tmp_path / "b"), "--face", "no+good:up"]) == 1
    assert not (tmp_path / "b" / "bed.toml").exists()


def test_person_at_a_terminal_is_asked_corrected_and_may_come_back(survey, at_a_terminal):
    enter = ["enter", str(survey), "way", "-i", "level"]
    first = at_a_terminal(enter, b"1\nhigh\n2\nb\n2.5\n\x04")
    assert first.returncode == 0 and "feet at 400 mm and 600 mm" in first.stderr
    assert "needed: a number" in first.stderr and "2 readings kept" in first.stderr
    second = at_a_terminal(enter, b"y\n3\nq\n")
    assert second.returncode == 0 and "Go on with it?" in second.stderr
    assert "1 station not read" in second.stdout
    np.testing.assert_allclose(read_traverse(files_of(survey)[1]).stations.reading, [1, 2.5, 3])


def test_start_at_a_terminal_asks_for_all_that_no_option_gives(tmp_path, at_a_terminal):
    answers = b"old lathe\n48\n4 in\n\n10 in\nlevel vial\n\n\nblocks\ny\nn\n?\n19,5\n19,5 C\n\nthe fitter\n"
    done = at_a_terminal(["start", str(tmp_path / "b"), "--inch"], answers)
    assert done.returncode == 0, done.stderr
    bed = read_bed(tmp_path / "b" / "bed.toml")
    assert (bed.name, bed.length_mm, bed.is_inch) == ("old lathe", 1219.2, True)
    assert bed.gauge_mm("front-vee", "rear-flat") == 254 and set(bed.instruments) == {"level", "vial"}
    said = {key: value for key, value in bed.state.items() if key != "asked_on"}
    assert said == {
        "stands_on": "blocks",
        "clamped": True,
        "headstock_on": False,
        "temperature_top_degC": 19.5,
        "asked_of": "the fitter",
    }


@pytest.mark.parametrize("is_stated", [True, False])
def test_what_is_not_stated_of_an_instrument_is_said_where_its_readings_come_in(
    survey, csv_of, capsys, is_stated
):
    if is_stated:
        text = (survey / "bed.toml").read_text()
        stated = "standard_uncertainty = 1.5\nseating_um = 0.2"
        (survey / "bed.toml").write_text(text.replace("standard_uncertainty = 1.5", stated))
    assert imported(survey, csv_of("station_mm,reading\n0,1\n100,2\n")) == 0
    assert ("has no seating_um" in capsys.readouterr().err) is not is_stated
