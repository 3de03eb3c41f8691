"""Mending brings back what is whole, leaves alone what is in use, and says what is lost."""

import os

import pytest

from acquire.cli import main
from acquire.model.errors import WaylogError
from acquire.record.conversion import convert_here
from acquire.record.mending import mend
from acquire.reduce import derive
from acquire.store import read_survey, read_traverse, write_traverse
from acquire.store.journal import begin, read_journal

pytestmark = pytest.mark.whole


@pytest.fixture
def mended(survey):
    """Mends the survey in this process; gives outcome by name of file."""
    return lambda: {each.path.name: each.outcome for each in mend(survey, convert_here)}


def test_cut_recording_comes_back_and_is_not_called_complete(survey, cut_short, mended):
    cut_short()
    assert mended() == {"001-front-vee-level.h5": "mended"}
    (traverse,) = read_survey(survey)
    assert not traverse.complete
    assert traverse.readings == 300
    assert mended() == {}


def test_recording_that_was_ended_but_not_converted_is_complete(survey, cut_short, mended):
    cut_short(ended=True)
    assert mended() == {"001-front-vee-level.h5": "finished"}
    assert read_survey(survey)[0].complete


def test_journal_of_a_live_recorder_is_left_alone(survey, cut_short, level_setup, mended):
    cut_short()
    with begin(survey, level_setup) as writer:
        writer.chunk("level", 0.0, b"+1.0\r\n")
        assert mended() == {"001-front-vee-level.h5": "mended", "002-front-vee-level.journal": "in use"}
        writer.chunk("level", 1.0, b"+2.0\r\n")
    assert read_journal(writer.path).chunks["level"].raw == b"+1.0\r\n+2.0\r\n"


def test_journal_without_a_byte_stays_with_that_reason(survey, level_setup, mended):
    begin(survey, level_setup).close()
    assert mended() == {"001-front-vee-level.journal": "empty"}
    assert main(["mend", str(survey)]) == 0


def test_journal_whose_beginning_is_lost_stays_with_that_reason(survey, cut_short, capsys):
    path = cut_short()
    path.write_bytes(path.read_bytes()[200:])
    before = path.read_bytes()
    assert main(["mend", str(survey)]) == 1
    assert "what was measured" in capsys.readouterr().err
    assert path.read_bytes() == before


def test_file_that_exists_and_matches_only_loses_its_journal(survey, cut_short, mended):
    journal = cut_short()
    write_traverse(journal.with_suffix(".h5"), derive(read_journal(journal)))
    assert mended() == {"001-front-vee-level.h5": "finished"}
    assert not journal.exists()


def test_leftovers_beside_are_cleared_and_nothing_else(survey, cut_short, mended):
    cut_short()
    mended()
    folder = survey / "traverses"
    earlier = (folder / "001-front-vee-level.h5").read_bytes()
    for name in (".waylog-0123456789abcdef.tmp", "notes.tmp"):
        (folder / name).write_bytes(b"half")
    assert set(mended().values()) == {"removed"}
    assert sorted(path.name for path in folder.iterdir()) == ["001-front-vee-level.h5", "notes.tmp"]
    assert (folder / "001-front-vee-level.h5").read_bytes() == earlier


def test_cut_at_every_tenth_byte_of_the_end_mends_to_what_was_whole(survey, cut_short, mended):
    journal = cut_short(stops=2)
    h5_path = journal.with_suffix(".h5")
    whole, raw = journal.read_bytes(), read_journal(journal).chunks["level"].raw
    for cut in range(len(whole) - 200, len(whole), 10):
        journal.write_bytes(whole[:cut])
        mended()
        got = read_traverse(h5_path).streams["level"].raw
        assert raw.startswith(got)
        assert len(raw) - len(got) <= 200
        h5_path.unlink()


def test_command_says_what_came_back_and_what_is_lost(survey, cut_short, capsys):
    path = cut_short()
    os.truncate(path, path.stat().st_size - 3)
    assert main(["mend", str(survey)]) == 0
    said = capsys.readouterr().out
    assert "300 readings, 3 stations; the traverse was cut short" in said
    assert "bytes were lost" in said
    assert main(["mend", str(survey)]) == 0
    assert "nothing to mend" in capsys.readouterr().out


def test_folder_that_is_no_survey_is_refused(tmp_path):
    with pytest.raises(WaylogError):
        mend(tmp_path / "nowhere")
