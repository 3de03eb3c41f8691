"""Invented instruments: a task, the faults of a real one, and a way of saying it in bytes.

The shapes of their lines are everyday ones; each is written here from nothing, so that what reads
them back is tested against something that it does not share.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from acquire.simulated.motion import FINE_S, Motion
from acquire.simulated.physics import UM_PER_M_PER_MM_S2, Task
from acquire.simulated.truth import InventedBed

Format = Callable[[float], bytes]
"""From a reading, as the display shows it, to what goes over the line."""
LIMIT = 20_000.0
"""No display shows more, swing as it may in the hand."""


def fixed_line(decimals: int = 1, digits: int = 7, end: bytes = b"\r\n") -> Format:
    """Sign, leading zeros, fixed width: `+00012.5`.

    Examples
    --------
    >>> fixed_line(1, 7)(12.46)
    b'+00012.5\\r\\n'
    """
    return lambda value: f"{value:+0{digits + 1}.{decimals}f}".encode() + end


def labelled_line(label: str, unit: str, decimals: int = 2, digits: int = 8) -> Format:
    """A letter for the channel, the number, its unit: `B -00012.46 arcsec`."""
    number = fixed_line(decimals, digits, b"")
    return lambda value: label.encode() + b" " + number(value) + b" " + unit.encode() + b"\r\n"


def comma_line(decimals: int = 3, digits: int = 7) -> Format:
    """The decimal comma: `+000,012`.

    Examples
    --------
    >>> comma_line(3, 7)(-0.0124)
    b'-000,012\\r'
    """
    number = fixed_line(decimals, digits, b"\r")
    return lambda value: number(value).replace(b".", b",")


def damaged(rng: np.random.Generator, frame: bytes) -> bytes:
    """A frame as a bad cable leaves it: a byte lost, cut short, or turned into another.

    The turned byte has its second-highest bit flipped, so that a digit never turns
    into another digit: that no reader of a line without checksum could tell.
    """
    at = int(rng.integers(0, max(1, len(frame) - 2)))
    kind = int(rng.integers(0, 3))
    if kind == 0:
        return frame[:at] + frame[at + 1 :]
    if kind == 1:
        return frame[: max(1, at)]
    return frame[:at] + bytes([frame[at] ^ 0x40]) + frame[at + 1 :]


def lagged(value: np.ndarray, step_s: float, lag_s: float) -> np.ndarray:
    """First-order damping: the reading runs after the truth with time constant `lag_s`.

    The truth is taken as straight between two samples, for which the recursion is exact.

    Examples
    --------
    >>> step = np.r_[0.0, np.ones(300)]
    >>> bool(abs(lagged(step, 0.01, 1.0)[101] - (1 - np.exp(-1))) < 0.005)
    True
    """
    if lag_s <= 0:
        return value.copy()
    keep = float(np.exp(-step_s / lag_s))
    ramp = lag_s / step_s * (1 - keep)
    old, new = (ramp - keep), (1 - ramp)
    taken = old * value[:-1] + new * value[1:]
    result = np.empty(len(value))
    result[0] = last = float(value[0])
    for index, more in enumerate(taken.tolist(), start=1):
        last = keep * last + more
        result[index] = last
    return result


def flicker(rng: np.random.Generator, count: int, step_s: float, rms: float) -> np.ndarray:
    """Noise whose power falls as 1/frequency: equal parts of octave-spaced wanderings.

    Time constants run from 0.5 s to some ten minutes; no mean of a dwell averages it away.
    """
    if rms == 0 or count == 0:
        return np.zeros(count)
    constants_s = 0.5 * 2.0 ** np.arange(11)
    each = rms / np.sqrt(len(constants_s))
    return np.sum([_wandering(rng, count, step_s / constant, each) for constant in constants_s], axis=0)


def _wandering(rng: np.random.Generator, count: int, steps: float, rms: float) -> np.ndarray:
    keep = float(np.exp(-steps))
    kicks = rng.normal(0.0, rms * np.sqrt(1 - keep**2), count)
    kicks[0] = rng.normal(0.0, rms)
    last, result = 0.0, np.empty(count)
    for index, kick in enumerate(kicks.tolist()):
        last = keep * last + kick
        result[index] = last
    return result


def quantised(value: np.ndarray, step: float) -> np.ndarray:
    """Rounded to what the display can show.

    Examples
    --------
    >>> quantised(np.array([0.26, -0.24]), 0.5)
    array([ 0.5, -0. ])
    """
    return np.round(value / step) * step if step > 0 else value


def handling(rng: np.random.Generator, is_handled: np.ndarray, rms: float) -> np.ndarray:
    """The swings of an instrument in the hand, none while it stands."""
    if rms == 0 or not is_handled.any():
        return np.zeros(len(is_handled))
    return np.where(is_handled, _wandering(rng, len(is_handled), FINE_S / 0.15, rms), 0.0)


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
    seating_um: float = 0.0
    in_the_hand: float = 0.0
    """Root-mean-square swing while it is being lifted."""
    garbled_chance: float = 0.0
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
    clipped = np.clip(reading, -LIMIT, LIMIT)
    shown = quantised(clipped * instrument.shown_per_unit, instrument.resolution)
    is_garbled = rng.uniform(size=len(time_s)) < instrument.garbled_chance
    frames = tuple(
        damaged(rng, instrument.format(value)) if bad else instrument.format(value)
        for value, bad in zip(shown.tolist(), is_garbled.tolist(), strict=True)
    )
    on_the_line_s = 10 * len(instrument.format(0.0)) / instrument.baud if instrument.baud else 0.0
    return Sent(time_s + on_the_line_s, frames, shown, is_garbled)


def damped_reading(
    instrument: SimulatedInstrument, bed: InventedBed, motion: Motion, rng: np.random.Generator
) -> np.ndarray:
    """The reading on the fine time grid: truth, seat, hand, tilt and drift, behind its damping."""
    perfect = instrument.task.reading(bed, motion.station_mm)
    placings = int(motion.placing[-1]) + 1
    seats = instrument.task.seating(bed, rng, placings, instrument.seating_um)
    drift = instrument.zero + instrument.drift_per_hour * motion.time_s / 3600
    swing = handling(rng, motion.is_handled, instrument.in_the_hand)
    tilt = UM_PER_M_PER_MM_S2 * motion.acceleration_mm_s2 if instrument.task.feels_acceleration else 0.0
    return lagged(perfect + seats[motion.placing] + drift + swing + tilt, FINE_S, instrument.lag_s)


def read_by_eye(
    instrument: SimulatedInstrument, bed: InventedBed, station_mm: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """One reading at each station, taken when it has come to rest, as a person writes it down."""
    perfect = instrument.task.reading(bed, station_mm)
    seats = instrument.task.seating(bed, rng, len(station_mm), instrument.seating_um)
    noise = rng.normal(0.0, instrument.white, len(station_mm))
    shown = (perfect + instrument.zero + seats + noise) * instrument.shown_per_unit
    return quantised(shown, instrument.resolution)
