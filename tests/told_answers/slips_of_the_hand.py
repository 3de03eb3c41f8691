"""Surveys in which something was written down otherwise than it was read, or the bed did not keep still.

One run, or two of one face; which one it is hangs on the survey's number. Nobody says anything of it in
bed.toml: the readings may tell, or the answer says what it takes for granted.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from acquire.model.slips import OTHER_DIRECTION
from acquire.model.traverse import Traverse
from acquire.model.units import UM_PER_THOU
from tests.told_answers.inventing import Told, invent

MOST_WARMED_UM = 8.0
"""By how much a bed is hollower at the end of an evening than at its beginning."""
ACROSS = ("front", "vee")


def _one_run(number: int, seed: int, mended: Callable[[Told, Traverse], Traverse]) -> Told:
    """A survey one of whose runs is replaced."""
    told = invent(number, seed)
    at = int(told.rng.integers(len(told.runs)))
    told.runs[at] = mended(told, told.runs[at])
    return told


def with_readings(run: Traverse, station_mm: np.ndarray, reading: np.ndarray) -> Traverse:
    """A run with other places and readings, by rising station."""
    order = np.argsort(station_mm, kind="stable")
    return replace(run, stations=replace(run.stations, station_mm=station_mm[order], reading=reading[order]))


def from_the_far_end(number: int) -> Told:
    """One run's places measured from the other end of the bed than is thought."""

    def mirrored(told: Told, run: Traverse) -> Traverse:
        setup, stations = run.setup, run.stations
        setup = replace(setup, direction=OTHER_DIRECTION[setup.direction])  # as the places went
        return with_readings(
            replace(run, setup=setup), told.bed.length_mm - stations.station_mm, stations.reading
        )

    return _one_run(number, 92, mirrored)


def warming(number: int) -> Told:
    """The bed bends by as much from run to run, all evening."""

    def on(told: Told) -> None:
        length, a_run = told.bed.length_mm, told.rng.uniform(-1, 1) * MOST_WARMED_UM / 8

        def moved(run: int, face: str, x: np.ndarray) -> np.ndarray:
            if face == "guide":
                return np.zeros(np.shape(x))
            return told.bed.faces[face].upward * a_run * run * (1 - (2 * x / length - 1) ** 2)

        told.moved = moved

    return invent(number, 93, on)


def copied_twice(number: int) -> Told:
    """A reading written at the next station as well: instead of its own, or before it, all others one on."""

    def copied(told: Told, run: Traverse) -> Traverse:
        at, reading = int(told.rng.integers(len(run.stations.reading) - 1)), run.stations.reading.copy()
        if told.rng.random() < 0.5:
            reading[at + 1] = reading[at]
        else:
            reading[at + 1 :] = run.stations.reading[at:-1]
        return with_readings(run, run.stations.station_mm, reading)

    return _one_run(number, 94, copied)


def wrong_face(number: int) -> Told:
    """All runs of a level along one way written down as of another."""
    told = invent(number, 95)
    mine = [run for run in told.runs if run.setup.face in ACROSS and run.setup.reference is None]
    if not mine:
        return wrong_face(number + 1000)
    face = str(told.rng.choice(sorted({str(run.setup.face) for run in mine})))
    other = next(name for name in ACROSS if name != face)
    told.runs[:] = [
        replace(run, setup=replace(run.setup, face=other))
        if run.setup.face == face and run.setup.other is None and run.setup.reference is None
        else run
        for run in told.runs
    ]
    return told


def in_thou(number: int) -> Told:
    """One run's numbers are thou, or their like of a slope, and were taken for µm."""

    def small(told: Told, run: Traverse) -> Traverse:
        return with_readings(run, run.stations.station_mm, run.stations.reading / UM_PER_THOU)

    return _one_run(number, 96, small)


SLIPS: dict[str, Callable[[int], Told]] = {
    "far end": from_the_far_end,
    "warming": warming,
    "copied twice": copied_twice,
    "wrong face": wrong_face,
    "thou as µm": in_thou,
}
