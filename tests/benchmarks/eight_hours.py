"""A long recording at speed: python tests/benchmarks/eight_hours.py [HOURS] [LINES_PER_SECOND].

Four invented instruments of a hundred lines a second each, every line a chunk of its own, go
through the recorder into the journal and from there into the traverse file, on a stepped clock.
Shown: the recorder's memory hour by hour (flat), the sizes of both files against what the
formats predict, that all times rise, and what time and memory the conversion takes.
Nothing is synced meanwhile: that costs time, not memory, and no power fails here.
The short form is tests/acquire/record/test_long_recordings.py.
"""

import math
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.record.conversion import Converted, convert
from acquire.record.recorder import Recorder, Recording
from acquire.store import read_traverse

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests import invented

DESCRIBED = {
    "level": invented.level(0.5),
    "scale": invented.scale(),
    "floor": invented.level(0.5),
    "air": {"quantity": "temperature", "unit": "degC"},
}
FRAME_BYTES = 24
"""Of a chunk in the journal beside the name of its port and its bytes."""
PASS_S = 900.0


def bed_toml() -> str:
    """The description of the four instruments."""
    instruments = {name: each | invented.speaks(f"/dev/invented-{name}") for name, each in DESCRIBED.items()}
    return invented.bed_toml(
        1600, 50, faces={"front": invented.flat(0), "rear": invented.flat(300)}, instruments=instruments
    )


@dataclass
class Streams:
    """A reader of invented streams; its clock is that of what it has given."""

    hours: float
    rate_hz: float
    look: Callable[[float], None] = lambda now_s: None
    look_every_s: float = 3600.0
    now_s: float = 0.0
    stop: Callable[[], None] = lambda: None
    sent: dict[str, int] = field(default_factory=lambda: dict.fromkeys(DESCRIBED, 0))
    lines: int = 0

    def __call__(self, specs: object, clock: object, requests: object = None) -> "Streams":
        """Stands in the place of the class that opens ports."""
        self._items = self._all()
        return self

    def __enter__(self) -> "Streams":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Nothing was opened."""

    def get(self, timeout: float | None = None) -> Chunk | Event | None:
        """The next line of the next instrument; at the end the recorder is told to stop."""
        item = next(self._items, None)
        if item is None:
            self.stop()
        return item

    def _all(self) -> Iterator[Chunk | Event]:
        yield from (Event(0.0, "opened", f"{name}: invented") for name in DESCRIBED)
        random = np.random.default_rng(8)
        for turn in range(round(self.hours * 3600 * self.rate_hz)):
            self.now_s = turn / self.rate_hz
            if turn % 1000 == 0:
                noise = random.normal(size=(1000, 3))
            if self.now_s % self.look_every_s == 0:
                self.look(self.now_s)
            place_mm = 800 - 790 * math.cos(self.now_s * math.pi / PASS_S)
            level, floor, air = noise[turn % 1000].tolist()
            values = (30 * math.sin(place_mm / 200) + 0.5 * level, place_mm, 0.5 * floor, 20 + 0.02 * air)
            for at, (name, value) in enumerate(zip(DESCRIBED, values, strict=True), start=1):
                data = b"%+.3f\r\n" % value
                self.sent[name] += len(data)
                self.lines += 1
                yield Chunk(name, self.now_s + at * 1e-3, data)

    def journal_bytes(self) -> int:
        """What the chunks take in the journal."""
        names = sum(len(name) for name in DESCRIBED) * self.lines // len(DESCRIBED)
        return FRAME_BYTES * self.lines + names + sum(self.sent.values())


def record(folder: Path, streams: Streams, converter: Callable[[Path, Path], Converted]) -> Recording:
    """One recording of all four, from the ports to the traverse file."""
    (folder / "traverses").mkdir(parents=True, exist_ok=True)
    (folder / "bed.toml").write_text(bed_toml(), encoding="utf-8")
    setup = Setup("level", "slope", bed_toml(), face="front", position="scale:scale", standing="floor")
    made = Recorder(
        folder,
        setup,
        beside=[setup.bed.instruments["air"]],
        clock=lambda: streams.now_s,
        make_reader=streams,
        converter=converter,
        floor_bytes=0,
    )
    streams.stop = made.stop
    return made.run()


def resident_mb() -> float:
    """Memory of this process now."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def main() -> int:
    """Record, convert, and say what it took."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 8.0
    rate_hz = float(sys.argv[2]) if len(sys.argv) > 2 else 100.0
    os.fsync = lambda handle: None  # type: ignore[assignment]
    memory: list[float] = []
    began_s = time.monotonic()

    def look(now_s: float) -> None:
        memory.append(resident_mb())
        words = f"recorder holds {memory[-1]:.0f} MB, {time.monotonic() - began_s:.0f} s"
        print(f"hour {now_s / 3600:g}: {words}", flush=True)

    def timed(journal: Path, h5_path: Path) -> Converted:
        memory.append(resident_mb())
        size = journal.stat().st_size
        print(
            f"journal {size / 1e6:.1f} MB; predicted {streams.journal_bytes() / 1e6:.1f} MB and its setup; "
            f"recorder holds {memory[-1]:.0f} MB, {time.monotonic() - began_s:.0f} s"
        )
        from_s = time.monotonic()
        converted = convert(journal, h5_path)
        most_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e3
        print(f"conversion took {time.monotonic() - from_s:.0f} s and at most {most_mb:.0f} MB")
        return converted

    streams = Streams(hours, rate_hz, look)
    with tempfile.TemporaryDirectory(prefix="waylog-hours-") as folder:
        recording = record(Path(folder), streams, timed)
        size = recording.path.stat().st_size
        kept = sum(streams.sent.values())
        print(f"traverse file {size / 1e6:.1f} MB: {size / kept:.2f} of the {kept / 1e6:.1f} MB sent")
        traverse = read_traverse(recording.path, raw=False)
        rises = {name: bool((np.diff(s.time_s) >= 0).all()) for name, s in traverse.streams.items()}
        counts = {name: len(stream.value) for name, stream in traverse.streams.items()}
        print(f"lines {streams.lines}, readings {counts}, stations {len(traverse.stations)}")
        print(f"times rise: {rises}; recorder's memory grew by {max(memory) - memory[0]:.1f} MB")
    return int(not all(rises.values()) or sum(counts.values()) != streams.lines)


if __name__ == "__main__":
    raise SystemExit(main())
