"""Invented instruments: a task, the faults of a real one, and a way of saying it in bytes."""

from dataclasses import dataclass

import numpy as np

from acquire.simulated.disturbances import flicker, handling, lagged, quantised
from acquire.simulated.formats import Format, damaged
from acquire.simulated.motion import FINE_S, Motion
from acquire.simulated.physics import UM_PER_M_PER_MM_S2, Task
from acquire.simulated.truth import InventedBed


@dataclass(frozen=True)
class SimulatedInstrument:
    """One instrument at one job. Faults are in µm/m, µm or mm, like the perfect reading."""

    task: Task
    format: Format
    shown_per_unit: float = 1.0
    """What the display shows for 1 µm/m, µm or mm; negative where it reads the other way round."""
    resolution: float = 0.1
    """Of the display, in what it shows."""
    rate_hz: float = 20.0
    lag_s: float = 0.0
    white: float = 0.0
    """Root-mean-square noise of one sample."""
    flicker: float = 0.0
    """Root-mean-square of the slow wandering that no mean of a dwell removes."""
    drift_per_hour: float = 0.0
    zero: float = 0.0
    scale_error: float = 0.0
    seating_um: float = 0.0
    dirt_chance: float = 0.0
    """Chance that a placing stands on a chip of `dirt_um`."""
    dirt_um: float = 5.0
    in_the_hand: float = 0.0
    """Root-mean-square swing while it is being lifted."""
    limit: float = 20_000.0
    garbled_chance: float = 0.0
    latency_s: float = 0.0
    """How late each reading is sent."""
    baud: int = 0
    """Speed of its line, ten bits a byte; 0: no time on the line at all."""


@dataclass(frozen=True, eq=False)
class Sent:
    """All that one instrument sends in one traverse."""

    time_s: np.ndarray
    """When the last byte of each frame arrives."""
    frames: tuple[bytes, ...]
    shown: np.ndarray
    """What the display showed, before any garbling."""
    is_garbled: np.ndarray

    @property
    def data(self) -> bytes:
        """Everything in one piece."""
        return b"".join(self.frames)


def send(instrument: SimulatedInstrument, bed: InventedBed, motion: Motion, rng: np.random.Generator) -> Sent:
    """What the instrument sends while it is moved so."""
    fine = damped_reading(instrument, bed, motion, rng)
    time_s = np.arange(1, int(motion.seconds * instrument.rate_hz) + 1) / instrument.rate_hz
    reading = np.interp(time_s, motion.time_s, fine)
    reading += flicker(rng, len(time_s), 1 / instrument.rate_hz, instrument.flicker)
    reading += rng.normal(0.0, instrument.white, len(time_s))
    clipped = np.clip(reading, -instrument.limit, instrument.limit)
    shown = quantised(clipped * instrument.shown_per_unit, instrument.resolution)
    is_garbled = rng.uniform(size=len(time_s)) < instrument.garbled_chance
    frames = tuple(
        damaged(rng, instrument.format(value)) if bad else instrument.format(value)
        for value, bad in zip(shown.tolist(), is_garbled.tolist(), strict=True)
    )
    on_the_line_s = 10 * len(instrument.format(0.0)) / instrument.baud if instrument.baud else 0.0
    return Sent(time_s + instrument.latency_s + on_the_line_s, frames, shown, is_garbled)


def damped_reading(
    instrument: SimulatedInstrument, bed: InventedBed, motion: Motion, rng: np.random.Generator
) -> np.ndarray:
    """The reading on the fine time grid: truth, seat, hand, tilt and drift, behind its damping."""
    perfect = instrument.task.reading(bed, motion.station_mm) * (1 + instrument.scale_error)
    placings = int(motion.placing[-1]) + 1
    seats = instrument.task.seating(bed, rng, placings, instrument.seating_um)
    chips = instrument.task.seating(bed, rng, placings, instrument.dirt_um)
    seats = seats + np.where(rng.uniform(size=placings) < instrument.dirt_chance, chips, 0.0)
    drift = instrument.zero + instrument.drift_per_hour * motion.time_s / 3600
    swing = handling(rng, motion.is_handled, FINE_S, instrument.in_the_hand)
    tilt = UM_PER_M_PER_MM_S2 * motion.acceleration_mm_s2 if instrument.task.feels_acceleration else 0.0
    return lagged(perfect + seats[motion.placing] + drift + swing + tilt, FINE_S, instrument.lag_s)


def read_by_eye(
    instrument: SimulatedInstrument, bed: InventedBed, station_mm: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """One reading at each station, taken when it has come to rest, as a person writes it down."""
    perfect = instrument.task.reading(bed, station_mm) * (1 + instrument.scale_error)
    seats = instrument.task.seating(bed, rng, len(station_mm), instrument.seating_um)
    noise = rng.normal(0.0, instrument.white, len(station_mm))
    shown = (perfect + instrument.zero + seats + noise) * instrument.shown_per_unit
    return quantised(shown, instrument.resolution)
