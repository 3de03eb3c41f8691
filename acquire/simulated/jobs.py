"""The traverses that an invented operator makes: which instruments, from where to where."""

import itertools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from acquire.simulated.catalogue import BASE_MM, cross_level, indicator, long_level, scale
from acquire.simulated.instruments import SimulatedInstrument
from acquire.simulated.motion import Step, fed, stepped
from acquire.simulated.performance import Performance, perform
from acquire.simulated.truth import InventedBed

FRONT, REAR = "front-vee", "rear-flat"
STEP_MM = 100.0
FEED_MM_PER_S = 12.0
MARKED_DWELL_S = (6.0, 8.0)
Script = tuple[float, list[Step]]


@dataclass(frozen=True, eq=False)
class Job:
    """One traverse to be made."""

    words: str
    """What it is, in the words of the trade."""
    asked: Mapping[str, Any]
    """What is measured with what, along what: face or across, instrument, reference, direction, position."""
    instruments: Mapping[str, SimulatedInstrument]
    script: Callable[[np.random.Generator], Script]

    @property
    def arguments(self) -> tuple[str, ...]:
        """The same as `waylog record SURVEY` is told it."""
        across = self.asked.get("across")
        subject = ("--across", *across) if across else (self.asked["face"],)
        options = ("instrument", "reference", "position", "direction")
        given = [(f"--{name}", self.asked[name]) for name in options if name in self.asked]
        return (*subject, *itertools.chain.from_iterable(given))

    def perform(self, bed: InventedBed, seed: int) -> Performance:
        """Everything that will be sent; the same seed gives the same bytes."""
        return perform(bed, self.instruments, self.script(np.random.default_rng([seed, 1])), seed)


def _asked(instrument: str, direction: str, **asked: Any) -> dict[str, Any]:
    return {**asked, "instrument": instrument, "position": "scale:scale", "direction": direction}


def _there_or_back(stations_mm: np.ndarray, direction: str) -> list[float]:
    return list(stations_mm if direction == "forward" else stations_mm[::-1])


def level_steps(
    bed: InventedBed, face: str, direction: str = "forward", dwell_s: tuple[float, float] = (5.5, 7.0)
) -> Job:
    """The long level stepped foot to foot along a face."""
    places = _there_or_back(np.arange(BASE_MM / 2, bed.length_mm - BASE_MM / 2 + 1, BASE_MM), direction)
    return Job(
        f"long level stepped along {face}, {direction}",
        _asked("long-level", direction, face=face),
        {"long-level": long_level(face), "scale": scale()},
        lambda rng: stepped(places, rng, dwell_s),
    )


def level_marks(bed: InventedBed, face: str) -> Job:
    """The long level stepped foot to foot without a scale, a key pressed at each station."""
    job = level_steps(bed, face)
    places = _there_or_back(np.arange(BASE_MM / 2, bed.length_mm - BASE_MM / 2 + 1, BASE_MM), "forward")
    return Job(
        f"long level stepped along {face}, forward, a key pressed at each station",
        {**job.asked, "position": "stations"},
        {"long-level": long_level(face)},
        lambda rng: stepped(places, rng, MARKED_DWELL_S, nudge_chance=0.0, is_marked=True),
    )


def level_feed(bed: InventedBed, face: str, direction: str = "forward") -> Job:
    """The long level drawn along a face without a stop."""
    ends = _there_or_back(np.array([BASE_MM / 2, bed.length_mm - BASE_MM / 2]), direction)
    return Job(
        f"long level drawn along {face} without a stop, {direction}",
        _asked("long-level", direction, face=face),
        {"long-level": long_level(face), "scale": scale()},
        lambda rng: fed(ends[0], ends[1], FEED_MM_PER_S),
    )


def cross_level_steps(
    bed: InventedBed, direction: str = "forward", dwell_s: tuple[float, float] = (4.5, 6.0)
) -> Job:
    """The cross level on its bridge, station by station."""
    places = _there_or_back(np.arange(0.0, bed.length_mm + 1, STEP_MM), direction)
    return Job(
        f"cross level across {FRONT} and {REAR}, {direction}",
        _asked("cross-level", direction, across=(FRONT, REAR)),
        {"cross-level": cross_level(FRONT, REAR), "scale": scale()},
        lambda rng: stepped(places, rng, dwell_s),
    )


def indicator_steps(
    bed: InventedBed, direction: str = "forward", dwell_s: tuple[float, float] = (3.5, 4.5)
) -> Job:
    """The indicator carried along one way and reading another, station by station."""
    places = _there_or_back(np.arange(0.0, bed.length_mm + 1, STEP_MM), direction)
    return Job(
        f"indicator carried on {FRONT}, reading {REAR}, {direction}",
        _asked("indicator", direction, face=REAR, reference=FRONT),
        {"indicator": indicator(REAR, FRONT), "scale": scale()},
        lambda rng: stepped(places, rng, dwell_s),
    )
