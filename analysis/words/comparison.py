"""Two maps of one thing: agree, disagree, or cannot tell."""

from typing import TYPE_CHECKING

from acquire.model.units import height_text, length_text
from analysis.words.assumptions import taken_words, unstated_words
from analysis.words.known import height_seen
from analysis.words.tables import columns, notes

if TYPE_CHECKING:
    from analysis.answers.comparison import Comparison


def comparison_words(result: "Comparison", inch: bool) -> list[str]:
    """The verdict on two maps: agree, disagree (where), or cannot tell."""
    seen = height_seen(result.smallest_detectable_um, inch)
    worst = result.worst
    by = height_text(worst["difference_um"], inch, result.smallest_detectable_um / 4)
    at = length_text(worst["station_mm"], inch)
    if result.agree is None:
        verdict = f"cannot tell: a difference would have to reach {seen} to be seen"
        do = "  Measure one of them again with less scatter, or forward and reverse."
    elif result.agree:
        verdict = f"agree; a difference of {seen} would have been seen"
        do = f"  Largest difference {by}, at {at}."
    else:
        verdict = f"disagree, most at {at}, by {by}"
        do = "  Wipe, re-seat and repeat one of the two there before believing either."
    return [f"{result.a} and {result.b} ({result.subject}) {verdict}.", do]


def smoothed_words(base_mm: float | None, inch: bool) -> list[str]:
    """How two maps were made alike, where one came through a base."""
    if base_mm is None:
        return []
    return [
        f"  Both are held against each other as a base of {length_text(base_mm, inch)} "
        "sees them, because one of the two sees nothing finer."
    ]


def comparison_answer(result: "Comparison", inch: bool) -> list[str]:
    """The verdict, then the differences station by station."""
    lines = comparison_words(result, inch)
    lines += smoothed_words(result.smoothed_over_mm, inch)
    lines += taken_words(result.assumptions)
    doubt = result.expanded_uncertainty_um
    lines += columns(result.station_mm, result.difference_um, doubt, inch=inch, what="difference")
    return [*lines, *notes(result.warnings), *unstated_words(result.assumptions)]
