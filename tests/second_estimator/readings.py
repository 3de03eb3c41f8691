"""What instruments read on a bed of given heights, from plain geometry.

A world is a bed whose heights are known; `reading_um` moves surfaces and carriers as
rigid bodies in the plane across the bed (towards the rear, upwards) and returns what
the instrument would show, before zero, drift, scale and noise.  It is written from the
conventions alone: a face's height is along its outward normal, an indicator reads more
where the plunger is pushed in, a level reads more where the far (or rear) foot is higher.
"""

import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

NORMAL = {"up": (0, 1), "down": (0, -1), "front": (-1, 0), "rear": (1, 0)}
"""Outward normals: (towards the rear, upwards)."""
GRAVITY = 9.80665
MATERIAL = {"steel": (7850.0, 205e9), "cast iron": (7200.0, 110e9), "granite": (2900.0, 60e9)}
"""Density in kg/m³ and modulus of elasticity in Pa (handbook values)."""
EXPANSION = {"steel": 11.5e-6, "cast iron": 10.5e-6, "granite": 8e-6}
"""Per K (handbook values)."""
World = Callable[[str, str, np.ndarray], np.ndarray]
"""(kind, owner, station_mm) to µm; kinds: height of a face, side of a vee, edge of a straightedge, and
how warmth bends one: warm up, warm rear."""


@dataclass(frozen=True)
class Run:
    """One traverse: how it was set up, where it was read, and (once taken) its readings."""

    number: int
    instrument: str
    station_mm: np.ndarray
    face: str | None = None
    front: str | None = None
    rear: str | None = None
    other: str | None = None
    reference: str | None = None
    inside: bool = False
    turned: bool = False
    turned_over: bool = False
    direction: str = "forward"
    same_zero_as: int | None = None
    repeat: np.ndarray | None = None
    time_s: np.ndarray | None = None
    created_utc: str = ""
    scatter: float = 0.0
    reading: np.ndarray | None = None

    @property
    def names(self) -> set[str]:
        """Everything that it stood on, rode along or touched."""
        asked = (self.face, self.front, self.rear, self.other, self.reference)
        return {part for name in asked if name for part in name.removeprefix("straightedge:").split("+")}

    @property
    def straight(self) -> str | None:
        """The edge, wire or optical line that takes part, on whichever side."""
        names = [name for name in (self.face, self.reference) if name is not None]
        return next((n for n in names if n == "line" or n.startswith(("straightedge:", "wire:"))), None)


@dataclass(frozen=True)
class Description:
    """A bed.toml, read with nothing but the standard library."""

    text: str

    @cached_property
    def tables(self) -> Mapping[str, Any]:
        """The tables as they stand."""
        return tomllib.loads(self.text)

    @cached_property
    def station_mm(self) -> np.ndarray:
        """Stations 0, pitch, ... to the end of the bed."""
        bed = self.tables["bed"]
        return np.arange(0.0, bed["length_mm"] + 1e-6, bed["station_pitch_mm"])

    def face(self, name: str) -> Mapping[str, Any]:
        """One face's table."""
        return self.tables["faces"][name]

    def instrument(self, run: Run) -> Mapping[str, Any]:
        """The table of what a run was read with."""
        return self.tables["instruments"][run.instrument]

    def normal(self, name: str) -> np.ndarray:
        """Outward normal of a face."""
        return np.array(NORMAL[self.face(name)["normal"]])

    def ways(self) -> list[str]:
        """The ways that the carriage rides, front one first."""
        faces = self.tables["faces"]
        return [n for side in ("front", "rear") for n in faces if faces[n].get("carriage") == side]

    def gauge_mm(self, front: str, rear: str) -> float:
        """From one face to the other across the bed."""
        return self.face(rear)["across_mm"] - self.face(front)["across_mm"]


