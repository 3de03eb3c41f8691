"""How often a slip of a whole run is found, named rightly, and seen where there is none.

    python tests/benchmarks/run_slips.py [surveys of each row] [seed]

A level of 100 mm base and u = 2 µm/m is stepped along an invented way, 17 readings a run, hollow
by 10 to 60 µm with its deepest place off the middle: three right runs (forward, reverse, forward)
and a fourth that has a slip, or is merely bad. `other shape` is a run along another way; `two runs`
is a survey of two, either of which may be the one written wrongly; `and another slip` has a fifth run,
and the first is written ten times too large besides.
"""

import sys
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.slips import moved, parsed, undone
from acquire.model.traverse import Traverse
from analysis.adjust.combination import combine

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.invented import bed_toml, level, traverse

BASE_MM, READINGS, U = 100.0, 17, 2.0
BED = parse_bed(
    bed_toml(
        BASE_MM * READINGS,
        BASE_MM,
        faces=("way",),
        instruments={
            "level": level(U, BASE_MM, resolution=0.5, seating_um=0.0),
            "vial": level(U / 20, BASE_MM, per_division=20, resolution=0.05, seating_um=0.0),
        },
    )
)
AT_MM = BASE_MM * (np.arange(READINGS) + 0.5)
SLIPS = {
    "turned": ("turned",),
    "order": ("order",),
    "turned, order": ("turned", "order"),
    "mm/m": ("unit:mm/m",),
    "arcsec": ("unit:arcsec",),
    "divisions": ("times:20",),
    "times 25.4": ("times:25.4",),
    "times 1/25.4": ("times:0.03937007874",),
    "times 10": ("times:10",),
    "times 0.1": ("times:0.1",),
    "times 2": ("times:2",),
    "times 0.5": ("times:0.5",),
    "times 0.001": ("times:0.001",),
    "further": ("shifted:+100",),
    "less far": ("shifted:-100",),
    "vial in µm/m": ("unit:um/m",),
}
RIGHT = ("right", "drift 25", "outlier 12 u", "noise x 3", "other shape")


def slopes(rng: np.random.Generator, is_symmetrical: bool = False) -> np.ndarray:
    """A hollow way of 10 to 60 µm and some waviness, as slopes between its feet."""
    x = np.linspace(0, 1, READINGS + 1)
    deepest = 0.5 if is_symmetrical else rng.choice([-1, 1]) * rng.uniform(0.12, 0.25) + 0.5
    power = np.log(0.5) / np.log(deepest)
    depth = rng.uniform(10, 60)
    height = -depth * np.sin(np.pi * x**power)
    if not is_symmetrical:
        height += 0.05 * depth * np.sin(2 * np.pi * rng.uniform(2, 4) * x + rng.uniform(0, 6))
    return np.diff(height) / BASE_MM * 1000 + rng.normal(0, 50)


def run(rng, slope, number, direction="forward", name="level", noise=1.0):
    """One right run, read to the display's step."""
    reading = slope + rng.normal(0, 30) + noise * U * rng.standard_normal(READINGS)
    step = 0.5 if name == "level" else 1.0
    shown = np.round(reading / step) * step
    return traverse(BED, name, AT_MM, shown, number=number, face="way", direction=direction)


def slipped(traverse: Traverse, names, rng) -> Traverse:
    """The run as somebody wrote it who made this slip: `undone` would give it back."""
    slip = parsed(names, traverse.setup)
    inverse = replace(slip, factor=1 / slip.factor, along_mm=-slip.along_mm)
    if slip.is_turned:
        inverse = replace(inverse, factor=-inverse.factor)
    stations = undone(traverse.setup, traverse.stations, inverse)
    if slip.along_mm:  # the station that fell off the end was read somewhere: once more where it began
        whole = np.full(READINGS, np.nan)
        index = moved(traverse.setup, AT_MM, inverse)[1]
        whole[np.isin(AT_MM, stations.station_mm)] = traverse.stations.reading[index]
        lost = np.isnan(whole)
        whole[lost] = traverse.stations.reading[-1 if slip.along_mm < 0 else 0] + rng.normal(0, 2**0.5 * U)
        stations = replace(traverse.stations, reading=whole)
    # written to the digits of the display, in whatever unit
    step = (0.5 if traverse.setup.instrument == "level" else 1.0) / max(abs(slip.factor), 1.0)
    written = replace(stations, reading=np.round(stations.reading / step) * step)
    direction = traverse.setup.direction
    return replace(traverse, stations=written, setup=replace(traverse.setup, direction=direction))


