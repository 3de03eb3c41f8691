"""Surveys in which one thing more is the matter, on the beds and by the habits of `inventing`.

Each is a name of `HABITS`. Some of it is stated in bed.toml, and then the ± has to hold; of what is not,
the readings may tell, or the answer says what it takes for granted.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from acquire.model.bed_toml.reading import parse_bed
from tests.invented import autoregressive
from tests.told_answers.inventing import KINDS, Told, bed_of_kind, bed_text, invent
from tests.told_answers.slips_of_the_hand import SLIPS

LEVELS = ("level", "odd", "beam")


def drawn(number: int) -> Told:
    """Levels drawn over the ways, there and back while they drift or one way; stepped runs; a dial."""
    rng = np.random.default_rng([83, number])
    kind = KINDS[number % len(KINDS)]
    pitch = float(rng.choice([100, 125]))
    length = pitch * round((2000 if kind == "joint" else rng.choice([1000, 1500, 2000])) / pitch)
    told = bed_of_kind(kind, parse_bed(bed_text(kind, length, pitch, rng)), rng)
    for face in [name for name in ("front", "vee", "tail", "under") if rng.random() < 0.6] or ["front"]:
        base = told.bed.instruments["level"].base_mm
        x = np.arange(base / 2, length - base / 2 + 1e-6, base)
        up = told.bed.faces[face].upward
        directions = ("forward", "reverse") if rng.random() < 0.5 else ("forward",)
        drift = rng.normal(0, 3) if len(directions) == 2 else 0.0
        if rng.random() < 0.5:
            told.add("level", x, up * told.slope("level", face, x), face=face)
        for direction in directions:
            _draw(told, face, direction, drift, rho=rng.choice([0.0, 0.5]))
    if rng.random() < 0.6:
        x = np.array(told.bed.station_mm)
        roll = (told.heights["vee"](x) - told.heights["front"](x)) / 0.3
        told.add("cross", x, roll, front="front", rear="vee")
    if rng.random() < 0.6:
        _draw_dial(told)
    return told


def _draw(told: Told, face: str, direction: str, drift: float, rho: float) -> None:
    base = told.bed.instruments["level"].base_mm
    x = np.arange(base / 2, told.bed.length_mm - base / 2 + 1e-6, 2.0)
    away = (x - x[0]) / np.ptp(x)
    slow = drift * (away if direction == "forward" else 1 - away)
    value = told.bed.faces[face].upward * told.slope("level", face, x) + slow + _correlated(told, rho, len(x))
    told.add("level", x, value, face=face, direction=direction, mode="continuous")


def _draw_dial(told: Told) -> None:
    """Along the front, reading the tail."""
    apart = told.bed.instruments["dial"].carrier_feet_mm
    x = np.arange(apart / 2, told.bed.length_mm - apart / 2 + 1e-6, 2.0)
    carried = (told.height("front", x - apart / 2) + told.height("front", x + apart / 2)) / 2
    told.add("dial", x, told.height("tail", x) - carried, face="tail", reference="front", mode="continuous")


def _correlated(told: Told, rho: float, count: int) -> np.ndarray:
    """Slow noise as large as that of single readings, beside it."""
    if not rho:
        return np.zeros(count)
    return autoregressive(told.rng.normal(0, (1 - rho**2) ** 0.5, count), rho)


def _described_anew(told: Told, **keys: str) -> None:
    """The same bed with a line more for some instruments."""
    text = told.bed.text
    for name, line in keys.items():
        text = text.replace(f"[instruments.{name}]\n", f"[instruments.{name}]\n{line}\n")
    told.bed = parse_bed(text)


def scale_off(number: int) -> Told:
    """The scale of one instrument out by 1 to 5 %, of which nobody knows."""

    def on(told: Told) -> None:
        name = told.rng.choice([*LEVELS[:2], "cross", "dial", "caliper"])
        told.scale_off[name] = float(told.rng.choice([-1, 1]) * told.rng.uniform(0.01, 0.05))

    return invent(number, 84, on)


def scale_stated(number: int) -> Told:
    """The scales of all instruments out, by as much as is stated."""

    def on(told: Told) -> None:
        names = [n for n in told.bed.instruments if told.bed.instruments[n].scale_uncertainty is None]
        _described_anew(told, **dict.fromkeys(names, "scale_uncertainty = 0.02"))

    return invent(number, 85, on)


def base_off(number: int) -> Told:
    """Feet of a level 0.5 to 2 mm farther apart or closer than is thought; nobody knows."""

    def on(told: Told) -> None:
        for name in LEVELS:
            told.base_off_mm[name] = float(told.rng.choice([-1, 1]) * told.rng.uniform(0.5, 2))

    return invent(number, 86, on)


def base_stated(number: int) -> Told:
    """As before, by as much as is stated."""

    def on(told: Told) -> None:
        _described_anew(told, **dict.fromkeys(LEVELS, "base_uncertainty_mm = 1"))
        for name in LEVELS:
            told.base_off_mm[name] = float(told.rng.normal())

    return invent(number, 87, on)


def rise_read(number: int) -> Told:
    """A level whose divisions are worth a rise over its base, which is out by as much as is stated."""

    def on(told: Told) -> None:
        _described_anew(told, **dict.fromkeys(LEVELS, "base_uncertainty_mm = 1"))
        for name in LEVELS:
            off = float(told.rng.normal())
            told.base_off_mm[name] = off
            told.scale_off[name] = off / told.bed.instruments[name].base_mm

    return invent(number, 88, on)


def sign_wrong(number: int) -> Told:
    """The dial, or a level, wired the other way round than is described."""

    def on(told: Told) -> None:
        told.sign[str(told.rng.choice(["dial", "dial", "level", "cross", "caliper"]))] = -1.0

    return invent(number, 89, on)


def cut_off(number: int) -> Told:
    """Runs broken off after a third or more, single stations left out and others read twice."""
    told = invent(number, 90)
    rng = told.rng
    for k, run in enumerate(told.runs):
        count = len(run.stations.station_mm)
        keep = np.ones(count, bool)
        if rng.random() < 0.4:
            at = int(rng.integers(count // 3, count))
            keep[:at] = True
            keep[at:] = False
            keep = keep if run.setup.direction == "forward" else keep[::-1]
        keep &= rng.random(count) > 0.08
        if keep.sum() > 3:
            chosen = np.flatnonzero(keep)
            told.runs[k] = replace(run, stations=_of(run, chosen))
    return told


def _of(run, chosen: np.ndarray):
    stations = run.stations
    names = ("station_mm", "reading", "standard_uncertainty", "scatter", "samples", "repeat", "time_s")
    return replace(stations, **{name: getattr(stations, name)[chosen] for name in names})


def bed_moved(number: int) -> Told:
    """Between two runs the bed was bent and twisted by its feet by some µm, which nobody wrote down."""

    def on(told: Told) -> None:
        rng, length = told.rng, told.bed.length_mm
        after, bow, twist = int(rng.integers(1, 5)), rng.normal(0, 5), rng.normal(0, 0.02)

        def moved(run: int, face: str, x: np.ndarray) -> np.ndarray:
            away = {"front": 0.0, "vee": 300.0, "tail": 120.0, "under": 0.0}.get(face)
            if run < after or away is None:
                return np.zeros(np.shape(x))
            up = told.bed.faces[face].upward
            return up * (bow * (1 - (2 * x / length - 1) ** 2) + twist * x / length * away)

        told.moved = moved

    return invent(number, 91, on)


HABITS: dict[str, Callable[[int], Told]] = {
    "drawn": drawn,
    "scale off": scale_off,
    "scale stated": scale_stated,
    "base off": base_off,
    "base stated": base_stated,
    "rise over base": rise_read,
    "sign wrong": sign_wrong,
    "cut off": cut_off,
    "bed moved": bed_moved,
    **SLIPS,
}
