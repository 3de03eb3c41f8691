"""The sheet to carry to the machine in few words: what to do now, what comes off, which foot to turn."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import length_text, number_text
from analysis.words.blue import places_words
from analysis.words.facts import sentence
from analysis.words.of_readings import traverses
from analysis.words.plan import depth_text, doubt_text, fine_um, units

if TYPE_CHECKING:
    from analysis.answers.comparison import Comparison
    from analysis.answers.datums import Datums
    from analysis.answers.feet_on_bed import Feet, Move
    from analysis.answers.next_traverse import Advice
    from analysis.answers.plan import FacePlan
    from analysis.answers.whole_bed import WholeBed

NOT_YET = "do not scrape yet"
MOST_THINGS = 3
LEAST_TURN = 0.1
"""Of a screw: less is said in degrees."""
DEGREES = 360
BEFORE_METAL = "Before any metal comes off, confirm this sheet with blue and a straightedge."


@dataclass(frozen=True)
class Thing:
    """One thing to do: the deed in a few words, then how, and the command that does it, if one does."""

    deed: str
    words: str
    command: str | None = None


@dataclass(frozen=True, eq=False)
class Found:
    """What the things to do are drawn from."""

    whole: "WholeBed"
    compared: "Sequence[Comparison]"
    feet: "Feet | None"
    datums: "Datums"
    advice: "Sequence[Advice]"
    plans: "Sequence[FacePlan]"
    may_be_scraped: Sequence[str]
    why_not: str | None
    """Why none may be scraped yet."""


def things_to_do(found: Found, inch: bool) -> tuple[Thing, ...]:
    """The three things that come first: what is wrong, the feet, the next traverse; metal last."""
    first = [*_read_again(found, inch), *_feet(found, inch), *_next(found)]
    return (*first[: MOST_THINGS - 1], *_metal(found, inch))[:MOST_THINGS]


def _read_again(found: Found, inch: bool) -> list[Thing]:
    """What the readings themselves contradict comes before all else."""
    for slip in found.whole.slips:
        deed = f"Put {traverses(slip.traverses)} right, or what it is held against"
        return [Thing(deed, "it looks wrong as it was written; `waylog combine` says how.")]
    if found.whole.suspects:
        worst = found.whole.suspects[0]
        at = length_text(worst.station_mm, inch)
        deed = f"Read traverse {worst.traverse} again at {at}"
        return [Thing(deed, "the others contradict it there.")]
    for each in found.compared:
        if each.agree is False:
            at = length_text(each.worst["station_mm"], inch)
            words = f"they disagree, most at {at}: wipe, re-seat, read again."
            return [Thing(f"Repeat {each.a} or {each.b}", words)]
    return []


def _feet(found: Found, inch: bool) -> list[Thing]:
    if found.feet is None or not found.feet.moves:
        return []
    moves = ", ".join(f"{each.foot} {turn_words(each, inch)}" for each in found.feet.moves)
    count = "foot" if len(found.feet.moves) == 1 else "feet"
    words = f"{moves}. One at a time; then read the level across again."
    return [Thing(f"Turn the {count}", words, "waylog feet SURVEY")]


def _next(found: Found) -> list[Thing]:
    if not found.advice:
        return []
    best = found.advice[0]
    return [Thing("Measure next", f"{sentence(best.words)}.", best.command)]


def _metal(found: Found, inch: bool) -> list[Thing]:
    """What to scrape, or that nothing may be scraped yet; and blue before either."""
    ready = [each for each in found.plans if each.face in found.may_be_scraped and not each.nothing_to_see]
    blue = Thing("Blue first", BEFORE_METAL)
    if not found.may_be_scraped:
        return [Thing("Do not scrape yet", found.why_not or "no face can be planned yet."), blue]
    if not ready:
        return [Thing("Scrape nothing", "no depth stands out of what could be seen: blue now."), blue]
    deepest = max(ready, key=lambda plan: float(plan.this_round_um.max()))
    return [Thing(f"Scrape {deepest.face}", f"{_this_round(deepest, inch)}; then measure again."), blue]


def _this_round(plan: "FacePlan", inch: bool) -> str:
    unit, _ = units(inch)
    most = int(np.argmax(plan.this_round_um))
    depth = depth_text(float(plan.this_round_um[most]), unit, fine_um(plan))
    return f"this round most at {length_text(plan.removal.station_mm[most], inch)}, {depth} {unit}"


def strip_words(plan: "FacePlan", inch: bool) -> str:
    """What comes off one face, in one unit and one short line."""
    removal, (unit, _) = plan.removal, units(inch)
    most, fine = int(np.argmax(removal.removal_um)), fine_um(plan)
    if plan.nothing_to_see:
        return "nothing to take off that could be seen: blue now"
    amount = depth_text(removal.removal_um[most], unit, fine)
    sure = doubt_text(2 * removal.standard_uncertainty_um[most], unit, fine)
    return (
        f"most at {length_text(removal.station_mm[most], inch)}: {amount} ± {sure} {unit}; "
        f"nothing at {places_words(removal.touching_mm, inch)}"
    )


def turn_words(move: "Move", inch: bool) -> str:
    """How far to turn one foot, as a hand does it.

    Examples
    --------
    >>> from analysis.answers.feet_on_bed import Move
    >>> turn_words(Move("a", 0.25, 40.0), False), turn_words(Move("a", -0.02, -30.0), False)
    ('up 0.25 turn', 'down 7°')
    >>> turn_words(Move("a", None, 50.8), True)
    'up 2.0 thou'
    """
    way = "up" if move.lift_um > 0 else "down"
    if move.turns is None:
        unit, _ = units(inch)
        return f"{way} {depth_text(abs(move.lift_um), unit, 1.0)} {unit}"
    turns = abs(move.turns)
    return f"{way} {number_text(turns, 2)} turn" if turns >= LEAST_TURN else f"{way} {turns * DEGREES:.0f}°"
