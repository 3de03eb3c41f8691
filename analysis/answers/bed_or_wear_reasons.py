"""Why bed and wear cannot be told apart: what is missing, and what is known all the same."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Bed
from analysis.answers.known_roll import KnownRoll, Ways
from analysis.linear.fact import Fact


@dataclass(frozen=True)
class NothingUnworn(Fact):
    """bed.toml names no unworn stretch, and no face that nothing runs on."""


@dataclass(frozen=True)
class InPieces(Fact):
    """The bed is in pieces, which do not move as one body."""

    joints_mm: tuple[float, ...]


@dataclass(frozen=True)
class NoPairsOfFeet(Fact):
    """bed.toml does not say where two pairs of feet stand."""


@dataclass(frozen=True)
class UnwornNotMeasured(Fact):
    """No height at an unworn place was measured."""


@dataclass(frozen=True)
class KnownAllTheSame:
    """Where the rear is highest or lowest against the front, from the line through the ends."""

    station_mm: float
    rear_um: float
    """Positive where it is higher."""


@dataclass(frozen=True)
class NotSeparable(Fact):
    """The unworn places do not determine the roll of the bed: no second face is unworn there."""

    from_mm: float
    to_mm: float
    known: KnownAllTheSame


@dataclass(frozen=True)
class TooUnsure(Fact):
    """The unworn places determine the roll of the bed too badly to be of use."""

    expanded_um_per_m: float
    known: KnownAllTheSame


@dataclass(frozen=True)
class OnlyALine(Fact):
    """The roll itself is known only up to a steady wind."""


@dataclass(frozen=True)
class Misfit(Fact):
    """The unworn places do not lie as the feet could have moved them."""

    pairs: int
    largest_um: float


@dataclass(frozen=True)
class WornUnworn(Fact):
    """A face stands proud of what its unworn places make it."""

    face: str
    station_mm: float
    above_um: float


def not_described(bed: Bed, pairs: int) -> Fact | None:
    """What bed.toml does not say that the split needs; None where it says all."""
    if not any(face.unworn_mm or not face.runs for face in bed.faces.values()):
        return NothingUnworn()
    if bed.joints_mm:
        return InPieces(bed.joints_mm)
    return NoPairsOfFeet() if pairs < 2 else None


def not_separable(known: KnownRoll, ways: Ways, together_mm: Sequence[float]) -> Fact:
    """Where no second face is unworn: the widest gap between stations at which two are."""
    start, end = _widest_gap(known.station_mm, together_mm)
    return NotSeparable(start, end, known_all_the_same(known, ways))


def _widest_gap(station_mm: np.ndarray, together_mm: Sequence[float]) -> tuple[float, float]:
    first, last = float(station_mm[0]), float(station_mm[-1])
    inside = [mm for mm in together_mm if first <= mm <= last]
    ends = [first, *inside, last]
    gaps = [(b - a, a, b) for a, b in itertools.pairwise(ends)]
    _, start, end = max(gaps)
    return start, end


def known_all_the_same(known: KnownRoll, ways: Ways) -> KnownAllTheSame:
    """What the roll says though bed and wear cannot be told apart."""
    x, roll = known.station_mm, known.value
    off = roll - np.interp(x, x[[0, -1]], roll[[0, -1]])
    worst = int(np.argmax(np.abs(off)))
    return KnownAllTheSame(float(x[worst]), float(off[worst]) * ways.gauge_mm / 1000)
