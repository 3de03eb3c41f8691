"""The turned part in the words of the trade."""

from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import height_text, length_text
from analysis.answers.carriage_path import A_LINE
from analysis.words.assumptions import taken_and_notes
from analysis.words.tables import columns

if TYPE_CHECKING:
    from analysis.answers.work import Part, TurnedPart

COUNTS_UM = 0.2
"""What a movement does to the diameter below this is not worth a figure."""
READ_FOR = {
    "roll": "a level across the carriage, or across its ways, tells it",
    "sideways": "an indicator carried by the carriage along a side face, a taut wire or a test bar tells it; "
    "`--guide FACE` where a side face guides the carriage",
    "height": "a level along each way tells it",
}
_MOVES = {
    "roll": "how the carriage rolls",
    "sideways": "how the carriage sways sideways",
    "height": "how the carriage drops",
}


def work_words(found: "TurnedPart", inch: bool) -> list[str]:
    """The answer, what it comes from, the table, and what it takes for granted."""
    lines = [work_answer(found, inch), *_parts(found, inch)]
    if found.after_plan is not None:
        lines.append(f"  Once the ways are cut as planned: {work_answer(found.after_plan, inch)}")
    if found.diameter_um is not None and found.standard_uncertainty_um is not None:
        lines += columns(
            found.station_mm, found.diameter_um, 2 * found.standard_uncertainty_um, inch=inch, what="diameter"
        )
    return [
        *lines,
        *_taken(found, inch),
        *taken_and_notes(found.assumptions, found.warnings),
    ]


def work_answer(found: "TurnedPart", inch: bool) -> str:
    """The part in one line: barrel, waisted or even; by how much, how sure, where."""
    name = f"A part of Ø{length_text(found.diameter_mm, inch)}"
    if found.varies_um is None or found.varies_interval_um is None:
        moves = " and ".join(_MOVES[each] for each in found.missing) or "how roll and sway hang together"
        return f"{name}: how even it comes out cannot be told, for it is not known {moves}."
    low, high = found.varies_interval_um
    fine = (high - low) / 4
    if not found.is_seen:
        most = height_text(high, inch, fine)
        return f"{name} comes out even within what could be seen: {most} at most{_less_taper(found)}."
    by = height_text(found.varies_um, inch, fine)
    sure = f"between {height_text(low, inch, fine)} and {height_text(high, inch, fine)} in truth"
    at = (length_text(mm, inch) for mm in (found.largest_mm or 0.0, found.smallest_mm or 0.0))
    thick, thin = at
    return (
        f"{name} comes out {_form(found)}, {by} on its diameter from thickest at {thick} to thinnest at "
        f"{thin}, {sure}{_less_taper(found)}."
    )


def _less_taper(found: "TurnedPart") -> str:
    return ", a steady taper aside" if found.known_up_to == A_LINE else ""


def _form(found: "TurnedPart") -> str:
    """What a turner calls it, by where its thickest and thinnest places lie."""
    ends = (found.station_mm[0], found.station_mm[-1])
    thick, thin = found.largest_mm in ends, found.smallest_mm in ends
    if thick and thin:
        return "tapered"
    if thick:
        return "waisted"
    return "barrel-shaped" if thin else "wavy"


def _parts(found: "TurnedPart", inch: bool) -> list[str]:
    """What each movement does by itself, and what would tell one that is not known."""
    lines = []
    for name, part in (
        ("roll", found.from_roll),
        ("sideways", found.from_sideways),
        ("height", found.from_height),
    ):
        if part is not None:
            lines.append(f"  By {_MOVES[name]}: {_by(part, found, inch)}.")
    unknown = [f"  {_MOVES[name].capitalize()}: {READ_FOR[name]}." for name in found.missing]
    if found.diameter_um is None and not found.missing:
        unknown = ["  `waylog next` says what would tell."]
    return [*lines, *unknown]


def _by(part: "Part", found: "TurnedPart", inch: bool) -> str:
    high, low = int(part.diameter_um.argmax()), int(part.diameter_um.argmin())
    by = float(part.diameter_um[high] - part.diameter_um[low])
    fine = max(float(np.max(part.standard_uncertainty_um)), 0.05)
    if max(by, 2 * fine) <= COUNTS_UM:
        return f"less than {height_text(COUNTS_UM, inch, 0.1)} on the diameter"
    where = (
        f"thickest at {length_text(float(found.station_mm[high]), inch)}" if by > 2 * fine else "none seen"
    )
    aside = ", a steady taper aside" if part.known_up_to == A_LINE else ""
    return f"{height_text(by, inch, fine)} on the diameter, {where}{aside}"


def _taken(found: "TurnedPart", inch: bool) -> list[str]:
    """What the prediction takes for granted."""
    e = found.tip_high_mm
    tip = (
        "at centre height" if not e else f"{length_text(abs(e), inch)} {'above' if e > 0 else 'below'} centre"
    )
    return [
        "  Taken: tool on the front side, over the middle of the carriage, its tip "
        f"{tip} where it starts; spindle axis {length_text(found.centre_height_mm, inch)} above the ways; "
        "a stiff part, a light cut.",
        "  The line of the spindle and of the tailstock is not in it.",
        *(
            ["  The carriage bears between the places that were read: how the ways run there is in the ±."]
            if found.is_interpolated
            else []
        ),
    ]
