"""Recordings that end badly, in short; the long form is tests/benchmarks/faults.py.

Conditions are waited for, a minute at most; nothing is asserted about lateness.
"""

import importlib
import random
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from acquire.model.errors import RecordingError, TraverseFileError
from acquire.model.traverse import HAND_PORT, Setup
from acquire.record import recorder as recording
from acquire.record.conversion import convert_here
from acquire.record.mending import LEFT, mend
from acquire.record.recorder import Recorder
from acquire.reduce import derive
from acquire.store import read_traverse
from acquire.store.journal import begin, read_journal
from tests.invented import survey_in

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals"),
]


@pytest.fixture(scope="module")
def faults():
    """The rounds of the benchmark and their bench."""
    sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
    try:
        rounds, bench = (importlib.import_module(name) for name in ("faults", "fault_bench"))
        return SimpleNamespace(**(vars(bench) | vars(rounds)))
    finally:
        del sys.path[0]


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_killed_recorder_of_four_streams_loses_nothing_that_was_in_its_journal(faults, tmp_path, seed):
    _, found, wrong = faults.kill_once(tmp_path, random.Random(seed), faults.Spawned, longest_s=1.0)
    assert (found, wrong) == ([], 0)


def test_two_recorders_at_once_get_two_numbers_and_their_own_bytes(faults, tmp_path):
    assert faults.two_recorders_once(tmp_path, faults.Spawned) == (0, [], 0)


def test_recorder_that_may_write_no_more_stops_with_one_line_and_is_mended(faults, tmp_path):
    """A limit on the size of files stands for a full disk."""

    def limited(argv, log):
        return faults.Spawned(argv, log, file_size=60_000)

    _, found, wrong = faults.full_disk_once(tmp_path, lambda folder: lambda: None, limited)
    assert (found, wrong) == ([], 0)
    assert "recording must stop (File too large)" in (tmp_path / "log").read_text()


def test_nearly_full_disk_ends_a_recording_in_time_with_a_whole_file(faults, tmp_path):
    if not faults.can_mount():
        pytest.skip("no disk can be mounted here")
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=3m", "tmpfs", str(tmp_path)], check=True)
    bench = faults.Bench(tmp_path)
    process = None
    try:
        argv = bench.record()
        argv[argv.index("--leave-free") + 1] = "1"
        process = faults.Spawned(argv, bench.log)
        assert faults.speak(bench.cables, lambda: process.poll() is not None)
        said = bench.log.read_text()
        assert process.returncode == 0 and "the disk is nearly full" in said, said
        (path,) = bench.survey.glob("traverses/002-*.h5")
        kept, wrong = faults.kept_and_wrong(path, {c.link.name: c.sent for c in bench.cables})
        assert wrong == 0 and all(len(raw) > 100 for raw in kept.values())
        assert not read_traverse(path).complete
    finally:
        if process is not None and process.poll() is None:
            process.kill()
            process.wait()
        bench.close()
        subprocess.run(["umount", "-l", str(tmp_path)], check=True)


@pytest.fixture(scope="module")
def spoiled(faults, tmp_path_factory):
    """A survey with an earlier traverse and a journal of four streams that can be damaged."""
    return faults.Spoiled(tmp_path_factory.mktemp("spoiled"), random.Random(4), stops=3)


def test_journal_cut_at_any_byte_of_its_last_records_keeps_all_before(faults, spoiled):
    for damage in list(faults.cuts(spoiled.data, 3))[::20]:
        _, found, _ = spoiled.read(damage)
        assert found == []


@pytest.mark.parametrize("kind", ["flips", "lost_pages"])
def test_damage_in_the_last_two_seconds_costs_only_itself_and_is_told(faults, spoiled, kind):
    for damage in getattr(faults, kind)(spoiled.data, random.Random(7), 3):
        _, found, wrong = spoiled.mended(damage)
        assert (found, wrong) == ([], 0)


