"""The recorder by itself: a reader and a clock made up here, no port and no conversion process."""

import itertools
import shutil
import signal
from collections import deque, namedtuple

import pytest

from acquire.model.bed import Instrument
from acquire.model.errors import RecordingError
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.record.conversion import Converted, convert_here
from acquire.record.recorder import Recorder, ending_signals
from acquire.store import read_traverse
from acquire.store.journal import JournalWriter, read_journal
from tests.invented import bed_toml, level, speaks, survey_in

BED = bed_toml(
    600,
    instruments={
        "level": level(0.5, **speaks("loop://")),
        "air": {
            "quantity": "temperature",
            "unit": "degC",
            "port": {"url": "socket://air:1"},
            "wire": {"kind": "lines", "pattern": r"(?P<value>[-+]\d+\.\d+)"},
        },
    },
)
SETUP = Setup("level", "slope", BED, face="front", position="stations")
Usage = namedtuple("Usage", "total used free")


class ScriptedReader:
    """Gives what it was told to, one item a call, then calls `at_end`."""

    def __init__(self, items, at_end=lambda: None, left_over=()):
        self.items, self.at_end, self.left_over = deque(items), at_end, list(left_over)
        self.is_closed = False

    def __call__(self, specs, clock, requests):
        self.specs = specs
        return self

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.close()

    def get(self, timeout=None):
        if self.items:
            item = self.items.popleft()
            if callable(item):
                item()
                return None
            return item
        if self.is_closed:
            return self.left_over.pop(0) if self.left_over else None
        self.at_end()
        return None

    def close(self):
        self.is_closed = True


class Onlooker:
    def __init__(self):
        self.chunks, self.events = [], []

    def chunk(self, chunk):
        self.chunks.append(chunk)

    def event(self, event):
        self.events.append(event)


class Clock:
    def __init__(self):
        self.now = 1000.0

    def __call__(self):
        return self.now


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path, BED)


def recorder_of(survey, reader, **options):
    made = Recorder(survey, SETUP, make_reader=reader, converter=convert_here, **options)
    reader.at_end = made.stop
    return made


def test_chunks_are_kept_before_anybody_sees_them(survey):
    class Checker(Onlooker):
        def chunk(self, chunk):
            (path,) = (survey / "traverses").glob("*.journal")
            assert chunk.data in read_journal(path).chunks["level"].raw
            super().chunk(chunk)

    onlooker = Checker()
    reader = ScriptedReader([Chunk("level", 0.1 * k, b"+1.0\r\n") for k in range(5)])
    made = recorder_of(survey, reader, observers=[onlooker])
    recording = made.run()
    assert len(onlooker.chunks) == 5 and not made.faults
    assert recording.bytes_kept == 30 and recording.converted.readings == 5


def test_bytes_that_the_ports_still_held_at_the_end_are_kept(survey):
    reader = ScriptedReader([Chunk("level", 0.1, b"+1.0\r\n")], left_over=[Chunk("level", 0.2, b"+2.0\r\n")])
    recording = recorder_of(survey, reader).run()
    assert read_traverse(recording.path).streams["level"].raw == b"+1.0\r\n+2.0\r\n"


def test_onlooker_that_fails_is_left_out_and_costs_nothing(survey):
    class Failing(Onlooker):
        def chunk(self, chunk):
            raise ZeroDivisionError("a bug of the display")

    other = Onlooker()
    reader = ScriptedReader([Chunk("level", 0.1 * k, b"+1.0\r\n") for k in range(3)])
    made = recorder_of(survey, reader, observers=[Failing(), other])
    assert made.run().converted.readings == 3
    assert len(other.chunks) == 3 and isinstance(made.faults[0], ZeroDivisionError)


def test_marks_from_another_thread_are_kept_with_their_time(survey):
    clock = Clock()
    reader = ScriptedReader([])
    made = recorder_of(survey, reader, clock=clock)

    def later():
        clock.now += 7.5
        made.mark("station 300")

    reader.items.append(later)
    events = read_traverse(made.run().path).events
    assert events.time_s[events.kind.index("mark")] == 7.5


def test_times_are_seconds_from_the_start_whatever_the_clock_says(survey):
    clock = Clock()
    reader = ScriptedReader([])
    recorder_of(survey, reader, clock=clock, seconds=5.0)
    made = recorder_of(survey, reader, clock=clock, seconds=5.0)
    reader.at_end = lambda: setattr(clock, "now", clock.now + 1.0)
    recording = made.run()
    assert 5.0 <= recording.seconds < 7.0 and recording.ended_by == "--seconds 5"
    assert recording.converted.complete


def test_journal_is_synced_by_the_wall_clock_though_that_of_the_recording_stands_still(survey, monkeypatch):
    """What a power cut can cost is half a second of the day, whatever the instruments' time."""
    wall_s, synced_at = [0.0], []
    monkeypatch.setattr("acquire.record.recorder.time.monotonic", lambda: wall_s[0])
    monkeypatch.setattr("acquire.store.journal.writing.os.fsync", lambda handle: synced_at.append(wall_s[0]))

    class Slow(Onlooker):
        def chunk(self, chunk):
            wall_s[0] += 0.2

    reader = ScriptedReader([Chunk("level", 0.0, b"+1.0\r\n") for _ in range(20)])
    made = Recorder(
        survey, SETUP, make_reader=reader, converter=lambda *_: None, clock=Clock(), observers=[Slow()]
    )
    reader.at_end = made.stop
    made.run()
    gaps = [after - before for before, after in itertools.pairwise(sorted({*synced_at, 4.0}))]
    assert wall_s[0] == pytest.approx(4.0) and max(gaps) < 0.71


