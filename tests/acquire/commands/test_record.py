"""`waylog record` as a person runs it: a process of its own, real pseudo-terminals as ports.

Conditions are waited for, a minute at most; nothing is asserted about lateness.
"""

import os
import pty
import select
import signal
import subprocess
import sys
import threading

import h5py
import numpy as np
import pytest

from acquire.cli import main
from acquire.page.live import Live
from acquire.store.journal import read_journal
from tests.invented import bed_toml, flat, level, scale, speaks
from tests.terminals import DEADLINE_S, Line, gather, wait_for

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals"),
]

BED = bed_toml(
    600,
    faces={"front": flat(0), "rear": flat(300)},
    instruments={
        "level": level(0.5, seating_um=0.3, **speaks("{level}")),
        "scale": scale(**speaks("{scale}", r"X(?P<value>[-+]\d+\.\d+)")),
        "hand-level": level(0.5),
    },
)


class Sent(Line):
    """A line that remembers what was sent on it."""

    sent = b""

    def send(self, data: bytes):
        self.sent += data
        super().send(data)


def _gather_lines(stream, into):
    into.extend(iter(stream.readline, ""))


class Waylog:
    """A `record` process and what it has printed."""

    def __init__(self, *arguments, stdin=subprocess.DEVNULL):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "acquire.cli", "record", *map(str, arguments)],
            stdin=stdin,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        )
        self.lines, self.errors = [], []
        kept = ((self.process.stdout, self.lines), (self.process.stderr, self.errors))
        self.threads = [threading.Thread(target=_gather_lines, args=pair, daemon=True) for pair in kept]
        for thread in self.threads:
            thread.start()

    def says(self, words):
        wait_for(lambda: any(words in line for line in self.lines) or self.process.poll() is not None, words)
        assert any(words in line for line in self.lines), (self.lines, self.errors)

    def ends(self):
        return self.process.wait(DEADLINE_S)


@pytest.fixture
def survey(tmp_path):
    """A survey whose level and scale are pseudo-terminals."""
    folder = tmp_path / "survey"
    folder.mkdir()
    (folder / "bed.toml").write_text(BED.format(level=tmp_path / "level", scale=tmp_path / "scale"))
    return folder


@pytest.fixture
def level(tmp_path):
    return Sent(tmp_path / "level")


@pytest.fixture
def scale(tmp_path):
    return Sent(tmp_path / "scale")


@pytest.fixture
def started():
    """Start `record`; whatever is still running at the end is killed."""
    running = []

    def start(*arguments, **options):
        running.append(Waylog(*arguments, **options))
        running[-1].says("recording")
        return running[-1]

    yield start
    for waylog in running:
        if waylog.process.poll() is None:
            waylog.process.kill()
            waylog.process.wait()
        for thread in waylog.threads:
            thread.join(DEADLINE_S)
        waylog.process.stdout.close()
        waylog.process.stderr.close()


def traverses(survey, ending="h5"):
    return sorted((survey / "traverses").glob(f"*.{ending}"))


def journal_holds(survey, *lines):
    """Whether the journal holds every byte that was sent on these lines."""

    def is_so():
        (path,) = traverses(survey, "journal") or (None,)
        kept = read_journal(path).chunks.values() if path else []
        return sorted(chunks.raw for chunks in kept) == sorted(line.sent for line in lines)

    return is_so


