"""Invented noise, an invented bed, and ports whose bytes and times are scripted."""

from collections import deque

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import PortError
from acquire.model.recorded import Chunk
from tests.invented import SIGNED, bed_toml, dial, flat, level, speaks

BED = bed_toml(
    600,
    faces={"front": flat(0, "front"), "rear": flat(300, "rear")},
    instruments={
        "level": level(**speaks("{level}", SIGNED)),
        "dial": dial(0.05, unit="thou", sign=-1, resolution=0.01, **speaks("{dial}", f"D{SIGNED}")),
        "hand-level": level(0.5),
    },
).replace("standard_uncertainty = 1.0\n", "standard_uncertainty = 1.0       # typical\n", 1)


@pytest.fixture
def bed_text():
    return BED


@pytest.fixture
def bed():
    return parse_bed(BED.format(level="socket://level:1", dial="socket://dial:1"))


def flicker(rng, count, size):
    """1/f noise: white noise shaped in the frequency domain, `size` its standard deviation."""
    shape = np.fft.rfftfreq(count)
    shape[0] = np.inf
    made = np.fft.irfft(np.fft.rfft(rng.normal(size=count)) / np.sqrt(shape), count)
    return size * made / made.std()


@pytest.fixture
def pink():
    return flicker


class Script:
    """Stands in for the port reader and the clock: a look that finds nothing moves time on.

    Items are (time, port, bytes) in order of time.  Ports in `missing` cannot be opened.
    """

    def __init__(self, items):
        self.waiting = {}
        self.now = 0.0
        self.opened, self.missing = [], set()
        self.add(items)

    def add(self, items):
        for item in sorted(items, key=lambda item: item[0]):
            self.waiting.setdefault(item[1], deque()).append(item)

    def clock(self):
        return self.now

    def __call__(self, specs, clock, requests=None):
        return _ScriptedReader(self, next(iter(specs)))


class _ScriptedReader:
    def __init__(self, script, port):
        self.script, self.port = script, port

    def __enter__(self):
        if self.port in self.script.missing:
            raise PortError(self.port, "is not there")
        self.script.opened.append(self.port)
        return self

    def __exit__(self, *_):
        self.script.opened.remove(self.port)

    def get(self, timeout=None):
        waiting = self.script.waiting.get(self.port)
        if waiting and waiting[0][0] <= self.script.now:
            time_s, port, data = waiting.popleft()
            return Chunk(port, time_s, data)
        if timeout:
            heads = [each[0][0] for each in self.script.waiting.values() if each]
            soonest = max(self.script.now + 0.001, min(heads, default=np.inf))
            self.script.now = min(soonest, self.script.now + timeout)
        return None


@pytest.fixture
def script():
    return Script
