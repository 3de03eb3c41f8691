"""The adjustment of a long bed beside a sparse factorisation of the same normal matrix.

Run: python tests/benchmarks/adjustment.py [TIMES]
Two faces (invented), six traverses: a level both ways on each, a cross level, an indicator from one
to the other.  Asked: heights, the variance of every height and of every reading.
Yardstick: scipy's splu of the normal matrix, and as many of its columns as there are unknowns.  Both
in turns in one run; CPU seconds, least of TIMES, and the spread of the ratio.
The claim: at most 3 times the yardstick at 2 x 2,000 stations; 2 x 20,000 stations under 10 s and
1 GB; growth not above n^1.2.
"""

import math
import resource
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from time import process_time

import numpy as np
from scipy import sparse
from scipy.sparse.linalg import splu

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.traverse import Traverse
from analysis.adjust.assembly import Assembly, assemble
from analysis.adjust.solution import Solution, solve
from analysis.observe import observe_all

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))
from tests.invented import traverse

PITCH_MM = 4.0
COLUMNS = 500
TOML = """
[bed]
name = "invented"
length_mm = 400
station_pitch_mm = 4
[faces]
front = { normal = "up", across_mm = 0 }
rear = { normal = "up", across_mm = 300 }
[instruments]
level = { quantity = "slope", unit = "um/m", base_mm = 4, standard_uncertainty = 50, seating_um = 0 }
cross = { quantity = "roll", unit = "um/m", standard_uncertainty = 1, seating_um = 0 }
dial = { quantity = "offset", unit = "um", standard_uncertainty = 1, seating_um = 0 }
"""


def invented(stations: int) -> tuple[list[Traverse], Bed]:
    """Six traverses of a bed with so many stations on each face."""
    rng = np.random.default_rng(1)
    x = PITCH_MM * np.arange(stations)
    bed = replace(parse_bed(TOML), length_mm=float(x[-1]), station_mm=tuple(x))
    front, rear = np.cumsum(rng.normal(0, 0.3, (2, stations)), axis=1)
    runs: list[Traverse] = []

    def read(instrument: str, station_mm: np.ndarray, reading: np.ndarray, **setup: str) -> None:
        noisy = reading + rng.normal(0, bed.instruments[instrument].uncertainty, len(station_mm))
        runs.append(traverse(bed, instrument, station_mm, noisy, number=len(runs) + 1, **setup))

    for face, height in (("front", front), ("rear", rear)):
        for direction in ("forward", "reverse"):
            slope = np.diff(height) / PITCH_MM * 1000
            read("level", x[:-1] + PITCH_MM / 2, slope, face=face, direction=direction)
    read("cross", x, (rear - front) / 0.3, front="front", rear="rear")
    read("dial", x, rear - front, face="rear", reference="front")
    return runs, bed


def ours(assembly: Assembly) -> Solution:
    """Heights, the variance of each unknown and of each reading."""
    solution = solve(assembly.blocks, assembly.unknowns, len(assembly.layout.nodes))
    solution.fit.variances()
    assert len(solution.reliability) == len(assembly.blocks)
    return solution


def yardstick(solution: Solution) -> np.ndarray:
    """The same from splu: every column of the inverse, its diagonal kept."""
    kept = np.setdiff1d(np.arange(len(solution.estimate)), solution.fit.held)
    rows = sparse.vstack([block.whitened for block in solution.blocks]).tocsc()[:, kept]
    factored = splu(sparse.csc_matrix(rows.T @ rows))
    factored.solve(rows.T @ np.concatenate([b.whitener @ b.value for b in solution.blocks]))
    variance = np.empty(len(kept))
    for first in range(0, len(kept), COLUMNS):
        last = min(first + COLUMNS, len(kept))
        unit = np.zeros((len(kept), last - first))
        unit[np.arange(first, last), np.arange(last - first)] = 1.0
        variance[first:last] = np.diag(factored.solve(unit)[first:last])
    found = np.zeros(len(solution.estimate))
    found[kept] = variance
    return found


def seconds(function, *given) -> tuple[float, object]:
    """CPU seconds of one call, and what it returned."""
    start = process_time()
    result = function(*given)
    return process_time() - start, result


def against_yardstick(stations: int, times: int) -> bool:
    """Print one row; whether the claim was missed."""
    runs, bed = invented(stations)
    lasted = []
    for _ in range(times):
        whole, assembly = seconds(lambda: assemble(observe_all(runs, bed), bed))
        mine, solution = seconds(ours, assembly)
        theirs, variance = seconds(yardstick, solution)
        lasted.append((mine, whole + mine, theirs))
    apart = np.max(np.abs(solution.fit.variances() / np.where(variance > 0, variance, 1.0) - (variance > 0)))
    ratio = [mine / theirs for mine, _, theirs in lasted]
    least = [min(column) for column in zip(*lasted, strict=True)]
    print(
        f"2 x {stations}: {least[0]:.2f} s, with rows made from readings {least[1]:.2f} s; "
        f"splu {least[2]:.2f} s; ratio {least[0] / least[2]:.2f} ({min(ratio):.2f} to {max(ratio):.2f}), "
        f"with rows {least[1] / least[2]:.2f}; variances apart by {apart:.0e} of themselves"
    )
    return least[0] > 3 * least[2] or apart > 1e-6


def alone(stations: int) -> None:
    """Print CPU seconds and the most memory of one adjustment, for a process of its own."""
    runs, bed = invented(stations)
    made, assembly = seconds(lambda: assemble(observe_all(runs, bed), bed))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    mine, _ = seconds(ours, assembly)
    print(made, mine, before, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)


def growth(sizes: list[int]) -> bool:
    """Print how time and memory grow; whether the claim was missed."""
    rows = []
    for stations in sizes:
        command = [sys.executable, __file__, "--alone", str(stations)]
        text = subprocess.run(command, capture_output=True, text=True, check=True).stdout
        made, mine, before, most = map(float, text.split())
        print(
            f"2 x {stations}: {mine:.2f} s, at most {most:.0f} MB (before it {before:.0f}); "
            f"rows made from readings {made:.2f} s"
        )
        rows.append((mine, most))
    power = math.log(rows[-1][0] / rows[0][0]) / math.log(sizes[-1] / sizes[0])
    print(f"growth from {sizes[0]} to {sizes[-1]} stations: n^{power:.2f}")
    return power > 1.2 or rows[-1][0] > 10 or rows[-1][1] > 1024


def main() -> int:
    if sys.argv[1:2] == ["--alone"]:
        alone(int(sys.argv[2]))
        return 0
    missed = against_yardstick(2000, int(sys.argv[1]) if sys.argv[1:] else 5)
    return int(growth([2000, 5000, 20_000]) or missed)


if __name__ == "__main__":
    sys.exit(main())
