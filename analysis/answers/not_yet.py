"""Why a plan may not be followed yet: facts, the gravest first."""

from collections.abc import Mapping
from dataclasses import dataclass

from analysis.adjust.bed_map import BedMap
from analysis.answers.datums import Datums, datums
from analysis.answers.feet_on_bed import Feet, feet_if_told
from analysis.answers.whole_bed import WholeBed
from analysis.observe.differences import BentByHeat

WRONG_RUN, CONTRADICTED, BENT_BY_HEAT, FEET_FIRST, NONE_TRUSTED, NONE_STRAIGHT, NOT_CHECKED = (
    "a run looks wrong as written",
    "a reading is contradicted",
    "bent by heat",
    "feet first",
    "no face can be trusted",
    "all that were checked are worn",
    "nothing checks it",
)
LEAST_PASS_UM = 2.0
"""What a pass of a scraper takes off at the least (common practice)."""


@dataclass(frozen=True)
class NotYet:
    """Faces that may not be scraped yet, and what stands in the way."""

    why: Mapping[str, str]
    """By face."""
    to_read: tuple[str, ...]
    """Faces of which nothing checks the readings, or that are known too coarsely."""


def not_yet(bed: BedMap | WholeBed, feet: Feet | None, found: Datums) -> NotYet:
    """Faces that may not be scraped yet, and why.

    Parameters
    ----------
    bed : BedMap or WholeBed
        Whose runs and readings may contradict each other.
    feet : Feet, optional
        The next move of the feet, where the bed has ways to judge it by.
    found : Datums
    """
    to_read = tuple(each.face for each in found.faces if each.is_to_be_read)
    for holds, why in (
        (bool(bed.slips), WRONG_RUN),
        (bool(bed.suspects), CONTRADICTED),
        (any(_bends(each) for each in bed.warnings if isinstance(each, BentByHeat)), BENT_BY_HEAT),
        (feet is not None and bool(feet.moves), FEET_FIRST),
        (not (found.trusted or found.unasked), NONE_TRUSTED if to_read else NONE_STRAIGHT),
    ):
        if holds:
            return NotYet({each.face: why for each in found.faces}, to_read)
    unchecked = {each.face: NOT_CHECKED for each in found.faces if not each.is_checked}
    return NotYet(unchecked, to_read)


def _bends(found: BentByHeat) -> bool:
    """Whether the bed was bent by what a pass takes off when it was read, or by how much is not known."""
    return found.bend_um is None or abs(found.bend_um) >= LEAST_PASS_UM


def plan_not_yet(bed_map: BedMap) -> NotYet:
    """The same from a map alone."""
    feet = feet_if_told(bed_map) if bed_map.bed.feet else None
    return not_yet(bed_map, feet, datums(bed_map))
