"""Whatever bytes come at whatever times, derivation gives a traverse that can be kept."""

from dataclasses import replace

import numpy as np
import pytest

from acquire.model.recorded import Event
from acquire.model.traverse import Setup
from acquire.reduce import derive
from acquire.store.journal import Chunks, JournalContents
from acquire.store.traverse_file.sense import faults
from tests.invented import NUMBER, bed_toml, level, scale, speaks

BED = bed_toml(
    800,
    instruments={
        "level": level(0.5, lag_s=0.3, **speaks("socket://level:1", NUMBER)),
        "scale": scale(**speaks("socket://scale:1", NUMBER)),
    },
)
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


@pytest.mark.parametrize(
    "seed", [pytest.param(seed, marks=() if seed < 9 else pytest.mark.statistics) for seed in range(120)]
)
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


def test_sensor_that_sends_noise_makes_one_event_for_each_kind_of_trouble(survey, level_setup):
    """Every wild value was an event of its own: 30,857 of them."""
    random = np.random.default_rng(16)
    lines = [b"%+.1f" % value for value in random.uniform(-1e12, 1e12, 4000)]
    lines += [bytes(random.integers(33, 126, 8).astype(np.uint8)) for _ in range(2000)]
    chunks = [(0.01 * k, line + b"\r\n") for k, line in enumerate(lines)]
    setup = replace(level_setup, position="stations")
    traverse = derive(JournalContents(setup, {"level": Chunks.of(chunks)}, [], True))
    told = [text for kind, text in zip(traverse.events.kind, traverse.events.text, strict=True)
            if kind == "garbled"]  # fmt: skip
    assert len(traverse.events) < 10 and 2 <= len(told) <= 4
    wild = next(text for text in told if "more than any slope" in text)
    first = float(lines[0])
    assert f"4000 from 0.0 to 40.0 s (the first: {first:g}; from " in wild
    numbers = [float(line) for line in lines[:4000]]
    assert wild.endswith(f"; from {min(numbers):g} to {max(numbers):g})")
    assert any("does not match the pattern" in text and "(the first: '" in text for text in told)


def test_position_that_stops_often_is_told_once(survey, level_setup):
    scale = "[instruments.scale.wire]\nkind = \"lines\"\npattern = '(?P<value>.*)'\n"
    setup = replace(level_setup, bed_toml=level_setup.bed_toml + scale, position="scale:scale")
    times = np.arange(0, 600, 0.1)
    level = Chunks.of((t, b"%+.1f\r\n" % (k % 7)) for k, t in enumerate(times))
    places = Chunks.of((t, b"%.1f\r\n" % t) for t in times if t % 10 < 5)
    traverse = derive(JournalContents(setup, {"level": level, "scale": places}, [], True))
    told = [text for kind, text in zip(traverse.events.kind, traverse.events.text, strict=True)
            if kind == "no_position"]  # fmt: skip
    assert len(told) <= 3
    assert "stopped 59 times between 4.9 and 584.9 s" in told[0]


@pytest.mark.statistics
@pytest.mark.parametrize("past_mm", [0.5, 1.9, 5.0])
def test_run_a_little_past_the_end_of_the_bed_can_be_kept(survey, level_setup, past_mm):
    """A scale's zero may be out by so much: what derivation keeps, the file must take."""
    instruments = "[instruments.dial]\nquantity = 'offset'\nunit = 'um'\nstandard_uncertainty = 1\n"
    wire = "wire = { kind = 'lines', pattern = '(?P<value>.*)' }\n"
    text = level_setup.bed_toml + wire + instruments + wire
    setup = Setup("dial", "offset", text, face="front-vee", reference="line", position="scale:scale")
    times = np.arange(0, 60, 0.05)
    places = -past_mm + times / times[-1] * (1000 + 2 * past_mm)
    dial = Chunks.of((t, b"%+.1f\r\n" % (k % 7)) for k, t in enumerate(times))
    scale = Chunks.of((t, b"%.3f\r\n" % x) for t, x in zip(times, places, strict=True))
    traverse = derive(JournalContents(setup, {"dial": dial, "scale": scale}, [], True))
    assert faults(traverse) == [] and len(traverse.stations) > 990
