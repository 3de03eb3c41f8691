"""Real file systems and power cuts: python tests/benchmarks/real_disks.py [ROUNDS] [SEED].

Needs the administrator's rights, mkfs.ext4 and mkfs.vfat: file systems of a few megabytes stand in
files that are mounted as disks.  A power cut is a copy of such a disk at a random instant while
four instruments stream: what the system had not written by then is not in it.  The copy is mounted,
its own log of changes played back, and mended; it is not quite of one instant, as the system may
write while it is made.  Not tried: a disk that lies about what it has written, and real power.
"""

import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path

from fault_bench import Bench, Forked, Outcome, check_round, in_journal, speak

MAKE = {"ext4": ["mkfs.ext4", "-q", "-F"], "vfat": ["mkfs.vfat"]}
FULL_MB = {"ext4": 2, "vfat": 1}
CUT_MB = 24
LEFT_BYTES = 200_000


def disk(image: Path, kind: str, megabytes: float) -> None:
    """An empty file system in a file."""
    with image.open("wb") as file:
        file.truncate(int(megabytes * 1e6))
    subprocess.run([*MAKE[kind], str(image)], check=True, capture_output=True)


@contextmanager
def mounted(image: Path, folder: Path) -> Iterator[None]:
    """The file system in `image` as the folder."""
    subprocess.run(["mount", "-o", "loop", str(image), str(folder)], check=True, capture_output=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


def power_cut_once(work: Path, rng: random.Random) -> tuple[int, list[str], int]:
    """A recording on ext4 whose disk is copied at a random instant, and mended from the copy."""
    image, copy, folder = work / "disk", work / "copy", work / "mounted"
    folder.mkdir()
    disk(image, "ext4", CUT_MB)
    with mounted(image, folder):
        bench = Bench(folder)
        subprocess.run(["sync", "-f", str(folder)], check=True)
        process = Forked(bench.record(), work / "log")
        speak([], bench.is_recording)
        until_s = time.monotonic() + rng.uniform(1.0, 4.0)
        speak(bench.cables, lambda: time.monotonic() > until_s - 1.0)
        synced = in_journal(bench.journal())  # of a second ago: on the disk since half a second
        speak(bench.cables, lambda: time.monotonic() > until_s)
        sent = {cable.link.name: cable.sent for cable in bench.cables}
        shutil.copyfile(image, copy)
        process.send_signal(signal.SIGKILL)
        speak([], lambda: process.poll() is not None)
        close(bench)
    with mounted(copy, folder):
        return check_round(bench, synced, sent)


def full_disk_once(work: Path, kind: str) -> tuple[int, list[str], int]:
    """A recording on a disk that fills: it ends by itself, and is mended on a larger one."""
    image, folder, roomy = work / "disk", work / "mounted", work / "roomy"
    folder.mkdir()
    disk(image, kind, FULL_MB[kind])
    links = work / "links"
    links.mkdir()
    with mounted(image, folder):
        bench = Bench(links)
        shutil.copytree(bench.survey, folder / "survey")
        bench.survey = folder / "survey"
        free = shutil.disk_usage(folder).free
        (folder / "other-things").write_bytes(bytes(max(0, free - LEFT_BYTES)))
        process = Forked(bench.record(), work / "log")
        faults = [] if speak([], bench.is_recording) else ["it did not begin"]
        if not speak(bench.cables, lambda: process.poll() is not None):
            faults.append("it went on though nothing could be written")
            process.send_signal(signal.SIGKILL)
        said = (work / "log").read_text(errors="replace")
        if process.poll() != 1 or "Traceback" in said:
            faults.append(f"ended with {process.poll()}, not with one clear line: {said[-300:]}")
        synced = in_journal(bench.journal())
        sent = {cable.link.name: cable.sent for cable in bench.cables}
        close(bench)
        shutil.copytree(folder / "survey", roomy)
    bench.survey = roomy
    lost, more, wrong = check_round(bench, synced, sent)
    return lost, faults + more, wrong


def close(bench: Bench) -> None:
    """Pull the cables out."""
    with suppress(OSError):
        bench.close()


def rounds(what: str, count: int, one: Callable[[Path], tuple[int, list[str], int]]) -> Outcome:
    """Run `one` so many times and print the line of the table."""
    outcome = Outcome(what)
    for _ in range(count):
        work = Path(tempfile.mkdtemp(prefix="waylog-disks-"))
        try:
            outcome.add(*one(work))
        finally:
            shutil.rmtree(work, ignore_errors=True)
    print(outcome, flush=True)
    return outcome


def can_mount(kind: str) -> bool:
    """Whether this machine makes and mounts such a file system."""
    with tempfile.TemporaryDirectory() as work:
        image, folder = Path(work) / "disk", Path(work) / "mounted"
        folder.mkdir()
        try:
            disk(image, kind, FULL_MB[kind])
            with mounted(image, folder):
                return True
        except (OSError, subprocess.CalledProcessError):
            return False


def main() -> int:
    """All rounds; exit code 1 where one was not survived."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    rng = random.Random(int(sys.argv[2]) if len(sys.argv) > 2 else 16)
    print(f"{'':44} rounds  survived  most lost B  wrong")
    outcomes = [rounds("power cut while recording (ext4)", count, lambda work: power_cut_once(work, rng))]
    for kind in MAKE:
        if not can_mount(kind):
            print(f"disk full ({kind}): cannot be made or mounted here, not tried")
            continue
        one = partial(full_disk_once, kind=kind)
        outcomes.append(rounds(f"disk full ({kind})", max(2, count // 5), one))
    return int(any(outcome.faults or outcome.wrong for outcome in outcomes))


if __name__ == "__main__":
    raise SystemExit(main())
