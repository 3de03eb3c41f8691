"""The journal goes only when its file is proven; whatever fails, the bytes stay."""

import dataclasses
import signal
import subprocess
import sys
import textwrap
import time

import numpy as np
import pytest

from acquire.model.errors import RecordingError
from acquire.record import conversion
from acquire.record.conversion import JournalInUse, convert, convert_here, what_is_missing
from acquire.record.mending import mend
from acquire.reduce import derive
from acquire.store import read_traverse, write_traverse
from acquire.store.journal import JournalWriter, read_journal

pytestmark = pytest.mark.whole


def test_journal_becomes_a_file_with_every_byte_and_goes(cut_short):
    journal = cut_short(ended=True)
    contents = read_journal(journal)
    h5_path = journal.with_suffix(".h5")
    converted = convert(journal, h5_path)
    assert not journal.exists()
    traverse = read_traverse(h5_path)
    assert what_is_missing(contents, traverse) is None
    assert traverse.streams["level"].raw == contents.chunks["level"].raw
    assert traverse.complete and converted.complete
    assert converted.readings == traverse.readings == 300
    assert converted.stations == len(traverse.stations) == 3


def test_conversion_works_from_a_folder_full_of_traps(cut_short, tmp_path, monkeypatch):
    """A file called numpy.py beside the survey must not be imported."""
    (tmp_path / "numpy.py").write_text("raise SystemExit('trapped')")
    monkeypatch.chdir(tmp_path)
    journal = cut_short()
    convert(journal, journal.with_suffix(".h5"))
    assert not journal.exists()


def test_journal_being_recorded_is_refused(survey, level_setup):
    path = survey / "traverses" / "001-front-vee-level.journal"
    with JournalWriter.create(path, level_setup) as writer:
        writer.chunk("level", 0.0, b"+1.0\r\n")
        with pytest.raises(JournalInUse, match="in use"):
            convert_here(path, path.with_suffix(".h5"))
        with pytest.raises(RecordingError, match="in use"):
            convert(path, path.with_suffix(".h5"))
    assert path.exists()


def test_file_of_that_name_with_other_contents_is_never_touched(cut_short, level_traverse):
    journal = cut_short()
    h5_path = journal.with_suffix(".h5")
    write_traverse(h5_path, level_traverse)
    before = h5_path.read_bytes()
    with pytest.raises(RecordingError, match="both are kept"):
        convert_here(journal, h5_path)
    assert journal.exists()
    assert h5_path.read_bytes() == before


def test_file_that_was_written_before_the_crash_is_kept_and_the_journal_goes(cut_short):
    journal = cut_short()
    h5_path = journal.with_suffix(".h5")
    write_traverse(h5_path, derive(read_journal(journal)))
    before = h5_path.read_bytes()
    assert convert_here(journal, h5_path).was_there
    assert not journal.exists()
    assert h5_path.read_bytes() == before


@pytest.mark.parametrize("forgotten", ["bytes", "event", "port"])
def test_derivation_that_forgets_something_cannot_remove_the_journal(cut_short, forgotten):
    journal = cut_short()

    def forgetful(contents):
        traverse = derive(contents)
        if forgotten == "event":
            kept = np.array([kind != "note" for kind in traverse.events.kind])
            keep = [index for index, is_kept in enumerate(kept) if is_kept]
            events = dataclasses.replace(
                traverse.events,
                time_s=traverse.events.time_s[keep],
                kind=tuple(traverse.events.kind[index] for index in keep),
                text=tuple(traverse.events.text[index] for index in keep),
            )
            return dataclasses.replace(traverse, events=events)
        if forgotten == "port":
            return dataclasses.replace(traverse, streams={})
        level = traverse.streams["level"]
        shorter = dataclasses.replace(level, raw=b"?" + level.raw[1:])
        return dataclasses.replace(traverse, streams={"level": shorter})

    with pytest.raises(RecordingError, match="does not hold all"):
        convert_here(journal, journal.with_suffix(".h5"), forgetful)
    assert journal.exists()


def test_what_was_lost_stands_in_the_file_and_it_is_not_complete(cut_short):
    journal = cut_short(ended=True)
    data = bytearray(journal.read_bytes())
    data[-300] ^= 1
    journal.write_bytes(data)
    converted = convert(journal, journal.with_suffix(".h5"))
    traverse = read_traverse(journal.with_suffix(".h5"))
    assert not traverse.complete
    assert converted.lost_bytes > 0
    assert [t for k, t in zip(traverse.events.kind, traverse.events.text, strict=True) if k == "damage"] == (
        list(converted.damage)
    )


@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
@pytest.mark.parametrize("limit", [0, 2000, 9000])
def test_full_disk_while_converting_keeps_the_journal_and_leaves_nothing_beside(cut_short, limit):
    journal = cut_short()
    before = journal.read_bytes()
    program = """
        import resource, sys
        from acquire.record.conversion import convert
        from acquire.model.errors import RecordingError
        resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[3]), int(sys.argv[3])))
        try:
            convert(sys.argv[1], sys.argv[2])
        except RecordingError as error:
            sys.stdout.write(str(error))
    """
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(program), journal, journal.with_suffix(".h5"), str(limit)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "room" in done.stdout
    assert journal.read_bytes() == before
    assert [path.name for path in journal.parent.iterdir()] == [journal.name]
    convert(journal, journal.with_suffix(".h5"))