def test_bytes_on_both_sides_of_a_lost_record_are_never_joined(faults, tmp_path):
    """+12 | 7.5 LF +8 | 3.4 LF without its middle is no +123.4, in the file, after mend, and after redo."""
    survey = tmp_path / "survey"
    (survey / "traverses").mkdir(parents=True)
    setup = Setup("level", "offset", faults.bed_of(tmp_path), face="front", reference="line")
    with begin(survey, setup) as writer:
        for k, data in enumerate([b"L+1.0\nL+12", b"7.5\nL+8", b"3.4\nL+2.0\n"]):
            writer.chunk("level", 0.1 * k, data)
    whole = writer.path.read_bytes()
    at = whole.index(b"7.5\nL+8")
    writer.path.write_bytes(whole[:at] + b"x" + whole[at + 1 :])
    traverse = derive(read_journal(writer.path))
    assert traverse.streams["level"].value[traverse.streams["level"].is_good].tolist() == [1.0, 2.0]
    convert_here(writer.path, writer.path.with_suffix(".h5"))
    kept = read_traverse(writer.path.with_suffix(".h5"))
    from acquire.reduce import contents_of

    again = derive(contents_of(kept)).streams["level"]
    assert again.value[again.is_good].tolist() == [1.0, 2.0]


def test_journal_whose_only_bytes_are_damaged_is_not_called_empty(faults, tmp_path):
    survey = survey_in(tmp_path / "survey", faults.bed_of(tmp_path))
    setup = Setup("level", "offset", faults.bed_of(tmp_path), face="front", reference="line")
    with begin(survey, setup) as writer:
        writer.chunk("level", 0.1, b"L+1.0\r\n")
    whole = bytearray(writer.path.read_bytes())
    whole[-5] ^= 1
    writer.path.write_bytes(whole)
    (left,) = mend(survey, convert_here)
    assert left.outcome == LEFT and "damaged" in left.text and writer.path.read_bytes() == whole


@pytest.mark.parametrize("damage", ["cut", "flipped"])
def test_import_that_was_not_wholly_kept_is_no_traverse(faults, tmp_path, damage):
    """A CSV cut in a number, or without its middle, would read as other numbers."""
    text = faults.bed_of(tmp_path)
    survey = survey_in(tmp_path / "survey", text)
    setup = Setup("level", "offset", text, source="import", face="front", reference="line")
    with begin(survey, setup) as writer:
        rows = "".join(f"{station},12345\n" for station in range(0, 600, 100)) * 400
        writer.chunk(HAND_PORT, 0.0, b"station_mm,reading\n" + rows.encode())
        writer.end(True, 0.0)
    whole = bytearray(writer.path.read_bytes())
    if damage == "cut":
        del whole[-40:]
    else:
        whole[len(whole) - 200] ^= 1
    writer.path.write_bytes(whole)
    with pytest.raises((TraverseFileError, RecordingError), match="not all of the imported file"):
        convert_here(writer.path, writer.path.with_suffix(".h5"))
    (left,) = mend(survey, convert_here)
    assert left.outcome == LEFT and writer.path.exists()


def test_steps_of_the_wall_clock_change_no_time(faults, tmp_path, monkeypatch):
    """The wall clock jumps by a day at every look, and is only ever shown to people."""
    jumps = iter(range(10_000))
    monkeypatch.setattr(time, "time", lambda: 1.7e9 + 86_400 * (-1) ** next(jumps) * next(jumps))
    monkeypatch.setattr(recording, "utc_now", lambda: f"day {next(jumps)}")
    bench = faults.Bench(tmp_path)
    bed = (bench.survey / "bed.toml").read_text()
    setup = Setup("dial-a", "offset", bed, face="front", reference="line", position="stations")
    cable = next(cable for cable in bench.cables if cable.link.name == "dial-a")

    class Speaking:
        def chunk(self, chunk):
            cable.say()

        def event(self, event):
            cable.say()

    made = Recorder(
        bench.survey, setup, seconds=0.5, floor_bytes=0, observers=[Speaking()], converter=convert_here
    )
    began_s = time.monotonic()
    traverse = read_traverse(made.run().path)
    lasted_s = time.monotonic() - began_s
    bench.close()
    stream = traverse.streams["dial-a"]
    assert len(stream.value) > 3
    for times_s in (stream.time_s, stream.arrival_s, stream.chunk_time_s, traverse.events.time_s):
        assert (np.diff(times_s) >= 0).all()
        assert times_s.min() > -1.0 and times_s.max() < lasted_s
    assert any("day" in text for text in traverse.events.text)
