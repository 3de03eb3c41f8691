"""What a recording survives: python tests/benchmarks/faults.py [KILLS] [SEED].

Kills `waylog record` at random instants while four instruments stream over pseudo-terminals,
kills the conversion, unplugs, fills the disk, runs two recorders on one survey, and damages
journals in every way that a power cut can.  Every line sent carries a running number, so that
a value which was never sent, or came out of turn, is known.  All values are invented.

After each round: what was in the journal is in the traverse, no value is wrong, `mend` ends in
a file that reads or says what is missing, and the earlier traverse is the same to the byte.
The short form is tests/acquire/test_faults.py.
"""

import hashlib
import os
import pty
import random
import re
import resource
import select
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from acquire.conversion import convert_here
from acquire.derivation import derive
from acquire.errors import TraverseFileError
from acquire.journal import begin, frames, read_journal
from acquire.mending import EMPTY, IN_USE, LEFT, mend
from acquire.traverse_file import Setup, read_traverse

DEADLINE_S = 60.0
PAGE = 4096
STOP_MM, STOPS, STOP_S, RATE_HZ = 100.0, 5, 6.0, 100

PORTS = {"level": "L", "scale": "X", "dial-a": "A", "dial-b": "B"}
BED = """[bed]
name = "invented bed of the fault rounds"
length_mm = 600
station_pitch_mm = 100
[faces.front]
normal = "up"
across_mm = 0
[faces.rear]
normal = "up"
across_mm = 300
"""
INSTRUMENT = """[instruments.{name}]
quantity = "{quantity}"
unit = "{unit}"
standard_uncertainty = 0.5
[instruments.{name}.port]
url = "{url}"
[instruments.{name}.wire]
kind = "lines"
pattern = '{letter}(?P<value>[-+]\\d+\\.\\d+)'
"""


def bed_of(folder: Path) -> str:
    """A bed whose four instruments are links to pseudo-terminals in `folder`."""
    text = BED
    for name, letter in PORTS.items():
        kind = ("position", "mm") if name == "scale" else ("offset", "um")
        text += INSTRUMENT.format(
            name=name, quantity=kind[0], unit=kind[1], url=folder / name, letter=letter
        ).replace("standard_uncertainty = 0.5\n" if name == "scale" else "\0", "")
    return text


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


def kill_once(folder: Path, rng: random.Random, start: Callable = Forked, longest_s: float = 0.8) -> tuple:
    """One recorder killed at a random instant: while it starts, streams, or ends."""
    bench = Bench(folder)
    process = start(bench.record(), bench.log)
    try:
        if rng.random() < 0.9:
            speak([], lambda: bench.is_recording() or process.poll() is not None)
        for_s = rng.uniform(0, longest_s)
        began_s = time.monotonic()
        speak(bench.cables if bench.is_recording() else [], lambda: time.monotonic() - began_s > for_s)
        if rng.random() < 0.25:
            process.send_signal(signal.SIGINT)
            began_s, for_s = time.monotonic(), rng.uniform(0, longest_s)
            speak([], lambda: time.monotonic() - began_s > for_s or process.poll() is not None)
        process.send_signal(signal.SIGKILL)
        speak([], lambda: process.poll() is not None)
        synced = in_journal(bench.journal())
        sent = {cable.link.name: cable.sent for cable in bench.cables}
        return check_round(bench, synced, sent)
    finally:
        bench.close()


def replug_once(folder: Path, rng: random.Random, start: Callable = Forked, times: int = 3) -> tuple:
    """One recorder whose ports are pulled out and put back; what was plugged in comes through in order."""
    bench = Bench(folder)
    process = start(bench.record(), bench.log)
    faults = []
    try:
        speak([], bench.is_recording)
        for _ in range(times):
            speak(bench.cables, lambda: all(cable.number > 20 for cable in bench.cables))
            cable = rng.choice(bench.cables)
            goings, comings = told(bench, "lost"), told(bench, "reopened")
            cable.pull_out()
            others = [other for other in bench.cables if other is not cable]
            if not speak(others, lambda n=goings: told(bench, "lost") > n):
                faults.append("the loss of a port was not told")
            cable.plug_in()
            if not speak(others, lambda n=comings: told(bench, "reopened") > n):
                faults.append("the return of a port was not told")
            began = cable.number
            speak(bench.cables, lambda c=cable, n=began: c.number > n + 20)
        process.send_signal(signal.SIGINT)
        speak([], lambda: process.poll() is not None)
        (path,) = [path for path in bench.survey.glob("traverses/*.h5") if path.name not in bench.earlier]
        sent = {cable.link.name: cable.sent for cable in bench.cables}
        kept, wrong = kept_and_wrong(path, sent)
        for cable in bench.cables:
            if not is_made_of_beginnings(kept[cable.link.name], cable.parts):
                faults.append(f"{cable.link.name}: kept bytes are no beginnings of what was sent")
        lost = sum(map(len, sent.values())) - sum(map(len, kept.values()))
        return lost, faults + bench.faults_of_earlier(), wrong
    finally:
        process.send_signal(signal.SIGKILL)
        bench.close()