def spoilt(rng, slope, kind: str, number: int) -> Traverse:
    """A run that is bad, but not by a slip; or right."""
    if kind == "other shape":
        return run(rng, slopes(rng), number, "reverse")
    found = run(rng, slope, number, "reverse", noise=3.0 if kind == "noise x 3" else 1.0)
    reading = found.stations.reading.copy()
    if kind == "drift 25":
        reading += np.linspace(25, 0, READINGS)
    if kind == "outlier 12 u":
        reading[rng.integers(READINGS)] += 12 * U * rng.choice([-1, 1])
    return replace(found, stations=replace(found.stations, reading=reading))


def outcome(traverses, names) -> str:
    """What is said of the last run; of two slips also of the first, which was ten times too large."""
    found = combine(traverses, BED).slips
    if not found:
        return "nothing"
    if len(traverses) == 5:
        both = [(f.traverses, [e.redo_as for e in f.explanations]) for f in found]
        return "right" if both == [((1,), [("times:0.1",)]), ((5,), [names])] else "wrong"
    each = found[0].explanations
    right = [e for e in each if e.redo_as == names and e.traverses == (traverses[-1].number,)]
    if len(each) == 1:
        return "right" if right else "wrong"
    return "either" if right else "wrong"


def survey(rng, kind: str, is_symmetrical: bool = False, two: bool = False, besides: bool = False):
    slope = slopes(rng, is_symmetrical)
    directions = ("forward",) if two else ("forward", "reverse", "forward", "reverse")[: 4 if besides else 3]
    others = [run(rng, slope, k + 1, way) for k, way in enumerate(directions)]
    if besides:
        others[0] = slipped(others[0], ("times:0.1",), rng)
    number = len(others) + 1
    if kind in RIGHT:
        return [*others, spoilt(rng, slope, kind, number)], ()
    names = SLIPS[kind]
    name = "vial" if names == ("unit:um/m",) else "level"
    direction = "reverse"
    return [*others, slipped(run(rng, slope, number, direction, name), names, rng)], names


def row(kind: str, surveys: int, seed: int, **how) -> Counter:
    """Outcomes of one row."""
    rng = np.random.default_rng([seed, sum(map(ord, kind)), len(how)])
    return Counter(outcome(*survey(rng, kind, **how)) for _ in range(surveys))


def main(surveys: int = 40, seed: int = 1) -> None:
    rows = [(kind, {}) for kind in (*SLIPS, *RIGHT)]
    rows += [(kind, {"is_symmetrical": True}) for kind in ("turned", "order")]
    rows += [(kind, {"two": True}) for kind in ("turned", "order", "right")]
    rows += [(kind, {"besides": True}) for kind in ("turned", "order", "further", "times 25.4")]
    print(f"{'slip':28} {'right':>6} {'either':>7} {'nothing':>8} {'wrong':>6}  of {surveys}")
    for kind, how in rows:
        began = time.process_time()
        found = row(kind, surveys, seed, **how)
        shares = " ".join(
            f"{100 * found[name] / surveys:7.1f}" for name in ("right", "either", "nothing", "wrong")
        )
        words = ", ".join(
            [
                kind,
                *(
                    name.replace("is_", "").replace("two", "two runs").replace("besides", "and another slip")
                    for name in how
                ),
            ]
        )
        print(f"{words:26} {shares}   {(time.process_time() - began) / surveys:.3f} s each", flush=True)


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
