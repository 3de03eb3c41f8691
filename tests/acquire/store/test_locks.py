"""What another process holds is neither replaced nor deleted by any command."""

import sys

import pytest

from acquire.cli import main
from acquire.record.conversion import convert_here
from acquire.store.journal import begin

HOLD = """
import sys
from pathlib import Path
from acquire.store.safe_files import locked
with locked(Path(sys.argv[1])) as is_ours:
    print("held" if is_ours else "not held", flush=True)
    sys.stdin.read()
"""


@pytest.fixture
def held_elsewhere(start):
    """Have another process hold a file until the test is over."""
    import subprocess

    def hold(path):
        command = [sys.executable, "-c", HOLD, str(path)]
        child = start(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert child.stdout.readline() == "held\n"

    return hold


@pytest.fixture
def kept(survey, cut_short):
    """A survey with one traverse and one recording that was cut short."""
    journal = cut_short(ended=True)
    convert_here(journal, journal.with_suffix(".h5"))
    cut_short()
    return survey


@pytest.mark.whole
@pytest.mark.parametrize(
    ("words", "held", "code"),
    [
        (["undo", "{}", "--number", "1"], "traverses/001-front-vee-level.h5", 1),
        (["undo", "{}", "--number", "2"], "traverses/002-front-vee-level.journal", 1),
        (["undo", "{}"], "traverses/002-front-vee-level.journal", 1),
        (["mend", "{}"], "traverses/002-front-vee-level.journal", 0),
        (["redo", "{}"], "bed.toml", 1),
        (["correct", "{}", "1", "--station", "100", "--strike", "--because", "a knock"], "bed.toml", 1),
    ],
)
def test_what_another_process_holds_is_left_as_it_is(kept, held_elsewhere, capsys, words, held, code):
    held_elsewhere(kept / held)
    before = {path: path.read_bytes() for path in kept.rglob("*") if path.is_file()}
    assert main([word.format(kept) for word in words]) == code
    told = capsys.readouterr()
    assert any(word in told.out + told.err for word in ("in use", "just now", "at work")), told
    assert {path: path.read_bytes() for path in kept.rglob("*") if path.is_file()} == before


@pytest.mark.whole
def test_file_that_another_process_writes_is_no_leftover(kept, held_elsewhere, capsys):
    writing = kept / "traverses" / f".waylog-{'a' * 16}.tmp"
    writing.write_bytes(b"half")
    held_elsewhere(writing)
    main(["mend", str(kept)])
    assert writing.read_bytes() == b"half" and "leftover" not in capsys.readouterr().out


@pytest.mark.whole
def test_entry_that_another_process_goes_on_with_is_refused(survey, level_setup, held_elsewhere, capsys):
    from dataclasses import replace

    with begin(survey, replace(level_setup, source="enter", position="file", state={})) as journal:
        path = journal.path
    held_elsewhere(path)
    before = path.read_bytes()
    argv = ["enter", str(survey), "front-vee", "--instrument", "level", "--step", "200", "--resume"]
    assert main(argv) == 1
    assert "in use by another waylog" in capsys.readouterr().err
    assert path.read_bytes() == before
