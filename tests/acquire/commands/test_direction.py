"""--direction held against the way that the readings really went: asked on a terminal, else told."""

import os
import pty
import select
import sys
import threading

import pytest

from acquire.cli import main
from acquire.store import files_of, read_traverse
from tests.invented import bed_toml, dial, import_text, scale, speaks, survey_in
from tests.terminals import DEADLINE_S, Line, gather, wait_for

BED = bed_toml(
    600, faces=("way",), instruments={"dial": dial(**speaks("{dial}")), "scale": scale(**speaks("{scale}"))}
)
FALLING = "station_mm,reading\n400,1\n300,2\n200,3\n100,4\n"
RISING = "station_mm,reading\n100,4\n200,3\n300,2\n400,1\n"
HOW = ("--face", "way", "-i", "dial", "-r", "line")


@pytest.fixture
def survey(tmp_path):
    text = BED.format(dial=tmp_path / "dial", scale=tmp_path / "scale")
    folder = survey_in(tmp_path / "survey", text)
    (tmp_path / "falling.csv").write_text(FALLING, encoding="utf-8")
    (tmp_path / "rising.csv").write_text(RISING, encoding="utf-8")
    return folder


def direction_of(survey, number=1):
    return read_traverse(files_of(survey)[number]).setup.direction


@pytest.mark.whole
def test_person_who_imports_rows_from_the_far_end_is_asked_and_the_answer_counts(
    survey, tmp_path, at_a_terminal
):
    command = ["import", survey, tmp_path / "falling.csv", *HOW]
    for number, (typed, kept) in enumerate([(b"\n", "reverse"), (b"n\n", "forward")], start=1):
        done = at_a_terminal(command, typed)
        assert done.returncode == 0, done.stderr
        assert "from 400 to 100 mm, towards station 0; --direction says forward" in done.stderr
        assert "Was it read reverse?" in done.stderr
        traverse = read_traverse(files_of(survey)[number])
        assert traverse.setup.direction == kept
        assert traverse.stations.reading.tolist() == [4, 3, 2, 1]


@pytest.mark.whole
def test_rows_sorted_after_a_reverse_run_stay_reverse_unless_the_person_says_otherwise(
    survey, tmp_path, at_a_terminal
):
    command = ["import", survey, tmp_path / "rising.csv", *HOW, "--direction", "reverse"]
    assert at_a_terminal(command, b"\n").returncode == 0
    assert at_a_terminal(command, b"y\n").returncode == 0
    assert [direction_of(survey, number) for number in (1, 2)] == ["reverse", "forward"]


def test_without_a_terminal_it_is_told_and_what_was_said_stands(survey, tmp_path, capsys):
    assert import_text(survey, FALLING, *HOW) == 0
    assert "towards station 0; --direction says forward" in capsys.readouterr().err
    assert direction_of(survey) == "forward"


def test_export_of_a_reverse_run_comes_back_without_a_doubt(survey, tmp_path, capsys):
    reverse = ("--direction", "reverse")
    assert import_text(survey, FALLING, *HOW, *reverse) == 0
    assert main(["export", str(survey), str(tmp_path / "out")]) == 0
    capsys.readouterr()
    assert main(["import", str(survey), str(tmp_path / "out" / "001-way-dial.csv"), *HOW, *reverse]) == 0
    assert "--direction says" not in capsys.readouterr().err


def test_direction_is_corrected_afterwards_and_outlives_redo(survey, tmp_path, capsys):
    assert import_text(survey, FALLING, *HOW) == 0
    said = ("--direction", "reverse", "--because", "as the rows run")
    assert main(["correct", str(survey), "1", *said]) == 0
    assert main(["redo", str(survey)]) == 0
    traverse = read_traverse(files_of(survey)[1])
    assert traverse.setup.direction == "reverse" and traverse.stations.reading.tolist() == [4, 3, 2, 1]
    assert "direction: as" not in capsys.readouterr().err
    assert main(["correct", str(survey), "1", *said]) == 1
    assert main(["correct", str(survey), "1", "--station", "100", *said]) == 2


def test_direction_of_typed_stations_is_not_turned_for_they_hang_on_it(survey, monkeypatch, capsys):
    import io

    monkeypatch.setattr(sys, "stdin", io.StringIO("1\n2\n3\n4\n5\n6\n7\n"))
    assert main(["enter", str(survey), "way", "-i", "dial", "-r", "line"]) == 0
    assert main(["correct", str(survey), "1", "--direction", "reverse", "--because", "x"]) == 1
    assert "taken in turn" in capsys.readouterr().err


@pytest.mark.whole
def test_recorded_position_that_ran_the_other_way_is_asked_about_at_the_end(survey, tmp_path, start):
    ports = [Line(tmp_path / name) for name in ("dial", "scale")]
    master, slave = pty.openpty()
    shown = bytearray()
    threading.Thread(target=gather, args=(master, shown), daemon=True).start()
    words = ["record", survey, "way", "-i", "dial", "-r", "line", "--position", "scale:scale"]
    process = start(
        [sys.executable, "-m", "acquire.cli", *map(str, words)],
        stdin=slave, stdout=slave, stderr=slave, env={**os.environ, "TERM": "xterm", "NO_COLOR": "1"},
    )  # fmt: skip
    try:
        wait_for(lambda: b"q: end and keep" in shown, "the page with its keys")
        for k in range(80):
            ports[0].send(b"+5.00\r\n")
            ports[1].send(b"%+.2f\r\n" % (500 - 5 * k))
            select.select([], [], [], 0.02)  # an instrument that sends fifty lines a second
        os.write(master, b"q")
        wait_for(lambda: b"Keep it as reverse?" in shown, "the question")
        os.write(master, b"y\n")
        assert process.wait(DEADLINE_S) == 0
    finally:
        for port in ports:
            port.pull_out()
    assert "towards station 0; --direction says forward" in " ".join(shown.decode().split())
    traverse = read_traverse(files_of(survey)[1])
    assert traverse.setup.direction == "reverse" and "other_way" not in traverse.events.kind
