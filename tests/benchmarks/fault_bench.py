"""The bench of the fault rounds: four instruments on pseudo-terminals, and `waylog` as a process.

Every line sent carries a running number, so that a value which was never sent, or came out of
turn, is known.  All values are invented.
"""

import hashlib
import os
import pty
import random
import re
import resource
import select
import subprocess
import sys
import time
import tty
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from acquire.model.errors import TraverseFileError
from acquire.model.traverse import Setup
from acquire.record.conversion import convert_here
from acquire.record.mending import IN_USE, LEFT, mend
from acquire.store import read_traverse
from acquire.store.journal import begin, read_journal

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.invented import SIGNED, bed_toml, dial, flat, scale, speaks

DEADLINE_S = 60.0
PAGE = 4096
STOP_MM, STOPS, STOP_S, RATE_HZ = 100.0, 5, 6.0, 100

PORTS = {"level": "L", "scale": "X", "dial-a": "A", "dial-b": "B"}


def bed_of(folder: Path) -> str:
    """A bed whose four instruments are links to pseudo-terminals in `folder`."""
    instruments = {
        name: (scale() if name == "scale" else dial(0.5)) | speaks(str(folder / name), letter + SIGNED)
        for name, letter in PORTS.items()
    }
    return bed_toml(600, faces={"front": flat(0), "rear": flat(300)}, instruments=instruments)


@dataclass
class Outcome:
    """A line of the table."""

    what: str
    rounds: int = 0
    survived: int = 0
    most_lost: int = 0
    wrong: int = 0
    faults: list[str] = field(default_factory=list)

    def add(self, lost: int, faults: list[str], wrong: int = 0) -> None:
        """Count one round."""
        self.rounds += 1
        self.survived += not faults and not wrong
        self.most_lost = max(self.most_lost, lost)
        self.wrong += wrong
        self.faults += faults

    def __str__(self) -> str:
        return (
            f"{self.what:44} {self.rounds:6d} {self.survived:9d} {self.most_lost:11d} {self.wrong:6d}"
            + "".join(f"\n    {words}" for words in self.faults[:5])
        )


class Cable:
    """A pseudo-terminal behind a lasting name, on which numbered lines are sent."""

    def __init__(self, link: Path, letter: str):
        self.link, self.letter = link, letter
        self.number = 0
        self.parts: list[bytearray] = []
        self._rest = b""
        self.plug_in()

    def plug_in(self) -> None:
        """A new terminal under the same name."""
        self.master, self.slave = pty.openpty()
        tty.setraw(self.slave)
        os.set_blocking(self.master, False)
        self.link.unlink(missing_ok=True)
        self.link.symlink_to(os.ttyname(self.slave))
        self.parts.append(bytearray())
        self._rest = b""

    def pull_out(self) -> None:
        """The terminal is gone, and so is its name."""
        os.close(self.master)
        os.close(self.slave)
        self.link.unlink()

    def say(self) -> None:
        """Send the next line, or the rest of the last one where the driver took only part of it."""
        if not self._rest:
            self._rest = f"{self.letter}{self.number:+09d}.0\r\n".encode()
            self.number += 1
        try:
            count = os.write(self.master, self._rest)
        except BlockingIOError:
            return
        self.parts[-1] += self._rest[:count]
        self._rest = self._rest[count:]

    @property
    def sent(self) -> bytes:
        """All bytes that the driver took."""
        return b"".join(self.parts)


def speak(cables: list[Cable], until: Callable[[], bool], most_s: float = DEADLINE_S) -> bool:
    """Send lines on all cables until something is so; False where it never came to be."""
    end_s = time.monotonic() + most_s
    while not until():
        if time.monotonic() > end_s:
            return False
        for cable in cables:
            cable.say()
        select.select([], [], [], 0.003)
    return True


