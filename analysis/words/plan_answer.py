"""Plans, face by face: the answer, the table to take to the machine, the blue, and what to mind.

Where an older survey is given, also what the last round of scraping did.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.blue import blue_words
from analysis.words.facts import sentences
from analysis.words.known import station_cell, station_head
from analysis.words.plan import (
    depth_text,
    doubt_text,
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
    units,
)
from analysis.words.tables import notes, table

if TYPE_CHECKING:
    from analysis.answers.plan import FacePlan, Plans
    from analysis.answers.rounds import AfterRound


def plan_words(result: "Plans", inch: bool) -> Sequence[str]:
    """Face by face the answer, the table to take to the machine and the blue; then what to mind."""
    if result.infeasible is not None:
        return plans_words(result, inch)
    lines = not_yet_words(result.not_yet, result.to_read)
    for plan in result.plans.values():
        lines += [*stop_words(result, plan.face), *_face_words(plan, inch)]
        lines += [*after_words(result.after.get(plan.face), inch), ""]
    lines += [*plans_words(result, inch), *taken_words(result.assumptions)]
    lines += [*unstated_words(result.assumptions), *notes(result.warnings), ""]
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


def after_words(found: "AfterRound | None", inch: bool) -> list[str]:
    """How much of what was asked came off, where too much did, station by station; nothing without one."""
    if found is None:
        return []
    lines = [f"  The last round: {_taken_words(found)}", *_overshot_words(found, inch)]
    first, _ = units(inch)
    heads = (station_head(inch), f"asked {first}", f"came off {first}", f"± {first}")
    fine = float(np.median(found.expanded_um)) / 2
    rows = [
        (
            station_cell(mm, inch),
            depth_text(asked, first, fine),
            depth_text(done, first, fine),
            doubt_text(sure, first, fine),
        )
        for mm, asked, done, sure in zip(
            found.station_mm.tolist(),
            found.asked_um.tolist(),
            found.done_um.tolist(),
            found.expanded_um.tolist(),
            strict=True,
        )
    ]
    return [
        *lines,
        *table(heads, rows),
        "  An even depth or a straight taper beyond that shows in no survey.",
    ]


def _taken_words(found: "AfterRound") -> str:
    if found.taken is None or found.error is None or found.error_at_most is None:
        return "so little was asked that what came off cannot be judged."
    words = (
        f"{found.taken:.0%} of what was asked came off, the depths wrong by {found.error:.0%} "
        f"({found.error_at_most:.0%} at most)."
    )
    if found.share > 0.5:
        return f"{words} That is sure enough to cut {found.share:.0%} of each depth now."
    return words


def _overshot_words(found: "AfterRound", inch: bool) -> list[str]:
    if not np.any(found.overshot_um):
        return []
    first, _ = units(inch)
    worst = int(np.argmax(found.overshot_um))
    place = f"{station_cell(found.station_mm[worst], inch)} {'in' if inch else 'mm'}"
    depth = depth_text(float(found.overshot_um[worst]), first, float(found.expanded_um[worst]) / 2)
    count = int(np.count_nonzero(found.overshot_um))
    return [
        f"  Overshot at {count} station{'s' if count > 1 else ''}, most at {place}: {depth} {first} below "
        "the target of that plan, which everything else now has to follow. Cut less a round."
    ]
