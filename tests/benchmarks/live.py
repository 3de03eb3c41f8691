"""Recording at 1,000 lines a second beside a bare loop that writes what it reads to a file.

Run: python tests/benchmarks/live.py [SECONDS] [ROUNDS]. CPU seconds of the recording itself, with its
journal, without its start and its conversion; every line must be in the journal. Each line says when it
was put on its port, so that how late it came into the journal is told too.
"""

import os
import pty
import subprocess
import sys
import tempfile
import time
import tty
from contextlib import ExitStack
from pathlib import Path

from beside import HEAD, Beside, as_installed, beside
from recording import PORTS, bed_toml

LINES_A_SECOND = 1000
RECORD = """
import sys, time
from statistics import quantiles
from acquire.model.traverse import Setup
from acquire.record.recorder import Recorder
folder, seconds, ports = sys.argv[1], float(sys.argv[2]), int(sys.argv[3])
text = open(folder + "/bed.toml", encoding="utf-8").read()
asked = dict(position="feed:5") if ports == 1 else dict(position="scale:scale", standing="floor-level")
setup = Setup("level", "slope", text, face="front", **asked)
beside = (setup.bed.instruments["air"],) if ports == 4 else ()
taken = []
class Onlooker:
    def chunk(self, chunk):  # it is shown what the journal has
        taken.append((time.monotonic(), chunk.data))
    def event(self, event):
        pass
recorder = Recorder(folder, setup, beside=beside, seconds=seconds, observers=[Onlooker()],
                    converter=lambda journal, path: None)
print("ready", flush=True)
begun = time.process_time()
recorder.run()
used = time.process_time() - begun
late = quantiles((1e3 * (at - float(line)) for at, data in taken for line in data.split()), n=1000)
print(*(late[each] for each in (499, 989, 998)), used)
"""
LOOP = """
import os, selectors, sys, time
folder, seconds, urls = sys.argv[1], float(sys.argv[2]), sys.argv[4:]
with selectors.DefaultSelector() as ready, open(folder + "/all", "ab") as file:
    for url in urls:
        ready.register(os.open(url, os.O_RDWR | os.O_NOCTTY), selectors.EVENT_READ)
    print("ready", flush=True)
    begun, end = time.process_time(), time.monotonic() + seconds
    while time.monotonic() < end:
        for key, _ in ready.select(0.1):
            file.write(os.read(key.fd, 65536))
print(time.process_time() - begun)
"""


def said_by_reader(program: str, ports: int, seconds: float) -> list[float]:
    """What a process says that reads so many pseudo-terminals, each line of which must be kept.

    CPU seconds last; before them, of a recording, the lateness in ms that half, 99 % and 99.9 % keep to.
    """
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="waylog-live-")))
        (folder / "traverses").mkdir()
        pairs = [pty.openpty() for _ in range(ports)]
        for _, slave in pairs:
            tty.setraw(slave)
        urls = [os.ttyname(slave) for _, slave in pairs]
        described = {name: urls[min(number, ports - 1)] for number, name in enumerate(PORTS)}
        (folder / "bed.toml").write_text(bed_toml(described), encoding="utf-8")
        words = [sys.executable, "-P", "-c", program, str(folder), str(seconds), str(ports), *urls]
        process = subprocess.Popen(words, stdout=subprocess.PIPE, text=True, env=as_installed())
        assert process.stdout is not None
        process.stdout.readline()
        sent = _speak([master for master, _ in pairs], seconds - 1.0)
        said = [float(each) for each in process.communicate()[0].split()]
        kept = sum(each.read_bytes().count(b"\r\n") for each in folder.rglob("*") if each.name != "bed.toml"
                   and each.is_file())  # fmt: skip
        if kept < sent:
            raise RuntimeError(f"{sent - kept} of {sent} lines were lost")
        for descriptor in (descriptor for pair in pairs for descriptor in pair):
            os.close(descriptor)
    return said


def _speak(masters: list[int], seconds: float) -> int:
    time.sleep(0.5)
    begun, tick = time.monotonic(), 0
    while (at_s := time.monotonic() - begun) < seconds:
        while tick < at_s * LINES_A_SECOND:
            for master in masters:
                os.write(master, b"%+.6f\r\n" % time.monotonic())
            tick += 1
        time.sleep(1 / LINES_A_SECOND)
    return tick * len(masters)


def compared(ports: int, seconds: float, rounds: int) -> tuple[Beside, list[float]]:
    """The row of the table, and the lateness of the round that was least late."""
    late: list[list[float]] = []

    def recorded() -> float:
        *of_lines, cpu_s = said_by_reader(RECORD, ports, seconds)
        late.append(of_lines)
        return cpu_s

    row = beside(
        f"recording {ports} × {LINES_A_SECOND} lines a second for {seconds:g} s",
        recorded,
        "selectors, os.read, a file",
        lambda: said_by_reader(LOOP, ports, seconds)[-1],
        rounds,
    )
    return row, min(late, key=lambda each: each[1])


def main() -> None:
    """Print the rows, and how late lines came into the journal."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    found = {ports: compared(ports, seconds, rounds) for ports in (1, 4)}
    print("\n".join([HEAD, *(row.row() for row, _ in found.values())]))
    for ports, (_, late) in found.items():
        said = ", ".join(f"{ms:.2f} ms" for ms in late)
        print(f"from a port into the journal, {ports} × {LINES_A_SECOND}: {said} (half, 99 %, 99.9 %)")


if __name__ == "__main__":
    main()
