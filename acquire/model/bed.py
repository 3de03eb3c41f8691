"""What `bed.toml` describes, as values that nothing alters.

`station_mm` runs along the bed from 0 at one end, `across_mm` from front to rear;
what people call these is in `called`.  A face's height is its deviation along its outward
normal: positive where metal stands proud, negative where it is worn.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any, TypeVar

from acquire.model.called import Called
from acquire.model.errors import AnalysisError
from acquire.model.quantity import QUANTITIES, ROLL, Quantity

if TYPE_CHECKING:
    import numpy as np

Reading = TypeVar("Reading", float, "np.ndarray")

NORMALS: Mapping[str, tuple[int, int]] = {"up": (0, 1), "down": (0, -1), "front": (-1, 0), "rear": (1, 0)}
"""Outward normal of each kind of face: (across towards the rear, upwards)."""


@dataclass(frozen=True)
class Face:
    """One guiding face, or one line of a wide one."""

    id: str
    normal: str
    shape: str = "flat"
    form: str | None = None
    flank_angles_deg: tuple[float, float] | None = None
    """Of a vee: front and rear flank, each from the vertical."""
    across_mm: float | None = None
    carriage: str | None = None
    unworn_mm: tuple[tuple[float, float], ...] = ()
    """Stretches that the carriage never reached."""
    runs: bool = True
    """Whether anything runs on it; where nothing does it is worn nowhere."""

    @property
    def is_vee(self) -> bool:
        """Whether the face is a vee, which guides sideways as well as vertically."""
        return self.shape == "vee"

    @property
    def upward(self) -> int:
        """The upward part of its normal: +1 looks up, −1 down, 0 to the front or rear."""
        return NORMALS[self.normal][1]

    @property
    def rearward(self) -> int:
        """The part of its normal towards the rear: +1 looks to the rear, −1 to the front, 0 up or down."""
        return NORMALS[self.normal][0]


def sense_of(one: Face, other: Face) -> int:
    """The product n·n′ of two outward normals: +1 looking the same way, −1 opposite, 0 at right angles.

    Examples
    --------
    >>> sense_of(Face("way", "up"), Face("keeper", "down")), sense_of(Face("way", "up"), Face("side", "rear"))
    (-1, 0)
    """
    (across, up), (other_across, other_up) = NORMALS[one.normal], NORMALS[other.normal]
    return across * other_across + up * other_up


@dataclass(frozen=True)
class Port:
    """A serial port and how it is set."""

    url: str
    baud: int = 9600
    bytesize: int = 8
    parity: str = "N"
    stopbits: float = 1
    reset_on_open: bool = False
    """Let opening pulse the control lines that restart a microcontroller board."""
    line_power: bool = False
    """Hold DTR and RTS on: for cables that take their supply from them."""

    @property
    def settings(self) -> str:
        """Speed and framing as people write them: 9600 baud 8N1."""
        return f"{self.baud} baud {self.bytesize}{self.parity}{self.stopbits:g}"


@dataclass(frozen=True)
class Instrument:
    """One instrument. Numbers are in what is read (divisions where `per_division` is given)."""

    name: str
    quantity: str
    unit: str
    per_division: float | None = None
    base_mm: float | None = None
    gravity: bool = True
    resolution: float | None = None
    standard_uncertainty: float | None = None
    seating_um: float | None = None
    scale_uncertainty: float | None = None
    """Relative; None: not stated, and taken as exact."""
    base_uncertainty_mm: float | None = None
    """None: not stated, and taken as exact."""
    drift_over_run: float | None = None
    """By how much its zero may drift over one run (standard uncertainty). None: not stated."""
    footprint: str = "feet"
    pad_mm: float | None = None
    sign: int = 1
    offset_mm: float = 0.0
    range: tuple[float, float] | None = None
    carrier_feet_mm: float | None = None
    """How far apart the feet of what carries it stand along the bed; of a level laid across: how long each of
    its two feet is, or what it bridges the ways with. None: not stated, and taken as a point."""
    overhang_along_mm: float | None = None
    """None: not stated, and taken as over the middle of the carrier."""
    overhang_across_mm: float = 0.0
    arm_height_mm: float | None = None
    """None: not stated, and taken as level with the carrier."""
    lag_s: float = 0.0
    """Known delay of the instrument's reading behind the truth."""
    port: Port | None = None
    wire: Mapping[str, Any] = field(default_factory=dict)

    @property
    def speaks(self) -> bool:
        """Whether it has a port; otherwise its readings are typed or imported."""
        return self.port is not None

    @property
    def measures(self) -> Quantity:
        """What it reads: the row of its quantity."""
        return QUANTITIES[self.quantity]

    @property
    def step_mm(self) -> float | None:
        """Distance between its feet along the bed; None where it reads at one place, or none is stated."""
        return self.base_mm if self.measures.has_feet_along else None

    @property
    def may_lie_across(self) -> bool:
        """Whether a level described for use along the bed may be laid across it, on parallels or a bridge."""
        return self.measures.has_feet_along and self.gravity

    def as_laid(self, quantity: str) -> "Instrument":
        """The instrument as it reads that quantity: a level laid across reads roll, on the ways' gauge width.

        Across, its own feet stand on the parallels or the bridge; what they are apart says nothing then.

        Examples
        --------
        >>> Instrument("vial", "slope", "mm/m", base_mm=200).as_laid("roll").quantity
        'roll'
        """
        if quantity != ROLL.name or not self.may_lie_across:
            return self
        return replace(
            self, quantity=quantity, base_mm=None, base_uncertainty_mm=None, pad_mm=None, footprint="feet"
        )

    @property
    def contract_unit(self) -> str:
        """The unit its stations are kept in."""
        return self.measures.contract_unit

    @property
    def contract_per_reading(self) -> float:
        """What one unit as read is worth in the contract's unit, without the sign."""
        return self.measures.to_contract(self.per_division or 1.0, self.unit)

    @property
    def reading_unit(self) -> str:
        """The unit of what is read: its own, or `div` for divisions."""
        return "div" if self.per_division is not None else self.unit

    @property
    def contract_resolution(self) -> float:
        """The smallest step it shows, in the contract's unit (0 if none stated)."""
        return (self.resolution or 0.0) * self.contract_per_reading

    def to_contract(self, reading: Reading, unit: str | None = None) -> Reading:
        """Readings in the contract's unit and sign.

        `unit` is the unit written with the reading, if any: a written unit stands for
        itself and `div` for divisions; none means as the instrument is described.
        This and `as_shown` alone know of sign, unit, divisions and offset.

        Examples
        --------
        >>> vial = Instrument("vial", "slope", "mm/m", per_division=0.02, sign=-1)
        >>> vial.to_contract(2), vial.to_contract(2, "um/m")
        (-40.0, -2.0)
        """
        return self.sign * reading * self._contract_per(unit) + self.offset_mm

    def as_shown(self, value: Reading, unit: str | None = None) -> Reading:
        """What the instrument shows, in `unit`, where the contract's value is this: `to_contract` undone.

        Examples
        --------
        >>> vial = Instrument("vial", "slope", "mm/m", per_division=0.02, sign=-1)
        >>> vial.as_shown(-40.0), vial.as_shown(-40.0, "um/m")
        (2.0, 40.0)
        """
        return self.sign * (value - self.offset_mm) / self._contract_per(unit)

    def _contract_per(self, unit: str | None) -> float:
        if unit is None or unit == "div":
            return self.contract_per_reading
        return self.measures.to_contract(1.0, unit)

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of one station's value, in the contract's unit (0 if none stated)."""
        return (self.standard_uncertainty or 0.0) * self.contract_per_reading

    @property
    def contract_drift_over_run(self) -> float | None:
        """By how much its zero may drift over one run, in the contract's unit; None: not stated."""
        return None if self.drift_over_run is None else self.drift_over_run * self.contract_per_reading


