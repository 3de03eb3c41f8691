"""Surveys whose feet fall between the stations, invented at random: a levelled way or two, and what rides."""

from dataclasses import dataclass, replace
from random import Random

import numpy as np

from tests.second_estimator.inventing import Survey, take
from tests.second_estimator.readings import Description, Run, World

BED = """
[bed]
name = "invented"
length_mm = {length}
station_pitch_mm = 100
carriage_length_mm = {carriage}
carriage_bears = "ends"
[faces.front]
normal = "up"
across_mm = 0
carriage = "front"
[faces.rear]
normal = "up"
across_mm = 300
carriage = "rear"
[faces.table]
normal = "up"
across_mm = 120
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 100
standard_uncertainty = {noise}
seating_um = 0
[instruments.long]
quantity = "slope"
unit = "um/m"
base_mm = {base}
standard_uncertainty = {noise}
seating_um = 0
[instruments.cross]
quantity = "roll"
unit = "um/m"
standard_uncertainty = 1.0
seating_um = 0
[instruments.dial]
quantity = "offset"
unit = "um"
carrier_feet_mm = {feet}
overhang_along_mm = {ahead}
standard_uncertainty = 0.5
seating_um = 0
"""


@dataclass(frozen=True, eq=False)
class Anywhere(Survey):
    """A survey whose truth is known at any place."""

    heights: World

    def world(self, kind: str, owner: str, x: np.ndarray) -> np.ndarray:
        """Invented heights."""
        return self.heights(kind, owner, x)


def invent_between(chance: Random) -> Anywhere:
    """One survey."""
    length = 100 * chance.randint(6, 14)
    bed = Description(
        BED.format(
            length=length, carriage=chance.choice((210, 250, 330)), noise=chance.choice((0.5, 2.0, 8.0)),
            base=chance.choice((130, 170, 250)), feet=chance.choice((60, 90, 130, 220)),
            ahead=chance.choice((0, 0, 40, -70)),
        )
    )  # fmt: skip
    middles = np.arange(50.0, length, 100.0)
    stations = np.arange(0.0, length + 1, 100.0)
    runs = [Run(0, "level", middles, face="front")]
    if chance.random() < 0.7:
        runs.append(Run(0, "level", middles, face="rear"))
    if chance.random() < 0.7:
        runs.append(Run(0, "cross", stations, front="front", rear="rear"))
    runs += [_riding(length, chance) for _ in range(chance.randint(1, 4))]
    runs = [replace(run, number=number) for number, run in enumerate(runs, 1)]
    world = _world(length, chance)
    runs = take(runs, bed, world, np.random.default_rng(chance.getrandbits(32)))
    return Anywhere(bed, runs, {}, world)


def _riding(length: int, chance: Random) -> Run:
    """One further run whose feet fall where they may, none within 10 mm of a station without being on it."""
    margin = 240
    first, step = margin + 10 * chance.randint(0, 9), chance.choice((50, 70, 100, 130))
    at = np.arange(float(first), length - margin + 1.0, step)
    kind = chance.choice(("dial", "dial", "carriage dial", "pair", "long", "pitch", "roll"))
    if kind == "dial":
        face, reference = chance.choice((("rear", "front"), ("front", "rear"), ("table", "front")))
        return Run(0, "dial", at, face=face, reference=reference)
    if kind in ("carriage dial", "pair"):
        return Run(0, "dial", at, face="table", reference="carriage" if kind != "pair" else "front+rear")
    if kind == "long":
        return Run(0, "long", at, face=chance.choice(("front", "rear")))
    if kind == "pitch":
        return Run(0, "level", at, face="carriage")
    return Run(0, "cross", at, front="front", rear="rear", reference="carriage")


def _world(length: int, chance: Random) -> World:
    """Each face bent, and by waves of any length that two stations can show."""
    waves = {
        name: [
            (chance.gauss(0, 8) * (wave / length), wave, chance.uniform(0, 6.3))
            for wave in (chance.uniform(220, 2 * length) for _ in range(8))
        ]
        for name in ("front", "rear", "table")
    }

    def world(kind: str, owner: str, x: np.ndarray) -> np.ndarray:
        at = np.asarray(x, float)
        return sum(
            (size * np.sin(2 * np.pi * at / wave + phase) for size, wave, phase in waves[owner]), 0 * at
        )

    return world
