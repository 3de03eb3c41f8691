"""Is an instrument noisier than it claims? One variance factor per instrument, from all readings.

Each factor is the instrument's sum of squared residuals over its share of the redundancy,
repeated until nothing changes: the solution of the restricted likelihood equations (REML).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Bed
from analysis.adjust.assembly import assemble
from analysis.adjust.reliability import residual_table
from analysis.adjust.repeated_steps import least_factor
from analysis.adjust.solution import Solution, solve
from analysis.observe import Observations

LEAST_REDUNDANCY = 3.0
ROUNDS = 60
CLOSE_ENOUGH = 1e-4
LOWEST, HIGHEST = 1e-4, 1e6


@dataclass(frozen=True)
class VarianceComponent:
    """How noisy an instrument is against what it claims."""

    instrument: str
    """Its name; followed by "(drawn)" for its dense runs, whose noise was judged once already."""
    noise_ratio: float
    """Actual over claimed standard uncertainty."""
    standard_uncertainty: float
    """Of the ratio."""
    redundancy: float
    """How many independent checks it rests on."""


def variance_components(observations: Sequence[Observations], bed: Bed) -> tuple[VarianceComponent, ...]:
    """Noise ratio of every instrument whose readings are checked often enough to tell.

    Instruments with fewer than three checks in all keep what they claim and are left out.
    """
    factors: dict[str, float] = {}
    shares: dict[str, float] = {}
    least: dict[str, float] = {}
    for each in observations:
        least[each.noise_group] = max(least.get(each.noise_group, LOWEST), least_factor(each))
    for _ in range(ROUNDS):
        assembly = assemble(observations, bed, variance_factors=factors)
        solution = solve(assembly.blocks, assembly.unknowns)
        sums, shares = _by_instrument(solution, observations)
        new = {
            name: float(np.clip(factors.get(name, 1.0) * sums[name] / shares[name], least[name], HIGHEST))
            for name in sums
            if shares[name] >= LEAST_REDUNDANCY
        }
        change = max((abs(new[name] / factors.get(name, 1.0) - 1) for name in new), default=0.0)
        factors = new
        if change < CLOSE_ENOUGH:
            break
    return tuple(
        VarianceComponent(name, factor**0.5, factor**0.5 / (2 * shares[name]) ** 0.5, shares[name])
        for name, factor in factors.items()
    )


def _by_instrument(
    solution: Solution, observations: Sequence[Observations]
) -> tuple[dict[str, float], dict[str, float]]:
    """Sum of squared whitened residuals and of redundancy, per instrument."""
    table = residual_table(solution, observations)
    sums: dict[str, float] = {}
    shares: dict[str, float] = {}
    first = 0
    for each, left in zip(observations, solution.leftover, strict=False):
        last = first + len(each)
        group = each.noise_group
        sums[group] = sums.get(group, 0.0) + float(left @ left)
        share = float(np.sum(table.redundancy[first:last]))
        shares[group] = shares.get(group, 0.0) + share
        first = last
    return sums, shares
