"""Frames found many at once are those found one by one, whatever was spoilt."""

import io
import random
import zlib

import numpy as np
import pytest

from acquire.model.recorded import Chunk, Event
from acquire.store.journal import End, JournalWriter, Lost, frames, read_journal, records
from acquire.store.journal.runs import checksums, run_at

PORTS = ["level", "scale", "a-name-of-more-letters", "µ"]


def journal_of(path, setup, seed):
    """A seeded journal of some ports; its bytes, among which the magic stands too, may be spoilt."""
    rng = random.Random(seed)
    with JournalWriter.create(path, setup, clock=lambda: 0.0) as writer:
        for index in range(rng.choice([3, 300, 3000])):
            data = rng.choice([b"+1.0\r\n", b"-22.5\r\n", b"\xa5J", b"\xa5J" + bytes(14), b"x" * 400, b""])
            writer.chunk(rng.choice(PORTS[: 1 + seed % 4]), index * 0.01, data or b"y")
            if rng.random() < 0.01:
                writer.event(index * 0.01, "mark", f"number {index}")
        if rng.random() < 0.5:
            writer.end(True, 99.0)
            writer.chunk("level", 99.5, b"+9.9\r\n")
    spoilt = bytearray(path.read_bytes())
    for _ in range(rng.choice([0, 0, 1, 5, 200])):
        at = rng.randrange(len(spoilt) or 1)
        how = rng.choice(["bit", "gone", "twice", "zero"])
        page = spoilt[at : at + rng.choice([5, 64, 4096])]
        if how == "bit" and page:
            spoilt[at] ^= 1 << rng.randrange(8)
        elif how == "twice":
            spoilt[at:at] = page
        else:
            spoilt[at : at + len(page)] = b"" if how == "gone" else bytes(len(page))
    path.write_bytes(spoilt)


def one_by_one(path):
    """What a journal holds, gathered from its records in the plainest way."""
    chunks, broken, events, lost, complete = {}, {}, [], [], False
    for record in records(path):
        complete = isinstance(record, End) and record.complete
        if isinstance(record, Chunk):
            if record.port in broken:
                chunks[record.port].append((broken.pop(record.port), b""))
            chunks.setdefault(record.port, []).append((record.time_s, record.data))
        elif isinstance(record, Event):
            events.append(record)
        elif isinstance(record, Lost):
            lost.append(record)
            broken |= dict.fromkeys(chunks, record.time_s)
    return chunks, events, complete and not lost, sum(each.lost_bytes for each in lost)


@pytest.mark.parametrize(
    "seed", [pytest.param(seed, marks=() if seed < 12 else pytest.mark.statistics) for seed in range(40)]
)
def test_journal_gathered_in_runs_holds_what_its_records_hold(tmp_path, level_setup, seed):
    path = tmp_path / "001.journal"
    journal_of(path, level_setup, seed)
    try:
        found = read_journal(path)
    except Exception as error:  # the setup is lost: both say so
        assert "first record" in str(error)
        return
    chunks, events, complete, lost_bytes = one_by_one(path)
    assert {name: list(each) for name, each in found.chunks.items()} == chunks
    assert list(found.chunks) == list(chunks)
    assert (list(found.events), found.complete, found.lost_bytes) == (events, complete, lost_bytes)


def test_whole_journal_is_one_run_after_its_setup(tmp_path, level_setup):
    path = tmp_path / "001.journal"
    with JournalWriter.create(path, level_setup) as writer:
        for index in range(500):
            writer.chunk("level", 0.01 * index, b"\xa5J%+.3f\r\n" % index)
    data = path.read_bytes()
    single = list(frames.scan(io.BytesIO(data)))
    run = run_at(data, single[1].offset, 0)
    assert list(run.frames()) == single[1:]
    assert run.offset + run.size == len(data)


def test_run_ends_where_a_frame_does_not_prove_itself(tmp_path, level_setup):
    path = tmp_path / "001.journal"
    with JournalWriter.create(path, level_setup) as writer:
        for index in range(20):
            writer.chunk("level", 0.01 * index, b"+1.0\r\n")
    single = list(frames.scan(io.BytesIO(path.read_bytes())))
    data = bytearray(path.read_bytes())
    data[single[8].end - 1] ^= 1
    run = run_at(bytes(data), single[1].offset, 0)
    assert np.array_equal(run.sequence, [frame.sequence for frame in single[1:8]])


@pytest.mark.parametrize("seed", range(3))
def test_checksums_of_many_frames_at_once_are_those_of_each(seed):
    """Second method: zlib, frame by frame, on frames of any bytes; many of one size, few, and long ones."""
    rng = np.random.default_rng(seed)
    sizes = np.concatenate([rng.integers(23, 60, 400), np.full(5, 90), np.full(40, 300), [14]])
    ends = np.cumsum(rng.permutation(sizes))
    starts, sent = np.concatenate([[0], ends[:-1]]), rng.integers(0, 256, int(ends[-1]), dtype=np.uint8)
    plain = [
        zlib.crc32(sent[a + 14 : b].tobytes(), zlib.crc32(sent[a + 2 : a + 10].tobytes()))
        for a, b in zip(starts, ends, strict=True)
    ]
    assert checksums(sent, starts, ends).tolist() == plain
