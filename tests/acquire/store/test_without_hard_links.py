"""A memory stick whose file system has no hard links: nothing is lost, nothing replaced, all names taken.

The kernel's answer there is EPERM (link(2) of the Linux manual pages); it is given here to every call.
"""

import errno
import os

import h5py
import pytest

from acquire.model.errors import SurveyError
from acquire.record.conversion import convert_here
from acquire.record.redoing import redo
from acquire.store.journal import begin
from acquire.store.safe_files import write_file
from acquire.store.withdrawing import withdraw

NAME = "001-front-vee-level.h5"


@pytest.fixture(autouse=True)
def no_links(monkeypatch):
    """The calls for a hard link, each refused as such a file system does."""
    asked = []

    def refused(old, new, **_):
        asked.append((old, new))
        raise PermissionError(errno.EPERM, os.strerror(errno.EPERM), str(old), None, str(new))

    monkeypatch.setattr(os, "link", refused)
    return asked


@pytest.fixture
def converted(cut_short):
    """A traverse that was recorded and converted there; its path."""
    journal = cut_short()
    convert_here(journal, journal.with_suffix(".h5"))
    assert not journal.exists()
    return journal.with_suffix(".h5")


def files_in(folder):
    return sorted(path.name for path in folder.rglob("*") if path.is_file())


def test_recording_is_begun_and_converted_and_leaves_nothing_beside(converted, no_links):
    assert no_links, "a link was asked for first"
    assert files_in(converted.parent) == [NAME]
    with h5py.File(converted) as kept:
        assert len(kept["stations/reading"]) == 3


def test_name_that_is_taken_is_not_taken_again(tmp_path):
    place = tmp_path / "bed.toml"
    place.write_text("as it was")
    with pytest.raises(SurveyError, match="a file of that name already"):
        write_file(place, b"another")
    assert place.read_text() == "as it was" and files_in(tmp_path) == ["bed.toml"]


def test_next_recording_takes_the_next_number(converted, survey, level_setup):
    with begin(survey, level_setup) as journal:
        journal.end(True, 0.1)
    assert journal.path.name.startswith("002-")


@pytest.mark.whole
def test_file_that_is_redone_is_kept_as_it_was(converted, survey):
    before = converted.read_bytes()
    redo(survey)
    assert (converted.parent / "superseded" / NAME).read_bytes() == before
    assert files_in(converted.parent) == [NAME, NAME]


def test_withdrawn_traverse_moves_and_is_as_it_was(converted, survey):
    before = converted.read_bytes()
    withdraw(survey)
    assert not converted.exists()
    assert (converted.parent / "withdrawn" / NAME).read_bytes() == before
