"""What was appended is read back; what is damaged is told and nothing else suffers."""

import dataclasses
import errno
import io
import os
import subprocess
import sys
import textwrap

import numpy as np
import pytest

from acquire.model.errors import RecordingError, SurveyError, TraverseFileError
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.store.journal import Chunks, End, JournalWriter, Lost, begin, frames, read_journal, records


@pytest.fixture
def path(tmp_path):
    return tmp_path / "001-front-vee-level.journal"


@pytest.fixture
def recorded(path, level_setup):
    """A small whole journal: two ports, events, an end; its sent chunks beside."""
    sent = {"level": [], "scale": []}
    random = np.random.default_rng(3)
    with JournalWriter.create(path, level_setup) as writer:
        for index in range(40):
            port = ("level", "scale")[index % 2]
            data = random.bytes(int(random.integers(1, 60)))  # any byte may come, our magic too
            sent[port].append((index * 0.1, data))
            writer.chunk(port, index * 0.1, data)
            if index % 10 == 0:
                writer.event(index * 0.1, "mark", f"number {index} µ")
        writer.end(True, 4.0)
    return path, sent


def test_everything_comes_back_in_order(recorded, level_setup):
    path, sent = recorded
    contents = read_journal(path)
    assert contents.setup == level_setup
    assert {port: list(chunks) for port, chunks in contents.chunks.items()} == sent
    assert [event.text for event in contents.events] == [f"number {n} µ" for n in (0, 10, 20, 30)]
    assert contents.complete
    assert (contents.lost_bytes, list(contents.damage)) == (0, [])


def test_records_come_one_by_one_in_the_order_written(recorded):
    path, sent = recorded
    found = list(records(path))
    assert isinstance(found[0], Setup)
    assert found[1] == Chunk("level", *sent["level"][0])
    assert found[2] == Event(0.0, "mark", "number 0 µ")
    assert found[-1] == End(4.0, True)


def test_journal_without_an_end_is_not_complete(path, level_setup):
    with JournalWriter.create(path, level_setup) as writer:
        writer.chunk("level", 0.0, b"+1\r\n")
    contents = read_journal(path)
    assert not contents.complete
    assert not contents.damage


def test_long_chunk_is_kept_whole_in_pieces_of_one_time(path, level_setup):
    data = np.random.default_rng(1).bytes(100_000)
    with JournalWriter.create(path, level_setup) as writer:
        writer.chunk("hand", 2.0, data)
    chunks = read_journal(path).chunks["hand"]
    assert chunks.raw == data
    assert set(chunks.chunk_time_s) == {2.0}


def test_bed_description_of_a_megabyte_fits(path, level_setup):
    setup = dataclasses.replace(level_setup, bed_toml="# µ\n" * 200_000)
    JournalWriter.create(path, setup).close()
    assert read_journal(path).setup == setup


def test_chunks_answer_as_a_sequence():
    chunks = Chunks.of([(0.0, b"a"), (1.0, b""), (2.0, b"bcd")])
    assert (len(chunks), chunks[0], chunks[-1], chunks[1:]) == (
        3,
        (0.0, b"a"),
        (2.0, b"bcd"),
        [(1.0, b""), (2.0, b"bcd")],
    )
    with pytest.raises(IndexError):
        chunks[3]


def test_name_that_is_taken_is_refused_and_left_alone(recorded, level_setup):
    path, _ = recorded
    before = path.read_bytes()
    with pytest.raises(SurveyError, match="already"):
        JournalWriter.create(path, level_setup)
    assert path.read_bytes() == before
    assert [each.name for each in path.parent.iterdir()] == [path.name]


def test_two_journals_begun_in_one_survey_get_two_numbers(tmp_path, level_setup):
    with begin(tmp_path, level_setup) as first, begin(tmp_path, level_setup) as second:
        assert (first.setup.number, second.setup.number) == (1, 2)
        assert second.path.name == "002-front-vee-level.journal"
    assert read_journal(second.path).setup.number == 2


def test_journal_in_use_cannot_be_reopened(path, level_setup):
    with (
        JournalWriter.create(path, level_setup),
        pytest.raises(RecordingError, match="in use"),
    ):
        JournalWriter.reopen(path)


