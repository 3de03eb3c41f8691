"""How an invented operator moves an instrument along the bed, as a script of plain steps."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

FINE_S = 0.01
"""Step of the fine time grid on which motion and damping are worked out."""
STILL_S = 3.0
"""Stood still before and after a feed."""
WAVER, WAVER_HZ = 0.005, 0.3
"""How far the speed of a feed wavers, relative to it, and how often."""
MOVE_MM_S = 70.0
"""From station to station, by hand."""
PLACING_MM = 0.3
"""Scatter of setting down by hand."""


@dataclass(frozen=True)
class Hold:
    """Stand still, hands off."""

    seconds: float


@dataclass(frozen=True)
class Move:
    """Take it up (or slide it) and set it down at a station: a new placing."""

    to_mm: float
    seconds: float


@dataclass(frozen=True)
class Feed:
    """Slide it along at a constant feed whose speed wavers a little; the seat is kept."""

    to_mm: float
    mm_per_s: float


@dataclass(frozen=True)
class Mark:
    """The operator presses a key (Enter, say)."""

    text: str = ""


Step = Hold | Move | Feed | Mark


@dataclass(frozen=True, eq=False)
class Motion:
    """Where the instrument was, on the fine time grid."""

    time_s: np.ndarray
    station_mm: np.ndarray
    acceleration_mm_s2: np.ndarray
    placing: np.ndarray
    """0, 1, 2, ...: which setting-down each instant belongs to."""
    is_handled: np.ndarray
    """Whether a hand is lifting it just then."""
    marks: tuple[tuple[float, str], ...] = ()

    @property
    def seconds(self) -> float:
        """How long it all takes."""
        return float(self.time_s[-1])


def motion_of(start_mm: float, steps: Iterable[Step]) -> Motion:
    """Work out a script.

    Examples
    --------
    >>> motion = motion_of(100, [Hold(2), Move(300, seconds=3), Hold(2)])
    >>> round(motion.seconds, 2), float(motion.station_mm[-1]), int(motion.placing[-1])
    (7.0, 300.0, 1)
    """
    pieces: list[np.ndarray] = [np.array([float(start_mm)])]
    handled: list[np.ndarray] = [np.array([False])]
    placing: list[np.ndarray] = [np.array([0])]
    marks: list[tuple[float, str]] = []
    samples, placings = 1, 0
    for step in steps:
        if isinstance(step, Mark):
            marks.append(((samples - 1) * FINE_S, step.text))
            continue
        piece = _stations(float(pieces[-1][-1]), step)
        is_move = isinstance(step, Move)
        placings += is_move
        pieces.append(piece)
        handled.append(np.full(len(piece), is_move))
        placing.append(np.full(len(piece), placings))
        samples += len(piece)
    station_mm = np.concatenate(pieces)
    return Motion(
        time_s=np.arange(samples) * FINE_S,
        station_mm=station_mm,
        acceleration_mm_s2=np.gradient(np.gradient(station_mm, FINE_S), FINE_S),
        placing=np.concatenate(placing),
        is_handled=np.concatenate(handled),
        marks=tuple(marks),
    )


def _stations(from_mm: float, step: Hold | Move | Feed) -> np.ndarray:
    if isinstance(step, Hold):
        return np.full(_samples(step.seconds), from_mm)
    if isinstance(step, Move):
        part = np.arange(1, _samples(step.seconds) + 1) / _samples(step.seconds)
        return from_mm + (step.to_mm - from_mm) * part**3 * (10 - 15 * part + 6 * part**2)
    return _fed(from_mm, step)


def _fed(from_mm: float, step: Feed) -> np.ndarray:
    """Constant feed, half a second of starting and stopping, and the wavering of its speed."""
    distance = step.to_mm - from_mm
    ramp = 0.5
    seconds = abs(distance) / step.mm_per_s + ramp
    time = np.arange(1, _samples(seconds) + 1) * FINE_S
    speed = np.clip(np.minimum(time / ramp, (seconds - time) / ramp), 0, 1)
    speed = speed * (1 + WAVER * np.sin(2 * np.pi * WAVER_HZ * time))
    return from_mm + distance * np.cumsum(speed) / speed.sum()


def _samples(seconds: float) -> int:
    return max(1, round(seconds / FINE_S))


def stepped(
    stations_mm: Sequence[float],
    rng: np.random.Generator,
    dwell_s: tuple[float, float] = (5.5, 7.0),
    nudge_chance: float = 0.2,
    is_marked: bool = False,
) -> tuple[float, list[Step]]:
    """Station by station by hand: set down a little off, now and then nudged, and left to settle.

    Where `is_marked`, the operator presses a key near the end of each stay.

    Returns
    -------
    tuple
        Where it begins, and the steps.
    """
    start_mm = float(stations_mm[0] + rng.normal(0, PLACING_MM))
    steps: list[Step] = _stay(float(rng.uniform(*dwell_s)), is_marked)
    at_mm = start_mm
    for station_mm in stations_mm[1:]:
        target = float(station_mm + rng.normal(0, PLACING_MM))
        if rng.uniform() < nudge_chance:
            short = target + float(rng.choice([-1, 1]) * rng.uniform(1.0, 3.0))
            steps += [_move(at_mm, short), Hold(2.6), Move(target, 0.5)]
        else:
            steps.append(_move(at_mm, target))
        at_mm = target
        steps += _stay(float(rng.uniform(*dwell_s)), is_marked)
    return start_mm, steps


def _stay(seconds: float, is_marked: bool) -> list[Step]:
    return [Hold(seconds - 0.6), Mark(), Hold(0.6)] if is_marked else [Hold(seconds)]


def _move(from_mm: float, to_mm: float) -> Move:
    return Move(to_mm, 1.0 + abs(to_mm - from_mm) / MOVE_MM_S)


def fed(from_mm: float, to_mm: float, mm_per_s: float) -> tuple[float, list[Step]]:
    """One continuous feed, with a still moment and a mark at each end."""
    return float(from_mm), [
        Hold(STILL_S),
        Mark("feed begins"),
        Feed(float(to_mm), mm_per_s),
        Mark("feed ends"),
        Hold(STILL_S),
    ]