@pytest.mark.skipif(sys.platform == "win32", reason="needs SIGKILL")
def test_conversion_killed_half_way_is_done_again_without_loss(survey, cut_short, start):
    """Killed as soon as its file beside has begun to grow, three times over."""
    journal = cut_short(stops=40)
    before = journal.read_bytes()
    h5_path = journal.with_suffix(".h5")
    for _ in range(3):
        child = start([sys.executable, "-m", "acquire.record.conversion", journal, h5_path])
        deadline = time.monotonic() + 30
        while child.poll() is None and not list(h5_path.parent.glob(".waylog-*.tmp")):
            assert time.monotonic() < deadline
            time.sleep(0.001)
        child.send_signal(signal.SIGKILL)
        child.wait()
        if journal.exists():
            assert journal.read_bytes() == before
        else:  # it was done before the kill came
            assert h5_path.exists()
    mend(survey)
    assert len(read_traverse(h5_path).streams["level"].raw) > 4000 * 5
    assert [path.name for path in h5_path.parent.iterdir()] == [h5_path.name]


@pytest.mark.parametrize(
    ("name", "spoil"),
    [
        ("raw", lambda raw: raw[:-1] + b"?"),
        ("raw", lambda raw: raw[:-1]),
        ("chunk_end", lambda ends: ends + (np.arange(len(ends)) == 3)),
        ("chunk_time_s", lambda times: times + 1e-9 * (np.arange(len(times)) == 3)),
        ("chunk_time_s", lambda times: times[:-1]),
    ],
)
def test_read_back_compares_bytes_and_times_each_by_itself(cut_short, name, spoil):
    journal = cut_short(ended=True)
    contents = read_journal(journal)
    traverse = derive(contents)
    assert what_is_missing(contents, traverse) is None
    level = traverse.streams["level"]
    level = dataclasses.replace(level, **{name: spoil(getattr(level, name))})
    spoilt = dataclasses.replace(traverse, streams={"level": level})
    assert what_is_missing(contents, spoilt) == "the bytes of level"
    if len(level.chunk_end) == len(level.chunk_time_s) and level.chunk_end[-1] == len(level.raw):
        with pytest.raises(RecordingError, match="bytes of level"):  # a file may hold these
            convert_here(journal, journal.with_suffix(".h5"), derive=lambda _: spoilt)
        assert journal.exists()


def test_read_back_misses_an_event_and_another_setup(cut_short):
    contents = read_journal(cut_short(ended=True))
    traverse = derive(contents)
    events = traverse.events
    kept = [k for k, kind in enumerate(events.kind) if kind != "note"]
    fewer = dataclasses.replace(
        events,
        time_s=events.time_s[kept],
        kind=tuple(events.kind[k] for k in kept),
        text=tuple(events.text[k] for k in kept),
    )
    told = what_is_missing(contents, dataclasses.replace(traverse, events=fewer))
    assert told == "the event note at 30.000 s"
    other = dataclasses.replace(traverse, setup=traverse.setup.with_number(7))
    assert what_is_missing(contents, other) == "it is of another traverse"


def test_long_journal_is_converted_through_the_disk_to_the_same_bits(cut_short, tmp_path, monkeypatch):
    """Its columns lie in files without a name beside it, of which nothing is left."""
    journal = cut_short(ended=True)
    bytes_of_it = journal.read_bytes()
    convert_here(journal, journal.with_suffix(".h5"))
    in_memory = read_traverse(journal.with_suffix(".h5"))
    journal.with_suffix(".h5").unlink()
    journal.write_bytes(bytes_of_it)
    monkeypatch.setattr(conversion, "LONGEST_IN_MEMORY", 0)
    convert_here(journal, journal.with_suffix(".h5"))
    on_disk = read_traverse(journal.with_suffix(".h5"))
    for name, stream in in_memory.streams.items():
        for field in dataclasses.fields(stream):
            one, other = getattr(stream, field.name), getattr(on_disk.streams[name], field.name)
            assert np.array_equal(one, other, equal_nan=isinstance(one, np.ndarray)), (name, field.name)
    assert np.array_equal(in_memory.stations.reading, on_disk.stations.reading)
    assert [path.suffix for path in journal.parent.iterdir()] == [".h5"]


def test_long_journal_without_room_for_its_columns_is_refused_before_anything_is_written(
    cut_short, monkeypatch
):
    journal = cut_short(ended=True)
    monkeypatch.setattr(conversion, "LONGEST_IN_MEMORY", 0)
    monkeypatch.setattr(conversion, "SCRATCH_FACTOR", 1 << 40)
    with pytest.raises(RecordingError, match="MB of room while it is converted"):
        convert_here(journal, journal.with_suffix(".h5"))
    assert list(journal.parent.iterdir()) == [journal]
