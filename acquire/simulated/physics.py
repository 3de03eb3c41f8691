"""What each kind of instrument would read on the true bed, were it perfect.

Written from the definition of each quantity, on purpose apart from the code that
works the other way, from readings to heights.
"""

from abc import ABC, abstractmethod
from dataclasses import dataclass

import numpy as np

from acquire.simulated.truth import InventedBed

UM_PER_M_PER_MM_S2 = 1e3 / 9.80665
"""Tilt that a gravity instrument reads for 1 mm/s² along its axis (standard gravity)."""

_UPWARD = {"up": 1.0, "down": -1.0}


class Task(ABC):
    """One instrument at one job: what it reads where, and what a poor seat does to it."""

    feels_acceleration = False
    """Whether speeding up along the bed tilts it."""

    @abstractmethod
    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """The perfect reading, in µm/m, µm or mm, with a zero of nothing."""

    def seating(
        self, bed: InventedBed, rng: np.random.Generator, placings: int, seating_um: float
    ) -> np.ndarray:
        """By how much each placing is off where every foot varies by `seating_um`: of one seat one error."""
        return rng.normal(0.0, seating_um, placings)


@dataclass(frozen=True)
class Slope(Task):
    """A level standing on a face: the slope between its feet."""

    feels_acceleration = True

    face: str
    base_mm: float

    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """Rise from the foot nearer the headstock to the other, over the base."""
        normal = bed.faces[self.face].normal
        if normal not in ("up", "down"):
            raise ValueError(f"{self.face} looks {normal}: a level cannot see that way")
        near = bed.height_um(self.face, station_mm - self.base_mm / 2)
        far = bed.height_um(self.face, station_mm + self.base_mm / 2)
        return _UPWARD[normal] * (far - near) / (self.base_mm / 1000)

    def seating(
        self, bed: InventedBed, rng: np.random.Generator, placings: int, seating_um: float
    ) -> np.ndarray:
        """Two feet, each with its own error."""
        return _two_feet(rng, placings, seating_um) / (self.base_mm / 1000)


@dataclass(frozen=True)
class Roll(Task):
    """A cross level on a bridge from the front way to the rear one."""

    front: str
    rear: str

    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """Rise from front to rear over the gauge width."""
        gauge_m = bed.gauge_mm(self.front, self.rear) / 1000
        return (bed.height_um(self.rear, station_mm) - bed.height_um(self.front, station_mm)) / gauge_m

    def seating(
        self, bed: InventedBed, rng: np.random.Generator, placings: int, seating_um: float
    ) -> np.ndarray:
        """Two feet, each with its own error."""
        return _two_feet(rng, placings, seating_um) / (bed.gauge_mm(self.front, self.rear) / 1000)


@dataclass(frozen=True)
class Offset(Task):
    """An indicator carried on one face, as on a point, and touching another; both look up or down."""

    face: str
    reference: str

    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """How far the face comes towards the plunger, along its normal."""
        alike = _UPWARD[bed.faces[self.face].normal] * _UPWARD[bed.faces[self.reference].normal]
        return bed.height_um(self.face, station_mm) - alike * bed.height_um(self.reference, station_mm)


@dataclass(frozen=True)
class Position(Task):
    """A scale along the bed."""

    offset_mm: float = 0.0
    """Added to what it reads to have the station."""

    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """Where along the bed, in mm."""
        return station_mm - self.offset_mm

    def seating(
        self, bed: InventedBed, rng: np.random.Generator, placings: int, seating_um: float
    ) -> np.ndarray:
        """It is not lifted."""
        return np.zeros(placings)


def _two_feet(rng: np.random.Generator, placings: int, seating_um: float) -> np.ndarray:
    feet = rng.normal(0.0, seating_um, (2, placings))
    return feet[1] - feet[0]
