"""What is alike in every command: quiet, verbose, cautions, progress, names completed."""

import io
import sys

import click
import pytest
from click.testing import CliRunner

from acquire.cli import main, waylog
from acquire.commands import talk
from acquire.commands.completing import names_in_bed
from acquire.model.bed_toml.composing import INSTRUMENT_KINDS
from tests.invented import bed_toml, level, survey_in

pytestmark = pytest.mark.whole

BED = bed_toml(
    800, faces=("front-vee", "rear-flat"), instruments={"vial": level(0.2, unit="mm/m", per_division=0.02)}
)


@pytest.fixture
def survey(tmp_path):
    folder = survey_in(tmp_path / "survey", BED)
    (tmp_path / "r.csv").write_text("station_mm,reading\n100,1\n300,2\n500,1\n", encoding="utf-8")
    return folder


def imported(survey, *before):
    return main(
        [*before, "import", str(survey), str(survey.parent / "r.csv"), "--face", "rear-flat", "-i", "vial"]
    )


def test_quiet_leaves_the_answer_and_takes_the_notes(survey, capsys):
    assert imported(survey) == 0
    loud = capsys.readouterr()
    assert "understood" in loud.err and "note: " in loud.err
    assert imported(survey, "--quiet") == 0
    quiet = capsys.readouterr()
    assert quiet.err == "" and "3 readings of rear-flat" in quiet.out


