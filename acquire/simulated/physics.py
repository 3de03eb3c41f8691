"""What each kind of instrument would read on the true bed, were it perfect.

Written from the definition of each quantity, on purpose apart from the code that
works the other way, from readings to heights.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from acquire.simulated.truth import InventedBed

UM_PER_M_PER_MM_S2 = 1e3 / 9.80665
"""Tilt that a gravity instrument reads for 1 mm/s² along its axis (standard gravity)."""

_DIRECTION = {"up": (0, 1), "down": (0, -1), "front": (-1, 0), "rear": (1, 0)}


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
    """A level, or a mirror on two feet, standing on a face: the slope between its feet."""

    face: str
    base_mm: float
    has_gravity: bool = True

    @property
    def feels_acceleration(self) -> bool:  # type: ignore[override]
        """A level does; a mirror watched from afar does not."""
        return self.has_gravity

    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """Rise from the foot nearer the headstock to the other, over the base."""
        normal = bed.faces[self.face].normal
        if self.has_gravity and normal not in ("up", "down"):
            raise ValueError(f"{self.face} looks {normal}: a level cannot see that way")
        near = bed.height_um(self.face, station_mm - self.base_mm / 2)
        far = bed.height_um(self.face, station_mm + self.base_mm / 2)
        upward = -1.0 if self.has_gravity and normal == "down" else 1.0
        return upward * (far - near) / (self.base_mm / 1000)

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
    """An indicator carried along one reference face, or two, and touching another face."""

    face: str
    references: tuple[str, ...]
    bearing_mm: float = 0.0
    """Length of the carrier along the bed; it bears on its two ends (0: on a point)."""
    overhang_along_mm: float = 0.0
    """How far the plunger is ahead of the carrier's middle."""

    def reading(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """How far the face comes towards the plunger at the stations it touches; the carrier lags behind."""
        return bed.height_um(self.face, station_mm) - self._carrier_um(
            bed, station_mm - self.overhang_along_mm
        )

    def _carrier_um(self, bed: InventedBed, station_mm: np.ndarray) -> np.ndarray:
        """Where the plunger's seat is, along the touched face's normal."""
        lifts = [_led_um(bed, self.face, reference, station_mm, self) for reference in self.references]
        if len(lifts) == 1:
            return lifts[0]
        front, rear = (bed.faces[reference].across_mm for reference in self.references)
        share = (bed.faces[self.face].across_mm - front) / (rear - front)
        return (1 - share) * lifts[0] + share * lifts[1]


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


def _led_um(
    bed: InventedBed, face: str, reference: str, station_mm: np.ndarray, carrier: Offset
) -> np.ndarray:
    """How the reference leads a carrier along the normal of the face it reads."""
    across, up = _DIRECTION[bed.faces[face].normal]
    across_reference, up_reference = _DIRECTION[bed.faces[reference].normal]
    along = across * across_reference + up * up_reference
    if along:
        return along * _on_its_ends(bed.height_um, reference, station_mm, carrier)
    return across * _on_its_ends(bed.side_um, reference, station_mm, carrier)


def _on_its_ends(
    deviation: Callable[[str, Any], np.ndarray], reference: str, station_mm: np.ndarray, carrier: Offset
) -> np.ndarray:
    """A carrier on two feet: the straight line through them, where the plunger is."""
    if carrier.bearing_mm == 0:
        return deviation(reference, station_mm)
    near = deviation(reference, station_mm - carrier.bearing_mm / 2)
    far = deviation(reference, station_mm + carrier.bearing_mm / 2)
    return (near + far) / 2 + (far - near) / carrier.bearing_mm * carrier.overhang_along_mm