def units_read_by(instrument: Instrument) -> tuple[str, ...]:
    """The units that readings of `instrument` may be written in; `div` where it has divisions."""
    divisions = ("div",) if instrument.per_division is not None else ()
    return (*instrument.measures.units, *divisions)


@dataclass(frozen=True)
class Straightedge:
    """A straightedge, for the sag under its own weight."""

    id: str
    length_mm: float
    supports_mm: tuple[float, float] | None = None
    """Where it rests, from its end nearer station 0."""
    depth_mm: float | None = None
    material: str | None = None
    start_mm: float = 0.0
    """Station of its end nearer station 0."""
    warmth_uncertainty_k: float | None = None
    """By how much one side may be warmer than the other (standard uncertainty); None: not stated."""


@dataclass(frozen=True)
class TautWire:
    """A taut wire, for its sag: mass · g · x · (span − x) / (2 · tension)."""

    id: str
    mass_g_per_m: float
    tension_n: float
    span_mm: float
    start_mm: float = 0.0


@dataclass(frozen=True)
class Foot:
    """One foot that the bed stands on: where, and what a hand can set there."""

    id: str
    station_mm: float
    across_mm: float
    um_per_turn: float | None = None
    """How far one turn of its screw lifts it."""
    hand_step_um: float | None = None
    """The smallest lift that a hand can set."""
    bolted: bool | None = None
    """Held down, so that it can also pull."""


