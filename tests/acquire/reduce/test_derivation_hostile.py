"""Whatever bytes come at whatever times, derivation gives a traverse that can be kept."""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.traverse import Setup
from acquire.reduce import derive
from acquire.store.journal import Chunks, Event, JournalContents
from acquire.store.traverse_file.sense import faults

BED = """
[bed]
name = "invented bed of the tests"
length_mm = 800
station_pitch_mm = 100
[faces.front]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 0.5
lag_s = 0.3
[instruments.level.port]
url = "socket://level:1"
[instruments.level.wire]
kind = "lines"
pattern = '(?P<value>[-+]?\\d+\\.\\d+)'
[instruments.scale]
quantity = "position"
unit = "mm"
[instruments.scale.port]
url = "socket://scale:1"
[instruments.scale.wire]
kind = "lines"
pattern = '(?P<value>[-+]?\\d+\\.\\d+)'
"""
SETUP = Setup("level", "slope", BED, number=1, face="front")
POSITIONS = ("scale:scale", "stations", "feed:5")
MODES = ("", "stepped", "continuous")


def hostile_chunks(random: np.random.Generator) -> Chunks:
    """Lines with wild values, garbled ones, ties and leaps in time, chunks cut anywhere."""
    count = int(random.integers(0, 400))
    values = random.choice([0.0, 1e-9, 55.5, -700.0, 1e5, 9.9e37], count) + random.normal(0, 5, count)
    if random.random() < 0.5:
        values = np.full(count, random.uniform(0, 800))
    lines = [f"{v:+.3f}\r\n".encode() for v in values]
    for k in range(count):
        if random.random() < 0.05:
            lines[k] = random.integers(0, 256, int(random.integers(1, 30)), dtype=np.uint8).tobytes()
    steps = random.choice([0.0, 0.01, 0.05, 1.0, 30.0], count, p=[0.2, 0.3, 0.4, 0.08, 0.02])
    return Chunks.of(zip(np.cumsum(steps).tolist(), lines, strict=True))


@pytest.mark.parametrize("seed", range(120))
def test_hostile_bytes_and_times_end_in_a_traverse_that_can_be_kept(seed):
    random = np.random.default_rng(seed)
    setup = replace(
        SETUP,
        position=POSITIONS[seed % 3],
        mode_asked=MODES[seed // 3 % 3],
        direction=("forward", "reverse")[seed % 2],
    )
    marks = [Event(float(t), "mark", random.choice(["", "station 300", "station x", "station nan"])) for t in
             np.sort(random.uniform(0, 60, int(random.integers(0, 6))))]  # fmt: skip
    chunks = {"level": hostile_chunks(random), "scale": hostile_chunks(random)}
    traverse = derive(JournalContents(setup, chunks, marks, True))
    assert faults(traverse) == []
    assert {name: stream.raw for name, stream in traverse.streams.items()} == {
        name: chunk.raw for name, chunk in chunks.items()
        if name in traverse.streams
    }  # fmt: skip
    assert "level" in traverse.streams and "scale" in traverse.streams
    station_mm = traverse.stations.station_mm
    assert ((station_mm >= 0) & (station_mm <= 800)).all()
