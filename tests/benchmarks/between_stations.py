"""How often the stated 95 % intervals hold where carriers stand between the stations.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/between_stations.py [--surveys N] [--seed S] [WAY ...]

Each survey invents two ways of one class and a straight tailstock way. Levels of 100 mm are
stepped along both ways; a dial rides them and reads the tailstock way. Its feet stand
90 mm apart, or 200 mm apart with readings every 50 mm, or it is on a carriage 300 mm long
with readings every 50 mm and a cross level ties the ways. What the way does under a foot
between two stations no level has seen. A row gives the share of the tailstock way's heights
(after the least-squares line) that ± 2 u holds, the spread of their errors over u, the mean ±
in µm, and the worst error in its own u. A row that holds less than nine in ten, or is wider
than it need be, is marked, and the program then ends with 1. Readings come from the invented
heights directly, not from the adjustment.

Nothing covers ripples shorter than two stations and dips that fall wholly between two: the
last row has a dip 80 mm wide, and is there to say so.
"""

import argparse
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Traverse
from analysis.adjust.combination import combine
from analysis.linear.reference_lines import remove_line

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.invented import bed_toml, cross_level, dial, flat, level, traverse

LENGTH_MM = 2000.0
COVERAGE_FACTOR = 2.0
LEAST_HELD = 0.90
SPREADS = (0.3, 1.4)
"""Of errors over what is stated; smooth ways are told apart from scraped ones only so far."""
NOT_COVERED = "dip of 80 mm"
GRID_MM = np.arange(-400.0, LENGTH_MM + 401.0)
Way = Callable[[np.random.Generator], np.ndarray]


def bed_on(feet_mm: float | None) -> Bed:
    """Two ways of the carriage, a tailstock way, and a dial that is carried on feet or by the carriage."""
    instruments = {
        "level": level(base_mm=100, seating_um=0),
        "cross": cross_level(seating_um=0),
        "dial": dial(0.3, seating_um=0, carrier_feet_mm=feet_mm),
    }
    faces = {"front": flat(0, "front"), "rear": flat(300, "rear"), "tail": flat(100)}
    text = bed_toml(2000, bed={"carriage_length_mm": 300}, faces=faces, instruments=instruments)
    return parse_bed(text)


def worn(rng: np.random.Generator) -> np.ndarray:
    """Smooth: hollow by 10 to 80 µm, bowed, with a wave of 420 mm."""
    at, width = rng.uniform(0.25, 0.75) * LENGTH_MM, rng.uniform(0.2, 0.4) * LENGTH_MM
    bow, wave = rng.normal(0, 10), rng.normal(0, 2)
    hollow = rng.uniform(10, 80) * np.exp(-(((GRID_MM - at) / width) ** 2))
    ripple = wave * np.sin(2 * np.pi * GRID_MM / 420 + rng.uniform(0, 6))
    return bow * (2 * GRID_MM / LENGTH_MM - 1) ** 2 - hollow + ripple


def _from_line(height: np.ndarray, size_um: float) -> np.ndarray:
    height = height - np.polyval(np.polyfit(GRID_MM, height, 1), GRID_MM)
    return size_um * height / height.std()


def _of_spectrum(power: float, least: float, most: float) -> Way:
    """Random ways whose spectrum falls with that power of the wave number."""

    def way(rng: np.random.Generator) -> np.ndarray:
        wave_number = np.fft.rfftfreq(2 * len(GRID_MM))
        wave_number[0] = 1.0
        waves = rng.normal(size=len(wave_number)) + 1j * rng.normal(size=len(wave_number))
        waves[0] = 0.0
        height = np.fft.irfft(waves * wave_number ** (-power / 2))[: len(GRID_MM)]
        return _from_line(height, rng.uniform(least, most))

    return way