def test_quiet_still_cautions_where_instruments_go_on_a_machine(survey, capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    assert main(["-q", "enter", str(survey), "rear-flat", "-i", "vial"]) == 1
    said = capsys.readouterr().err
    assert "lock it off" in said and "note: " not in said


def test_cautions_are_two_lines_that_fit_a_terminal_of_eighty():
    for lines in (talk.CAUTION, talk.PLACING_CAUTION):
        assert len(lines) == 2 and max(map(len, lines)) <= 80


def test_verbose_says_what_lies_behind_a_fault(survey, capsys):
    bad = survey / "bed.toml"
    assert main(["show", str(bad)]) == 1
    assert "because of" not in capsys.readouterr().err
    assert main(["--verbose", "show", str(bad)]) == 1
    assert "because of OSError" in capsys.readouterr().err
    assert main(["--quiet", "--verbose", "show", str(bad)]) == 2


def test_bar_is_drawn_on_a_terminal_only(capsys, monkeypatch):
    with click.Context(waylog), talk.progress(3) as step:
        step()
    assert capsys.readouterr().err == ""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    with click.Context(waylog), talk.progress(3) as step:
        step()
    assert "deriving" in capsys.readouterr().err


def test_redo_derives_each_and_says_so_without_a_bar_in_a_pipe(survey, capsys):
    assert imported(survey) == imported(survey) == 0
    capsys.readouterr()
    assert main(["redo", str(survey)]) == 0
    said = capsys.readouterr()
    assert said.out.count("derived anew") == 2 and "deriving" not in said.err


@pytest.mark.parametrize(
    ("words", "incomplete", "expected"),
    [
        (["map", "SURVEY"], "", ["front-vee", "rear-flat"]),
        (["enter", "SURVEY"], "rear", ["rear-flat"]),
        (["enter", "SURVEY", "rear-flat", "--instrument"], "", ["vial"]),
        (["record", "SURVEY", "--across"], "fr", ["front-vee"]),
        (["record", "NOWHERE", "x", "--instrument"], "vi", []),
    ],
)
def test_shell_completes_what_bed_toml_names(survey, words, incomplete, expected):
    words = [str(survey) if word == "SURVEY" else word for word in words]
    env = {
        "_WAYLOG_COMPLETE": "bash_complete",
        "COMP_WORDS": " ".join(["waylog", *words, incomplete]),
        "COMP_CWORD": str(len(words) + 1),
    }
    said = CliRunner().invoke(waylog, prog_name="waylog", env=env).stdout
    assert [line.partition(",")[2] for line in said.splitlines() if line] == expected


def test_names_come_from_a_file_that_can_be_read_only(tmp_path):
    path = tmp_path / "bed.toml"
    assert names_in_bed(path, "faces") == ()
    path.write_text("[faces\n")
    assert names_in_bed(path, "faces") == ()
    path.write_text("faces = 3\n")
    assert names_in_bed(path, "faces") == ()


def test_long_lines_are_cut_between_words_on_a_narrow_terminal_and_left_whole_in_a_pipe(capsys, monkeypatch):
    talk.say_cautions()
    assert capsys.readouterr().err.splitlines() == list(talk.CAUTION)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setenv("COLUMNS", "44")
    talk.say_cautions()
    lines = capsys.readouterr().err.splitlines()
    assert max(map(len, lines)) <= 44
    assert " ".join(" ".join(lines).split()) == " ".join(" ".join(talk.CAUTION).split())


def test_reach_is_shown_in_the_owners_unit(survey, capsys):
    imported(survey)
    capsys.readouterr()
    assert main(["show", str(survey)]) == 0
    assert "100 mm to 500 mm" in capsys.readouterr().out
    (survey / "bed.toml").write_text(BED.replace("[faces.front", 'display = "inch"\n[faces.front', 1))
    assert main(["show", str(survey)]) == 0
    assert "3.94 in to 19.69 in" in capsys.readouterr().out


def test_entry_cut_short_is_shown_with_the_way_to_go_on(survey, capsys, monkeypatch):
    monkeypatch.setattr(sys, "stdin", io.StringIO("1\n2\n"))
    assert main(["enter", str(survey), "rear-flat", "-i", "vial"]) == 0
    assert main(["show", str(survey)]) == 0
    said = capsys.readouterr().out
    assert "an entry under way or cut short (rear-flat, vial)" in said and "waylog enter" in said


@pytest.mark.parametrize(("wrong", "meant"), [("recrod", "record"), ("Twist", "twist"), ("limit", "limits")])
def test_wrong_command_proposes_the_near_one(capsys, wrong, meant):
    assert main([wrong]) == 2
    assert meant in capsys.readouterr().err.split("Did you mean")[1]


def test_word_that_is_like_no_command_proposes_none(capsys):
    assert main(["straightness"]) == 2
    assert "Did you mean" not in capsys.readouterr().err


def test_input_that_ends_before_a_reading_is_an_error_that_says_so(survey, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["enter", str(survey), "rear-flat", "--instrument", "vial"]) == 1
    assert "nothing was read" in capsys.readouterr().err


@pytest.mark.parametrize("words", [["map", "rear-flat"], ["combine"], ["next"], ["show"], ["map", "nowhere"]])
def test_no_answer_and_no_fault_is_cut_within_a_word_by_a_narrow_terminal(survey, words, capsys, monkeypatch):
    assert imported(survey) == 0
    monkeypatch.chdir(survey.parent)
    command, *rest = words
    capsys.readouterr()
    main([command, survey.name, *rest])
    whole = "".join(capsys.readouterr())
    monkeypatch.setenv("COLUMNS", "60")
    for stream in (sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    main([command, survey.name, *rest])
    shown = "".join(capsys.readouterr())
    assert max(map(len, whole.splitlines())) > 60 >= max(map(len, shown.splitlines()))
    assert shown.split() == whole.split()


def test_person_who_starts_a_survey_is_told_what_each_kind_of_instrument_is(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "prompt", lambda _, default=None, **__: default)
    given = ("--name", "bench", "--length", "800", "--pitch", "100", "--faces", "one-flat", "--base", "100")
    assert main(["start", str(tmp_path / "new"), *given]) == 0
    said = [line.split(maxsplit=1) for line in capsys.readouterr().err.splitlines() if line]
    assert {words[0] for words in said if len(words[1:]) and len(words[1]) > 20} >= set(INSTRUMENT_KINDS)
