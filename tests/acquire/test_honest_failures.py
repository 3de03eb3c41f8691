"""What can be expected to fail is told in one line; a bug shows its traceback, under a code of its own."""

import errno
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from acquire import cli
from acquire.cli import main
from acquire.model.errors import RecordingError, TraverseFileError
from acquire.record import conversion
from acquire.record.conversion import convert, convert_here
from acquire.store import read_traverse
from acquire.store.journal import begin
from acquire.store.traverse_file import writer

pytestmark = pytest.mark.whole


@pytest.fixture
def kept(survey, cut_short):
    """A survey with one traverse."""
    journal = cut_short(ended=True)
    convert_here(journal, journal.with_suffix(".h5"))
    return survey


def one_line(capsys) -> str:
    """What was said on standard error: one line."""
    told = capsys.readouterr().err
    assert told.startswith("waylog: ") and told.count("\n") == 1, told
    return told


def test_bug_shows_its_traceback_and_ends_with_a_code_of_its_own(kept, capsys, monkeypatch):
    """A script tells it from a refusal (1) and from wrong usage (2)."""

    def broken(survey):
        raise ZeroDivisionError("invented bug")

    monkeypatch.setattr("acquire.store.showing.survey_shown", broken)
    assert main(["show", str(kept)]) == cli.BUG == 70
    assert "ZeroDivisionError: invented bug" in capsys.readouterr().err
    assert main(["show", str(kept / "nothing")]) == 1
    assert main(["show", "--no-such-option", str(kept)]) == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize("words", [["show"], ["show", "--json"], ["--verbose", "show"]])
def test_full_standard_output_is_told_in_one_line(kept, words):
    with open("/dev/full", "w") as full:  # noqa: PTH123
        done = subprocess.run(
            [sys.executable, "-m", "acquire.cli", *words, str(kept)],
            stdout=full, stderr=subprocess.PIPE, text=True, check=False, timeout=60,
        )  # fmt: skip
    assert done.returncode == 1
    assert done.stderr.startswith("waylog: standard output: No space left on device")
    assert ("Traceback" in done.stderr) is ("--verbose" in words)


def test_export_never_replaces_what_is_there(kept, tmp_path, capsys):
    target = tmp_path / "all.h5"
    target.write_bytes(b"precious")
    assert main(["export", str(kept), str(target)]) == 1
    assert "is there already" in one_line(capsys)
    folder = tmp_path / "csv"
    folder.mkdir()
    (folder / "001-front-vee-level.csv").symlink_to(tmp_path / "dangling")
    assert main(["export", str(kept), str(folder)]) == 1
    assert "is there already" in one_line(capsys)
    assert target.read_bytes() == b"precious" and not (tmp_path / "dangling").exists()


@pytest.mark.parametrize("name", ["a-file/all.h5", "a-file/csv", "a-file", "nowhere/all.h5", "x" * 300])
def test_export_into_an_odd_place_is_refused(kept, tmp_path, capsys, name):
    (tmp_path / "a-file").write_bytes(b"")
    assert main(["export", str(kept), str(tmp_path / name)]) == 1
    assert "cannot be written" in one_line(capsys)


@pytest.fixture
def nothing_may_be_written(monkeypatch):
    """As on a disk mounted for reading alone; for the administrator too, whom permissions do not stop."""

    def refused(*_, **__):
        raise OSError(errno.EROFS, os.strerror(errno.EROFS))

    opened = os.open

    def open_for_reading(path, flags, *mode, **more):
        if flags & (os.O_CREAT | os.O_RDWR | os.O_WRONLY):
            refused()
        return opened(path, flags, *mode, **more)

    monkeypatch.setattr(os, "open", open_for_reading)
    for name in ("mkdir", "link", "rename", "replace", "unlink"):
        monkeypatch.setattr(os, name, refused)


@pytest.mark.parametrize(
    "words",
    [
        ["undo", "{}"],
        ["redo", "{}"],
        ["export", "{}", "{}/all.h5"],
        ["export", "{}", "{}/csv"],
        ["record", "{}", "front-vee", "--instrument", "level"],
        ["import", "{}", "{}/../readings.csv", "--face", "front-vee", "--instrument", "level"],
        ["mend", "{}"],
    ],
)
def test_survey_that_may_not_be_written_is_told_in_one_line(
    kept, cut_short, capsys, request, words, level_setup
):
    (kept.parent / "readings.csv").write_text("station_mm,reading\n100,1\n300,2\n")
    if words[0] == "mend":
        cut_short()
    before = {path: path.read_bytes() for path in kept.rglob("*") if path.is_file()}
    request.getfixturevalue("nothing_may_be_written")
    assert main([word.format(kept) for word in words]) == 1
    told = capsys.readouterr().err
    assert "Traceback" not in told and "Read-only file system" in told
    assert {path: path.read_bytes() for path in kept.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("where", ["a-file", "a-file/below", "/proc/waylog-demo", "full"])
def test_demo_into_an_impossible_place_is_refused(tmp_path, capsys, where):
    (tmp_path / "a-file").write_bytes(b"")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "something").write_bytes(b"")
    assert main(["demo", str(tmp_path / where)]) == 1
    told = capsys.readouterr().err
    assert "Traceback" not in told and str(tmp_path / where) in told


POSITIONS = ["stations", "scale:scale", "feed:5", "scale:nobody"]


