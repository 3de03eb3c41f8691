"""What turning feet can take out and what is worn; which foot to move, and what is left: in words."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import (
    decimals_for,
    height_numbers,
    height_text,
    length_text,
    number_text,
    slope_text,
)
from analysis.words.cautions import JACKS
from analysis.words.facts import sentence, sentences
from analysis.words.known import slope_bound, slope_known, slope_unit
from analysis.words.tables import notes, table

if TYPE_CHECKING:
    from analysis.answers.feet_on_bed import Feet, Move, Predicted
    from analysis.answers.roll import RollPart
    from analysis.answers.twist import Twist

NEVER_TWIST = "Never twist a bed to hide wear."
CAUTION = JACKS.line
DEGREES = 360


def bed_or_wear_words(result: "Twist", inch: bool) -> list[str]:
    """The answers apart, or what cannot be told and what would tell."""
    lines = []
    if result.carriage is not None:
        lines.append(f"  What the carriage follows along its travel: {_wind(result.carriage, inch)}.")
    if result.feet is not None:
        lines.append(f"  What turning feet can take out: {_wind(result.feet, inch)}.")
    if result.wear is not None:
        lines.append(f"  What is worn, and left to the scraper: {_most(result.wear, inch)}. {NEVER_TWIST}")
    return [*lines, *(f"  Not known: {each}." for each in sentences(result.cannot_tell))]


def _wind(part: "RollPart", inch: bool) -> str:
    """The far end against the near one."""
    return _signed(part.wind_um_per_m, part.wind_expanded_um_per_m, inch, "from end to end")


def _most(part: "RollPart", inch: bool) -> str:
    """Where this part of the roll is largest."""
    worst = int(np.argmax(np.abs(part.roll_um_per_m)))
    expanded = 2 * float(part.standard_uncertainty_um_per_m[worst])
    at = length_text(float(part.station_mm[worst]), inch)
    return _signed(float(part.roll_um_per_m[worst]), expanded, inch, f"at {at}")


def _signed(um_per_m: float, expanded: float, inch: bool, where: str) -> str:
    if abs(um_per_m) <= expanded:
        return f"nothing that could be seen {where} (± {slope_bound(expanded, inch)})"
    side = "rear high" if um_per_m > 0 else "front high"
    return f"{slope_known(abs(um_per_m), expanded, inch)} {where}, {side}"


def feet_words(found: "Feet", inch: bool) -> list[str]:
    """Cautions, the moves, what will be read afterwards, what is left; or why nothing may be moved."""
    if found.refused is not None:
        return [f"Move no foot: {sentence(found.refused)}."]
    lines = [CAUTION, "", *_move_words(found, inch)]
    if found.predicted is not None:
        lines += ["", *_predicted_words(found.predicted, inch, bool(found.moves))]
    lines += ["", *_left_words(found, inch)]
    return [*lines, *notes(found.warnings)]


def _move_words(found: "Feet", inch: bool) -> list[str]:
    coarse, roll = max(found.step_rolls.values(), key=lambda each: each[1])
    step = (
        f"one hand step of {height_text(coarse, inch, 1.0)} rolls a pair of feet by "
        f"{slope_text(roll, inch, 1.0)}"
    )
    if not found.moves:
        return [_why_nothing(found, step, inch)]
    feet = "foot" if len(found.moves) == 1 else "feet"
    by = (
        "the model of a stiff bed that follows its feet"
        if is_model(found)
        else "what the round before showed of how this bed answers"
        if found.model == "learned"
        else "how this bed answered its feet"
    )
    lines = [f"Move {len(found.moves)} {feet}, by {by}:"]
    first, second = ("thou", "µm") if inch else ("µm", "thou")
    lines += table(("foot", "", f"by {first}", second, "screw"), [_row(each, inch) for each in found.moves])
    lines.append(f"  Rounded to what a hand can set; {step}.")
    if found.is_bounded:
        lines.append(
            f"  No foot is moved more than {height_text(found.most_um, inch, 1.0)} in one round (--at-most), "
            "for what the weight keeps down is not known: more is left for the next."
        )
    bolted = [each.foot for each in found.moves if each.foot in found.bolted]
    if bolted:
        lines.append(
            f"  {' and '.join(bolted)}: slacken the bolts before, tighten them as it will run before reading."
        )
    lines.append("  A foot that turns without resistance carries nothing: stop, set it snug, and read again.")
    gives = (
        "Feet and floor give, so a first move errs by about 30 %: tighten" if is_model(found) else "Tighten"
    )
    lines.append(f"  {gives} as it will run, read the bed again and ask again.")
    return lines


def is_model(found: "Feet") -> bool:
    """Whether nobody has read how this bed answers its feet."""
    return found.model == "stiff bed"


def _why_nothing(found: "Feet", step: str, inch: bool) -> str:
    if not found.shapes_seen:
        return "Move no foot: neither bend nor twist of the bed stands out of the uncertainty of the map."
    if min(each for each, _ in found.step_rolls.values()) > found.most_um:
        most = height_text(found.most_um, inch, 1.0)
        return (
            f"Move no foot: {step}, and more than {most} at once may lift a foot off: wedge or shim needed."
        )
    return f"Move no foot: {step}, which leaves no less than there is: wedge or shim needed, or leave it so."


def _row(move: "Move", inch: bool) -> tuple[str, ...]:
    way = "up" if move.lift_um > 0 else "down"
    if move.turns is None:
        screw = "shim or wedge"
    else:
        turns = abs(move.turns)
        screw = f"{number_text(turns, 3)} turn ({number_text(turns * DEGREES, 0)}°)"
    return move.foot, way, *height_numbers(abs(move.lift_um), inch, 1.0), screw


def _predicted_words(predicted: "Predicted", inch: bool, is_moved: bool) -> list[str]:
    unit, per = slope_unit(inch)
    digits = 2 if inch else 0
    rows = [
        (length_text(at, inch), *_rolls((now, then, sure), per, digits))
        for at, now, then, sure in zip(
            predicted.station_mm.tolist(),
            predicted.now_um_per_m.tolist(),
            predicted.roll_um_per_m.tolist(),
            predicted.expanded_um_per_m.tolist(),
            strict=True,
        )
    ]
    against = "" if predicted.known_up_to == "nothing" else ", from the first station on"
    then = "then" if is_moved else "as it is"
    head = f"What a level across the {predicted.roll_of} will read (+ rear high, wear and all{against}):"
    own = (
        ["  The ways' own roll is not known: it may change by more, for the carriage evens it out."]
        if predicted.roll_of == "carriage"
        else []
    )
    return [head, *table(("at", f"now {unit}", f"{then} {unit}", "±"), rows), *own]


def _rolls(values: Sequence[float], per: float, digits: int) -> list[str]:
    """What is read now and then, and how sure: no finer than the last of them bears."""
    sure = values[-1] / per
    borne = min(digits, decimals_for(sure / 2)) if sure > 0 else digits
    return [number_text(value / per, borne) for value in values]


def _left_words(found: "Feet", inch: bool) -> list[str]:
    if found.left is None:
        return []
    now, rms, sure = (
        height_text(um, inch, 0.5)
        for um in (found.left.now_rms_um, found.left.rms_um, found.left.expanded_um)
    )
    return [
        f"Bend and twist of the bed at its feet: {now} rms now, {rms} ± {sure} left after these moves.",
        f"What the level still shows then is worn, and left to the scraper. {NEVER_TWIST}",
    ]
