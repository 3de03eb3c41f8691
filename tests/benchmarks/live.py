"""Recording at 1,000 lines a second beside a bare loop that writes what it reads to a file.

Run: python tests/benchmarks/live.py [SECONDS] [ROUNDS]. CPU seconds of the recording itself, with its
journal, without its start and its conversion; every line must be in the journal.
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
from acquire.model.traverse import Setup
from acquire.record.recorder import Recorder
folder, seconds, ports = sys.argv[1], float(sys.argv[2]), int(sys.argv[3])
text = open(folder + "/bed.toml", encoding="utf-8").read()
asked = dict(position="feed:5") if ports == 1 else dict(position="scale:scale", standing="floor-level")
setup = Setup("level", "slope", text, face="front", **asked)
beside = (setup.bed.instruments["air"],) if ports == 4 else ()
recorder = Recorder(folder, setup, beside=beside, seconds=seconds, converter=lambda journal, path: None)
print("ready", flush=True)
begun = time.process_time()
recorder.run()
print(time.process_time() - begun)
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


def cpu_of_reader(program: str, ports: int, seconds: float) -> float:
    """CPU seconds of a process that reads so many pseudo-terminals, each line of which must be kept."""
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
        used = float(process.communicate()[0].split()[-1])
        kept = sum(each.read_bytes().count(b"\r\n") for each in folder.rglob("*") if each.name != "bed.toml"
                   and each.is_file())  # fmt: skip
        if kept < sent:
            raise RuntimeError(f"{sent - kept} of {sent} lines were lost")
        for descriptor in (descriptor for pair in pairs for descriptor in pair):
            os.close(descriptor)
    return used


def _speak(masters: list[int], seconds: float) -> int:
    time.sleep(0.5)
    begun, tick = time.monotonic(), 0
    while (at_s := time.monotonic() - begun) < seconds:
        while tick < at_s * LINES_A_SECOND:
            for master in masters:
                os.write(master, b"%+.3f\r\n" % (tick * 1e-3))
            tick += 1
        time.sleep(1 / LINES_A_SECOND)
    return tick * len(masters)


def compared(ports: int, seconds: float, rounds: int) -> Beside:
    """The row of the table."""
    return beside(
        f"recording {ports} × {LINES_A_SECOND} lines a second for {seconds:g} s",
        lambda: cpu_of_reader(RECORD, ports, seconds),
        "selectors, os.read, a file",
        lambda: cpu_of_reader(LOOP, ports, seconds),
        rounds,
    )


def main() -> None:
    """Print the rows."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    print("\n".join([HEAD, *(compared(ports, seconds, rounds).row() for ports in (1, 4))]))


if __name__ == "__main__":
    main()
