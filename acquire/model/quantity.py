"""What can be read on a bed: one row a quantity, asked by everybody who must tell them apart.

Inside one unit of each is used, the contract unit: slope and roll in µm/m, offset and span in
µm, position in mm, temperature in °C. Shop units exist at the doors only.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from acquire.model.errors import UnitError
from acquire.model.units import MM_PER_INCH, UM_PER_M_PER_ARCSECOND, UM_PER_THOU

ANGLES = {
    "um/m": 1.0,
    "mm/m": 1000.0,
    "arcsec": UM_PER_M_PER_ARCSECOND,
    "deg": 3600 * UM_PER_M_PER_ARCSECOND,
    "in/ft": 1e6 / 12,
    "thou/ft": 1e3 / 12,
}
LENGTHS = {"um": 1.0, "mm": 1000.0, "thou": UM_PER_THOU, "in": 1000 * MM_PER_INCH}
PLACES = {"mm": 1.0, "um": 0.001, "in": MM_PER_INCH}
DEGREES = {"degC": 1.0}
EVERYTHING = "all"
"""All readings that measure, by whatever they were taken."""
LARGEST_ANGLE, LARGEST_LENGTH = 1e6, 1e7
"""A tilt of 45°, a length of ten metres: beyond them a number is no reading of a machine's ways."""


@dataclass(frozen=True)
class ReadWith:
    """What a quantity is read with, in the words of the trade."""

    called: str
    described: str
    move: str
    """What makes its reading rise."""
    example: str
    """Such a move that is known, for whoever asks what one is worth."""
    inch_example: str
    plus: str = ""
    """What a reading above 0 means; {origin} and {far_end} as the bed calls its ends."""
    minus: str = ""


@dataclass(frozen=True)
class Quantity:
    """One row of the table."""

    name: str
    read_with: ReadWith
    units: Mapping[str, float]
    """Allowed units, and what each is worth in the contract's, which comes first."""
    lowest: float
    highest: float
    """In the contract's unit: beyond these no instrument on a bed can truly read."""
    by: str = ""
    """What its readings are called where only some take part in an answer (one of `BY`)."""
    is_measuring: bool = True
    """Whether it says something of the faces; position and temperature only go with it."""
    has_feet_along: bool = False
    """Whether it is read between two feet along the bed."""
    is_across: bool = False
    """Whether it is read between a front and a rear face, in place of one."""
    is_carried: bool = False
    """Whether the instrument is carried along one thing while it touches another."""
    is_between: bool = False
    """Whether it is the distance from one face to another."""

    @property
    def contract_unit(self) -> str:
        """The one unit that files and JSON use."""
        return next(iter(self.units))

    @property
    def is_angle(self) -> bool:
        """Whether it is read as a level reads: turned end for end, its sign changes."""
        return self.units is ANGLES

    @property
    def is_length(self) -> bool:
        """Whether it is a deviation of a face in µm."""
        return self.units is LENGTHS

    def is_by(self, by: str) -> bool:
        """Whether such readings take part where only those `by` are asked for.

        Examples
        --------
        >>> SPAN.is_by("indicator"), SPAN.is_by("all"), SPAN.is_by("level"), POSITION.is_by("all")
        (True, True, False, False)
        """
        return self.is_measuring and by in (EVERYTHING, self.by)

    def to_contract(self, value: float, unit: str) -> float:
        """Convert from a shop unit.

        Raises
        ------
        UnitError
            If the unit is none of this quantity.

        Examples
        --------
        >>> SLOPE.to_contract(0.02, "mm/m"), OFFSET.to_contract(2, "thou")
        (20.0, 50.8)
        """
        if unit not in self.units:
            raise UnitError(f"unit of a {self.name}", f"found {unit!r}", " | ".join(self.units))
        return value * self.units[unit]


SLOPE = Quantity(
    "slope",
    ReadWith(
        "level",
        "a level along the bed",
        "raise the foot away from station 0",
        "a 0.1 mm feeler under it on a 200 mm base is 0.5 mm/m",
        "a 4 thou feeler under it on an 8 in base is 6 thou/ft",
        "the {far_end} is higher",
        "the {origin} is higher",
    ),
    ANGLES,
    -LARGEST_ANGLE,
    LARGEST_ANGLE,
    by="level",
    has_feet_along=True,
)
ROLL = Quantity(
    "roll",
    ReadWith(
        "cross level",
        "a level across the bed",
        "raise its rear end",
        "a 0.1 mm feeler under it on a 200 mm bridge is 0.5 mm/m",
        "a 4 thou feeler under it on an 8 in bridge is 6 thou/ft",
        "the rear way is higher",
        "the front way is higher",
    ),
    ANGLES,
    -LARGEST_ANGLE,
    LARGEST_ANGLE,
    by="cross-level",
    is_across=True,
)
OFFSET = Quantity(
    "offset",
    ReadWith(
        "indicator",
        "an indicator",
        "push the plunger in",
        "by a feeler or gauge block: 0.5 mm",
        "by a feeler or gauge block: 20 thou",
        "the plunger goes in: the face comes nearer",
        "the plunger comes out: the face goes away",
    ),
    LENGTHS,
    -LARGEST_LENGTH,
    LARGEST_LENGTH,
    by="indicator",
    is_carried=True,
)
SPAN = Quantity(
    "span",
    ReadWith(
        "caliper or micrometer",
        "a micrometer or caliper",
        "open it",
        "by a gauge block: 1 mm",
        "by a gauge block: 0.05 in",
        "the measure is larger",
        "the measure is smaller",
    ),
    LENGTHS,
    -LARGEST_LENGTH,
    LARGEST_LENGTH,
    by="indicator",
    is_between=True,
)
POSITION = Quantity(
    "position",
    ReadWith(
        "position",
        "a scale or encoder along the bed",
        "move it away from station 0",
        "along a rule: 100 mm",
        "along a rule: 4 in",
    ),
    PLACES,
    -1e6,
    1e6,
    is_measuring=False,
)
TEMPERATURE = Quantity(
    "temperature",
    ReadWith(
        "thermometer",
        "a thermometer",
        "warm it",
        "in a hand beside a thermometer: 10 degC",
        "in a hand beside a thermometer: 10 degC",
    ),
    DEGREES,
    -60.0,
    300.0,
    is_measuring=False,
)

QUANTITIES: Mapping[str, Quantity] = {
    each.name: each for each in (SLOPE, ROLL, OFFSET, SPAN, POSITION, TEMPERATURE)
}
BY = (EVERYTHING, *dict.fromkeys(each.by for each in QUANTITIES.values() if each.by))
"""Which readings may be asked for."""
MEASURING = tuple(name for name, each in QUANTITIES.items() if each.is_measuring)
EVERY_UNIT = tuple(dict.fromkeys(unit for each in QUANTITIES.values() for unit in each.units))


def named(*wanted: str) -> tuple[str, ...]:
    """The quantities that have one of these properties, by name.

    Examples
    --------
    >>> named("is_angle"), named("has_feet_along")
    (('slope', 'roll'), ('slope',))
    """
    return tuple(name for name, each in QUANTITIES.items() if any(getattr(each, key) for key in wanted))
