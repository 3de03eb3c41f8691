"""Long recordings, in short: what grows with time and what must not.

The long form, eight hours of four instruments, is tests/benchmarks/eight_hours.py.
"""

import importlib.util
import os
import sys
import tracemalloc
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.receive.wire.whole import decode_all
from acquire.record.conversion import convert_here
from acquire.record.recorder import CONVERSION_FACTOR
from acquire.store import read_traverse, write_traverse
from acquire.store.journal import read_journal

pytestmark = pytest.mark.whole


@pytest.fixture(scope="module")
def hours():
    """The long recording of the benchmark, as a module."""
    path = Path(__file__).parents[2] / "benchmarks" / "eight_hours.py"
    description = importlib.util.spec_from_file_location("eight_hours", path)
    module = importlib.util.module_from_spec(description)
    sys.modules["eight_hours"] = module
    description.loader.exec_module(module)
    return module


class Kept:
    """A converter that looks at the journal before it is converted."""

    def __call__(self, journal, h5_path):
        self.journal_bytes = journal.stat().st_size
        self.contents = read_journal(journal)
        return convert_here(journal, h5_path)


@pytest.fixture(scope="module")
def minute(hours, tmp_path_factory):
    """A minute of four instruments of a hundred lines a second: the streams, the journal, the traverse."""
    kept, streams = Kept(), hours.Streams(1 / 60, 100)
    recording = hours.record(tmp_path_factory.mktemp("minute"), streams, kept)
    return streams, kept, recording.path


def test_recorder_holds_no_more_at_the_end_than_at_the_beginning(hours, tmp_path):
    held = []
    streams = hours.Streams(
        1 / 120, 100, lambda _: held.append(tracemalloc.get_traced_memory()[0]), look_every_s=5.0
    )
    tracemalloc.start()
    try:
        hours.record(tmp_path, streams, convert_here)
    finally:
        tracemalloc.stop()
    assert len(held) == 6
    assert held[-1] - held[1] < 20_000 < streams.sent["level"]


def test_files_have_the_sizes_that_were_predicted(minute):
    streams, kept, path = minute
    assert 0 < kept.journal_bytes - streams.journal_bytes() < 10_000  # the setup and a few events
    assert path.stat().st_size < CONVERSION_FACTOR * sum(streams.sent.values())


def test_every_line_is_a_reading_and_times_rise(minute):
    streams, _, path = minute
    traverse = read_traverse(path)
    assert streams.lines == 4 * 6000
    for name, stream in traverse.streams.items():
        assert len(stream.value) == 6000 and np.isfinite(stream.value).all(), name
        for times_s in (stream.time_s, stream.arrival_s, stream.chunk_time_s):
            assert (np.diff(times_s) >= 0).all()


def test_decoding_keeps_columns_and_no_object_for_each_reading(hours):
    """Sixty bytes for each reading, and four megabytes for the block at work."""
    lines = 60_000
    raw = b"".join(b"%+.3f\r\n" % (k % 7919 / 7) for k in range(lines))
    ends = np.flatnonzero(np.frombuffer(raw, np.uint8) == ord("\n")) + 1
    level = parse_bed(hours.bed_toml()).instruments["level"]
    tracemalloc.start()
    try:
        found = decode_all(level, raw, ends, np.arange(lines) * 0.01)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert len(found.value) == lines and np.isfinite(found.value).all()
    assert peak < 4_000_000 + 60 * lines


@pytest.mark.skipif(sys.platform != "linux", reason="only there does the system tell")
def test_columns_that_are_written_are_held_no_longer(level_traverse, tmp_path):
    """Four streams of a million readings, four columns of eight megabytes in each."""
    rows, page_bytes = 1 << 20, os.sysconf("SC_PAGE_SIZE")
    held = []
    column, ends = np.zeros(rows), np.full(rows, rows)
    columns = dict.fromkeys(("time_s", "value", "arrival_s", "chunk_time_s"), column)
    level = replace(
        level_traverse.streams["level"],
        **columns,
        flag=np.zeros(rows, np.uint8),
        raw=bytes(rows),
        chunk_end=ends,
    )
    streams = {name: replace(level, instrument=name) for name in ("level", "scale", "floor", "air")}

    def look() -> None:
        held.append(int(Path("/proc/self/statm").read_text().split()[1]) * page_bytes)

    look()
    write_traverse(tmp_path / "long.h5", replace(level_traverse, streams=streams), after_each=look)
    assert max(held) - held[0] < 40_000_000
