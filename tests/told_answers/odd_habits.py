"""Surveys of people who do odd but ordinary things, on the beds of `inventing`.

A level that drifts alike whichever way it runs; its zero left untouched for all faces, all one way it may
be; every second station read on the way there and the others on the way back; a run broken off in the
middle and gone on with by another level; a cross level read in two halves whose zero was knocked between
them; a dial that was knocked between two faces.
"""

from dataclasses import dataclass, field

import numpy as np

from acquire.model.bed_toml.reading import parse_bed
from tests.told_answers.inventing import KINDS, Height, Told, bed_of_kind, bed_text

READINGS_A_RUN = 12


@dataclass
class _Levels:
    """The levels of a survey: how each drifts from reading to reading, and its zero as it was set."""

    told: Told
    is_one_zero: bool
    drift: dict[str, float] = field(default_factory=dict)
    zero: dict[str, float] = field(default_factory=dict)
    read: dict[str, int] = field(default_factory=dict)
    first: dict[str, int] = field(default_factory=dict)

    def run(self, name: str, face: str, x: np.ndarray, direction: str) -> None:
        told, rng = self.told, self.told.rng
        base, up, h = told.bed.instruments[name].base_mm, told.bed.faces[face].upward, told.heights[face]
        rate = self.drift.setdefault(name, rng.normal(0, 3) / READINGS_A_RUN)
        order = np.arange(len(x)) if direction == "forward" else np.arange(len(x))[::-1]
        slope = up * (h(x + base / 2) - h(x - base / 2)) / base * 1000
        same: dict[str, int] = {}
        zero = rng.normal(0, 100)
        if self.is_one_zero:
            zero = self.zero.setdefault(name, zero) + rate * self.read.get(name, 0)
            same = {"same_zero_as": self.first[name]} if name in self.first else {}
        told.add(name, x, slope + rate * order, zero=zero, face=face, direction=direction, **same)
        self.first.setdefault(name, len(told.runs))
        self.read[name] = self.read.get(name, 0) + len(x)

    def _feet(self, name: str) -> np.ndarray:
        """Middles of the level, foot to foot or from station to station."""
        bed, base = self.told.bed, self.told.bed.instruments[name].base_mm
        apart = self.told.rng.choice([bed.station_mm[1], base])
        return np.arange(base / 2, bed.length_mm - base / 2 + 1e-6, apart)

    def habit(self, face: str) -> None:
        """One face in one of the ways that people have."""
        rng, bed = self.told.rng, self.told.bed
        name, other = rng.permutation(["level", "odd"])
        x, base = self._feet(name), bed.instruments[name].base_mm
        habit = rng.choice(["there and back", "every second", "swapped", "one way"])
        if not self.is_one_zero and {name, other} - self.first.keys():
            # of an instrument that never ran both ways an answer says that it takes it as steady
            habit, name = "there and back", name if name not in self.first else other
            x = self._feet(name)
        if habit == "every second":
            self.run(name, face, x[::2], "forward")
            self.run(name, face, x[1::2], "reverse")
        if habit == "swapped":
            middle, further = len(x) // 2, bed.instruments[other].base_mm
            self.run(name, face, x[: middle + 1], "forward")
            start = max(x[middle] - base / 2, 0.0) + further / 2
            self.run(other, face, np.arange(start, bed.length_mm - further / 2 + 1e-6, further), "forward")
        self.run(name, face, x, "forward" if habit in ("every second", "one way") else "reverse")
        if habit == "there and back":
            self.run(name, face, x, "forward")


def invent_odd(number: int) -> Told:
    """A survey by its number."""
    rng = np.random.default_rng([79, number])
    kind = KINDS[number % len(KINDS)]
    pitch = float(rng.choice([100, 125]))
    length = pitch * round((2000 if kind == "joint" else rng.choice([1000, 1500, 2000])) / pitch)
    told = bed_of_kind(kind, parse_bed(bed_text(kind, length, pitch, rng)), rng)
    levels = _Levels(told, bool(rng.random() < 0.5))
    for face in [name for name in ("front", "vee", "tail", "under") if rng.random() < 0.85] or ["front"]:
        levels.habit(face)
    if rng.random() < 0.6:
        _cross_in_halves(told)
    if rng.random() < 0.6:
        _dial_over_two(told)
    return told


def _cross_in_halves(told: Told) -> None:
    """Knocked by three times what a reading is sure to, of random size."""
    x, h, rng = np.array(told.bed.station_mm), told.heights, told.rng
    roll, zero = (h["vee"](x) - h["front"](x)) / 0.3, rng.normal(0, 100)
    for part, knock in ((x <= told.bed.length_mm / 2, 0.0), (x >= told.bed.length_mm / 2, rng.normal(0, 3))):
        same = {"same_zero_as": len(told.runs)} if knock else {}
        told.add("cross", x[part], roll[part], zero=zero + knock, front="front", rear="vee", **same)


def _dial_over_two(told: Told) -> None:
    """Carried along the front on its feet, reading the tail and then the vee."""
    x, rng, apart = np.array(told.bed.station_mm), told.rng, told.bed.instruments["dial"].carrier_feet_mm
    x = x[(x >= apart / 2) & (x <= told.bed.length_mm - apart / 2)]
    zero = rng.normal(0, 100)
    for face, knock in (("tail", 0.0), ("vee", rng.normal(0, 1.5))):
        same = {"same_zero_as": len(told.runs)} if knock else {}
        told.add(
            "dial", x, told.heights[face](x) - _under(told.heights["front"], x, apart), zero=zero + knock,
            face=face, reference="front", **same,
        )  # fmt: skip


def _under(height: Height, x: np.ndarray, apart: float) -> np.ndarray:
    return (height(x - apart / 2) + height(x + apart / 2)) / 2
