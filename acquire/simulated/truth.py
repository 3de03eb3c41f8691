"""The true shape of an invented bed, known everywhere and exactly.

Heights in µm along each face's outward normal, positive where metal stands proud;
stations in mm from the headstock end.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

LENGTH_MM = 1600.0
WAVES = 12
"""How many waves make a roughness."""
ROUGHNESS_UM = 0.06
"""What a foot of some square centimetres still feels of it, root mean square; not what a stylus would."""


@dataclass(frozen=True)
class Dip:
    """A worn hollow with smooth ends: a raised cosine, deepest in its middle."""

    depth_um: float
    at_mm: float
    length_mm: float

    def height_um(self, station_mm: np.ndarray) -> np.ndarray:
        """Zero outside, minus the depth in the middle."""
        inside = np.abs(station_mm - self.at_mm) < self.length_mm / 2
        turn = 2 * np.pi * (station_mm - self.at_mm) / self.length_mm
        return np.where(inside, -self.depth_um / 2 * (1 + np.cos(turn)), 0.0)


@dataclass(frozen=True)
class Ripple:
    """One wave of the fine roughness."""

    height_um: float
    length_mm: float
    phase: float


@dataclass(frozen=True)
class Shape:
    """One line of deviations along the bed, as a sum of plain parts."""

    length_mm: float = LENGTH_MM
    rise_um_per_m: float = 0.0
    """Steady climb away from the headstock; a difference of it between two ways is wind."""
    bow_um: float = 0.0
    """Height of the middle over the ends, as a parabola: positive crowned, negative hollow."""
    s_bend_um: float = 0.0
    """A shape of one swing up and one down; between two ways, twist that is no steady wind."""
    dips: tuple[Dip, ...] = ()
    ripples: tuple[Ripple, ...] = ()

    def height_um(self, station_mm: Any) -> np.ndarray:
        """Deviation at any stations, of any array shape.

        Examples
        --------
        >>> Shape(length_mm=1000, rise_um_per_m=5, bow_um=-8).height_um([0, 500, 1000])
        array([ 0. , -5.5,  5. ])
        """
        x = np.asarray(station_mm, dtype=float)
        u = x / self.length_mm
        height = self.rise_um_per_m * x / 1000 + self.bow_um * 4 * u * (1 - u)
        height = height + self.s_bend_um * 6 * np.sqrt(3) * u * (1 - u) * (1 - 2 * u)
        for dip in self.dips:
            height = height + dip.height_um(x)
        for wave in self.ripples:
            height = height + wave.height_um * np.sin(2 * np.pi * x / wave.length_mm + wave.phase)
        return height


@dataclass(frozen=True)
class InventedFace:
    """One face: which way it looks, where it lies across the bed, and its true shape."""

    normal: str
    across_mm: float
    shape: Shape
    carriage: str | None = None
    form: str | None = None


class InventedBed:
    """An invented worn bed: the same seed gives the same shape, to the last digit.

    Parameters
    ----------
    seed : int
        Draws the sizes and places of everything.
    length_mm : float
        Length of the bed.
    faces : mapping, optional
        A bed made by hand instead: faces by their id.

    Examples
    --------
    >>> bed = InventedBed(seed=3)
    >>> bool(abs(np.ptp(bed.roll_um_per_m("front-vee", "rear-flat", [0.0, 1600.0]))) > 40)
    True
    """

    def __init__(
        self, seed: int = 1, length_mm: float = LENGTH_MM, faces: Mapping[str, InventedFace] | None = None
    ):
        self.seed, self.length_mm = seed, float(length_mm)
        self.faces: Mapping[str, InventedFace] = _worn(seed, self.length_mm) if faces is None else dict(faces)

    def height_um(self, face: str, station_mm: Any) -> np.ndarray:
        """True height of a face along its outward normal, at any stations."""
        return self.faces[face].shape.height_um(station_mm)

    def gauge_mm(self, front: str, rear: str) -> float:
        """Distance across the bed between two faces."""
        return self.faces[rear].across_mm - self.faces[front].across_mm

    def roll_um_per_m(self, front: str, rear: str, station_mm: Any) -> np.ndarray:
        """True roll: positive where the rear is higher than the front."""
        difference = self.height_um(rear, station_mm) - self.height_um(front, station_mm)
        return difference / (self.gauge_mm(front, rear) / 1000)


@dataclass(frozen=True)
class _Place:
    """One face of the pattern that every drawn bed follows."""

    face: InventedFace
    wear: float
    """Its share of the wear: the carriage's ways wear most, and the front one more."""
    lean: float
    """Its share of the wind, by where it lies across the bed."""