@dataclass(frozen=True)
class Limits:
    """The owner's own limits; none are built in."""

    straightness_um: Mapping[str, float] = field(default_factory=dict)
    """By face."""
    twist_um_per_m: float | None = None
    """Largest difference of roll anywhere."""
    wind_um_per_m: float | None = None
    """Difference of roll from end to end."""


@dataclass(frozen=True)
class Bed:
    """The whole of a `bed.toml`."""

    name: str
    length_mm: float
    station_mm: tuple[float, ...]
    """The places where heights are wanted: the nodes of a map."""
    faces: Mapping[str, Face]
    instruments: Mapping[str, Instrument] = field(default_factory=dict)
    straightedges: Mapping[str, Straightedge] = field(default_factory=dict)
    wires: Mapping[str, TautWire] = field(default_factory=dict)
    feet: Mapping[str, Foot] = field(default_factory=dict)
    origin: str = ""
    """What the end at station 0 is called; empty: nobody said so, as with the next four."""
    far_end: str = ""
    front: str = ""
    rear: str = ""
    seen_from: str = ""
    stands: str = "lying"
    """lying | upright: an upright guide has station 0 at its bottom."""
    display: str = "metric"
    centre_height_mm: float | None = None
    apron_mm: float | None = None
    """Across the bed, where pinion or half nuts are."""
    carriage_length_mm: float | None = None
    carriage_bears: str = "ends"
    depth_mm: float | None = None
    joints_mm: tuple[float, ...] = ()
    """Where two pieces of the bed meet, rising."""
    state: Mapping[str, Any] = field(default_factory=dict)
    """How the bed stood: feet or blocks, clamped or free, temperatures, who and when."""
    limits: Limits = Limits()
    text: str = field(default="", repr=False)

    @property
    def is_inch(self) -> bool:
        """Whether people are shown inches and thou."""
        return self.display == "inch"

    @property
    def called(self) -> Called:
        """Its ends and sides in the words of its owner."""
        return Called.of(self.origin, self.far_end, self.front, self.rear, self.seen_from, self.stands)

    def carriage_ways(self) -> tuple[str | None, str | None]:
        """Ids of the faces that the carriage rides at its front and at its rear."""
        by_side = {face.carriage: face.id for face in self.faces.values() if face.carriage}
        return by_side.get("front"), by_side.get("rear")

    def ridden_ways(self) -> list[str]:
        """Those of the two that are named, the front one first."""
        return [face for face in self.carriage_ways() if face is not None]

    def described(self, face: str) -> Face:
        """A face by its id.

        Raises
        ------
        AnalysisError
            Where bed.toml has none of that name.
        """
        if face not in self.faces:
            raise AnalysisError(face, "found no such face in bed.toml", ", ".join(self.faces))
        return self.faces[face]

    def sense(self, face: str, other: str) -> int:
        """`sense_of` of two faces by name."""
        return sense_of(self.faces[face], self.faces[other])

    def gauge_mm(self, front: str, rear: str) -> float | None:
        """Distance across the bed between two faces; None where it is not described."""
        front_mm, rear_mm = self.faces[front].across_mm, self.faces[rear].across_mm
        if front_mm is None or rear_mm is None or math.isclose(front_mm, rear_mm):
            return None
        return rear_mm - front_mm
