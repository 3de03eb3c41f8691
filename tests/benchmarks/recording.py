"""Recording without loss and in bounded memory.

Run: python tests/benchmarks/recording.py [--seconds S] [--hours H]

First part, in real time: four pseudo-terminals at 100 lines a second each; every line
must come out, and the memory of the recording process must stay flat.  Second part, at
speed: a recording of several hours by a scripted clock through the same recorder and
screen, then its conversion; memory, sizes and times are printed.
"""

import argparse
import os
import pty
import resource
import select
import subprocess
import sys
import tempfile
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import numpy as np

from acquire.console.showing import Screen
from acquire.model.recorded import Chunk
from acquire.model.traverse import Setup
from acquire.record.recorder import Recorder
from acquire.store import read_traverse

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests import invented

PORTS = ("level", "scale", "floor-level", "air")
QUANTITIES = ("slope", "position", "slope", "temperature")
RATE_HZ = 100


def bed_toml(urls: dict[str, str]) -> str:
    """An invented bed with four instruments that speak."""
    described = {
        "slope": invented.level(seating_um=0.3),
        "position": invented.scale(),
        "temperature": {"quantity": "temperature", "unit": "degC"},
    }
    instruments = {
        name: described[quantity] | invented.speaks(urls[name], baud=115200)
        for name, quantity in zip(PORTS, QUANTITIES, strict=True)
    }
    return invented.bed_toml(3000, instruments=instruments)


def survey_with(urls: dict[str, str], stack: ExitStack) -> tuple[Path, Setup]:
    """A new survey folder and the setup of its first traverse."""
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    (folder / "bed.toml").write_text(bed_toml(urls))
    (folder / "traverses").mkdir()
    setup = Setup(
        "level",
        "slope",
        bed_toml(urls),
        face="front",
        position="scale:scale",
        standing="floor-level",
        acceleration_corrected=False,
    )
    return folder, setup


def resident_mb(pid: int | str = "self") -> float:
    """Memory of a process that is in use."""
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def speak(masters: dict[str, int], seconds: float) -> dict[str, int]:
    """Send lines at the rate on every port; gives how many were sent on each."""
    sent = dict.fromkeys(masters, 0)
    start_s = time.monotonic()
    for tick in range(round(seconds * RATE_HZ)):
        time.sleep(max(0.0, start_s + tick / RATE_HZ - time.monotonic()))
        for name, master in masters.items():
            os.write(master, f"{tick * 0.01:+.3f}\r\n".encode())
            sent[name] += 1
    return sent


