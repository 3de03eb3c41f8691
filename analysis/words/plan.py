"""Plans, predicted blue and trust in the words of the trade."""

import math
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.inch_words import in_owners_unit
from acquire.model.units import MM_PER_INCH, UM_PER_THOU, decimals_for, height_text, length_text, number_text
from analysis.answers.not_yet import (
    BENT_BY_HEAT,
    CONTRADICTED,
    FEET_FIRST,
    NONE_STRAIGHT,
    NONE_TRUSTED,
    NOT_CHECKED,
    WRONG_RUN,
)
from analysis.words.blue import places_words
from analysis.words.facts import sentence
from analysis.words.known import height_bound, height_known, station_head
from analysis.words.ripples import step_words
from analysis.words.shape import LINE_WORDS, shape_words

if TYPE_CHECKING:
    from analysis.answers.datums import Datum, Datums
    from analysis.answers.plan import FacePlan, Plans


NONE_YET = "None can be trusted yet"
NOT_YET_WORDS = {
    WRONG_RUN: "a whole run looks wrong as it was written: put that right first.",
    CONTRADICTED: "a reading is contradicted by the others: read it again first.",
    BENT_BY_HEAT: "let the bed come to one temperature and read it again: warmth bent it by as much as a "
    "pass takes off, or more.",
    FEET_FIRST: "turn the feet first, for that changes the shape; then read the bed again.",
    NONE_TRUSTED: "no face can be trusted yet: read {faces} once more, the other way or with another "
    "instrument.",
    NONE_STRAIGHT: "no face is straight to start from: hold the plan against blue and a straightedge first, "
    "and plan parallel to what the machine needs.",
    NOT_CHECKED: "nothing checks the readings on this face: read it once more, best the other way.",
}
FINEST = {"µm": 0, "thou": 1}
"""Decimals of a depth to take off: a scraper's lightest pass takes about 2 µm, a tenth of a thou (common
practice), so that nothing finer can be done."""


def plan_answer(plan: "FacePlan", inch: bool) -> str:
    """What comes off one face in one line: most where, nothing where, how much in all."""
    removal = plan.removal
    most = int(np.argmax(removal.removal_um))
    doubt = float(removal.standard_uncertainty_um[most])
    at = length_text(removal.station_mm[most], inch)
    amount = _both(depth_text, removal.removal_um[most], inch, fine_um(plan))
    sure = f" ± {_both(doubt_text, 2 * doubt, inch, fine_um(plan))}" if doubt > 0 else ""
    least = "only the guard" if removal.guard_um > 0 else "nothing"
    if removal.guard_um == 0 and plan.nothing_to_see:
        return f"{plan.face}: nothing to take off that could be seen, blue now; most at {at}, {amount}{sure}."
    return (
        f"{plan.face}: take off most at {at}, {amount}{sure}; "
        f"{least} at {places_words(removal.touching_mm, inch)}; "
        f"{_both(depth_text, removal.mean_um, inch, fine_um(plan))} on average."
    )


def depth_text(um: float, unit: str, uncertainty_um: float) -> str:
    """A depth to take off as a number in µm or thou, no finer than a scraper can take or the ± bears.

    Examples
    --------
    >>> depth_text(66.06, "µm", 0.25), depth_text(66.06, "thou", 0.25), depth_text(66.06, "µm", 12.0)
    ('66', '2.6', '70')
    """
    per = UM_PER_THOU if unit == "thou" else 1.0
    return number_text(um / per, _digits(unit, uncertainty_um))


def doubt_text(um: float, unit: str, uncertainty_um: float) -> str:
    """The ± beside such a depth: rounded up, for a ± of nothing would be a lie.

    Examples
    --------
    >>> doubt_text(0.5, "µm", 0.25), doubt_text(0.5, "thou", 0.25), doubt_text(0.0, "µm", 0.25)
    ('1', '0.1', '0')
    """
    per, digits = UM_PER_THOU if unit == "thou" else 1.0, _digits(unit, uncertainty_um)
    return number_text(math.ceil(um / per * 10.0**digits - 1e-9) / 10.0**digits, digits)


def _digits(unit: str, uncertainty_um: float) -> int:
    per = UM_PER_THOU if unit == "thou" else 1.0
    return min(FINEST[unit], decimals_for(uncertainty_um / per))


def _both(text: Callable[[float, str, float], str], um: float, inch: bool, fine_um: float) -> str:
    """Both units side by side, the owner's own first."""
    first, second = units(inch)
    return f"{text(um, first, fine_um)} {first} ({text(um, second, fine_um)} {second})"


def units(inch: bool) -> tuple[str, str]:
    """The owner's own unit of depth, and the other."""
    return ("thou", "µm") if inch else ("µm", "thou")


