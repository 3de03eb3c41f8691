"""Journals damaged in every way that a power cut can, and a conversion killed; then mended.

The journal is of five stops, a hundred apart in place and value; no value comes twice, so that
a wrong one is known.  All values are invented.
"""

import random
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from fault_bench import (
    PAGE,
    STOP_MM,
    STOPS,
    bed_of,
    digests,
    kept_and_wrong,
    speak,
    stepped_journal,
)

from acquire.record.conversion import convert_here
from acquire.record.mending import EMPTY, IN_USE, LEFT, mend
from acquire.reduce import derive
from acquire.store import read_traverse
from acquire.store.journal import frames, read_journal


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
    command = [sys.executable, "-P", "-m", "acquire.record.conversion", str(spoiled.journal), str(h5_path)]
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
