"""A survey folder from somebody else: nothing outside it is written, nothing in it is waited for."""

import os

import pytest

from acquire.cli import main
from acquire.model.errors import RecordingError, WaylogError
from acquire.record.conversion import convert_here
from acquire.record.redoing import redo
from acquire.store.journal import JournalWriter


@pytest.mark.parametrize("argv", [["record", "{}", "front-vee", "--instrument", "level"], ["watch", "{}"]])
def test_port_of_somebody_elses_survey_truncates_no_file(survey, tmp_path, capsys, argv):
    precious = tmp_path / "precious"
    precious.write_bytes(b"precious")
    text = (survey / "bed.toml").read_text()
    (survey / "bed.toml").write_text(text.replace("loop://", f"spy://loop://?file={precious}"))
    assert main([word.format(survey) for word in argv]) == 1
    assert "needed a port" in capsys.readouterr().err
    assert precious.read_bytes() == b"precious"


def test_bed_described_in_a_queue_or_a_device_is_told_and_not_waited_for(survey, tmp_path, capsys, at_once):
    (survey / "bed.toml").unlink()
    os.mkfifo(survey / "bed.toml")
    for command in (["show"], ["mend"], ["record", "--instrument", "level"], ["undo"], ["redo"]):
        with at_once():
            assert main([command[0], str(survey), *command[1:]]) == 1
        assert "is no plain file" in capsys.readouterr().err


@pytest.mark.parametrize("ending", ["h5", "journal"])
def test_queue_in_the_place_of_a_traverse_is_told_and_not_waited_for(survey, capsys, at_once, ending):
    queue = survey / "traverses" / f"001-front-vee-level.{ending}"
    os.mkfifo(queue)
    for command in ("show", "mend"):
        with at_once():
            main([command, str(survey)])
        told = capsys.readouterr()
        if ending == "journal":
            assert str(queue) in told.out + told.err
        assert "Traceback" not in told.err
    with at_once():
        assert main(["show", str(queue)]) == 1
    assert "file" in capsys.readouterr().err


@pytest.mark.parametrize("path", ["/dev/zero", "/dev/tty", "a-queue"])
def test_import_from_a_device_or_without_end_is_refused_at_once(survey, tmp_path, capsys, at_once, path):
    if path == "a-queue":
        path = str(tmp_path / path)
        os.mkfifo(path)
    with at_once():
        assert main(["import", str(survey), path, "--face", "front-vee", "--instrument", "level"]) == 1
    assert "is no plain file" in capsys.readouterr().err
    assert list((survey / "traverses").iterdir()) == []


@pytest.mark.whole
@pytest.mark.parametrize("kind", ["symbolic", "hard"])
def test_links_planted_beside_a_journal_and_a_traverse_are_not_written_through(
    survey, cut_short, tmp_path, kind
):
    """Names that earlier versions wrote to before they gave a file its own."""
    precious = tmp_path / "precious"
    precious.write_bytes(b"precious")
    stem = survey / "traverses" / "001-front-vee-level"
    names = (".journal.new", ".h5.tmp", ".h5.redone", ".h5.redone.tmp")
    planted = [stem.with_name(stem.name + ending) for ending in names]
    for link in planted:
        if kind == "hard":
            link.hardlink_to(precious)
        else:
            link.symlink_to(precious)
    journal = cut_short()
    convert_here(journal, journal.with_suffix(".h5"))
    redo(survey)
    assert precious.read_bytes() == b"precious"
    assert all(link.exists() for link in planted)


@pytest.mark.parametrize("linked", [os.symlink, os.link])
def test_link_under_the_very_name_that_was_drawn_is_refused(survey, cut_short, tmp_path, monkeypatch, linked):
    precious = tmp_path / "precious"
    precious.write_bytes(b"precious")
    monkeypatch.setattr("os.urandom", bytes)
    linked(precious, survey / "traverses" / f".waylog-{'0' * 16}.tmp")
    with pytest.raises(RecordingError, match="cannot be written"):
        cut_short()
    assert precious.read_bytes() == b"precious"


def test_entry_that_is_a_link_is_not_gone_on_with(survey, cut_short, tmp_path):
    """Going on cuts off what belongs to no record, and appends."""
    journal = cut_short(stops=1)
    elsewhere = tmp_path / "elsewhere.journal"
    journal.rename(elsewhere)
    elsewhere.write_bytes(elsewhere.read_bytes() + b"torn")
    before = elsewhere.read_bytes()
    journal.symlink_to(elsewhere)
    with pytest.raises(RecordingError, match="cannot be opened"):
        JournalWriter.reopen(journal)
    assert elsewhere.read_bytes() == before


@pytest.mark.whole
@pytest.mark.parametrize("name", ["traverses", "traverses/withdrawn", "traverses/superseded"])
def test_folder_of_a_survey_that_is_a_link_takes_nothing_out_of_it(survey, cut_short, tmp_path, capsys, name):
    outside = tmp_path / "outside"
    outside.mkdir()
    if name == "traverses":
        (survey / name).rmdir()
        (survey / name).symlink_to(outside)
        with pytest.raises(WaylogError, match="found a link"):
            cut_short()
    else:
        journal = cut_short()
        convert_here(journal, journal.with_suffix(".h5"))
        (survey / name).symlink_to(outside)
        command = "undo" if name.endswith("withdrawn") else "redo"
        assert main([command, str(survey)]) == 1
        assert "found a link" in capsys.readouterr().err
    assert list(outside.iterdir()) == []
