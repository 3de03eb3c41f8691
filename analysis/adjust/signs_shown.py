"""Whose signs the other readings show: with every reading of an instrument negated they would contradict it.

    λ = 4 (|(I − H) W y_g|² − r_g)        y_g the readings of the instrument, 0 for all others

is how much larger the sum of squares would be but for noise, which alone makes r_g of it, the redundancy of
those readings. Where that is no more than what goes unnoticed among r others, λ < 4.13 √(2r + 4.13²), a
hollow way may as well be a crowned one: its instrument is wired, or was read, the other way round, and
nothing tells. Derived; H is the projection on what the readings tell (`reliability`).
"""

from collections.abc import Sequence

import numpy as np

from analysis.adjust.reliability import SMALLEST_DETECTABLE
from analysis.adjust.solution import Solution
from analysis.observe import Observations


def signs_shown(solution: Solution, observations: Sequence[Observations]) -> frozenset[str]:
    """Names of the instruments whose readings could not have the other sign.

    Parameters
    ----------
    solution : Solution
        Of the observations, a block each, and of what ties them.
    observations : sequence of Observations
    """
    blocks = solution.blocks[: len(observations)]
    redundancy = np.array([float(each.redundancy.sum()) for each in solution.reliability[: len(blocks)]])
    names = [each.instrument for each in observations]
    unnoticed = SMALLEST_DETECTABLE * np.sqrt(2.0 * redundancy.sum() + SMALLEST_DETECTABLE**2)
    found = []
    for name in dict.fromkeys(names):
        mine = np.flatnonzero([each == name for each in names])
        values = [blocks[k].white(blocks[k].value) for k in mine]
        right = sum(blocks[k].whitened.T @ value for k, value in zip(mine, values, strict=True))
        told = float(right @ solution.fit.solve(np.asarray(right)))
        left = sum(float(value @ value) for value in values) - told
        if 4.0 * (left - redundancy[mine].sum()) > unnoticed:
            found.append(name)
    return frozenset(found)
