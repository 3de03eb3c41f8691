"""What to take off each face, which faces to start from, and which plans may not be followed yet."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.datums import Datums
from analysis.answers.feet_on_bed import Feet
from analysis.answers.not_yet import not_yet
from analysis.answers.plan import CAUTIONS, FacePlan, plan_faces
from analysis.answers.whole_bed import WholeBed
from analysis.words.blue import blue_words
from analysis.words.cautions import LIFTING, SCRAPERS, SOLVENTS
from analysis.words.facts import sentences
from analysis.words.plan import (
    datum_words,
    flank_note,
    plan_answer,
    plan_notes,
    step_notes,
    trust_answer,
    why_words,
)

NO_TARGET = (
    "Planned face by face for least metal: `waylog plan` plans them parallel to each other or to a datum."
)


@dataclass(frozen=True)
class PlanPart:
    """The plan of one face: the answer and what belongs to it; its depths stand in the face's table."""

    answer: str
    words: tuple[str, ...]
    not_yet: str | None
    """Why it may not be followed yet."""


@dataclass(frozen=True)
class TrustPart:
    """Which face to start from, and every face with the reason."""

    answer: str
    words: tuple[str, ...]
    cautions: tuple[str, ...]
    """What to mind before any of the plans is followed."""


def face_plans(bed_map: BedMap) -> dict[str, FacePlan]:
    """The plan of every face whose own shape is known; of the others the page says why with the face."""
    found: dict[str, FacePlan] = {}
    for face in bed_map.faces:
        try:
            found[face] = plan_faces(bed_map, [face]).plans[face]
        except AnalysisError:
            continue
    return found


def why_not_yet(whole: WholeBed, feet: Feet | None, found: Datums) -> dict[str, str]:
    """Faces that may not be scraped yet, and why in words."""
    reasons = not_yet(whole, feet, found)
    return {face: why_words(why, reasons.to_read) for face, why in reasons.why.items()}


def plan_part(plan: FacePlan, why_not: str | None, inch: bool) -> PlanPart:
    """One plan in words."""
    words = (
        *plan_notes(plan, inch),
        *step_notes(plan, inch),
        *flank_note(plan),
        *blue_words(plan.blue, inch),
    )
    answer = plan_answer(plan, inch).removeprefix(f"{plan.face}: ")
    return PlanPart(answer[:1].upper() + answer[1:], words, why_not)


def trust_part(
    found: Datums, measured: Collection[str], plans: Mapping[str, FacePlan], inch: bool
) -> TrustPart:
    """Which of the faces measured can be started from, the best first; before plans, what to mind."""
    before = (
        (NO_TARGET, *sentences(CAUTIONS), *(each.line for each in (SCRAPERS, LIFTING, SOLVENTS)))
        if plans
        else ()
    )
    words = [datum_words(each, inch) for each in found.faces if each.face in measured]
    return TrustPart(trust_answer(found, inch), tuple(words), before)