_FLAT = Shape()
_PATTERN: Mapping[str, _Place] = {
    "front-vee": _Place(InventedFace("up", 0.0, _FLAT, "front", "ridge"), wear=1.0, lean=0.0),
    "tail-flat": _Place(InventedFace("up", 80.0, _FLAT), wear=0.15, lean=0.32),
    "tail-vee": _Place(InventedFace("up", 170.0, _FLAT, None, "ridge"), wear=0.12, lean=0.68),
    "rear-flat": _Place(InventedFace("up", 250.0, _FLAT, "rear"), wear=0.4, lean=1.0),
    "front-under": _Place(InventedFace("down", -20.0, _FLAT), wear=0.25, lean=0.0),
    "rear-side": _Place(InventedFace("rear", 290.0, _FLAT), wear=0.2, lean=0.0),
}


@dataclass(frozen=True)
class _Sizes:
    """How large each fault of a bed is, and where it is worn most."""

    wear_um: float
    bow_um: float
    wind_um: float
    s_bend_um: float
    tilt_um_per_m: float
    worn_at_mm: float


def _worn(seed: int, length_mm: float) -> dict[str, InventedFace]:
    """Every face of the pattern, with shapes drawn for it."""
    rng = np.random.default_rng([seed, 0])
    sizes = _Sizes(
        wear_um=rng.uniform(30, 50),
        bow_um=rng.uniform(-14, -6),
        wind_um=rng.choice([-1, 1]) * rng.uniform(12, 24),
        s_bend_um=rng.uniform(-5, 5),
        tilt_um_per_m=rng.uniform(-60, 60),
        worn_at_mm=rng.uniform(0.24, 0.32) * length_mm,
    )
    return {name: _draw_face(place, sizes, length_mm, rng) for name, place in _PATTERN.items()}


def _draw_face(place: _Place, sizes: _Sizes, length_mm: float, rng: np.random.Generator) -> InventedFace:
    upward = {"up": 1.0, "down": -1.0}.get(place.face.normal, 0.0)
    shape = Shape(
        length_mm=length_mm,
        rise_um_per_m=upward * (sizes.tilt_um_per_m + place.lean * sizes.wind_um / (length_mm / 1000)),
        bow_um=(upward or 0.3) * sizes.bow_um * rng.uniform(0.8, 1.2),
        s_bend_um=sizes.s_bend_um * (place.lean if upward == 1.0 else 0.3),
        dips=(_wear(place.wear, sizes, length_mm, rng),),
        ripples=_roughness(rng),
    )
    return replace(place.face, shape=shape)


def _wear(share: float, sizes: _Sizes, length_mm: float, rng: np.random.Generator) -> Dip:
    """The wear near the headstock."""
    at_mm = float(sizes.worn_at_mm + rng.uniform(-30, 30))
    return Dip(float(share * sizes.wear_um), at_mm, 0.45 * length_mm)


def _roughness(rng: np.random.Generator) -> tuple[Ripple, ...]:
    """Waves of 15 to 120 mm that together have the root-mean-square height of the roughness."""
    each = float(ROUGHNESS_UM * np.sqrt(2 / WAVES))
    lengths = np.exp(rng.uniform(np.log(15), np.log(120), WAVES))
    return tuple(Ripple(each, float(n), float(rng.uniform(0, 2 * np.pi))) for n in lengths)