@pytest.mark.parametrize("position", POSITIONS)
@pytest.mark.parametrize("standing", [None, "level"])
@pytest.mark.parametrize("sent", [b"", b"?", b"??\r\n" * 50, b"+9.9e37\r\n" * 50, b"\xff" * 5000])
def test_stream_without_one_good_value_becomes_a_traverse_without_stations(
    survey, level_setup, position, standing, sent
):
    import dataclasses

    scale = '[instruments.scale.wire]\nkind = "lines"\npattern = "(?P<value>.*)"\n'
    setup = dataclasses.replace(
        level_setup, bed_toml=level_setup.bed_toml + scale, position=position, standing=standing
    )
    with begin(survey, setup) as journal:
        for k, piece in enumerate(sent[start : start + 50] for start in range(0, len(sent), 50)):
            journal.chunk("level", k * 0.1, piece)
            journal.chunk("scale", k * 0.1, piece)
        journal.event(1.0, "mark", "station 100")
        journal.event(1.5, "mark", "")
        journal.end(True, 2.0)
    path = journal.path.with_suffix(".h5")
    convert_here(journal.path, path)
    traverse = read_traverse(path)
    assert len(traverse.stations) == 0
    if sent:
        assert traverse.streams["level"].raw == sent


class Ended:
    """A process that ended so."""

    stdout = ""

    def __init__(self, code):
        self.returncode = code


@pytest.mark.parametrize(
    ("code", "told", "untold"),
    [
        (-signal.SIGKILL, r"was killed \(SIGKILL\)", "room"),
        (-signal.SIGTERM, r"was killed \(SIGTERM\)", "room"),
        (-signal.SIGSEGV, r"crashed \(SIGSEGV\).*room on the disk", "killed"),
        (70, "met a bug", "room"),
    ],
)
def test_conversion_that_was_killed_is_not_told_as_a_full_disk(cut_short, monkeypatch, code, told, untold):
    journal = cut_short()
    monkeypatch.setattr(conversion.subprocess, "run", lambda *_, **__: Ended(code))
    with pytest.raises(RecordingError, match=told) as raised:
        convert(journal, journal.with_suffix(".h5"))
    assert untold not in str(raised.value) and "waylog mend" in str(raised.value)


def test_conversion_looks_for_room_before_the_library_is_asked_to_write(cut_short, monkeypatch):
    journal = cut_short()
    before = journal.read_bytes()
    usage = writer.shutil.disk_usage(journal.parent)
    monkeypatch.setattr(writer.shutil, "disk_usage", lambda path: usage._replace(free=10_000))
    monkeypatch.setattr(writer.h5py, "File", None)
    with pytest.raises(TraverseFileError, match=r"0.0 MB free.*0.3 MB of room"):
        convert_here(journal, journal.with_suffix(".h5"))
    assert journal.read_bytes() == before
    assert [path.name for path in journal.parent.iterdir()] == [journal.name]


def test_conversion_whose_recorder_was_killed_finishes_without_a_word(cut_short):
    """Nobody reads its answer any more."""
    journal = cut_short(ended=True)
    reading, writing = os.pipe()
    os.close(reading)
    try:
        done = subprocess.run(
            [sys.executable, "-P", "-m", "acquire.record.conversion", journal, journal.with_suffix(".h5")],
            stdout=writing, stderr=subprocess.PIPE, text=True, check=False, timeout=60,
            env={**os.environ, "PYTHONPATH": str(Path(conversion.__file__).parents[2])},
        )  # fmt: skip
    finally:
        os.close(writing)
    assert (done.returncode, done.stderr) == (0, "")
    assert not journal.exists() and read_traverse(journal.with_suffix(".h5")).complete


def test_undo_during_a_recording_says_that_it_is_running(kept, level_setup, capsys):
    with begin(kept, level_setup) as journal:
        assert main(["undo", str(kept)]) == 1
        told = one_line(capsys)
    assert "just now" in told and "cut short" not in told
    assert journal.path.exists() and len(list(kept.glob("traverses/*.h5"))) == 1


def test_last_line_without_an_end_is_no_reading(survey, capsys):
    """ "12" from a pipe that was cut may be the half of "12.5"."""
    argv = ["enter", str(survey), "front-vee", "--instrument", "level", "--step", "200", "--new"]
    done = subprocess.run(
        [sys.executable, "-m", "acquire.cli", *argv],
        input="1\n2", capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "1 readings kept" in done.stderr and "not taken: '2'" in done.stderr


def test_bytes_that_never_made_a_line_are_not_told_as_silence(level_setup):
    from acquire.commands.record import unread_words

    words = unread_words(level_setup.described, 5_000_000)
    assert words == "5,000,000 bytes, no line end: is 9600 baud its speed, and `ends` right?"


def test_garbled_lines_are_no_readings_and_stand_beside_them(survey, level_setup, capsys):
    """128 were decoded and 4 were not: never 132."""
    import dataclasses

    setup = dataclasses.replace(level_setup, position="stations")
    with begin(survey, setup) as journal:
        for k in range(132):
            journal.chunk("level", 0.1 * k, b"+1.5\r\n" if k % 33 else b"@@\r\n")
        journal.end(True, 14.0)
    converted = convert_here(journal.path, journal.path.with_suffix(".h5"))
    assert (converted.readings, converted.garbled) == (128, 4)
    assert main(["show", str(survey)]) == 0
    assert main(["show", str(journal.path.with_suffix(".h5"))]) == 0
    told = capsys.readouterr().out
    assert "128" in told and "4 garbled" in told and "132" not in told