def plans_words(plans: "Plans", inch: bool) -> list[str]:
    """What holds for all planned faces together: which wishes clash, why this target, how much a round."""
    if plans.infeasible is not None:
        return [f"No such target: {sentence(plans.infeasible)}."]
    wishes, lines = plans.wishes, []
    if wishes.coplanar:
        lines.append("All end in one plane along the bed.")
    elif wishes.no_wind:
        lines.append("All end parallel to each other, without wind.")
    if wishes.crown_um:
        shape = "crown" if wishes.crown_um > 0 else "hollow"
        lines.append(f"Wanted: a {shape} of {height_text(abs(wishes.crown_um), inch, 0.1)} in the middle.")
    if plans.decided_by_greatest:
        lines.append(
            "Several targets take as little metal; of these the one whose deepest cut is least was taken."
        )
    if plans.share < 1:
        lines.append(
            f"Cut {plans.share:.0%} of each depth this round (column `this round`), then measure again: "
            + (
                "a scraper errs by a third, and metal does not go back."
                if not plans.after
                else "metal does not go back."
            )
        )
    return lines


def why_words(why: str, to_read: Sequence[str]) -> str:
    """Why nothing may be scraped yet, with the faces that are to be read again where that is why."""
    return NOT_YET_WORDS[why].format(faces=" and ".join(to_read))


def not_yet_words(not_yet: Mapping[str, str], to_read: Sequence[str]) -> list[str]:
    """Why nothing may be scraped yet, first of all; one line where it holds for all faces."""
    reasons = dict.fromkeys(not_yet.values())
    lines = []
    for why in reasons:
        faces = [face for face, found in not_yet.items() if found == why]
        names = "" if len(reasons) == 1 and why != NOT_CHECKED else f" {' and '.join(faces)}"
        lines.append(f"Do not scrape{names} yet: {why_words(why, to_read)}")
    return [*lines, ""] if lines else []


def stop_words(plans: "Plans", face: str) -> list[str]:
    """That a face meets the owner's limit, or that what is left cannot be seen."""
    if plans.meets.get(face):
        return [f"Stop: {face} meets your limit (`waylog limits`). Confirm with blue."]
    if plans.plans[face].nothing_to_see and plans.plans[face].removal.guard_um == 0:
        return [f"Stop: what is left on {face} cannot be seen by these readings: blue now."]
    return []


def plan_notes(plan: "FacePlan", inch: bool) -> list[str]:
    """What the target is, which stations lie within the uncertainty, and the guard."""
    removal = plan.removal
    lines = [_target_words(plan)]
    open_to = (removal.removal_um - removal.guard_um <= 2 * removal.standard_uncertainty_um) & (
        removal.removal_um > removal.guard_um
    )
    if np.any(open_to) and not np.all(open_to | (removal.removal_um == 0)):
        places = places_words(removal.station_mm[open_to].tolist(), inch)
        lines.append(f"At {places} it may as well be nothing: less than could be seen.")
    if removal.guard_um > 0:
        guard = _both(doubt_text, removal.guard_um, inch, fine_um(plan))
        lines.append(
            f"A guard of {guard} is in it everywhere, so that for 95 of 100 ways that the readings allow "
            "no place stays low after one setting."
        )
    return lines


def step_notes(plan: "FacePlan", inch: bool) -> list[str]:
    """Steps that may be a joint which nobody declared."""
    return [
        f"Before it is scraped: {step_words(step, inch)} If two pieces meet there, declare the joint "
        "(joints_mm) and close it first; a step is not scraped away."
        for step in plan.steps
    ]


def _target_words(plan: "FacePlan") -> str:
    sure = "± is against where the target touches"
    if plan.parallel_to is None:
        return f"The target is the line that takes least metal; {sure}."
    other, line = plan.parallel_to.face, plan.parallel_to.line
    if line == "plan":
        return f"The target is parallel to what becomes of {other}; {sure}."
    return f"The target is parallel to {other} as it stands, {LINE_WORDS[line]}; {sure}."


def plan_heads(plan: "FacePlan", inch: bool) -> tuple[str, ...]:
    """Heads of the table to take to the machine; beside flanks there is no room for the other unit."""
    first, second = units(inch)
    flanks = tuple(f"{name} {first}" for name in flank_depths(plan))
    other = () if flanks else (second,)
    return (station_head(inch), f"take off {first}", f"± {first}", *other, f"this round {first}", *flanks)


def plan_rows(plan: "FacePlan", inch: bool) -> list[tuple[str, ...]]:
    """Rows of the table to take to the machine, one precision throughout."""
    removal, fine = plan.removal, fine_um(plan)
    first, second = units(inch)
    flanks = list(flank_depths(plan).values())
    rows = []
    for i, station in enumerate(removal.station_mm.tolist()):
        at = f"{station / MM_PER_INCH:.2f}" if inch else f"{round(station, 1):g}"
        cells = (
            depth_text(removal.removal_um[i], first, fine),
            doubt_text(2 * removal.standard_uncertainty_um[i], first, fine),
            *(() if flanks else (depth_text(removal.removal_um[i], second, fine),)),
            depth_text(float(plan.this_round_um[i]), first, fine),
        )
        rows.append((at, *cells, *(depth_text(flank[i], first, fine) for flank in flanks)))
    return rows


