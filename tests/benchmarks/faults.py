"""What a recording survives: python tests/benchmarks/faults.py [KILLS] [SEED].

Kills `waylog record` at random instants while four instruments stream over pseudo-terminals,
kills the conversion, unplugs, fills the disk, runs two recorders on one survey, and damages
journals in every way that a power cut can.  Every line sent carries a running number, so that
a value which was never sent, or came out of turn, is known.  All values are invented.

After each round: what was in the journal is in the traverse, no value is wrong, `mend` ends in
a file that reads or says what is missing, and the earlier traverse is the same to the byte.
The short form is tests/acquire/record/test_faults.py.
"""

import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from damaged_journals import Damage, Spoiled, conversion_killed_once, cuts, flips, lost_pages
from fault_bench import Bench, Forked, Outcome, check_round, in_journal, kept_and_wrong, speak

from acquire.store import read_traverse
from acquire.store.journal import read_journal


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


def hang_up_once(folder: Path, rng: random.Random, start: Callable = Forked) -> tuple:
    """The terminal of a recording is closed: it ends by itself, whole, and says that it was not ended."""
    bench = Bench(folder)
    process = start(bench.record(), bench.log)
    try:
        speak([], lambda: bench.is_recording() or process.poll() is not None)
        for_s, began_s = rng.uniform(0.1, 2.0), time.monotonic()
        speak(bench.cables, lambda: time.monotonic() - began_s > for_s)
        synced = in_journal(bench.journal())
        process.send_signal(signal.SIGHUP)
        speak([], lambda: process.poll() is not None)
        faults = [] if bench.journal() is None else ["its journal was left"]
        new = [path for path in bench.survey.glob("traverses/*.h5") if path.name not in bench.earlier]
        faults += [f"{path.name} says that it is complete" for path in new if read_traverse(path).complete]
        sent = {cable.link.name: cable.sent for cable in bench.cables}
        lost, others, wrong = check_round(bench, synced, sent)
        return lost, [*faults, *others], wrong
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


def small_disk(folder: Path) -> Callable[[], None]:
    """Mount a disk of one megabyte on `folder`; the callable makes it larger."""
    subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)], check=True)
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
        rounds("terminal closed (SIGHUP)", max(2, kills // 10), lambda folder: hang_up_once(folder, rng)),
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
