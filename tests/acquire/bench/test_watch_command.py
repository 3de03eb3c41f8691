"""`waylog watch` as a person runs it: a process of its own, real pseudo-terminals as ports.

Conditions are waited for, a minute at most; nothing is asserted about lateness.
"""

import os
import pty
import select
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import read_bed
from tests.terminals import DEADLINE_S, Line

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals"),
]


class Sending(Line):
    """An instrument that speaks by itself on a pseudo-terminal, as fast as it is told, until hung up."""

    def __init__(self, link, lines, every_s):
        super().__init__(link)
        os.set_blocking(self.master, False)
        self._lines, self._every_s, self._end = lines, every_s, threading.Event()
        self._thread = threading.Thread(target=self._send, daemon=True)
        self._thread.start()

    def _send(self):
        for line in self._lines:
            if self._end.wait(self._every_s):
                return
            with suppress(BlockingIOError):  # nobody listens
                os.write(self.master, line)

    def close(self):
        self._end.set()
        self._thread.join()
        self.pull_out()


def endless(text, values):
    while True:
        for value in values:
            yield text.format(value).encode()


@pytest.fixture
def survey(tmp_path, bed_text):
    folder = tmp_path / "survey"
    folder.mkdir()
    (folder / "bed.toml").write_text(bed_text.format(level=tmp_path / "level", dial=tmp_path / "dial"))
    return folder


@pytest.fixture
def speaking(tmp_path):
    """A level of 50 readings a second with noise of 0.4 in steps of 0.01, and a dial."""
    noise = np.random.default_rng(1).normal(12, 0.4, 997)
    both = [
        Sending(tmp_path / "level", endless("{:+.2f}\r\n", noise), 0.02),
        Sending(tmp_path / "dial", endless("D{:+.3f}\r\n", [0.5, 0.51]), 0.1),
    ]
    yield both
    for each in both:
        each.close()


class Process:
    """A `watch` process; with `terminal` it has one of its own on all three ends."""

    def __init__(self, *arguments, terminal=False, columns=100, **environment):
        command = [sys.executable, "-m", "acquire.cli", "watch", *map(str, arguments)]
        env = {**os.environ, "COLUMNS": str(columns), "LINES": "40", "TERM": "xterm", **environment}
        self.output, self.terminal = "", None
        if terminal:
            self.terminal, theirs = pty.openpty()
            self.process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=env)
            os.close(theirs)
            return
        self.process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=env
        )

    def _read(self, wait_s):
        source = self.terminal if self.terminal is not None else self.process.stdout.fileno()
        if not select.select([source], [], [], wait_s)[0]:
            return
        try:
            self.output += os.read(source, 65536).decode("utf-8", "replace")
        except OSError:
            return

    def until(self, is_so, what):
        end = time.monotonic() + DEADLINE_S
        while not is_so(self.output):
            assert time.monotonic() < end and self.process.poll() is None, (what, self.output)
            self._read(0.1)
        return self

    def says(self, *words):
        return self.until(lambda output: all(each in output for each in words), words)

    def type(self, text):
        os.write(self.terminal, text.encode())

    def ends(self):
        end = time.monotonic() + DEADLINE_S
        while self.process.poll() is None:
            assert time.monotonic() < end, self.output
            self._read(0.05)
        self._read(0.05)
        return self.process.returncode


@pytest.fixture
def started():
    """Start `watch`; whatever still runs at the end is killed."""
    running = []

    def start(*arguments, **options):
        running.append(Process(*arguments, **options))
        return running[-1]

    yield start
    for each in running:
        if each.process.poll() is None:
            each.process.kill()
            each.process.wait()
        if each.terminal is not None:
            os.close(each.terminal)
        else:
            each.process.stdout.close()


def test_without_a_terminal_one_plain_line_a_second_for_each_instrument(survey, speaking, started):
    watch = started(survey, "--seconds", "2.6")
    assert watch.ends() == 0
    lines = watch.output.splitlines()
    assert "isolate the machine" in lines[0]
    level = [line for line in lines if "  level  " in line]
    assert [line.split(" s ")[0] for line in level] == ["1", "2"]
    assert all("µm/m" in line and "rate " in line and "garbled 0" in line for line in level)
    assert len([line for line in lines if "  dial  " in line]) == 2 and "\x1b" not in watch.output


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_signal_ends_it_in_order(survey, speaking, started, number):
    watch = started(survey).says("1 s  level")
    watch.process.send_signal(number)
    assert watch.ends() == 0


@pytest.mark.parametrize("columns", [20, 100])
def test_terminal_shows_a_page_without_colour_where_none_is_wanted_and_q_ends_it(
    survey, speaking, started, columns
):
    watch = started(survey, terminal=True, columns=columns, NO_COLOR="1")
    watch.says("level", "dial", "rate 1", "garbled 0", "q: end")
    watch.type("q")
    assert watch.ends() == 0
    assert "\x1b[31m" not in watch.output and "[1;31m" not in watch.output
    assert ("█" in watch.output) == (columns == 100)


def test_unplugged_instrument_is_told_and_the_other_goes_on(survey, speaking, started, tmp_path):
    watch = started(survey).says("1 s  level", "1 s  dial")
    speaking[1].close()
    watch.says("! the port has gone")
    before = watch.output.count("  level  ")
    watch.until(lambda output: output.count("  level  ") >= before + 2, "the level goes on")
    speaking[1].__init__(tmp_path / "dial", endless("D{:+.3f}\r\n", [0.5, 0.51]), 0.1)
    watch.until(lambda output: "gone" not in output.splitlines()[-2] + output.splitlines()[-1], "back again")


def test_still_record_writes_when_told_and_keeps_comments(survey, speaking, started):
    watch = started(survey, "--still", "0.06", "--dwell", "0.2", "--instrument", "level", "--write")
    assert watch.ends() == 0
    level = read_bed(survey / "bed.toml").instruments["level"]
    truth = 0.4 / np.sqrt(10)
    assert level.standard_uncertainty == pytest.approx(truth, rel=0.6) and level.resolution == 0.01
    assert "one station of 0.2 s is good to" in watch.output and "standard_uncertainty was 1" in watch.output
    assert "# typical" in (survey / "bed.toml").read_text()


def test_still_record_without_a_terminal_and_without_leave_writes_nothing(survey, speaking, started):
    before = (survey / "bed.toml").read_bytes()
    watch = started(survey, "--still", "0.06", "--dwell", "0.2", "--instrument", "level")
    assert watch.ends() == 0
    assert "not written" in watch.output and (survey / "bed.toml").read_bytes() == before


def test_still_record_asks_at_a_terminal(survey, speaking, started):
    watch = started(survey, "--still", "0.06", "--dwell", "0.2", "--instrument", "level", terminal=True)
    watch.says("still record", "hands off").says("[y/N]")
    watch.type("y\n")
    assert watch.ends() == 0
    assert read_bed(survey / "bed.toml").instruments["level"].standard_uncertainty < 0.5


def test_nobody_there_is_an_expected_failure(survey, capsys):
    assert main(["watch", str(survey)]) == 1
    assert "level" in capsys.readouterr().err.splitlines()[-1]


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["--instrument", "hand-level"], 1, "no such instrument with a port"),
        (["--replace", "10"], 2, "need one --instrument"),
        (["--replace", "10", "--still", "1"], 2, "at a time"),
        (["--replace", "2", "--instrument", "level"], 2, "4<=x<=100"),
    ],
)
def test_what_cannot_be_is_refused(survey, capsys, arguments, code, words):
    assert main(["watch", str(survey), *arguments]) == code
    assert words in capsys.readouterr().err