@pytest.mark.parametrize("cut", [0, 1, 13, 20])
def test_reopened_journal_goes_on_behind_its_last_whole_record(path, level_setup, cut):
    with JournalWriter.create(path, level_setup) as writer:
        writer.chunk("hand", 1.0, b"+1\n")
        writer.chunk("hand", 2.0, b"+2\n")
    os.truncate(path, path.stat().st_size - cut)
    with JournalWriter.reopen(path) as writer:
        assert writer.setup == level_setup
        writer.chunk("hand", 3.0, b"+3\n")
        writer.end(True, 3.0)
    contents = read_journal(path)
    assert contents.chunks["hand"].raw == (b"+1\n+2\n+3\n" if cut == 0 else b"+1\n+3\n")
    assert contents.complete and not contents.damage


def test_disk_is_told_to_keep_it_twice_a_second_by_the_clock_given(path, level_setup, monkeypatch):
    synced = []
    monkeypatch.setattr(os, "fsync", lambda handle: synced.append(now[0]))
    now = [0.0]
    writer = JournalWriter.create(path, level_setup, clock=lambda: now[0])
    synced.clear()
    for step in range(1, 21):
        now[0] = step / 10
        writer.chunk("level", 1000.0 * step, b"x")
    assert synced == [0.5, 1.0, 1.5, 2.0]


def test_handle_is_not_inherited_by_children(path, level_setup):
    with JournalWriter.create(path, level_setup) as writer:
        assert not os.get_inheritable(writer._handle)


def test_bytes_of_a_record_that_was_cut_off_are_told(recorded):
    path, _ = recorded
    with path.open("rb") as file:
        ends = [frame.end for frame in frames.scan(file)]
    path.write_bytes(path.read_bytes()[: ends[-2] + 5])
    assert read_journal(path).lost_bytes == 5


@pytest.mark.whole
def test_cut_at_every_byte_of_the_last_records_keeps_all_whole_ones(recorded):
    path, _ = recorded
    whole = path.read_bytes()
    all_records = list(records(path))
    with path.open("rb") as file:
        ends = [frame.end for frame in frames.scan(file)]
    for cut in range(ends[-8], len(whole)):
        path.write_bytes(whole[:cut])
        kept = sum(end <= cut for end in ends)
        found = list(records(path))
        assert found[:kept] == all_records[:kept]
        rest = found[kept:]
        torn = cut - ends[kept - 1]
        assert [type(each) for each in rest] == ([Lost] if torn else [])
        assert sum(each.lost_bytes for each in rest) == torn
        assert not read_journal(path).complete


def test_cut_in_the_first_record_is_one_clear_refusal(recorded):
    path, _ = recorded
    whole = path.read_bytes()
    with path.open("rb") as file:
        first = next(iter(frames.scan(file)))
    for cut in (0, 1, len(frames.HEAD), first.end - 1):
        path.write_bytes(whole[:cut])
        with pytest.raises(TraverseFileError, match="what was measured"):
            read_journal(path)


@pytest.mark.whole
def test_flipped_bit_costs_one_record_and_is_told(recorded):
    """CRC-32 finds every single flipped bit (any burst of up to 32 bits: Koopman 2002, from memory)."""
    path, _ = recorded
    whole = path.read_bytes()
    all_records = list(records(path))
    with path.open("rb") as file:
        all_frames = list(frames.scan(file))
    random = np.random.default_rng(11)
    for _ in range(300):
        where = int(random.integers(all_frames[1].offset, len(whole)))
        damaged = bytearray(whole)
        damaged[where] ^= 1 << int(random.integers(8))
        path.write_bytes(damaged)
        hit = next(index for index, frame in enumerate(all_frames) if where < frame.end)
        found = list(records(path))
        assert [each for each in found if not isinstance(each, Lost)] == (
            all_records[:hit] + all_records[hit + 1 :]
        )
        (lost,) = (each for each in found if isinstance(each, Lost))
        assert lost.lost_bytes == all_frames[hit].end - all_frames[hit].offset
        assert f"from byte {all_frames[hit].offset} on" in lost.text
        assert not read_journal(path).complete


