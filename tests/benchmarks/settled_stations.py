"""Settled stations on simulated move, stop, read streams: missed, false, error, coverage.

Run: python tests/benchmarks/settled_stations.py [streams]

The level is a first-order lag (0.3 to 2 s) driven by the slope of an invented way and by
the carriage's acceleration; its noise is white (1 µm/m a sample at 20 Hz) and 1/f
(0.5 µm/m over the traverse).  A third of the stops are reached with a nudge.  The push
that starts each move tilts the level before the position shows it.  Simulation only: oil
film, chatter and the pull of a hand are not in these figures.
"""

import sys
from dataclasses import dataclass
from itertools import accumulate

import numpy as np

from acquire.reduce.tagging.dwells import Dwell, dwells_by_position, worth_keeping
from acquire.reduce.tagging.settled import settled_stations

RATE_HZ = 20.0
G = 9.80665


@dataclass(frozen=True, eq=False)
class Stream:
    """One simulated traverse and its truth."""

    time_s: np.ndarray
    position_mm: np.ndarray
    reading: np.ndarray
    station_mm: np.ndarray
    slope_um_per_m: np.ndarray
    floor: float
    """Scatter of dwell-length means in ten minutes of still record, as the bench measures it."""


def pink(random: np.random.Generator, count: int, deviation: float) -> np.ndarray:
    """1/f noise of this standard deviation over the whole record."""
    spectrum = np.fft.rfft(random.normal(size=count))
    frequency = np.arange(len(spectrum), dtype=float)
    frequency[0] = np.inf
    noise = np.fft.irfft(spectrum / np.sqrt(frequency), count)
    return deviation * noise / noise.std()


def _moved(start_mm: float, end_mm: float, seconds: float, dt: float) -> np.ndarray:
    s = np.arange(dt, seconds, dt) / seconds
    return start_mm + (end_mm - start_mm) * (10 * s**3 - 15 * s**4 + 6 * s**5)


def _track(random: np.random.Generator, station_mm: np.ndarray, dt: float) -> np.ndarray:
    parts, here = [], float(station_mm[0])
    for index, station in enumerate(station_mm):
        aim = float(station + random.uniform(-0.3, 0.3))
        stops = [aim]
        if index and random.random() < 1 / 3:
            stops = [aim + random.uniform(0.5, 3.5) * random.choice([-1, 1]), aim]
        for stop in stops:
            if stop != here:
                quickness = random.uniform(40, 150) if abs(stop - here) > 10 else 8.0
                parts.append(_moved(here, stop, max(0.3, abs(stop - here) / quickness * 1.9), dt))
            pause = random.uniform(6, 14) if stop == stops[-1] else random.uniform(0.3, 4.0)
            parts.append(np.full(int(pause / dt), stop))
            here = stop
    return np.concatenate(parts)


def simulated_stream(seed: int, stations: int = 15) -> Stream:
    """One traverse of `stations` stops 100 mm apart."""
    random = np.random.default_rng(seed)
    dt = 0.005
    station_mm = 100.0 + 100.0 * np.arange(stations)
    x = _track(random, station_mm, dt)
    bend = random.uniform(20, 80), random.uniform(400, 1200), random.uniform(0, 6)

    def slope(at_mm: np.ndarray) -> np.ndarray:
        return 60.0 + bend[0] * np.sin(2 * np.pi * at_mm / bend[1] + bend[2])

    driven = slope(x) + 1e6 / G * 1e-3 * np.gradient(np.gradient(x, dt), dt)
    moving = np.abs(np.gradient(x, dt)) > 1.0
    push = np.convolve(moving.astype(float), np.concatenate([np.ones(41), np.zeros(40)]), "same") > 0
    driven += np.where(push & ~moving, 25.0, 0.0)
    constant = random.uniform(0.3, 2.0)
    decay = np.exp(-dt / constant)
    start = driven[0] + random.uniform(-150, 150)
    lagging = accumulate(driven, lambda level, now: decay * level + (1 - decay) * now, initial=start)
    level = np.array(list(lagging))[1:]
    step = round(1 / RATE_HZ / dt)
    t, position, level = np.arange(len(x))[::step] * dt, x[::step], level[::step]
    still = random.normal(size=int(600 * RATE_HZ)) + pink(random, int(600 * RATE_HZ), 0.5)
    length = int(5 * RATE_HZ)
    floor = float(np.std(still[: len(still) // length * length].reshape(-1, length).mean(axis=1), ddof=1))
    return Stream(
        t,
        np.round((position + random.normal(0, 0.002, len(t))) / 0.001) * 0.001,
        level + random.normal(size=len(t)) + pink(random, len(t), 0.5),
        station_mm,
        slope(station_mm),
        floor,
    )


@dataclass(frozen=True)
class Score:
    """What came of some streams."""

    stations: int
    missed: int
    false: int
    rms: float
    coverage: float
    plain_mean_rms: float


def score(seeds: range) -> Score:
    """Evaluate the streams of these seeds."""
    errors, uncertainties, plain, missed, false, total = [], [], [], 0, 0, 0
    for seed in seeds:
        stream = simulated_stream(seed)
        dwells = worth_keeping(dwells_by_position(stream.time_s, stream.position_mm))
        found = settled_stations(stream.time_s, stream.reading, dwells, floor=stream.floor).stations
        nearest = [int(np.argmin(np.abs(stream.station_mm - s.dwell.position_mm))) for s in found]
        missed += len(stream.station_mm) - len(set(nearest))
        false += len(nearest) - len(set(nearest))
        total += len(stream.station_mm)
        for index, station in zip(nearest, found, strict=True):
            errors.append(station.reading - stream.slope_um_per_m[index])
            uncertainties.append(np.hypot(station.scatter, stream.floor))
            plain.append(_plain_mean(stream, station.dwell) - stream.slope_um_per_m[index])
    error, u = np.array(errors), np.array(uncertainties)
    return Score(
        total,
        missed,
        false,
        float(np.sqrt(np.mean(error**2))),
        float(np.mean(np.abs(error) <= 2 * u)),
        float(np.sqrt(np.mean(np.square(plain)))),
    )


def _plain_mean(stream: Stream, dwell: Dwell) -> float:
    inside = (stream.time_s >= dwell.start_s) & (stream.time_s <= dwell.end_s)
    return float(stream.reading[inside].mean())


def main() -> None:
    """Print the table."""
    streams = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    result = score(range(streams))
    wrong = (result.missed + result.false) / result.stations
    print(f"{streams} simulated streams, {result.stations} stations")
    print(f"missed {result.missed}, false {result.false}: {100 * wrong:.2f} % (wanted: at most 0.5 %)")
    print(f"rms error {result.rms:.3f} µm/m (wanted: at most 0.65)")
    print(f"inside two standard uncertainties {result.coverage:.3f} (wanted: 0.930 to 0.995)")
    print(f"the plain mean of each dwell instead: rms error {result.plain_mean_rms:.1f} µm/m")


if __name__ == "__main__":
    main()
