"""Times of the estimator for dense slopes, 1e3 to 1e5 nodes: run this file.

One likelihood evaluation is one factorisation and solution for one bending strength.
"""

import time

import numpy as np

from analysis.level.continuous import heights_from_continuous_slopes
from analysis.level.fit import normal_for, problem_for, solve
from analysis.level.slopes import continuous_run


def timed(deed, rounds: int) -> tuple[float, object]:
    """The shortest of several times, in ms, and the last result."""
    best, result = np.inf, None
    for _ in range(rounds):
        start = time.perf_counter()
        result = deed()
        best = min(best, time.perf_counter() - start)
    return best * 1e3, result


def traverse(length_mm: float, spacing_mm: float, base_mm: float):
    rng = np.random.default_rng(1)
    x = np.arange(base_mm / 2, length_mm - base_mm / 2, spacing_mm)
    slope = 200 * np.sin(2 * np.pi * x / 700) + 2 * rng.normal(size=len(x))
    return continuous_run(x, slope, 2.0, base_mm)


def main() -> int:
    print(f"{'nodes':>8} {'width':>6} {'set up, ms':>11} {'likelihood, ms':>15} {'height off, um':>15}")
    reference = None
    for nodes in (1000, 3000, 10_000, 30_000, 100_000):
        spacing = 1500 / nodes
        run = traverse(1500, 1.5, 200)
        setup, problem = timed(lambda run=run, spacing=spacing: problem_for([run], spacing), 1)
        normal = normal_for(problem, problem.sigma_um)
        each, solution = timed(lambda p=problem, n=normal: solve(p, n, 10**-3.5), 3)
        at = np.arange(100, 1401, 100.0)
        height = np.interp(at, problem.node_mm, solution.height_um)
        height -= np.polyval(np.polyfit(at, height, 1), at)
        reference = height if reference is None else reference
        off = np.max(np.abs(height - reference))
        print(f"{len(problem.node_mm):8d} {problem.band_width:6d} {setup:11.0f} {each:15.1f} {off:15.4f}")
    station = np.arange(0, 1501, 50.0)
    for bases in ([200], [200, 130]):
        runs = [traverse(1501, 2.0, base) for base in bases]
        whole, _ = timed(lambda runs=runs: heights_from_continuous_slopes(runs, station), 1)
        print(f"whole estimate, 1500 mm at 2 mm, bases {bases}: {whole / 1e3:.2f} s")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
