"""What stands on the disk in which order: bytes before their name, the name before what it replaces goes.

No power can be cut here.  The calls that settle the order are observed instead: a file that is
synced, then named, then its folder synced is whole or not there after a cut at any instant, as
POSIX has it (fsync of the file, rename or link, fsync of the folder).
"""

import os
from pathlib import Path

import pytest

from acquire.record.conversion import convert_here
from acquire.record.keeping import keep_line
from acquire.record.redoing import redo
from acquire.reduce.written.typed import TypedLine
from acquire.store.editing import change_bed
from acquire.store.journal import JournalWriter, begin
from acquire.store.withdrawing import withdraw


@pytest.fixture
def calls(monkeypatch):
    """Every sync, link, rename and removal from now on: what, and of which name."""
    seen = []
    real = {name: getattr(os, name) for name in ("fsync", "link", "rename", "replace", "unlink", "write")}

    def name_of(handle):
        return Path(f"/proc/self/fd/{handle}").readlink().name

    def synced(handle):
        seen.append(("fsync", name_of(handle)))
        real["fsync"](handle)

    def written(handle, data):
        seen.append(("write", name_of(handle)))
        return real["write"](handle, data)

    def named(call):
        def done(old, new, **more):
            seen.append((call, Path(old).name, Path(new).name))
            return real[call](old, new, **more)

        return done

    def removed(path, **more):
        seen.append(("unlink", Path(path).name))
        return real["unlink"](path, **more)

    monkeypatch.setattr(os, "fsync", synced)
    monkeypatch.setattr(os, "write", written)
    monkeypatch.setattr(os, "unlink", removed)
    for call in ("link", "rename", "replace"):
        monkeypatch.setattr(os, call, named(call))
    return seen


def in_order(calls, *wanted):
    """Whether the wanted calls come in this order; other calls may stand between."""
    rest = iter(calls)
    return all(any(matches(call, want) for call in rest) for want in wanted)


def matches(call, want):
    """Whether a call is the one wanted; "*" stands for the temporary name, drawn anew each time."""
    return len(call) == len(want) and all(map(is_meant, call, want))


def is_meant(got, word):
    """One word of a call."""
    return got == word or (word == "*" and got.startswith(".waylog-"))


needs_linux = pytest.mark.skipif(not Path("/proc/self/fd").exists(), reason="names of open files: /proc")


@needs_linux
def test_traverse_file_is_synced_named_and_its_folder_synced_before_the_journal_goes(cut_short, calls):
    journal = cut_short()
    calls.clear()
    name = "001-front-vee-level"
    convert_here(journal, journal.with_suffix(".h5"))
    assert in_order(
        calls, ("fsync", "*"), ("link", "*", f"{name}.h5"), ("fsync", "traverses"),
        ("unlink", f"{name}.journal"), ("fsync", "traverses"),
    )  # fmt: skip
    assert not in_order(calls, ("unlink", f"{name}.journal"), ("link", "*", f"{name}.h5"))


@needs_linux
def test_journal_has_its_beginning_on_the_disk_before_it_has_its_name(survey, level_setup, calls):
    with begin(survey, level_setup) as journal:
        name = journal.path.name
        assert in_order(calls, ("write", "*"), ("fsync", "*"), ("link", "*", name), ("fsync", "traverses"))
        calls.clear()
        journal.chunk("level", 0.1, b"+1.0\r\n")
        journal.end(True, 0.2)
        assert [call[0] for call in calls][-2:] == ["write", "fsync"]


@needs_linux
def test_typed_line_is_on_the_disk_before_the_next_question(survey, level_setup, calls):
    with begin(survey, level_setup) as journal:
        for k in range(3):
            calls.clear()
            keep_line(journal, TypedLine(100.0 * k, 1, 0.1 * k, "+1"))
            assert [call[0] for call in calls] == ["write", "fsync"]


@pytest.mark.whole
@needs_linux
def test_old_traverse_is_kept_and_its_folder_synced_before_the_new_one_takes_its_name(
    survey, cut_short, calls
):
    journal = cut_short()
    convert_here(journal, journal.with_suffix(".h5"))
    calls.clear()
    redo(survey)
    name = "001-front-vee-level.h5"
    assert in_order(
        calls, ("fsync", "*"), ("link", name, name), ("fsync", "superseded"),
        ("replace", "*", name), ("fsync", "traverses"),
    ) or in_order(
        calls, ("fsync", "*"), ("link", name, name), ("fsync", "superseded"),
        ("rename", "*", name), ("fsync", "traverses"),
    )  # fmt: skip


@needs_linux
def test_withdrawn_traverse_has_its_new_name_before_the_old_one_goes(survey, cut_short, calls):
    journal = cut_short()
    convert_here(journal, journal.with_suffix(".h5"))
    calls.clear()
    withdraw(survey)
    name = "001-front-vee-level.h5"
    assert in_order(
        calls, ("link", name, name), ("unlink", name), ("fsync", "withdrawn"), ("fsync", "traverses")
    )


@needs_linux
def test_bed_is_on_the_disk_before_it_takes_the_old_ones_name(survey, calls):
    change_bed(survey / "bed.toml", lambda text: text.replace("1000", "1100"))
    final = [call for call in calls if call[-1] == "bed.toml"]
    assert len(final) == 1 and final[0][0] in ("replace", "rename")
    assert in_order(
        calls, ("write", "*"), ("fsync", "*"), (final[0][0], "*", "bed.toml"), ("fsync", "survey")
    )


def test_sync_comes_twice_a_second_while_lines_come(survey, level_setup, calls):
    """What a power cut may take of a recording."""
    with begin(survey, level_setup) as journal:
        calls.clear()
        for k in range(1000):
            journal.chunk("level", 0.01 * k, b"+1.0\r\n")
        assert 19 <= sum(call[0] == "fsync" for call in calls) <= 22
    assert isinstance(journal, JournalWriter)
