"""How often the stated 95 % intervals hold on a way that only a carrier has felt, taken as a point.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/carriers_as_points.py [--surveys N] [--seed S] [WAY ...]

A level is stepped along a straight tailstock way; a dial on feet 300, 200 or 90 mm apart rides
a way that nothing else reads, every 100 or 50 mm.  A row gives the share of the way's heights (after
the least-squares line) that ± 2 u holds, the spread of their errors over u, and the mean ± in µm.
Feet wider apart than the readings do not see waves of twice their distance: those rows are wide on
purpose.  A row that holds less than nine in ten is marked, and the program then ends with 1.
"""

import argparse
from dataclasses import replace

import between_stations as known
import numpy as np

from acquire.model.bed import Bed
from acquire.model.traverse import Traverse
from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line

SET_UPS = {
    "feet 300, every 100": (300.0, 100.0),
    "feet 200, every 50": (200.0, 50.0),
    "feet 90": (90.0, 100.0),
}


def long_bow(rng: np.random.Generator) -> np.ndarray:
    """A parabola over the whole bed, 10 to 60 µm."""
    return rng.choice([-1, 1]) * rng.uniform(10, 60) * (2 * known.GRID_MM / known.LENGTH_MM - 1) ** 2


def hollow(rng: np.random.Generator) -> np.ndarray:
    """A hollow 240 to 700 mm long, 20 to 60 µm deep, on a straight way."""
    half, at = rng.uniform(120, 350), rng.uniform(500, 1500)
    return -rng.uniform(20, 60) * (1 - np.clip((known.GRID_MM - at) / half, -1, 1) ** 2) ** 2


WAYS: dict[str, known.Way] = {
    "long bow": long_bow,
    "hollow of 240 to 700 mm": hollow,
    **{name: way for name, way in known.WAYS.items() if name != known.NOT_COVERED},
}


def survey(way: known.Way, set_up: str, rng: np.random.Generator) -> tuple[list[Traverse], Bed, np.ndarray]:
    """A level on the tailstock way, a dial on feet over a way of one class, and that way's heights."""
    feet_mm, every_mm = SET_UPS[set_up]
    bed = known.bed_on(feet_mm)
    height, half = way(rng), feet_mm / 2
    at = np.arange(np.ceil(half / 100) * 100, known.LENGTH_MM - half + 1, every_mm)
    under = [np.interp(at + side * half, known.GRID_MM, height) for side in (-1, 1)]
    read = 0.02 * at - np.mean(under, axis=0) + rng.normal(0, 0.3, len(at))
    middle = np.arange(50.0, known.LENGTH_MM, 100.0)
    runs = [
        known.traverse(bed, "level", middle, 20 + rng.normal(0, 1, len(middle)), number=1, face="tail"),
        known.traverse(bed, "dial", at, read, number=2, face="tail", reference="front"),
    ]
    return runs, bed, height


def run_case(name: str, set_up: str, surveys: int, seed: int = 1) -> known.Row:
    """All surveys of one way and set-up."""
    row = known.Row([], [])
    for number in range(surveys):
        rng = np.random.default_rng([seed, list(WAYS).index(name), list(SET_UPS).index(set_up), number])
        runs, bed, height = survey(WAYS[name], set_up, rng)
        profile = combine(runs, bed).profile("front")
        true = replace(profile, height_um=np.interp(profile.station_mm, known.GRID_MM, height))
        found, true = (remove_line(each, "least-squares") for each in (profile, true))
        row.ratios.append(np.abs(found.height_um - true.height_um) / found.standard_uncertainty_um)
        row.wide_um.append(known.COVERAGE_FACTOR * found.standard_uncertainty_um)
    return row


def main() -> int:
    """Print the table; 1 where a row holds too little."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=30)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("ways", nargs="*", default=list(WAYS))
    asked = parser.parse_args()
    print(f"{'way':<24}" + "".join(f"{name + ': held, spread, mean ±':>44}" for name in SET_UPS))
    wrong = 0
    for name in asked.ways:
        rows = [run_case(name, set_up, asked.surveys, asked.seed) for set_up in SET_UPS]
        marks = ["n" if row.verdict == "n" else "" for row in rows]
        wrong += sum(map(bool, marks))
        cells = [
            f"{100 * row.held:>28.1f} %{row.spread:>6.2f}{row.width_um:>7.2f}{mark:>2}"
            for row, mark in zip(rows, marks, strict=True)
        ]
        print(f"{name:<24}{''.join(cells)}", flush=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
