"""Times and memory of heights from drawn levels, beside the banded factorisations that they need.

Run: OPENBLAS_NUM_THREADS=1 python tests/benchmarks/continuous.py

The floor is what the same number of likelihood evaluations costs in LAPACK alone: one banded
Cholesky factor and one solution for each, of the same band with a prior in it.  Without one the band
is all but empty, LAPACK leaves the zeros out, and a factor takes a fifth of the time.
"""

import resource
import time
from collections.abc import Callable
from unittest import mock

import numpy as np
from scipy import linalg

from analysis.level import evidence, fit, opinions
from analysis.level.continuous import heights_from_continuous_slopes
from analysis.level.slopes import ContinuousRun, continuous_run, gathered, spacing_for
from analysis.level.smoothness import Stationary

ROWS = (
    ("1.5 m at 1 mm, base 200", 1500, 1.0, (200,)),
    ("1.5 m at 1 mm, bases 200, 130", 1500, 1.0, (200, 130)),
    ("1e5 readings on 1.5 m, base 200", 1500, 0.013, (200,)),
    ("1e6 readings on 1.5 m, base 200", 1500, 0.0013, (200,)),
    ("30 m at 1 mm, base 200", 30_000, 1.0, (200,)),
)


def run_along(length_mm: float, spacing_mm: float, base_mm: float) -> ContinuousRun:
    """A run over an invented way, hollow and wavy, with noise of 2 µm/m."""
    rng = np.random.default_rng(1)
    x = np.arange(base_mm / 2, length_mm - base_mm / 2 + 1e-6, spacing_mm)
    slope = 200 * np.sin(2 * np.pi * x / 700) + 2 * rng.normal(size=len(x))
    return continuous_run(x, slope, 2.0, base_mm)


def cpu_seconds(deed: Callable[[], object]) -> float:
    """Processor time of one call."""
    start = time.process_time()
    deed()
    return time.process_time() - start


def floor_seconds(runs: list[ContinuousRun]) -> float:
    """One banded factor and solution of the problem with a prior, the least of several."""
    problem = fit.problem_for(runs, spacing_for(runs))
    normal = fit.normal_for(problem, np.zeros(len(runs)))
    band = normal.band.copy(order="F")
    prior = Stationary(2, max(run.base_mm for run in runs)).on(problem.node_mm)
    band[: len(prior.band)] += prior.band

    def once() -> None:
        lower = linalg.cholesky_banded(band, lower=True, check_finite=False)
        linalg.cho_solve_banded((lower, True), normal.right, check_finite=False)

    return min(cpu_seconds(once) for _ in range(5))


def main() -> int:
    print(f"{'case':<34}{'nodes':>7}{'evaluations':>13}{'cpu s':>8}{'floor s':>9}{'ratio':>7}{'peak MB':>9}")
    for name, length, spacing, bases in ROWS:
        runs = [run_along(length, spacing, base) for base in bases]
        station = np.linspace(0, length, 16) if length < 5000 else np.arange(0.0, length + 1, 200.0)
        with (
            mock.patch.object(evidence, "solve", wraps=fit.solve) as first,
            mock.patch.object(opinions, "solve", wraps=fit.solve) as second,
        ):
            start = time.process_time()
            heights_from_continuous_slopes([gathered(run) for run in runs], station)
            spent = time.process_time() - start
        times = first.call_count + second.call_count
        floor = times * floor_seconds([gathered(run) for run in runs])
        nodes = len(fit.problem_for(runs, spacing_for(runs)).node_mm)
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(
            f"{name:<34}{nodes:>7}{times:>13}{spent:>8.2f}{floor:>9.2f}{spent / floor:>7.1f}{peak:>9.0f}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