def test_sigint_ends_a_recording_with_a_finished_file_and_every_byte(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    assert "recording" in waylog.lines[0]
    assert "lock it off" in "".join(waylog.errors)
    for k in range(200):
        level.send(f"{k / 10:+.1f}\r\n".encode())
        scale.send(f"X{k * 1.5:+.3f}\r\n".encode())
    wait_for(journal_holds(survey, level, scale), "the journal to grow")
    waylog.process.send_signal(signal.SIGINT)
    assert waylog.ends() == 0
    (path,) = traverses(survey)
    assert path.name == "001-front-level.h5" and traverses(survey, "journal") == []
    with h5py.File(path) as file:
        assert file["streams/level/raw/bytes"][()].tobytes() == level.sent
        assert file["streams/scale/raw/bytes"][()].tobytes() == scale.sent
        assert np.array_equal(file["streams/level/value"][()], np.arange(200) / 10)
        assert (np.diff(file["streams/level/time_s"][()]) >= 0).all()
        assert bool(file.attrs["complete"])


def test_whoever_looks_on_from_elsewhere_sees_the_readings_and_costs_none(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    live = Live(survey)
    for k in range(60):
        level.send(f"{k / 10:+.1f}\r\n".encode())
        scale.send(f"X{k * 1.5:+.3f}\r\n".encode())
        live.now()
    wait_for(
        lambda: (live.now()["live"] or {}).get("reading") == "5.9 µm/m", "the last reading, seen elsewhere"
    )
    waylog.process.send_signal(signal.SIGINT)
    assert waylog.ends() == 0 and live.now() == {"live": None}
    with h5py.File(traverses(survey)[0]) as file:
        assert file["streams/level/raw/bytes"][()].tobytes() == level.sent


def test_two_sigterms_end_it_as_one_does(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    level.send(b"+1.0\r\n")
    wait_for(journal_holds(survey, level), "the journal")
    waylog.process.send_signal(signal.SIGTERM)
    waylog.process.send_signal(signal.SIGTERM)
    assert waylog.ends() == 0
    with h5py.File(traverses(survey)[0]) as file:
        assert file["streams/level/raw/bytes"][()].tobytes() == b"+1.0\r\n"


def test_killed_recording_is_brought_back_by_mend(survey, level, scale, started, capsys):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    for k in range(100):
        level.send(f"{k:+.1f}\r\n".encode())
    wait_for(journal_holds(survey, level), "the journal to grow")
    waylog.process.send_signal(signal.SIGKILL)
    waylog.process.wait()
    assert traverses(survey) == []
    assert main(["mend", str(survey)]) == 0
    with h5py.File(traverses(survey)[0]) as file:
        kept = file["streams/level/raw/bytes"][()].tobytes()
        assert kept == level.sent
        assert not bool(file.attrs["complete"])


def test_garbled_lines_are_shown_at_once_and_counted(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    level.send(b"\xff\x80\x91\r\n" * 7)
    waylog.says("garbled")
    waylog.says("is 9600 baud its speed")
    level.send(b"+1.5\r\n" * 3)
    wait_for(journal_holds(survey, level), "the journal to grow")
    waylog.process.send_signal(signal.SIGINT)
    assert waylog.ends() == 0
    waylog.says("7 of 10 readings not good")
    waylog.says("look: ")
    with h5py.File(traverses(survey)[0]) as file:
        assert (file["streams/level/flag"][()] == 1).sum() == 7


def test_unplugged_port_comes_back_and_the_gap_is_an_event(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    level.send(b"+1.0\r\n" * 5)
    wait_for(journal_holds(survey, level), "the first bytes")
    level.pull_out()
    waylog.says("lost")
    level.plug_in()
    waylog.says("reopened")
    level.send(b"+2.0\r\n" * 5)
    wait_for(journal_holds(survey, level), "the bytes after it")
    waylog.process.send_signal(signal.SIGINT)
    assert waylog.ends() == 0
    with h5py.File(traverses(survey)[0]) as file:
        assert file["streams/level/raw/bytes"][()].tobytes() == level.sent
        kinds = [kind.decode() if isinstance(kind, bytes) else kind for kind in file["events/kind"][()]]
        assert "lost" in kinds and "reopened" in kinds


def test_silent_port_is_named_with_what_to_check(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    waylog.says("nothing came for 5 s")
    waylog.process.send_signal(signal.SIGINT)
    assert waylog.ends() == 0
    waylog.says("level: sent nothing")
    waylog.says("no station came of it")


def test_seconds_end_it_without_a_person(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", "--seconds", "0.5")
    assert waylog.ends() == 0
    waylog.says("ended by --seconds 0.5")


def test_end_of_input_is_no_keypress(survey, level, scale, started):
    waylog = started(survey, "front", "--instrument", "level", stdin=subprocess.PIPE)
    waylog.process.stdin.write("q\n")
    waylog.process.stdin.close()
    level.send(b"+1.0\r\n")
    wait_for(journal_holds(survey, level), "the journal")
    assert waylog.process.poll() is None
    waylog.process.send_signal(signal.SIGINT)
    assert waylog.ends() == 0


def test_keys_on_a_terminal_mark_stations_and_end(survey, level, scale, tmp_path):
    """On a terminal: Enter marks the stations in turn, the page shows, q ends; it is put back as it was."""
    master, slave = pty.openpty()
    shown = bytearray()
    threading.Thread(target=gather, args=(master, shown), daemon=True).start()
    process = subprocess.Popen(
        [sys.executable, "-m", "acquire.cli", "record", str(survey), "front", "--instrument", "level"],
        stdin=slave, stdout=slave, stderr=slave, env={**os.environ, "TERM": "xterm", "NO_COLOR": "1"},
    )  # fmt: skip
    try:
        wait_for(lambda: b"q: end and keep" in shown, "the page with its keys")
        wait_for(lambda: bool(traverses(survey, "journal")), "the journal")
        for station in (100, 300):
            select.select([], [], [], 1.1)  # a second press within a second would be the same one
            level.send(b"+1.5\r\n" * 20)
            os.write(master, b"\n" if station == 100 else b"\x1b[6~")  # a foot switch, a presenter's remote
            path = traverses(survey, "journal")[0]
            wait_for(
                lambda p=path, s=station: f"station {s}".encode() in p.read_bytes(), f"mark at {station}"
            )
        os.write(master, b"q")
        assert process.wait(DEADLINE_S) == 0
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
    assert b"next station" in shown and b"traverse 001: front by level" in shown
    with h5py.File(traverses(survey)[0]) as file:
        texts = [t.decode() if isinstance(t, bytes) else t for t in file["events/text"][()]]
    assert {"station 100", "station 300"} <= set(texts)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("no-such-face", "--instrument", "level"), "no such face"),
        (("front", "--instrument", "nothing"), "no such instrument"),
        (("front", "--instrument", "hand-level"), "no port"),
        (("front", "--instrument", "level", "--position", "scale:level"), "no such position instrument"),
        (("front", "--instrument", "level", "--position", "feed:-5"), "a feed in mm/s"),
        (("front", "--instrument", "level", "--beside", "nothing"), "no such instrument"),
        (("front", "--instrument", "level", "--from", "100"), "feed:MM_PER_S"),
        (("front", "--instrument", "level", "--reference", "rear"), "no such option"),
    ],
)
def test_what_cannot_be_recorded_is_refused_in_one_line_and_leaves_nothing(
    survey, level, scale, capsys, arguments, words
):
    assert main(["record", str(survey), *arguments]) == 1
    (error,) = capsys.readouterr().err.strip().splitlines()
    assert error.startswith("waylog: ") and words in error
    assert not list((survey).glob("traverses/*"))


def test_missing_port_is_refused_in_one_line_and_the_number_stays_free(survey, level, capsys):
    assert main(["record", str(survey), "front", "--instrument", "level", "--position", "scale:scale"]) == 1
    (error,) = capsys.readouterr().err.strip().splitlines()
    assert "scale" in error
    assert not list((survey).glob("traverses/*"))


def test_busy_port_is_refused(survey, level, scale, started, capsys):
    started(survey, "front", "--instrument", "level", "--position", "scale:scale")
    assert main(["record", str(survey), "front", "--instrument", "level"]) == 1
    assert "level" in capsys.readouterr().err


def test_full_disk_is_refused_before_anything_is_opened(survey, level, scale, capsys):
    assert main(["record", str(survey), "front", "--instrument", "level", "--leave-free", "1e12"]) == 1
    assert "make room" in capsys.readouterr().err.lower()