def test_damaged_head_costs_nothing_but_a_word(recorded):
    path, sent = recorded
    data = bytearray(path.read_bytes())
    data[3] ^= 4
    path.write_bytes(data)
    contents = read_journal(path)
    assert list(contents.chunks["level"]) == sent["level"]
    assert contents.lost_bytes == len(frames.HEAD)


@pytest.fixture
def long_journal(path, level_setup):
    with JournalWriter.create(path, level_setup) as writer:
        for index in range(1500):
            writer.chunk("level", index / 100, f"{index:+09d}\r\n".encode())
        writer.end(True, 15.0)
    return path


PAGE = 4096


def sent_in(all_frames):
    return b"".join(frames.split_name(frame.payload)[1] for frame in all_frames if frame.kind == frames.CHUNK)


def some_pages(journal):
    whole = journal.read_bytes()
    with journal.open("rb") as file:
        all_frames = list(frames.scan(file))
    random = np.random.default_rng(7)
    starts = [PAGE * int(random.integers(1, len(whole) // PAGE)) for _ in range(20)]
    return whole, all_frames, starts


@pytest.mark.whole
@pytest.mark.parametrize("instead", [bytes(PAGE), b"", b"waylog journal 1\n" * 100])
def test_bad_page_loses_only_what_was_in_it(long_journal, instead):
    whole, all_frames, starts = some_pages(long_journal)
    for start in starts:
        long_journal.write_bytes(whole[:start] + instead + whole[start + PAGE :])
        untouched = [each for each in all_frames if each.end <= start or each.offset >= start + PAGE]
        contents = read_journal(long_journal)
        assert contents.chunks["level"].raw == sent_in(untouched)
        assert contents.damage and not contents.complete


def test_page_that_comes_twice_is_read_once(long_journal):
    whole, all_frames, starts = some_pages(long_journal)
    for start in starts:
        long_journal.write_bytes(whole[:start] + whole[start - PAGE :])
        contents = read_journal(long_journal)
        assert contents.chunks["level"].raw == sent_in(all_frames)
        assert contents.lost_bytes == PAGE


def test_whole_records_cut_out_of_the_middle_are_missed(recorded):
    path, _ = recorded
    whole = path.read_bytes()
    with path.open("rb") as file:
        all_frames = list(frames.scan(file))
    path.write_bytes(whole[: all_frames[5].offset] + whole[all_frames[8].offset :])
    (lost,) = (each for each in records(path) if isinstance(each, Lost))
    assert "3 record(s)" in lost.text


def test_random_bytes_never_become_records(path):
    random = np.random.default_rng(2)
    for size in (0, 1, 17, 5000, 300_000):
        path.write_bytes(random.bytes(size))
        assert all(isinstance(each, Lost) for each in records(path))
        with pytest.raises(TraverseFileError):
            read_journal(path)


@pytest.mark.whole
def test_mutated_journals_give_a_true_part_or_our_error(recorded):
    """Bytes deleted, inserted, overwritten, swapped about: what is read was written.

    Where something is missing stands a chunk of no bytes.
    """
    path, sent = recorded
    whole = path.read_bytes()
    said = {chunk for chunks in sent.values() for chunk in chunks}
    random = np.random.default_rng(17)
    for _ in range(500):
        data = bytearray(whole)
        for _ in range(int(random.integers(1, 5))):
            at, count = int(random.integers(len(data))), int(random.integers(1, 200))
            data[at : at + int(random.integers(2)) * count] = random.bytes(count)
        path.write_bytes(data)
        try:
            contents = read_journal(path)
        except TraverseFileError:
            continue
        assert {chunk for chunks in contents.chunks.values() for chunk in chunks if chunk[1]} <= said


def test_newer_journal_is_refused_by_its_version(path):
    path.write_bytes(b"waylog journal 2\n" + bytes(100))
    with pytest.raises(TraverseFileError, match="version 2"):
        read_journal(path)


def test_folder_in_place_of_a_journal_is_our_error(tmp_path):
    with pytest.raises(TraverseFileError, match="cannot be read"):
        read_journal(tmp_path)


@pytest.mark.whole
def test_hostile_lengths_cannot_make_the_reader_hold_the_file(path, level_setup):
    """Headers that claim 32 kB each, one after the other: read in reasonable time, all lost."""
    with JournalWriter.create(path, level_setup) as writer:
        writer.chunk("level", 0.0, b"kept")
    with path.open("ab") as file:
        file.write((frames.MAGIC + (frames.LONGEST_BODY).to_bytes(4, "little") + bytes(8)) * 20_000)
    contents = read_journal(path)
    assert contents.chunks["level"].raw == b"kept"
    assert contents.lost_bytes == 14 * 20_000


FILL = """
    import resource, sys
    from acquire.model.errors import RecordingError
    from acquire.store.journal import JournalWriter
    from acquire.model.traverse import Setup
    setup = Setup("level", "slope", "", number=1, face="front-vee")
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_011, 20_011))
    writer = JournalWriter.create(sys.argv[1], setup)
    index = 0
    try:
        while True:
            writer.chunk("level", index / 100, b"%05d" % index)
            index += 1
    except RecordingError as error:
        print(index, error)
    try:
        writer.chunk("level", 0.0, b"y")
    except RecordingError:
        print("still refused")
    writer.close()
"""


@pytest.mark.whole
@pytest.mark.skipif(sys.platform == "win32", reason="needs a limit on the size of files")
def test_full_disk_leaves_whole_records_and_says_what_is_kept(path):
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(FILL), str(path)], capture_output=True, text=True, check=True
    )
    count, said = done.stdout.splitlines()[0].split(" ", 1)
    assert f"kept: {int(count) + 1} records up to {(int(count) - 1) / 100:.1f} s" in said
    assert "still refused" in done.stdout
    contents = read_journal(path)
    assert contents.lost_bytes == 0
    assert [data for _, data in contents.chunks["level"]] == [b"%05d" % n for n in range(int(count))]


def test_end_is_still_tried_after_the_disk_was_full(path, level_setup, monkeypatch):
    writer = JournalWriter.create(path, level_setup)
    writer.chunk("level", 1.0, b"kept")
    real = os.write

    def half_then_full(handle, data):
        if len(data) > 60:
            return real(handle, data[:7])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "write", half_then_full)
    with pytest.raises(RecordingError, match="No space left"):
        writer.chunk("level", 2.0, bytes(62))
    monkeypatch.setattr(os, "write", real)
    writer.end(False, 2.0)
    writer.close()
    contents = read_journal(path)
    assert contents.chunks["level"].raw == b"kept"
    assert not contents.damage and not contents.complete


