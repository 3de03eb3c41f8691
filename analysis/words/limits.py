"""Verdicts on the owner's limits, in plain words, the rule beside each."""

from typing import TYPE_CHECKING

from acquire.model.units import height_text, slope_text
from analysis.answers.limits import CANNOT_TELL, DOES_NOT_MEET, MEETS
from analysis.words.assumptions import taken_and_notes
from analysis.words.shape import LINE_WORDS

if TYPE_CHECKING:
    from analysis.answers.limits import Judged, Verdicts

NAMES = {
    "straightness_um": "straightness",
    "twist_um_per_m": "twist",
    "wind_um_per_m": "wind from end to end",
}
SEVERAL = {
    MEETS: ("meets", "meet"),
    DOES_NOT_MEET: ("does not meet", "do not meet"),
    CANNOT_TELL: ("cannot be told", "cannot be told"),
}
RULE_WORDS = {
    "1.645u": "y ± 1.645u against the limit, as ISO 14253-1 of 2017 has it (from memory)",
    "2u": "y ± 2u against the limit",
}


def limits_words(found: "Verdicts", inch: bool) -> list[str]:
    """How many meet, then each limit with its figure, its ± and what to do."""
    count = {name: sum(each.verdict == name for each in found.judged) for name in SEVERAL}
    first = ", ".join(f"{n} {SEVERAL[name][n > 1]}" for name, n in count.items() if n)
    lines = [f"Your own limits: {first}."]
    lines += [f"  {judged_words(each, inch)}" for each in found.judged]
    return [
        *lines,
        f"  Rule: {RULE_WORDS[found.rule]}; ranges by the interval that holds the true one, since noise "
        "alone makes them larger.",
        *taken_and_notes(found.assumptions, found.warnings),
    ]


def judged_words(each: "Judged", inch: bool) -> str:
    """One limit in one line."""
    text = height_text if each.what.endswith("_um") else slope_text
    name = f"{NAMES[each.what]} of {each.of}"
    limit = text(each.limit, inch, each.limit / 20)
    if each.value is None or each.low is None or each.high is None:
        return f"{name}, limit {limit}: cannot tell: {(each.why_not_known or '').rstrip('.')}."
    fine = max((each.high - each.low) / 4, each.limit / 1000)
    line = f" from {LINE_WORDS[each.line]}" if each.line else ""
    words = (
        f"{name}, limit {limit}: {each.verdict} [{each.rule}]: {text(each.value, inch, fine)}{line}, "
        f"in truth between {text(each.low, inch, fine)} and {text(each.high, inch, fine)}"
    )
    if each.coarse_needs is not None:
        words += (
            f"; too coarse for this limit, a standard uncertainty of {text(each.coarse_needs, inch)} would do"
        )
    return f"{words}."
