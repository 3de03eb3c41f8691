"""Lines a second without loss: python tests/benchmarks/ports.py [SECONDS].

A process of its own writes numbered lines to pseudo-terminals at a fixed rate, never
waiting: what a full terminal does not take is lost there, as it would be in a serial chip.
Reader and decoders run here. Printed: lines sent, read and decoded, numbers missing, the
processor time, and how late bytes were.
"""

import os
import subprocess
import sys
import time
import tty
from collections.abc import Sequence

from acquire.model.bed import Instrument, Port
from acquire.model.recorded import Chunk
from acquire.receive.ports.reader import PortReader
from acquire.receive.wire.kinds import decoder_for

CASES = ((4, 100), (16, 1000))
WRITER = """
import os, sys, time
rate, seconds, masters = float(sys.argv[1]), float(sys.argv[2]), [int(text) for text in sys.argv[3:]]
for master in masters:
    os.set_blocking(master, False)
began, dropped, late = time.monotonic(), 0, 0.0
sys.stdin.readline()
began = time.monotonic()
for number in range(int(rate * seconds)):
    due = began + number / rate
    now = time.monotonic()
    if due > now:
        time.sleep(due - now)
    late = max(late, time.monotonic() - due)
    line = b"+%08d.0\\r\\n" % number
    for master in masters:
        try:
            dropped += os.write(master, line) != len(line)
        except BlockingIOError:
            dropped += 1
print(dropped, round(1000 * late, 1))
"""
PATTERN = r"(?P<value>[-+]\d{8}\.\d)"


def terminals(count: int) -> tuple[list[int], list[str]]:
    """Masters and names of so many pseudo-terminals."""
    pairs = [os.openpty() for _ in range(count)]
    for _, slave in pairs:
        tty.setraw(slave)
    return [master for master, _ in pairs], [os.ttyname(slave) for _, slave in pairs]


def measured(ports: int, rate_hz: int, seconds: float) -> str:
    """One case, in words."""
    masters, names = terminals(ports)
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(rate_hz), str(seconds), *map(str, masters)],
        pass_fds=masters,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    instruments = [
        Instrument(f"port-{n}", "position", "mm", port=Port(name), wire={"kind": "lines", "pattern": PATTERN})
        for n, name in enumerate(names)
    ]
    wanted = int(rate_hz * seconds)
    numbers, cpu_s, reader = _read(instruments, writer, wanted)
    out, _ = writer.communicate()
    dropped, late_ms = out.split()
    missing = sum(wanted - len(set(found)) for found in numbers)
    wrong = sum(found != sorted(found) for found in numbers)
    return (
        f"{ports} ports x {rate_hz} lines/s x {seconds:g} s: {ports * wanted} sent, "
        f"{sum(map(len, numbers))} decoded, {missing} missing, {wrong} ports out of order, {dropped} dropped "
        f"at the writer (up to {late_ms} ms late itself), {reader.stalls} stalls, "
        f"{1e6 * cpu_s / (ports * wanted):.1f} us of processor a line, "
        f"{100 * cpu_s / seconds:.0f} % of a core"
    )


def _read(
    instruments: Sequence[Instrument], writer: subprocess.Popen, wanted: int
) -> tuple[list[list[int]], float, PortReader]:
    decoders = {instrument.name: decoder_for(instrument) for instrument in instruments}
    numbers: dict[str, list[int]] = {name: [] for name in decoders}
    reader = PortReader({instrument.name: instrument.port for instrument in instruments if instrument.port})
    with reader:
        began_s = time.process_time()
        assert writer.stdin is not None
        writer.stdin.write("go\n")
        writer.stdin.flush()
        quiet = 0
        while quiet < 3 and any(len(found) < wanted for found in numbers.values()):
            item = reader.get(1.0)
            quiet = quiet + 1 if item is None else 0
            if isinstance(item, Chunk):
                readings = decoders[item.port].feed(item.data, item.time_s)
                numbers[item.port] += [int(reading.value) for reading in readings if reading.flag == 0]
        cpu_s = time.process_time() - began_s
    return list(numbers.values()), cpu_s, reader


if __name__ == "__main__":
    length_s = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    for port_count, lines_a_second in CASES:
        print(measured(port_count, lines_a_second, length_s))