def test_interrupted_write_leaves_no_half_record(path, level_setup, monkeypatch):
    writer = JournalWriter.create(path, level_setup)
    size = path.stat().st_size
    real = os.write

    def interrupted(handle, data):
        real(handle, data[:5])
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "write", interrupted)
    with pytest.raises(KeyboardInterrupt):
        writer.chunk("level", 0.0, b"0123456789")
    assert path.stat().st_size == size


def test_disk_that_refuses_to_sync_stops_the_recording(path, level_setup, monkeypatch):
    writer = JournalWriter.create(path, level_setup)

    def broken(handle):
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(RecordingError, match="must stop"):
        writer.chunk("level", 1.0, b"x")
    with pytest.raises(RecordingError):
        writer.chunk("level", 2.0, b"x")


@pytest.mark.parametrize("window", [31, 64, 97])
def test_frame_behind_damage_is_found_wherever_the_window_ends(monkeypatch, window):
    """Also where the first half of its mark is the last byte that was read so far."""
    monkeypatch.setattr(frames, "_READ_BYTES", window)
    before = frames.HEAD + frames.encode(0, frames.EVENT, 1.0, b"before")
    behind = frames.encode(2, frames.EVENT, 2.0, b"behind")
    for damage in range(1, 2 * window):
        found = list(frames.scan(io.BytesIO(before + b"\x00" * damage + behind)))
        assert [each.payload for each in found if isinstance(each, frames.Frame)] == [b"before", b"behind"]
        assert [each.end - each.offset for each in found if isinstance(each, frames.Loss)] == [damage]