def in_real_time(seconds: float) -> None:
    """Four real ports, a real process, every line counted."""
    with ExitStack() as stack:
        pairs = {name: pty.openpty() for name in PORTS}
        for _, slave in pairs.values():
            tty.setraw(slave)
        folder, _ = survey_with({name: os.ttyname(slave) for name, (_, slave) in pairs.items()}, stack)
        command = [sys.executable, "-m", "acquire.cli", "record", str(folder), "front", "-i", "level"]
        command += ["--position", "scale:scale", "--standing", "floor-level", "--beside", "air"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        process.stdout.readline()
        memory = [resident_mb(process.pid)]
        watching = threading.Thread(target=_watch_memory, args=(process, memory), daemon=True)
        watching.start()
        sent = speak({name: master for name, (master, _) in pairs.items()}, seconds)
        select.select([], [], [], 1.0)
        used = Path(f"/proc/{process.pid}/stat").read_text().split()
        cpu_s = (int(used[13]) + int(used[14])) / os.sysconf("SC_CLK_TCK")
        process.terminate()
        process.communicate()
        (path,) = (folder / "traverses").glob("*.h5")
        kept = {name: len(stream.value) for name, stream in read_traverse(path).streams.items()}
    print(f"real time: 4 ports at {RATE_HZ} lines a second for {seconds:g} s")
    print(
        f"  lines sent {sum(sent.values())}, kept {sum(kept.values())}, "
        f"lost {sum(sent.values()) - sum(kept.values())}"
    )
    print(
        f"  memory from {memory[0]:.0f} MB to {memory[-1]:.0f} MB; {100 * cpu_s / seconds:.0f} % of one core"
    )


def _watch_memory(process: subprocess.Popen, memory: list[float]) -> None:
    while process.poll() is None:
        try:
            memory.append(resident_mb(process.pid))
        except (OSError, IndexError):
            return
        time.sleep(1.0)


class Scripted:
    """Chunks of a long day, five a second from each port, by a clock that they carry."""

    def __init__(self, hours: float):
        self.seconds = hours * 3600
        self.now_s = 0.0
        self.memory: list[float] = []
        self.stop = lambda: None
        self._chunks = self._made()

    def __call__(self, specs, clock, requests) -> "Scripted":
        return self

    def __enter__(self) -> "Scripted":
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def close(self) -> None:
        """Nothing is open."""

    def get(self, timeout: float | None = None) -> Chunk | None:
        """The next chunk."""
        chunk = next(self._chunks, None)
        if chunk is None:
            self.stop()
        return chunk

    def _made(self) -> Iterator[Chunk]:
        random = np.random.default_rng(1)
        per_chunk = RATE_HZ // 5
        noise = random.normal(0, 0.3, 100_000)
        for k in range(round(self.seconds * 5)):
            self.now_s = 0.2 * (k + 1)
            if k % 18_000 == 0:
                self.memory.append(resident_mb())
            carriage = np.interp(self.now_s % 60, [0, 50, 60], [0, 0, 100]) + 100 * (self.now_s // 60 % 28)
            for name, level in zip(PORTS, (20.0, carriage, 5.0, 21.0), strict=True):
                part = noise[k * 7 % 99_000 :][:per_chunk] * (0.005 if name == "scale" else 1.0)
                data = "".join(f"{level + x:+.3f}\r\n" for x in part).encode()
                yield Chunk(name, self.now_s, data)


def at_speed(hours: float) -> None:
    """Several hours through recorder and screen as fast as they go, then the conversion."""
    with ExitStack() as stack:
        folder, setup = survey_with({name: f"socket://{name}:1" for name in PORTS}, stack)
        script = Scripted(hours)
        air = setup.bed.instruments["air"]
        screen = Screen(folder, setup, beside=[air], is_quiet=True)
        sizes: list[int] = []

        def converting(journal: Path, h5: Path):
            from acquire.record.conversion import convert

            sizes.append(journal.stat().st_size)
            times.append(time.monotonic())
            return convert(journal, h5)

        times: list[float] = [time.monotonic()]
        recorder = Recorder(
            folder, setup, beside=[air], observers=[screen], clock=lambda: script.now_s,
            make_reader=script, converter=converting,
        )  # fmt: skip
        script.stop = recorder.stop
        screen.tracker.go_on()
        recording = recorder.run()
        ended_s = time.monotonic()
        lines = round(hours * 3600) * RATE_HZ * len(PORTS)
        size = recording.path.stat().st_size
        traverse = read_traverse(recording.path)
        kept = sum(len(stream.value) for stream in traverse.streams.values())
        monotone = all((np.diff(stream.time_s) >= 0).all() for stream in traverse.streams.values())
    child_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e3
    print(f"at speed: {hours:g} hours, {lines} lines ({recording.bytes_kept / 1e6:.0f} MB of bytes)")
    print(
        f"  recorded in {times[1] - times[0]:.0f} s; "
        f"memory from {script.memory[0]:.0f} to {script.memory[-1]:.0f} MB"
    )
    print(
        f"  journal {sizes[0] / 1e6:.0f} MB, traverse file {size / 1e6:.0f} MB, "
        f"kept {kept} lines, lost {lines - kept}"
    )
    print(f"  times monotone: {monotone}; {recording.converted.stations} stations")
    print(
        f"  converted in {ended_s - times[1]:.0f} s, at most {child_mb:.0f} MB "
        f"({1e6 * child_mb / lines:.0f} bytes a line)"
    )


def main() -> None:
    """Both parts."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--seconds", type=float, default=30.0)
    parser.add_argument("--hours", type=float, default=8.0)
    asked = parser.parse_args()
    if asked.seconds:
        in_real_time(asked.seconds)
    if asked.hours:
        at_speed(asked.hours)


if __name__ == "__main__":
    main()