class Forked:
    """`waylog` in a fork of this process, which has no other thread: it starts in an instant."""

    def __init__(self, argv: list[str], log: Path):
        self._code: int | None = None
        self.pid = os.fork()
        if self.pid == 0:
            _become_waylog(argv, log)

    def poll(self) -> int | None:
        """Its exit code, or None while it runs."""
        if self._code is None:
            pid, status = os.waitpid(self.pid, os.WNOHANG)
            self._code = os.waitstatus_to_exitcode(status) if pid else None
        return self._code

    def send_signal(self, number: int) -> None:
        """Send it a signal, unless it has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)


def _become_waylog(argv: list[str], log: Path) -> None:
    code = 70
    try:
        os.setsid()
        handle = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o666)
        nothing = os.open(os.devnull, os.O_RDONLY)
        for number, target in ((nothing, 0), (handle, 1), (handle, 2)):
            os.dup2(number, target)
        os.closerange(3, 256)  # a terminal that it holds open as well could not be pulled out
        from acquire.cli import main

        code = main(argv)
        sys.stdout.flush()
    finally:
        os._exit(code)


class Spawned(subprocess.Popen):
    """`waylog` in a process of its own, as a person starts it; slower, safe beside threads."""

    def __init__(self, argv: list[str], log: Path, file_size: int | None = None):
        command = [sys.executable, "-m", "acquire.cli", *argv]
        limit = (
            (lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (file_size, file_size))) if file_size else None
        )
        with log.open("ab") as handle:
            super().__init__(
                command, stdin=subprocess.DEVNULL, stdout=handle, stderr=handle, preexec_fn=limit
            )


class Bench:
    """A survey with one earlier traverse, and four cables."""

    def __init__(self, folder: Path):
        self.folder, self.survey, self.log = folder, folder / "survey", folder / "log"
        (self.survey / "traverses").mkdir(parents=True)
        (self.survey / "bed.toml").write_text(bed_of(folder), encoding="utf-8")
        journal, _ = stepped_journal(self.survey, random.Random(0), stops=2)
        convert_here(journal, journal.with_suffix(".h5"))
        self.earlier = digests(self.survey)
        self.cables = [Cable(folder / name, letter) for name, letter in PORTS.items()]

    def record(self, *more: str) -> list[str]:
        """The command line that records all four."""
        beside = [word for name in ("dial-a", "dial-b") for word in ("--beside", name)]
        asked = ["record", str(self.survey), "front", "--instrument", "level", "--reference", "line"]
        return [*asked, "--position", "scale:scale", *beside, "--leave-free", "0", "--no-sound", *more]

    def journal(self, number: int = 2) -> Path | None:
        """The journal under this number, if there is one."""
        return next(iter(self.survey.glob(f"traverses/{number:03d}-*.journal")), None)

    def is_recording(self) -> bool:
        """Whether the journal has been begun and said so."""
        path = self.journal()
        return path is not None and b"recording" in path.read_bytes()

    def mended(self) -> list[str]:
        """Mend until nothing is in use; what was said."""
        end_s = time.monotonic() + DEADLINE_S
        while True:
            done = mend(self.survey, convert_here)
            if all(each.outcome != IN_USE for each in done) or time.monotonic() > end_s:
                return [each.text for each in done if each.outcome in (LEFT, IN_USE)]
            select.select([], [], [], 0.05)

    def faults_of_earlier(self) -> list[str]:
        """Whether anything of the earlier traverse was touched."""
        now = digests(self.survey)
        return [f"{name} was touched" for name, digest in self.earlier.items() if now.get(name) != digest]

    def close(self) -> None:
        """Pull every cable out."""
        for cable in self.cables:
            cable.pull_out()


def digests(survey: Path) -> dict[str, str]:
    """SHA-256 of every finished traverse."""
    paths = survey.glob("traverses/*.h5")
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in paths}


def kept_and_wrong(path: Path, sent: Mapping[str, bytes]) -> tuple[dict[str, bytes], int]:
    """The raw bytes of each stream, and how many of its values were never sent or came out of turn."""
    traverse = read_traverse(path)
    wrong = 0
    for name, stream in traverse.streams.items():
        told = re.findall(rb"[A-Z]([-+]\d+\.\d+)\r", sent[name])
        true = {float(value): place for place, value in enumerate(told)}
        places = [true.get(value, -1) for value in stream.value[np.isfinite(stream.value)].tolist()]
        wrong += sum(place < 0 for place in places) + sum(np.diff(places) <= 0)
    return {name: stream.raw for name, stream in traverse.streams.items()}, wrong


def check_round(
    bench: Bench, synced: Mapping[str, bytes], sent: Mapping[str, bytes]
) -> tuple[int, list, int]:
    """Mend, then hold what came of it against what was sent: bytes lost, faults, wrong values."""
    faults = [*bench.mended(), *bench.faults_of_earlier()]
    paths = [path for path in bench.survey.glob("traverses/*.h5") if path.name not in bench.earlier]
    if not paths:
        return 0, faults + (["bytes in the journal came to no file"] if any(synced.values()) else []), 0
    kept, wrong = kept_and_wrong(paths[0], sent)
    for name, data in synced.items():
        if not kept.get(name, b"").startswith(data):
            faults.append(f"{name}: bytes that were in the journal are gone")
    for name, data in kept.items():
        if not sent[name].startswith(data):
            faults.append(f"{name}: bytes that were never sent")
    lost = sum(len(sent[name]) - len(kept.get(name, b"")) for name in sent) if synced else 0
    return lost, faults, wrong


def in_journal(path: Path | None) -> dict[str, bytes]:
    """What of each port stands in a journal."""
    if path is None:
        return {}
    try:
        return {name: chunks.raw for name, chunks in read_journal(path).chunks.items()}
    except (TraverseFileError, FileNotFoundError):
        return {}


def stepped_journal(
    survey: Path, rng: random.Random, stops: int = STOPS, ended: bool = False
) -> tuple[Path, dict[str, bytes]]:
    """A journal of five stops, a hundred apart in place and value; no value comes twice.

    Chunks end anywhere, as they do on a real line.  Returns its path and what each port sent.
    """
    setup = Setup(
        "level", "offset", bed_of(survey.parent), face="front", reference="line", position="scale:scale"
    )
    sent: dict[str, bytes] = {}
    waiting = dict.fromkeys(PORTS, b"")
    with begin(survey, setup) as writer:
        for name in ("dial-a", "dial-b"):
            writer.event(0.0, "beside", name)
        for turn in range(int(stops * STOP_S * RATE_HZ)):
            time_s = turn / RATE_HZ
            for name, letter in PORTS.items():
                waiting[name] += line_of(name, letter, turn)
                piece = waiting[name][: rng.randrange(1, 2 * len(waiting[name]))]
                waiting[name] = waiting[name][len(piece) :]
                sent[name] = sent.get(name, b"") + piece
                writer.chunk(name, time_s, piece)
        if ended:
            writer.end(True, stops * STOP_S)
    return writer.path, sent


def line_of(name: str, letter: str, turn: int) -> bytes:
    """The line of one port: where the carriage stands, or its stop's hundred and a scatter of at most 1."""
    stop, moment = divmod(turn, int(STOP_S * RATE_HZ))
    if name == "scale":
        travelled = max(0.0, (moment / RATE_HZ - STOP_S + 1.0)) * STOP_MM
        return f"{letter}{stop * STOP_MM + travelled + turn * 1e-5:+010.5f}\r\n".encode()
    return f"{letter}{stop * 100 + turn * 7919 % 10007 * 1e-4:+010.4f}\r\n".encode()