def test_nearly_full_disk_ends_it_cleanly_and_says_so(survey, monkeypatch):
    clock, free = Clock(), [10_000_000]
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(1e9, 0, free[0]))
    onlooker = Onlooker()
    reader = ScriptedReader([Chunk("level", 0.1, b"+1.0\r\n")])
    made = recorder_of(survey, reader, clock=clock, floor_bytes=1_000_000, observers=[onlooker])

    def filling():
        clock.now += 3.0
        free[0] //= 2

    reader.at_end = filling
    recording = made.run()
    told = [event.text for event in onlooker.events if event.kind == "disk"]
    assert "make room" in told[0] and "ends here" in told[-1]
    assert "nearly full" in recording.ended_by
    assert not recording.converted.complete and recording.converted.readings == 1


def test_disk_without_room_is_refused_before_the_ports_are_opened(survey, monkeypatch):
    monkeypatch.setattr(shutil, "disk_usage", lambda _: Usage(1e9, 0, 10))
    reader = ScriptedReader([])
    with pytest.raises(RecordingError, match="Make room"):
        recorder_of(survey, reader).run()
    assert not hasattr(reader, "specs")


def test_journal_that_cannot_be_written_stops_it_and_keeps_what_it_holds(survey, monkeypatch):
    whole = JournalWriter.chunk

    def filling(self, port, time_s, data):
        if time_s > 0.25:
            raise RecordingError(str(self.path), "recording must stop (No space left on device)")
        whole(self, port, time_s, data)

    monkeypatch.setattr(JournalWriter, "chunk", filling)
    reader = ScriptedReader([Chunk("level", 0.1 * k, b"+1.0\r\n") for k in range(9)])
    with pytest.raises(RecordingError, match="must stop"):
        recorder_of(survey, reader).run()
    assert reader.is_closed
    (path,) = (survey / "traverses").glob("*.journal")
    kept = read_journal(path)
    assert kept.chunks["level"].raw == b"+1.0\r\n" * 3 and not kept.complete


def test_conversion_that_fails_leaves_the_journal(survey):
    def failing(journal, h5) -> Converted:
        raise RecordingError(str(journal), "its conversion to HDF5 ended with signal 11; the journal is kept")

    reader = ScriptedReader([Chunk("level", 0.1, b"+1.0\r\n")])
    made = Recorder(survey, SETUP, make_reader=reader, converter=failing)
    reader.at_end = made.stop
    with pytest.raises(RecordingError, match="journal is kept"):
        made.run()
    (path,) = (survey / "traverses").glob("*.journal")
    assert read_journal(path).complete


def test_two_recordings_one_after_the_other_get_two_numbers(survey):
    first = recorder_of(survey, ScriptedReader([])).run()
    second = recorder_of(survey, ScriptedReader([])).run()
    assert (first.number, second.number) == (1, 2)


def test_instrument_beside_is_opened_kept_and_decoded(survey):
    air = SETUP.bed.instruments["air"]
    reader = ScriptedReader(
        [
            Event(0.0, "opened", "air: x"),
            Chunk("air", 0.1, b"+20.5\r\n"),
            Chunk("level", 0.2, b"+1.0\r\n"),
        ]
    )
    recording = recorder_of(survey, reader, beside=[air]).run()
    assert set(reader.specs) == {"level", "air"}
    assert read_traverse(recording.path).streams["air"].value.tolist() == [20.5]


def test_instruments_are_named_once(survey):
    level = SETUP.bed.instruments["level"]
    assert [i.name for i in SETUP.recorded_with(["level"])] == ["level"]
    assert isinstance(level, Instrument)


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals of POSIX")
def test_signal_ends_it_also_where_a_script_started_it_with_that_signal_ignored():
    """A shell's script leaves SIGINT ignored in what it runs behind it; `nohup` leaves SIGHUP so."""
    numbers = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = [signal.signal(number, signal.SIG_IGN) for number in numbers]
    told = []
    try:
        with ending_signals(lambda who, is_complete: told.append(who)):
            for number in numbers:
                signal.raise_signal(number)
        assert [signal.getsignal(number) for number in numbers] == [signal.SIG_IGN] * 3
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)
    assert len(told) == 2


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals of POSIX")
@pytest.mark.parametrize(("name", "is_complete"), [("SIGHUP", False), ("SIGTERM", True), ("SIGINT", True)])
def test_closed_terminal_ends_it_cleanly_and_it_is_not_complete(survey, name, is_complete):
    number = getattr(signal, name)
    before = signal.signal(number, signal.SIG_DFL)
    try:
        reader = ScriptedReader([Chunk("level", 0.1, b"+1.0\n"), lambda: signal.raise_signal(number)])
        recorder = Recorder(survey, SETUP, make_reader=reader, converter=convert_here, floor_bytes=0)
        traverse = read_traverse(recorder.run().path)
    finally:
        signal.signal(number, before)
    assert traverse.complete is is_complete
    assert traverse.streams["level"].raw == b"+1.0\n"
    assert "ended" in traverse.events.kind
