"""The zero of a drawn level that was drawn along several faces without touching it: it went on drifting.

A block of drawn levels has one zero, that of one of its runs at the middle of its time. Where
other readings share it, it has moved by rate × time in between (Δ, from the start of the run
that the zero began with). The rate is known from runs there and back of the block itself, to
within its uncertainty, which is then one more unknown. Where these may tell of a bent bed
instead (`there_and_back`), the zero may not have moved at all: half of rate × Δ is taken off,
and the other half counted.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from analysis.adjust.there_and_back import DRIFT, Return, single_runs
from analysis.observe import Nuisance, Observations, Unknown


def with_moved_zeros(
    observations: Sequence[Observations],
    starts: Mapping[int, float],
    roots: Mapping[int, int],
    found: Sequence[Return],
) -> tuple[Observations, ...]:
    """The same, with what the zero of each drawn block had moved by as a correction and an unknown.

    Parameters
    ----------
    observations : sequence of Observations
    starts : mapping
        When each run began after the one whose zero it shares, in the unit of `order`.
    roots : mapping
        For each run the one whose zero it has.
    found : sequence of Return
        What runs there and back differ by.
    """
    is_drift = {number for each in found if each.outcome == DRIFT for number in each.traverses}
    users: dict[int | None, set[int]] = {}
    for each in observations:
        for run in single_runs((each,)):
            users.setdefault(roots.get(run.traverse), set()).add(each.traverse)
    return tuple(
        _moved(each, starts, is_drift)
        if each.zero_drift is not None and len(users.get(roots.get(each.zero_drift.run), ())) > 1
        else each
        for each in observations
    )


def _moved(each: Observations, starts: Mapping[int, float], is_drift: set[int]) -> Observations:
    zero = each.zero_drift
    assert zero is not None and each.zero_column is not None
    column = (starts[zero.run] + zero.at) * each.zero_column
    is_sure = zero.run in is_drift
    rate = zero.rate if is_sure else zero.rate / 2
    doubt = float(np.hypot(zero.standard_uncertainty, 0.0 if is_sure else rate))
    unknown = Nuisance(Unknown("drift", (str(zero.run), "of the zero")), column, doubt)
    return replace(
        each,
        correction=each.correction + rate * column,
        nuisances=(*each.nuisances, unknown),
        zero_drift=None,
    )