def passes_rows(plan: "FacePlan", inch: bool) -> list[tuple[str, str]]:
    """Passes of this round in order of work: number, and from where to where."""
    unit = "in" if inch else "mm"

    def text(mm: float) -> str:
        return f"{mm / MM_PER_INCH:.1f}" if inch else f"{mm:.0f}"

    return [
        (
            f"pass {each.number}",
            ", ".join(f"{text(low)} to {text(high)}" for low, high in each.stretches_mm) + f" {unit}",
        )
        for each in plan.passes
    ]


def passes_words(plan: "FacePlan", inch: bool) -> list[str]:
    """The same for the terminal."""
    rows = passes_rows(plan, inch)
    if not rows:
        return []
    pass_text = "0.2 thou" if inch else "5 µm"
    return [
        f"  This round in order of work, passes of some {pass_text}:",
        *(f"    {number}: {where}" for number, where in rows),
    ]


def flank_depths(plan: "FacePlan") -> dict[str, np.ndarray]:
    """Depths on the flanks of a vee, once where both are alike; in all, not this round's share of them."""
    if plan.flank_um is None:
        return {}
    front, rear = plan.flank_um["front"], plan.flank_um["rear"]
    if np.allclose(front, rear):
        return {"in all, each flank": front}
    return {"in all, front flank": front, "in all, rear flank": rear}


def fine_um(plan: "FacePlan") -> float:
    """The uncertainty that sets the digits of a whole plan."""
    doubts = plan.removal.standard_uncertainty_um
    seen = doubts[doubts > 0]
    return float(np.median(seen)) if seen.size else 0.0


def flank_note(plan: "FacePlan") -> list[str]:
    """That the depth on a flank is another than the drop of the vee."""
    if plan.flank_um is None:
        return []
    words = "Depth on a flank is square to the flank; the other figures are how far the vee comes down."
    if plan.sideways_is_known:
        return [words]
    return [
        words,
        "Its sideways shape was not measured, so both flanks are taken as equally in need: read an indicator "
        "against a side face, or two rollers, to tell which is worn.",
    ]


def trust_answer(found: "Datums", inch: bool) -> str:
    """Which face to start from, in one line."""
    if found.trusted:
        best = found.trusted[0]
        others = ", ".join(each.face for each in found.trusted[1:])
        also = f"; then {others}" if others else ""
        shape = "straight within what could be seen" if best.is_straight else "good to what is asked of it"
        return f"Start from {best.face}, {shape}, {_at_most(best, inch)}{also}."
    if found.unasked:
        best = found.unasked[0]
        known = f"{best.face} shows no departure, known to ± {_bound(best, inch)}"
        return f"Cannot tell which is good enough: {known}."
    lent = [each.face for each in found.faces if each.wear is not None]
    if lent:
        return f"{NONE_YET} over its whole length; {' and '.join(lent)} can lend unworn stretches."
    to_read = [each.face for each in found.faces if each.is_to_be_read]
    if not to_read:
        return f"{NONE_YET}: none is straight."
    return f"{NONE_YET}: read {' and '.join(to_read)} once more, the other way or with another instrument."


def trust_words(found: "Datums", inch: bool) -> list[str]:
    """Every face with the reason, the best to start from first."""
    return [datum_words(each, inch) for each in found.faces]


def datum_words(each: "Datum", inch: bool) -> str:
    """One face: whether it can be started from, and why."""
    if each.shape is None:
        return f"{each.face}: cannot be judged, {(each.why_not_known or '').rstrip('.')}."
    if each.cannot_tell is not None and each.is_checked:
        told = in_owners_unit(sentence(each.cannot_tell), inch)
        return f"{told}{_wear_words(each, inch)}."
    verdict = "can be started from" if each.can_be_trusted else "not yet"
    shape = shape_words(each.shape, inch).removeprefix(f"{each.face} is ").rstrip(".")
    words = f"{each.face}: {verdict}: {shape}"
    if not each.is_checked:
        words += "; nothing checks its readings, so an error in one would not show"
    return f"{words}{_wear_words(each, inch)}."


def _wear_words(each: "Datum", inch: bool) -> str:
    if each.wear is None or each.shape is None:
        return ""
    if each.wear.proud is not None:
        proud = height_text(each.wear.proud.height_um, inch, each.wear.expanded_um / 2)
        return (
            f"; {proud} proud at {length_text(each.wear.proud.station_mm, inch)} of the line through its "
            "unworn stretches, which does not tell its wear then: the bed is twisted or bent (`waylog twist` "
            "tells that apart), or such a stretch is worn"
        )
    if not each.wear.is_seen:
        most = height_bound(each.wear.expanded_um, inch)
        return f"; no wear seen from the line through its unworn stretches ({most} would have been)"
    at = length_text(each.wear.deepest.station_mm, inch)
    depth = height_known(-each.wear.deepest.height_um, each.wear.expanded_um, inch)
    return f"; worn {depth} below the line through its unworn stretches, at {at}: start from these stretches"


def _at_most(each: "Datum", inch: bool) -> str:
    return f"{_bound(each, inch)} at most"


def _bound(each: "Datum", inch: bool) -> str:
    return height_bound(each.at_most_um or 0.0, inch)
