"""Whose signs the other readings show: with every reading of an instrument negated they would contradict it.

    λ = |2 (I − H) W y_g|²        y_g the readings of the instrument, 0 for all others

is how much larger the sum of squares would be. Where it is no larger than what a single error can be and
go unnoticed, a hollow way may as well be a crowned one: its instrument is wired, or was read, the other way
round, and nothing tells. Derived; H is the projection on what the readings tell (`reliability`).
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
    found = []
    for name in dict.fromkeys(each.instrument for each in observations):
        mine = [block for block, each in zip(blocks, observations, strict=True) if each.instrument == name]
        turned = [2.0 * (block.whitener @ block.value) for block in mine]
        right = sum(block.whitened.T @ each for block, each in zip(mine, turned, strict=True))
        size = sum(float(each @ each) for each in turned)
        if size - float(right @ solution.fit.solve(np.asarray(right))) > SMALLEST_DETECTABLE**2:
            found.append(name)
    return frozenset(found)
