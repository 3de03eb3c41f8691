"""Cases of `coverage.py` whose way and noise nobody invented.

The ways are profiles of real ground: rows of the digital elevation model of the Jacksboro
fault, Tennessee, about 90 m between points, that matplotlib carries among its sample data
(jacksboro_fault_dem.npz), shrunk to the bed and to some tens of micrometres. The noise is a
real recording: the four channels of the electroencephalogram that matplotlib carries there
too (eeg.dat, 800 samples each), each brought to mean 0 and standard deviation 1.
"""

from dataclasses import replace
from functools import cache

import numpy as np
from coverage_bench import Bench
from matplotlib import cbook

APART = 37
"""Samples between two stations: the recording is alike within some ten."""


@cache
def ground() -> np.ndarray:
    """Heights of real ground in m, a profile a row."""
    with cbook.get_sample_data("jacksboro_fault_dem.npz") as kept:
        return np.asarray(kept["elevation"], float)


@cache
def recorded() -> np.ndarray:
    """A real recording, shape (channels, samples), each channel of mean 0 and standard deviation 1."""
    with cbook.get_sample_data("eeg.dat") as kept:
        channels = np.frombuffer(kept.read(), float).reshape(-1, 4).T
    return (channels - channels.mean(axis=1, keepdims=True)) / channels.std(axis=1, keepdims=True)


def _on_real_ground(bench: Bench) -> None:
    """Both ways are profiles of real ground, 3 to 60 µm from lowest to highest."""
    for face in ("front", "rear"):
        row = ground()[bench.rng.integers(len(ground()))]
        count = int(bench.rng.integers(100, len(row)))
        first = int(bench.rng.integers(len(row) - count + 1))
        profile = row[first : first + count]
        profile = profile * bench.rng.uniform(3, 60) / max(float(np.ptp(profile)), 1.0)
        grid = np.linspace(0.0, bench.bed.length_mm, count)
        bench.heights[face] = lambda x, at=grid, h=profile: np.interp(x, at, h)


def _recorded_noise(bench: Bench, count: int, every: int) -> np.ndarray:
    """So many samples of a real recording from anywhere in it, `every` samples apart."""
    channel = recorded()[bench.rng.integers(len(recorded()))]
    first = bench.rng.integers(len(channel))
    return channel[(first + every * np.arange(count)) % len(channel)]


def real_stepped(bench: Bench) -> None:
    """Profiles of real ground, a real recording as noise; levels there and back, cross level."""
    _on_real_ground(bench)
    for face in ("front", "rear"):
        for direction in ("forward", "reverse"):
            bench.step(face, noise=0.0, direction=direction)
    bench.across("front", "rear", noise=0.0)
    bench.runs = [
        replace(run, stations=replace(run.stations, reading=run.stations.reading + noise))
        for run in bench.runs
        for noise in [_recorded_noise(bench, len(run.stations), every=APART)]
    ]


def real_drawn(bench: Bench) -> None:
    """A profile of real ground; a level drawn there and back with a real recording as noise."""
    _on_real_ground(bench)
    for _ in range(2):
        x = np.linspace(50.0, bench.bed.length_mm - 50.0, 551)
        slope = (bench.heights["front"](x + 50) - bench.heights["front"](x - 50)) / 100 * 1000
        noise = _recorded_noise(bench, len(x), every=1)
        bench.add("level", x, slope + noise + bench.zero(), face="front", mode="continuous")
