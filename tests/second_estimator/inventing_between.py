"""Surveys whose feet fall between the stations, invented at random: a levelled way or two, and what rides."""

from dataclasses import dataclass, replace
from random import Random

import numpy as np

from tests.invented import bed_toml, cross_level, dial, flat, level
from tests.second_estimator.inventing import Survey, take
from tests.second_estimator.readings import Description, Run, World

BASES_MM, FEET_MM, AHEAD_MM = (130, 170, 250), (60, 90, 130, 220), (0, 0, 40, -70)


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
    bed = Description(_bed(length, chance))
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


def _bed(length: int, chance: Random) -> str:
    carriage, noise = chance.choice((210, 250, 330)), chance.choice((0.5, 2.0, 8.0))
    base, feet, ahead = (chance.choice(each) for each in (BASES_MM, FEET_MM, AHEAD_MM))
    carrier = {"carrier_feet_mm": feet, "overhang_along_mm": ahead}
    return bed_toml(
        length,
        bed={"carriage_length_mm": carriage, "carriage_bears": "ends"},
        faces={"front": flat(0, "front"), "rear": flat(300, "rear"), "table": flat(120)},
        instruments={
            "level": level(noise, 100, seating_um=0),
            "long": level(noise, base, seating_um=0),
            "cross": cross_level(seating_um=0),
            "bridge": cross_level(seating_um=0, carrier_feet_mm=feet),
            "dial": dial(0.5, seating_um=0, **carrier),
        },
    )


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
    if step in (70, 130):
        return Run(0, "bridge", at, front="front", rear="rear")
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
