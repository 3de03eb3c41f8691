"""Plans, face by face: the answer, the table to take to the machine, the blue, and what to mind."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.words.after_round import after_words
from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.blue import blue_words
from analysis.words.facts import sentences
from analysis.words.tables import notes, table

if TYPE_CHECKING:
    from analysis.answers.plan import FacePlan, Plans
from analysis.words.plan import (
    flank_note,
    not_yet_words,
    passes_words,
    plan_answer,
    plan_heads,
    plan_notes,
    plan_rows,
    plans_words,
    step_notes,
    stop_words,
)


def plan_words(result: "Plans", inch: bool) -> Sequence[str]:
    """Face by face the answer, the table to take to the machine and the blue; then what to mind."""
    if result.infeasible is not None:
        return plans_words(result, inch)
    lines = not_yet_words(result.not_yet, result.to_read)
    for plan in result.plans.values():
        lines += [*stop_words(result, plan.face), *_face_words(plan, inch)]
        lines += [*after_words(result.after.get(plan.face), inch), ""]
    lines += [*plans_words(result, inch), *taken_words(result.assumptions)]
    lines += [*unstated_words(result.assumptions), ""]
    return [*lines, "Before any metal comes off:", *(f"  {words}" for words in sentences(result.cautions))]


def _face_words(plan: "FacePlan", inch: bool) -> list[str]:

    beside = [
        *step_notes(plan, inch),
        *plan_notes(plan, inch),
        *flank_note(plan),
        *blue_words(plan.blue, inch),
    ]
    return [
        plan_answer(plan, inch),
        *(f"  {words}" for words in beside),
        *table(plan_heads(plan, inch), plan_rows(plan, inch)),
        *passes_words(plan, inch),
        *notes(plan.warnings),
    ]