def told(bench: Bench, kind: str) -> int:
    """How often the journal tells of such an event."""
    path = bench.journal()
    return 0 if path is None else sum(event.kind == kind for event in read_journal(path).events)


def is_made_of_beginnings(kept: bytes, parts: list[bytearray]) -> bool:
    """Whether `kept` is a beginning of each part in turn."""
    at = 0
    for part in map(bytes, parts):
        same = next(
            (k for k, pair in enumerate(zip(kept[at:], part, strict=False)) if pair[0] != pair[1]), None
        )
        at += min(len(kept) - at, len(part)) if same is None else same
    return at == len(kept)


def full_disk_once(folder: Path, make_room: Callable[[Path], Callable[[], None]], start: Callable) -> tuple:
    """A recorder whose disk fills: it ends by itself, and `mend` finishes once there is room."""
    free_up = make_room(folder)
    bench = Bench(folder)
    process = start(bench.record(), bench.log)
    faults = []
    try:
        speak([], lambda: bench.is_recording() or process.poll() is not None)
        if not speak(bench.cables, lambda: process.poll() is not None):
            faults.append("it went on though nothing could be written")
        synced = in_journal(bench.journal())
        said = bench.log.read_text(errors="replace") if bench.log.exists() else ""
        if process.poll() != 1 or "Traceback" in said:
            faults.append(f"ended with {process.poll()}, not with one clear line: {said[-300:]}")
        free_up()
        sent = {cable.link.name: cable.sent for cable in bench.cables}
        lost, more, wrong = check_round(bench, synced, sent)
        return lost, faults + more, wrong
    finally:
        process.send_signal(signal.SIGKILL)
        bench.close()


def two_recorders_once(folder: Path, start: Callable = Forked) -> tuple:
    """Two recorders begun at once on one survey: two numbers, each with its own bytes."""
    bench = Bench(folder)
    ask = ["record", str(bench.survey), "front", "--reference", "line", "--leave-free", "0"]
    two = [start([*ask, "--instrument", name], bench.log) for name in ("dial-a", "dial-b")]
    faults, wrong = [], 0
    try:
        cables = bench.cables[2:]
        speak([], lambda: all(bench.journal(number) is not None for number in (2, 3)))
        speak([], lambda: all(b"recording" in bench.journal(n).read_bytes() for n in (2, 3)))
        speak(cables, lambda: cables[0].number > 100)
        for process in two:
            process.send_signal(signal.SIGINT)
        speak([], lambda: all(process.poll() is not None for process in two))
        found = {path.stem: path for path in bench.survey.glob("traverses/*.h5")}
        names = {stem.partition("-front-")[2] for stem in found} - {"level"}
        if names != {"dial-a", "dial-b"} or sorted(stem[:3] for stem in found) != ["001", "002", "003"]:
            faults.append(f"found {sorted(found)}")
        for cable in cables:
            name = cable.link.name
            for path in (path for stem, path in found.items() if stem.endswith(name)):
                kept, more = kept_and_wrong(path, {name: cable.sent})
                wrong += more
                if kept[name] != cable.sent:
                    faults.append(f"{name}: not every byte was kept")
        return 0, faults + bench.faults_of_earlier(), wrong
    finally:
        for process in two:
            process.send_signal(signal.SIGKILL)
        bench.close()


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


def wrong_stations(path: Path) -> int:
    """Stations whose reading is not that of their stop: its hundred, and up to 1 more."""
    stations = read_traverse(path).stations
    above = stations.reading - 100 * np.floor(stations.station_mm / STOP_MM + 1e-3)
    return int(((above < -0.01) | (above > 1.01)).sum())


@dataclass(frozen=True)
class Damage:
    """What a power cut made of a journal, and from which byte on."""

    data: bytes
    begins_at: int