def terrain(rng: np.random.Generator) -> np.ndarray:
    """A landscape by midpoint displacement, 5 to 30 µm."""
    count = 4096
    height, step, size = np.zeros(count + 1), count, 1.0
    height[-1] = rng.normal()
    while step > 1:
        middle = (height[:-1:step] + height[step::step]) / 2
        height[step // 2 :: step] = middle + size * rng.normal(size=len(middle))
        step, size = step // 2, size * 0.5**0.7
    return _from_line(height[: len(GRID_MM)], rng.uniform(5, 30))


def ledge(rng: np.random.Generator) -> np.ndarray:
    """Wear that ends in a ledge of 10 to 30 µm within 5 to 20 mm."""
    at, over = rng.uniform(400, 1600), rng.uniform(5, 20)
    return 0.3 * worn(rng) + rng.uniform(10, 30) * np.clip((GRID_MM - at) / over, 0.0, 1.0)


def step(rng: np.random.Generator) -> np.ndarray:
    """A joint of the bed, 5 to 30 µm high."""
    return 0.3 * worn(rng) + rng.uniform(5, 30) * (rng.uniform(400, 1600) < GRID_MM)


def _dip(least_mm: float, most_mm: float) -> Way:
    """Worn a little, and a dip of 3 to 15 µm, so wide at a tenth of its depth."""

    def way(rng: np.random.Generator) -> np.ndarray:
        at, wide = rng.uniform(300, 1700), rng.uniform(least_mm, most_mm)
        return 0.3 * worn(rng) - rng.uniform(3, 15) * np.exp(-(((GRID_MM - at) / (wide / 3.03)) ** 2))

    return way


def scraped(rng: np.random.Generator) -> np.ndarray:
    """Worn, and scraped: a texture of 0.5 to 3 µm, some 60 mm long."""
    window = np.hanning(60)
    texture = np.convolve(rng.normal(size=len(GRID_MM) + 200), window / np.sqrt(window @ window), "same")
    return worn(rng) + rng.uniform(0.5, 3) * texture[100:-100]


WAYS: dict[str, Way] = {
    "smooth": worn,
    "spectrum k^-2.2": _of_spectrum(2.2, 3, 20),
    "spectrum k^-1.4": _of_spectrum(1.4, 2, 10),
    "terrain": terrain,
    "wear ledge": ledge,
    "step": step,
    "dip 200 to 400 mm": _dip(200, 400),
    "scraped": scraped,
    NOT_COVERED: _dip(80, 80.1),
}
SET_UPS = {"feet 90": (90.0, 100.0), "feet 200, every 50": (200.0, 50.0), "carriage 300": (300.0, 50.0)}


def survey(way: Way, set_up: str, rng: np.random.Generator) -> tuple[list[Traverse], Bed]:
    """Readings of levels, cross level and dial on ways of one class."""
    length_mm, every_mm = SET_UPS[set_up]
    on_carriage = set_up.startswith("carriage")
    bed = bed_on(None if on_carriage else length_mm)
    front, rear = way(rng), way(rng)

    def height(table: np.ndarray, x: np.ndarray) -> np.ndarray:
        return np.interp(x, GRID_MM, table)

    middle, station = np.arange(50.0, LENGTH_MM, 100.0), np.array(bed.station_mm)
    runs = [
        traverse(bed, "level", middle, (height(h, middle + 50) - height(h, middle - 50)) * 10
                 + rng.normal(0, 1, len(middle)), number=k + 1, face=face)
        for k, (face, h) in enumerate((("front", front), ("rear", rear)))
    ]  # fmt: skip
    half = length_mm / 2
    at = np.arange(np.ceil(half / 50) * 50, LENGTH_MM - half + 1, every_mm)
    front_mean, rear_mean = ((height(h, at - half) + height(h, at + half)) / 2 for h in (front, rear))
    ridden, reference = front_mean, "front"
    if on_carriage:
        roll = (height(rear, station) - height(front, station)) / 0.3 + rng.normal(0, 1, len(station))
        runs.append(traverse(bed, "cross", station, roll, number=3, front="front", rear="rear"))
        ridden, reference = front_mean + (rear_mean - front_mean) / 3, "carriage"
    read = 0.02 * at - ridden + rng.normal(0, 0.3, len(at))
    runs.append(traverse(bed, "dial", at, read, number=4, face="tail", reference=reference))
    return runs, bed


def judged(runs: list[Traverse], bed: Bed) -> tuple[np.ndarray, np.ndarray]:
    """Errors of the tailstock way's heights from their line, and their standard uncertainties."""
    bed_map = combine(runs, bed)
    index = bed_map.indices("tail")
    station = np.array([bed_map.nodes[i].station_mm for i in index])
    profile = bed_map.combined("tail", station, np.eye(len(bed_map.nodes))[index])
    level = remove_line(profile, "least-squares")
    return level.height_um, level.standard_uncertainty_um


@dataclass(frozen=True, eq=False)
class Row:
    """Errors of one case over what is stated, a survey each, and what is stated."""

    ratios: list[np.ndarray]
    wide_um: list[np.ndarray]

    @property
    def held(self) -> float:
        """Share of the heights held."""
        return float(np.mean(np.concatenate(self.ratios) <= COVERAGE_FACTOR))

    @property
    def spread(self) -> float:
        """Root mean square of errors over u."""
        return float(np.sqrt(np.mean(np.concatenate(self.ratios) ** 2)))

    @property
    def width_um(self) -> float:
        """Mean ±."""
        return float(np.mean(np.concatenate(self.wide_um)))

    @property
    def worst(self) -> float:
        """Largest error over u."""
        return float(np.concatenate(self.ratios).max())

    @property
    def verdict(self) -> str:
        """n: surely too narrow | w: surely too wide; else empty."""
        by_survey = np.array([[np.mean(r <= COVERAGE_FACTOR), np.mean(r**2)] for r in self.ratios])
        unsure = 2 * by_survey.std(axis=0) / len(by_survey) ** 0.5
        half_width = unsure[1] / (2 * self.spread)
        if self.held + unsure[0] < LEAST_HELD or self.spread - half_width > SPREADS[1]:
            return "n"
        return "w" if self.spread + half_width < SPREADS[0] else ""


def run_case(name: str, set_up: str, surveys: int, seed: int = 1) -> Row:
    """All surveys of one way and set-up."""
    row = Row([], [])
    for number in range(surveys):
        rng = np.random.default_rng([seed, list(WAYS).index(name), list(SET_UPS).index(set_up), number])
        error, u = judged(*survey(WAYS[name], set_up, rng))
        row.ratios.append(np.abs(error) / u)
        row.wide_um.append(COVERAGE_FACTOR * u)
    return row


def main() -> int:
    """Print the table; 1 where a row is beyond its limits."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--surveys", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("ways", nargs="*", default=list(WAYS))
    asked = parser.parse_args()
    titles = "".join(f"{name + ': held, spread, mean ±, worst':>46}" for name in SET_UPS)
    print(f"{'way':<20}{titles}{'s':>6}")
    wrong = 0
    for name in asked.ways:
        start = time.perf_counter()
        cells = []
        for set_up in SET_UPS:
            row = run_case(name, set_up, asked.surveys, asked.seed)
            verdict = "" if name == NOT_COVERED else row.verdict
            wrong += bool(verdict)
            figures = f"{row.spread:>7.2f}{row.width_um:>7.2f}{row.worst:>7.2f}"
            cells.append(f"{100 * row.held:>22.1f} %{figures}{verdict:>2}")
        print(f"{name:<20}{''.join(cells)}{time.perf_counter() - start:>6.0f}", flush=True)
    print("Intervals with k = 2 (95.4 %). The last row is covered by nothing.")
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
