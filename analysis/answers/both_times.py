"""Two surveys of one bed in one adjustment: heights before and heights after, each of its own.

Their readings are independent; the scale of an instrument that was used in both, and the
shape of a straightedge, are one unknown, and cancel where they can.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from analysis.adjust.bed_map import BedMap
from analysis.adjust.combination import adjusted
from analysis.answers.common_state import redescribed
from analysis.answers.metal_alone import unscraped_faces
from analysis.answers.surveys import Survey
from analysis.answers.two_maps import AFTER, BEFORE, apart, doubled_faces
from analysis.observe import Observations

BETTER, WORSE, CHANGED, NO_DIFFERENCE, CANNOT_TELL = (
    "better",
    "worse",
    "changed",
    "no difference",
    "cannot tell",
)


@dataclass(frozen=True, eq=False)
class BothTimes:
    """Both surveys, each with its own map, and one map with the heights of both."""

    before: Survey
    after: Survey
    scraped: tuple[str, ...] = ()

    @cached_property
    def unscraped(self) -> tuple[str, ...]:
        """Faces that tell how the bed moved."""
        both = [face for face in self.after.bed.faces if all(face in each.faces for each in self.maps)]
        return unscraped_faces(self.after.bed, both, self.scraped)

    @cached_property
    def maps(self) -> tuple[BedMap, BedMap]:
        return self.before.map(), self.after.map()

    @cached_property
    def observations(self) -> tuple[tuple[Observations, ...], tuple[Observations, ...]]:
        """What each says, of heights, zeros and numbers of its own."""
        beyond = 1 + max((each.number for each in self.after.traverses), default=0)
        beyond += max((each.number for each in self.before.traverses), default=0)
        old = tuple(_from_before(each, beyond, self._redescribed) for each in self.before.observed)
        return old, tuple(apart(each, AFTER) for each in self.after.observed)

    @cached_property
    def _redescribed(self) -> frozenset[str]:
        """Instruments of one name that are not one instrument."""
        return frozenset(then.name for then, _ in redescribed(self.before.measuring, self.after.measuring))

    @cached_property
    def joint(self) -> BedMap:
        """Heights before and heights after in one adjustment."""
        bed = replace(self.after.bed, faces=doubled_faces(self.after.bed, (BEFORE, AFTER)))
        return adjusted([each for side in self.observations for each in side], bed)


def _from_before(each: Observations, beyond: int, redescribed: frozenset[str]) -> Observations:
    """Under numbers that no traverse from after has; what is no one instrument's shares nothing."""
    moved = apart(each, BEFORE)
    nuisances = tuple(
        replace(n, key=replace(n.key, of=(*n.key.of, BEFORE)))
        if n.key.kind == "height" or n.key.of[0] in redescribed
        else n
        for n in moved.nuisances
    )
    return replace(
        moved,
        traverse=each.traverse + beyond,
        with_traverses=tuple(number + beyond for number in each.with_traverses),
        zero=None if each.zero is None else each.zero + beyond,
        nuisances=nuisances,
        drawn_runs=tuple(_renumbered(run, beyond) for run in moved.drawn_runs),
        zero_drift=each.zero_drift and replace(each.zero_drift, run=each.zero_drift.run + beyond),
    )


def _renumbered(run: Observations, beyond: int) -> Observations:
    zero = None if run.zero is None else run.zero + beyond
    return replace(run, traverse=run.traverse + beyond, zero=zero)


def at_which_time(missing: Sequence[tuple[str, str]]) -> str:
    """What is not known and when, said once where it is the same at both times."""
    if len(missing) == 2 and missing[0][1] == missing[1][1]:
        return f"before and after, {missing[0][1]}"
    return "; ".join(f"{when}, {why}" for when, why in missing)