def cuts(data: bytes, records: int) -> Iterator[Damage]:
    """Cut at every byte of the last records."""
    starts = [frame.offset for frame in _frames(data)]
    return (Damage(data[:at], at) for at in range(starts[-records], len(data) + 1))


def flips(data: bytes, rng: random.Random, count: int) -> Iterator[Damage]:
    """Up to eight flipped bits in the last two seconds."""
    first = _last_two_seconds(data)
    for _ in range(count):
        spoilt, places = bytearray(data), [rng.randrange(first, len(data)) for _ in range(rng.randint(1, 8))]
        for at in places:
            spoilt[at] ^= 1 << rng.randrange(8)
        yield Damage(bytes(spoilt), min(places))


def lost_pages(data: bytes, rng: random.Random, count: int) -> Iterator[Damage]:
    """4 KiB pages of the last two seconds that hold zeros, something else, or are not there."""
    pages = range(_last_two_seconds(data) // PAGE + 1, len(data) // PAGE + 1)
    for _ in range(count):
        spoilt, gone = bytearray(data), rng.sample(pages, rng.randint(1, min(4, len(pages))))
        for page in sorted(gone, reverse=True):
            part = slice(page * PAGE, min((page + 1) * PAGE, len(data)))
            length = part.stop - part.start
            spoilt[part] = rng.choice([bytes(length), rng.randbytes(length), b"", data[:length]])
        yield Damage(bytes(spoilt), min(gone) * PAGE)


def _frames(data: bytes) -> list[frames.Frame]:
    import io

    return [item for item in frames.scan(io.BytesIO(data)) if isinstance(item, frames.Frame)]


def _last_two_seconds(data: bytes) -> int:
    found = _frames(data)
    return next(frame.offset for frame in found if frame.time_s >= found[-1].time_s - 2.0)


class Spoiled:
    """A survey whose second traverse is a journal that can be damaged in many ways and mended."""

    def __init__(self, folder: Path, rng: random.Random, stops: int = STOPS):
        self.survey = folder / "survey"
        (self.survey / "traverses").mkdir(parents=True)
        (self.survey / "bed.toml").write_text(bed_of(folder), encoding="utf-8")
        earlier, _ = stepped_journal(self.survey, rng, stops=2)
        convert_here(earlier, earlier.with_suffix(".h5"))
        self.earlier = digests(self.survey)
        self.journal, self.sent = stepped_journal(self.survey, rng, stops=stops)
        self.data = self.journal.read_bytes()
        self._chunks = [
            (frame.end, *frames.split_name(frame.payload))
            for frame in _frames(self.data)
            if frame.kind == frames.CHUNK
        ]

    def synced_before(self, at: int) -> dict[str, bytes]:
        """What each port had sent in the whole records before a byte of the journal."""
        found = dict.fromkeys(self.sent, b"")
        for end, name, data in self._chunks:
            if end <= at:
                found[name] += data
        return found

    def mended(self, damage: Damage) -> tuple[int, list[str], int]:
        """Put the damaged journal in its place, mend, and hold it against what was sent."""
        h5_path = self.journal.with_suffix(".h5")
        h5_path.unlink(missing_ok=True)
        self.journal.write_bytes(damage.data)
        done = mend(self.survey, convert_here)
        faults = [each.text for each in done if each.outcome in (LEFT, IN_USE, EMPTY)]
        now = digests(self.survey)
        faults += [f"{name} was touched" for name in self.earlier if now.get(name) != self.earlier[name]]
        if not h5_path.exists():
            return 0, [*faults, "no file came of it"], 0
        kept, wrong = kept_and_wrong(h5_path, self.sent)
        before = self.synced_before(damage.begins_at)
        faults += [
            f"{name}: synced bytes are gone" for name in before if not kept[name].startswith(before[name])
        ]
        lost = sum(map(len, self.sent.values())) - sum(map(len, kept.values()))
        if lost and not any("lost" in each.text or "cut short" in each.text for each in done):
            faults.append("the loss was not told")
        return lost, faults, wrong + wrong_stations(h5_path)

    def read(self, damage: Damage) -> tuple[int, list[str], int]:
        """The same without writing the file: the journal read and derived."""
        self.journal.write_bytes(damage.data)
        traverse = derive(read_journal(self.journal))
        before = self.synced_before(damage.begins_at)
        kept = {name: stream.raw for name, stream in traverse.streams.items()}
        faults = [
            f"{name}: synced bytes are gone" for name in before if not kept[name].startswith(before[name])
        ]
        return sum(map(len, self.sent.values())) - sum(map(len, kept.values())), faults, 0


def conversion_killed_once(folder: Path, rng: random.Random, longest_s: float = 2.0) -> tuple:
    """A conversion killed at a random instant, as a person runs it, then mended."""
    spoiled = Spoiled(folder, rng, stops=3)
    h5_path = spoiled.journal.with_suffix(".h5")
    command = [sys.executable, "-P", "-m", "acquire.conversion", str(spoiled.journal), str(h5_path)]
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
    for_s, began_s = rng.uniform(0.2, longest_s), time.monotonic()
    speak([], lambda: time.monotonic() - began_s > for_s or process.poll() is not None)
    process.kill()
    process.wait()
    faults = []
    if not spoiled.journal.exists() and not h5_path.exists():
        faults.append("neither journal nor file is there")
    faults += [each.text for each in mend(spoiled.survey, convert_here) if each.outcome in (LEFT, IN_USE)]
    if list(spoiled.survey.glob("traverses/*.tmp")):
        faults.append("a leftover stayed")
    kept, wrong = kept_and_wrong(h5_path, spoiled.sent)
    faults += [f"{name}: bytes are gone" for name in kept if kept[name] != spoiled.sent[name]]
    return 0, faults, wrong + wrong_stations(h5_path)


def small_disk(folder: Path) -> Callable[[], None]:
    """Mount a disk of half a megabyte on `folder`; the callable makes it larger."""
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=512k", "tmpfs", str(folder)], check=True)
    return lambda: subprocess.run(["mount", "-o", "remount,size=64m", str(folder)], check=True)  # type: ignore[return-value]


def can_mount() -> bool:
    """Whether a small disk can be mounted here."""
    with tempfile.TemporaryDirectory() as folder:
        tried = subprocess.run(["mount", "-t", "tmpfs", "tmpfs", folder], check=False, capture_output=True)
        if tried.returncode == 0:
            subprocess.run(["umount", folder], check=True)
        return tried.returncode == 0


def rounds(what: str, count: int, one: Callable[[Path], tuple]) -> Outcome:
    """Run `one` so many times, each in a folder of its own, and print the line of the table."""
    outcome = Outcome(what)
    for _ in range(count):
        folder = Path(tempfile.mkdtemp(prefix="waylog-faults-"))
        try:
            outcome.add(*_in_order(one(folder)))
        finally:
            subprocess.run(["umount", str(folder)], check=False, capture_output=True)
            shutil.rmtree(folder)
    print(outcome, flush=True)
    return outcome


def _in_order(result: tuple) -> tuple:
    lost, faults, wrong = result
    return lost, faults, wrong


def damaged(what: str, spoiled: Spoiled, damages: Iterator[Damage]) -> Outcome:
    """Mend every one of these journals, and print the line of the table."""
    outcome = Outcome(what)
    for damage in damages:
        outcome.add(*spoiled.mended(damage))
    print(outcome, flush=True)
    return outcome


def main() -> int:
    """All rounds; exit code 1 where one was not survived."""
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 20251125)
    print(f"{'':44} rounds  survived  most lost B  wrong")
    with tempfile.TemporaryDirectory() as folder:
        spoiled = Spoiled(Path(folder), rng)
        outcomes = [
            damaged("journal cut at every byte of 8 last records", spoiled, cuts(spoiled.data, 8)),
            damaged("bits flipped in its last two seconds", spoiled, flips(spoiled.data, rng, 60)),
            damaged("4 KiB pages of them spoilt or missing", spoiled, lost_pages(spoiled.data, rng, 60)),
        ]
    outcomes += [
        rounds("record killed (SIGKILL)", kills, lambda folder: kill_once(folder, rng)),
        rounds("conversion to HDF5 killed", max(2, kills // 10), lambda f: conversion_killed_once(f, rng)),
        rounds("ports pulled out and put back, 3 times", max(2, kills // 20), lambda f: replug_once(f, rng)),
        rounds("two recorders on one survey", max(2, kills // 20), two_recorders_once),
    ]
    if can_mount():
        outcomes.append(
            rounds("disk full", max(2, kills // 40), lambda f: full_disk_once(f, small_disk, Forked))
        )
    return int(any(outcome.faults or outcome.wrong for outcome in outcomes))


if __name__ == "__main__":
    raise SystemExit(main())