@dataclass(frozen=True)
class Bearing:
    """What a carrier bears on along the bed: a length, by its ends or all along; 0 mm is a point."""

    length_mm: float
    all_along: bool = False

    def mean_and_slope(
        self, height: Callable[[np.ndarray], np.ndarray], x: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Mean height under it (µm) and its slope (µm/mm), its middle at each x."""
        if not self.length_mm:
            return height(x), np.full(len(x), np.nan)
        if self.all_along:
            away = np.linspace(-0.5, 0.5, 2001) * self.length_mm
            under = np.array([height(middle + away) for middle in x])
            return np.array([np.polyfit(away, each, 1)[::-1] for each in under]).T
        low, high = height(x - self.length_mm / 2), height(x + self.length_mm / 2)
        return (low + high) / 2, (high - low) / self.length_mm


def reading(run: Run, bed: Description, world: World) -> np.ndarray:
    """Readings of a run on a world, in µm or µm/m; affine in its heights (what hangs, hangs anyway)."""
    by_quantity = {"slope": _slope, "roll": _roll, "offset": _offset, "span": _span}
    return by_quantity[bed.instrument(run)["quantity"]](run, bed, world)


def _slope(run: Run, bed: Description, world: World) -> np.ndarray:
    turn, x = (-1 if run.turned else 1), run.station_mm
    if run.face == "carriage":
        pitches = [_lifted(name, bed, world, _carriage(bed), x)[1] for name in bed.ways()]
        return turn * 1000 * np.mean(pitches, axis=0)
    instrument = bed.instrument(run)
    half = instrument["base_mm"] / 2
    rise = world("height", run.face, x + half) - world("height", run.face, x - half)
    # a level feels gravity, so a face that hangs reads the other way; a beam of light follows the normal
    upward = bed.normal(run.face)[1] if instrument.get("gravity", True) else 1
    return turn * upward * rise / instrument["base_mm"] * 1000


def _roll(run: Run, bed: Description, world: World) -> np.ndarray:
    turn, x = (-1 if run.turned else 1), run.station_mm
    if "carriage" in (run.face, run.reference):
        (front, rear), bearing = bed.ways(), _carriage(bed)
    else:
        (front, rear), bearing = (run.front, run.rear), Bearing(bed.instrument(run).get("carrier_feet_mm", 0))
    lifts = [_lifted(name, bed, world, bearing, x)[0] for name in (front, rear)]
    return turn * (lifts[1] - lifts[0]) / bed.gauge_mm(front, rear) * 1000


def _span(run: Run, bed: Description, world: World) -> np.ndarray:
    names = [run.face] if run.other is None else [run.face, run.other]
    total = sum(world("height", name, run.station_mm) for name in names)
    return -total if run.inside else total


def _offset(run: Run, bed: Description, world: World) -> np.ndarray:
    """How far the touched surface comes towards the plunger, less how far the plunger's stand does."""
    if run.straight == run.reference:
        normal = bed.normal(run.face)
        return world("height", run.face, run.station_mm) - normal @ _straight(run, bed, world, normal)
    normal = bed.normal(run.face if run.straight is None else _carriers(run, bed)[0])
    body = _carried(run, bed, world)
    if run.straight is None:
        return world("height", run.face, run.station_mm) - normal @ body
    return normal @ _straight(run, bed, world, normal) - normal @ body


def _carriage(bed: Description) -> Bearing:
    table = bed.tables["bed"]
    return Bearing(table.get("carriage_length_mm", 0), table.get("carriage_bears") == "average")


def _carriers(run: Run, bed: Description) -> list[str]:
    return bed.ways() if run.reference == "carriage" else run.reference.split("+")


def _lifted(
    name: str, bed: Description, world: World, bearing: Bearing, x: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """How far a face lifts what bears on it, and the pitch that it gives it."""
    upward = bed.normal(name)[1]
    return bearing.mean_and_slope(lambda at: upward * world("height", name, at), x)


def _carried(run: Run, bed: Description, world: World) -> np.ndarray:
    """Where a carrier has taken the plunger: (towards the rear, upwards), shape (2, m)."""
    instrument, names = bed.instrument(run), _carriers(run, bed)
    ahead, above = instrument.get("overhang_along_mm", 0), instrument.get("arm_height_mm", 0)
    on_carriage = run.reference == "carriage"
    bearing = _carriage(bed) if on_carriage else Bearing(instrument.get("carrier_feet_mm", 0))
    x = run.station_mm - ahead
    lifting = [name for name in names if bed.normal(name)[1]]
    lifts = [_lifted(name, bed, world, bearing, x) for name in lifting]
    up, pitch, roll = np.full(len(x), np.nan), np.full(len(x), np.nan), np.zeros(len(x))
    if len(lifting) == 1:
        up, pitch = lifts[0]
    elif len(lifting) == 2:
        gauge = bed.gauge_mm(*lifting)
        share = (_across_mm(run, bed, lifting) - bed.face(lifting[0])["across_mm"]) / gauge
        up, pitch = (a + share * (b - a) for a, b in zip(*lifts, strict=True))
        roll = (lifts[1][0] - lifts[0][0]) / gauge
    sway, yaw = _guided(names, bed, world, bearing, x)
    if ahead:
        up, sway = up + ahead * pitch, sway + ahead * yaw
    moved = np.array([sway - above * roll, up])
    # nothing is known of a direction that the carrier is not guided in; nothing is read along it either
    return np.nan_to_num(moved)


def _across_mm(run: Run, bed: Description, lifting: list[str]) -> float:
    if run.straight is None:
        return bed.face(run.face)["across_mm"]
    middle = np.mean([bed.face(name)["across_mm"] for name in lifting])
    return middle + bed.instrument(run).get("overhang_across_mm", 0)


def _guided(
    names: list[str], bed: Description, world: World, bearing: Bearing, x: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Sway towards the rear and yaw (µm/mm), from a side face or else a vee."""
    sides = [name for name in names if bed.normal(name)[0]]
    vees = [name for name in names if bed.face(name).get("shape") == "vee"]
    if sides:
        sideways = bed.normal(sides[0])[0]
        return bearing.mean_and_slope(lambda at: sideways * world("height", sides[0], at), x)
    if vees:
        return bearing.mean_and_slope(lambda at: world("side", vees[0], at), x)
    return np.full(len(x), np.nan), np.full(len(x), np.nan)


def line_counts(run: Run, bed: Description) -> np.ndarray:
    """By how much the place of a run's straight thing counts in its readings: to the rear and upwards."""
    if run.straight == run.reference:
        return -bed.normal(run.face)
    return bed.normal(_carriers(run, bed)[0])


def _straight(run: Run, bed: Description, world: World, normal: np.ndarray) -> np.ndarray:
    """Where the working line of an edge, a wire or a beam lies, as a vector; it hangs down only."""
    kind, _, name = run.straight.partition(":")
    x = run.station_mm
    shape = np.zeros(len(x))
    if kind == "straightedge":
        shape = (-1 if run.turned_over else 1) * world("edge", name, x)
    lies = normal[:, None] * shape + np.array([[0], [-1]]) * sag_um(run, bed)
    if kind == "straightedge" and "warmth_uncertainty_k" in bed.tables["straightedges"][name]:
        lies = lies + np.stack([world("warm rear", name, x), world("warm up", name, x)])
    return lies


def bend_of_a_kelvin_um(edge: Mapping[str, Any], station_mm: np.ndarray) -> np.ndarray:
    """An edge as an arc: its warmer side is longer by the expansion, over its depth; from its ends."""
    away_mm = np.asarray(station_mm, float) - edge.get("start_mm", 0)
    per_mm = EXPANSION[edge["material"]] / edge["depth_mm"]
    return per_mm * away_mm * (edge["length_mm"] - away_mm) / 2 * 1000


def sag_um(run: Run, bed: Description) -> np.ndarray:
    """How far the straight thing of a run hangs at each of its stations, positive downwards."""
    kind, _, name = run.straight.partition(":")
    if kind == "wire":
        wire = bed.tables["wires"][name]
        x = run.station_mm - wire.get("start_mm", 0)
        kilogram_per_m, metre2 = wire["mass_g_per_m"] / 1000, x * (wire["span_mm"] - x) / 1e6
        return kilogram_per_m * GRAVITY * metre2 / (2 * wire["tension_n"]) * 1e6
    edge = bed.tables["straightedges"][name] if kind == "straightedge" else {}
    if "depth_mm" not in edge:
        return np.zeros(len(run.station_mm))
    beam = _beam(edge["length_mm"], edge["depth_mm"], edge["material"], *edge["supports_mm"])
    return np.interp(run.station_mm - edge.get("start_mm", 0), *beam)


@lru_cache(maxsize=64)
def _beam(
    length_mm: float, depth_mm: float, material: str, first_mm: float, second_mm: float
) -> tuple[np.ndarray, np.ndarray]:
    """Places (mm) and sag (µm) of a uniform beam on two supports: its bending moment summed up twice."""
    density, modulus = MATERIAL[material]
    length, depth, first, second = (mm / 1000 for mm in (length_mm, depth_mm, first_mm, second_mm))
    x = np.linspace(0.0, length, 40001)
    load_second = (length / 2 - first) / (second - first) * length
    forces = ((first, length - load_second), (second, load_second))
    moment = -(x**2) / 2 + sum(force * np.maximum(x - at, 0) for at, force in forces)
    # per unit width: weight density·g·depth, stiffness modulus·depth³/12
    curvature = moment * density * GRAVITY * depth / (modulus * depth**3 / 12)
    rise = _summed(_summed(curvature, x), x)
    ends = np.interp([first, second], x, rise)
    chord = ends[0] + (ends[1] - ends[0]) * (x - first) / (second - first)
    return x * 1000, (chord - rise) * 1e6


def _summed(value: np.ndarray, x: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum((value[1:] + value[:-1]) / 2 * np.diff(x))])
