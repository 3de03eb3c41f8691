"""Do runs there and back of several faces differ as if the bed bent on by as much from run to run?

    c_i = −u_i D_i / n_i        D_i: the bow by which the runs of a face differ, u_i: +1 where it looks up,
                                n_i: how many runs after the first of them the last one was

A bed that warms through an evening bends so, hogging all faces that look up and hollowing those that look
down. Where all c_i agree (chi-square, 0.05) and their mean stands out by 3 u, the faces that were read
first and last stand to each other with a bow of |c| times all runs: far more than what the map counts for
each face, which was read within a run or two. A level that drifts alike in every run looks the same, so
that it is said and not counted. Derived for this project.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from acquire.model.bed import Face
from analysis.adjust.there_and_back import APART, DRIFT, Return
from analysis.linear.fact import Fact

AGREE = 0.05
STANDS_OUT = 3.0
LEAST_TOLD = 3
"""Runs there and back that must agree: two drifts agree by chance one evening in five, three one in ten."""
OF_THE_RATE = 0.2
"""Uncertainty of a bow as another face would have it: runs begin and end elsewhere, and take another time."""


@dataclass(frozen=True)
class BentAllEvening(Fact):
    """The runs there and back of several faces differ as if the bed bent on from run to run."""

    faces: tuple[str, ...]
    bow_um: float
    """From one run to the next, + hogged: the ends down."""
    runs: tuple[int, int]
    """The first and the last."""

    @property
    def in_all_um(self) -> float:
        """Bow of what was read first against what was read last."""
        return self.bow_um * (self.runs[1] - self.runs[0])


def bent_all_evening(
    found: Sequence[Return], faces: Mapping[str, Face], runs: Sequence[int]
) -> tuple[BentAllEvening, ...]:
    """That the bed may have bent all the while; nothing where the bows do not agree on it.

    Parameters
    ----------
    found : sequence of Return
        What runs there and back differ by.
    faces : mapping
        Of the bed, by name.
    runs : sequence of int
        Numbers of all runs.
    """
    told = [each for each in found if each.outcome != APART and faces[each.face].upward]
    names = tuple(dict.fromkeys(each.face for each in told))
    are_too_few = len(names) < 2 or len(told) < LEAST_TOLD
    if are_too_few or any(each.outcome == DRIFT and each.is_seen for each in told):
        return ()
    if any(each.bow_uncertainty_um == 0 for each in told):  # runs that are only imagined differ by nothing
        return ()
    apart = np.array([max(each.traverses) - min(each.traverses) for each in told])
    rate = np.array([-faces[each.face].upward * each.bow_um for each in told]) / apart
    noise = np.array([each.bow_uncertainty_um for each in told]) / apart
    weight = 1 / (noise**2 + (OF_THE_RATE * rate) ** 2)
    mean, sure = float(weight @ rate / weight.sum()), float(weight.sum() ** -0.5)
    agree = float(chdtrc(len(told) - 1, float(weight @ (rate - mean) ** 2))) > AGREE
    if not agree or abs(mean) <= STANDS_OUT * sure:
        return ()
    return (BentAllEvening(names, mean, (min(runs), max(runs))),)
