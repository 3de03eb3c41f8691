"""Conversion of a long journal beside what cannot be spared: conversion.py [LINES] [ROUNDS].

Four invented instruments in turn, every line a chunk of its own. The yardstick, in a process of
its own too: numpy parses the same numbers, zlib takes the CRC of the journal, h5py writes ready
arrays of the same columns, packed in the same way.
"""

import math
import shutil
import sys
import tempfile
from pathlib import Path

import numpy as np
from beside import HEAD, Beside, beside, cpu_of_process
from eight_hours import DESCRIBED, bed_toml

from acquire.model.traverse import Setup
from acquire.store.journal import frames

FLOOR = """
import sys, zlib
import numpy as np, h5py
journal, lines, target = sys.argv[1:]
with open(journal, "rb") as file:
    check = 0
    while data := file.read(1 << 20):
        check = zlib.crc32(data, check)
packed = dict(compression="gzip", compression_opts=1, shuffle=True, fletcher32=True, chunks=(16384,))
with h5py.File(target, "w") as file:
    for name in ("level", "scale", "floor", "air"):
        with open(f"{lines}-{name}", "rb") as text:
            raw = text.read()
        value = np.fromstring(raw.decode(), sep="\\n")
        time_s = np.arange(len(value)) * 0.01
        columns = {"value": value, "time_s": time_s, "arrival_s": time_s, "chunk_time_s": time_s,
                   "flag": np.zeros(len(value), np.uint8), "chunk_end": np.arange(len(value)) * 8,
                   "bytes": np.frombuffer(raw, np.uint8)}
        for column, values in columns.items():
            file.create_dataset(f"{name}/{column}", data=values, **packed)
"""


def write_journal(path: Path, lines: int) -> None:
    """A journal of so many lines, and beside it what each instrument sent."""
    described = bed_toml()
    setup = Setup(
        "level", "slope", described, face="front", position="scale:scale", standing="floor", number=1
    )
    random = np.random.default_rng(8)
    sent = {name: bytearray() for name in DESCRIBED}
    sequence = 0
    with path.open("wb") as file:

        def put(kind: int, time_s: float, payload: bytes) -> None:
            nonlocal sequence
            file.write(frames.encode(sequence, kind, time_s, payload))
            sequence += 1

        file.write(frames.HEAD)
        put(frames.SETUP, 0.0, setup.as_json().encode())
        put(frames.EVENT, 0.0, frames.named("beside", b"air"))
        for turn in range(lines // len(DESCRIBED)):
            if turn % 1000 == 0:
                noise = random.normal(size=(1000, 3)).tolist()
            place_mm = 800 - 790 * math.cos(turn / 100 * math.pi / 900)
            level, floor, air = noise[turn % 1000]
            values = (30 * math.sin(place_mm / 200) + 0.5 * level, place_mm, 0.5 * floor, 20 + 0.02 * air)
            for at, (name, value) in enumerate(zip(DESCRIBED, values, strict=True), start=1):
                data = b"%+.3f\r\n" % value
                sent[name] += data
                put(frames.CHUNK, turn / 100 + at * 1e-3, frames.named(name, data))
        put(frames.END, lines / 400, b"\x01")
    for name, data in sent.items():
        path.with_name(f"{path.stem}-{name}").write_bytes(data)


def compared(lines: int, rounds: int) -> tuple[Beside, float]:
    """The row of the table, and the greatest memory of a conversion in MB."""
    most_mb = 0.0
    with tempfile.TemporaryDirectory(prefix="waylog-conversion-") as folder:
        kept, journal = Path(folder) / "kept.journal", Path(folder) / "001-front-level.journal"
        write_journal(kept, lines)

        def converted() -> float:
            nonlocal most_mb
            journal.with_suffix(".h5").unlink(missing_ok=True)
            shutil.copy(kept, journal)
            words = ["-m", "acquire.record.conversion", str(journal), str(journal.with_suffix(".h5"))]
            cpu_s, memory_mb = cpu_of_process(words)
            most_mb = max(most_mb, memory_mb)
            return cpu_s

        def floor() -> float:
            stem = str(kept.with_name(kept.stem))
            return cpu_of_process(["-c", FLOOR, str(kept), stem, str(Path(folder) / "floor.h5")])[0]

        row = beside(
            f"conversion of {lines / 1e6:g} million lines", converted, "numpy, crc, h5py", floor, rounds
        )
    return row, most_mb


def main() -> None:
    """Print the row, and what memory it took."""
    lines = int(float(sys.argv[1])) if len(sys.argv) > 1 else 2_000_000
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else 3
    row, most_mb = compared(lines, rounds)
    print(f"{HEAD}\n{row.row()}\ngreatest memory of a conversion: {most_mb:.0f} MB")


if __name__ == "__main__":
    main()
