"""What to take off each face and what blue to expect, and which faces to start from, for the page."""

from collections.abc import Mapping
from dataclasses import dataclass

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import BedMap
from analysis.answers.datums import datums
from analysis.answers.plan import CAUTIONS, FacePlan, plan_faces
from analysis.report.tables import StationTable, in_blocks
from analysis.words.blue import blue_words
from analysis.words.plan import (
    flank_note,
    plan_answer,
    plan_heads,
    plan_notes,
    plan_rows,
    trust_answer,
    trust_words,
)

NO_TARGET = (
    "Planned face by face for least metal: `waylog plan` plans them parallel to each other or to a datum."
)


@dataclass(frozen=True)
class PlanPart:
    """The plan of one face: the answer, what belongs to it, and the table to take to the machine."""

    answer: str
    words: tuple[str, ...]
    table: StationTable


@dataclass(frozen=True)
class TrustPart:
    """Which face to start from, and every face with the reason."""

    answer: str
    words: tuple[str, ...]
    cautions: tuple[str, ...]
    """What to mind before any of the plans is followed."""


def plan_parts(bed_map: BedMap, inch: bool) -> dict[str, PlanPart]:
    """The plan of every face whose own shape is known."""
    found: dict[str, PlanPart] = {}
    for face in bed_map.faces:
        try:
            plans: Mapping[str, FacePlan] = plan_faces(bed_map, [face]).plans
        except AnalysisError:
            continue  # the page says why with the face itself
        found[face] = _part(plans[face], inch)
    return found


def trust_part(bed_map: BedMap, inch: bool) -> TrustPart:
    """Which faces can be started from, the best first."""
    found = datums(bed_map)
    return TrustPart(trust_answer(found, inch), tuple(trust_words(found, inch)), (NO_TARGET, *CAUTIONS))


def _part(plan: FacePlan, inch: bool) -> PlanPart:
    words = (*plan_notes(plan, inch), *flank_note(plan), *blue_words(plan.blue, inch))
    answer = plan_answer(plan, inch).removeprefix(f"{plan.face}: ")
    station, first, *others = plan_heads(plan, inch)
    heads = (station.replace(" ", ", "), first.removeprefix("take "), *others)  # the caption says the rest
    return PlanPart(
        answer[:1].upper() + answer[1:], words, StationTable(heads, in_blocks(plan_rows(plan, inch)))
    )
