"""Redo derives from the raw bytes with the present bed.toml; the old file is kept; all or none."""

import dataclasses

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import AcquireError, SurveyError, WaylogError
from acquire.record.conversion import convert_here
from acquire.record.redoing import redo
from acquire.reduce import derive
from acquire.store import next_number, read_survey, read_traverse
from acquire.store.safe_files import locked


@pytest.fixture
def two_done(survey, cut_short):
    """Two recorded traverses; gives their paths."""
    paths = []
    for ended in (True, False):
        journal = cut_short(ended=ended)
        convert_here(journal, journal.with_suffix(".h5"))
        paths.append(journal.with_suffix(".h5"))
    return paths


def edit_bed(survey, old, new):
    text = (survey / "bed.toml").read_text()
    assert old in text
    (survey / "bed.toml").write_text(text.replace(old, new))


def contents_of_folder(survey):
    return {
        str(path.relative_to(survey)): path.read_bytes()
        for path in sorted((survey / "traverses").rglob("*"))
        if path.is_file()
    }


@pytest.mark.whole
def test_redo_without_a_change_gives_the_same_traverse(survey, two_done):
    before = read_traverse(two_done[0])
    (done,) = redo(survey, [1])
    after = read_traverse(two_done[0])
    assert done.changes == ()
    assert after.setup == before.setup
    np.testing.assert_array_equal(after.stations.reading, before.stations.reading)
    assert after.streams["level"].raw == before.streams["level"].raw
    assert (after.complete, after.events.text) == (before.complete, before.events.text)


@pytest.mark.whole
def test_sign_mended_in_the_bed_turns_the_readings(survey, two_done):
    before = read_traverse(two_done[0]).stations
    edit_bed(survey, "base_mm = 200", "base_mm = 200\nsign = -1")
    done = redo(survey)
    assert [each.number for each in done] == [1, 2]
    assert any("sign was 1, is -1" in change for change in done[0].changes)
    np.testing.assert_allclose(read_traverse(two_done[0]).stations.reading, -before.reading)
    assert [traverse.number for traverse in read_survey(survey)] == [1, 2]


@pytest.mark.whole
def test_old_files_are_kept_to_the_byte_and_never_overwritten(survey, two_done):
    first = two_done[0].read_bytes()
    redo(survey, [1])
    second = two_done[0].read_bytes()
    redo(survey, [1])
    kept = survey / "traverses" / "superseded"
    assert (kept / "001-front-vee-level.h5").read_bytes() == first
    assert (kept / "001-front-vee-level.2.h5").read_bytes() == second
    assert next_number(survey) == 3


@pytest.mark.whole
def test_damage_of_the_recording_is_still_told_after_redo(survey, cut_short):
    journal = cut_short(ended=True)
    data = bytearray(journal.read_bytes())
    data[-300] ^= 1
    journal.write_bytes(data)
    convert_here(journal, journal.with_suffix(".h5"))
    redo(survey)
    after = read_survey(survey)[0]
    assert not after.complete
    assert list(after.events.kind).count("damage") == 1


@pytest.mark.whole
def test_error_in_one_leaves_all_untouched(survey, two_done):
    before = contents_of_folder(survey)

    def fails_at_the_second(contents):
        if contents.setup.number == 2:
            raise AcquireError("traverse 002", "cannot be derived")
        return derive(contents)

    with pytest.raises(AcquireError):
        redo(survey, derive=fails_at_the_second)
    assert contents_of_folder(survey) == before


@pytest.mark.whole
@pytest.mark.parametrize(
    ("old", "new", "complaint"),
    [
        ("instruments.level", "instruments.other-level", "describes no instrument level"),
        ("faces.front-vee", "faces.front-way", "no face front-vee"),
        (
            'quantity = "slope"\nunit = "um/m"\nbase_mm = 200',
            'quantity = "roll"\nunit = "um/m"',
            "now reads roll",
        ),
    ],
)
def test_bed_that_no_longer_knows_what_was_measured_is_refused(survey, two_done, old, new, complaint):
    before = contents_of_folder(survey)
    edit_bed(survey, old, new)
    with pytest.raises(SurveyError, match=complaint):
        redo(survey)
    assert contents_of_folder(survey) == before


@pytest.mark.whole
def test_number_that_is_not_there_is_refused_with_those_that_are(survey, two_done):
    with pytest.raises(SurveyError, match=r"no traverse 7; needed: 1, 2"):
        redo(survey, [1, 7])


@pytest.mark.whole
def test_no_room_on_the_disk_is_refused_before_anything_is_written(survey, two_done, monkeypatch):
    before = contents_of_folder(survey)
    full = dataclasses.make_dataclass("Usage", ["free"])(1000)
    monkeypatch.setattr("shutil.disk_usage", lambda folder: full)
    with pytest.raises(WaylogError, match="Make room"):
        redo(survey)
    assert contents_of_folder(survey) == before


@pytest.mark.whole
def test_command_names_what_changed(survey, two_done, capsys):
    edit_bed(survey, "base_mm = 200", "base_mm = 100")
    assert main(["redo", str(survey), "2"]) == 0
    said = capsys.readouterr()
    assert "002-front-vee-level.h5: derived anew" in said.out
    assert "base_mm was 200.0, is 100.0" in said.err


def test_finished_traverses_are_altered_by_one_at_a_time(survey, two_done):
    before = contents_of_folder(survey)
    with locked(survey / "bed.toml"), pytest.raises(SurveyError, match="is at work here"):
        redo(survey)
    assert contents_of_folder(survey) == before


def test_second_redo_keeps_what_the_first_one_kept(survey, two_done):
    """Under superseded/ lies every file that ever was: the first, and the one that took its place."""
    first = two_done[0].read_bytes()
    kept = [redo(survey, [1])[0].kept, redo(survey, [1])[0].kept]
    assert len({path.name for path in kept}) == 2 and all(path.exists() for path in kept)
    assert kept[0].read_bytes() == first
