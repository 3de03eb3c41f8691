"""Drift is counted in seconds where a clock ran, else in readings; runs that drift as one are counted alike.

Of runs that share a rate of drift, or a zero that goes on drifting from one to the next, some may
have been clocked and some copied from paper. A rate per second is none per reading: all of them are
then counted by readings, as if they had been paced alike. What that leaves wrong is a bow between
runs there and back, which is counted as one that may be a bent bed (`there_and_back`).
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analysis.linear.fact import Fact
from analysis.observe import Observations


@dataclass(frozen=True)
class CountedByReadings(Fact):
    """Runs of one drift, some clocked and some not."""

    instrument: str
    clocked: tuple[int, ...]
    not_clocked: tuple[int, ...]


def counted_alike(
    observations: Sequence[Observations], roots: Mapping[int, int]
) -> tuple[tuple[Observations, ...], tuple[CountedByReadings, ...]]:
    """Runs that drift as one with one unit of time, and what to say of those that had two.

    Parameters
    ----------
    observations : sequence of Observations
    roots : mapping
        For each traverse the one whose zero it has.
    """
    facts: list[CountedByReadings] = []
    counted: set[int] = set()
    for group in _drifting_as_one(observations, roots):
        clocked = [each.traverse for each in group if each.is_timed]
        if not 0 < len(clocked) < len(group):
            continue
        counted |= set(clocked)
        others = tuple(each.traverse for each in group if not each.is_timed)
        facts.append(CountedByReadings(group[0].instrument, tuple(clocked), others))
    changed = tuple(by_readings(each) if each.traverse in counted else each for each in observations)
    return changed, tuple(facts)


def by_readings(each: Observations) -> Observations:
    """A run counted by its readings in the order in which they were taken."""
    order = np.empty(len(each.order))
    order[np.argsort(each.order, kind="stable")] = np.arange(len(each.order), dtype=float)
    return replace(each, order=order, is_timed=False)


def _drifting_as_one(
    observations: Iterable[Observations], roots: Mapping[int, int]
) -> list[list[Observations]]:
    """Stepped runs tied by a rate of drift or by a zero, a group each."""
    groups: list[tuple[set[object], list[Observations]]] = []
    for each in observations:
        if each.mode != "stepped" or not each.drift_group or len(each.order) != len(each):
            continue
        marks: set[object] = {each.drift_group, roots.get(each.traverse, each.traverse)}
        mine = [each]
        apart = []
        for theirs, members in groups:
            if theirs & marks:
                marks, mine = marks | theirs, [*members, *mine]
            else:
                apart.append((theirs, members))
        groups = [*apart, (marks, mine)]
    return [members for _, members in groups]
