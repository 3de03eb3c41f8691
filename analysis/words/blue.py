"""Predicted blue, and how it stands with the marks seen, in the words of the trade."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import MM_PER_INCH, height_text, length_text
from analysis.words.cautions import LIFTING, SOLVENTS
from analysis.words.known import height_bound, height_known

if TYPE_CHECKING:
    from analysis.answers.blue import Blue, Stretches
    from analysis.answers.blue_seen import Contradiction

MOST_PLACES = 4
LEAST_DIGIT_UM = 0.1


def blue_answer(found: "Blue", inch: bool) -> list[str]:
    """The prediction, how large the gap gets, what is taken for granted, and what the marks say."""
    from analysis.words.assumptions import taken_and_notes

    gap = height_text(found.largest_gap_um, inch, max(found.largest_gap_expanded_um / 2, LEAST_DIGIT_UM / 2))
    doubt = height_bound(found.largest_gap_expanded_um, inch)
    lies = _stretch(found.from_mm, found.to_mm, inch)
    edge = f"straightedge {found.edge}" if found.edge else "a stiff straight edge"
    return [
        f"{found.face} under {edge}, {lies}: {_blue_of(found, inch)}.",
        f"  Largest gap {gap} ± {doubt}; film {_film(found, inch)}.",
        *(f"  {words}" for words in (*_edge_words(found), *_mark_words(found, inch))),
        *(f"  {each.line}" for each in (LIFTING, SOLVENTS)),
        *taken_and_notes(found.assumptions, found.warnings),
    ]


def blue_words(blue: "Sequence[Blue]", inch: bool) -> list[str]:
    """Where blue is to be expected, edge by edge."""
    film = height_text(blue[0].film_um, inch, _film_digits(blue[0].film_um))
    edge = f"straightedge {blue[0].edge}" if blue[0].edge else "a stiff straight edge"
    if len(blue) == 1:
        lines = [f"Predicted blue, {edge} all along it and a film of {film}: {_blue_of(blue[0], inch)}."]
    else:
        length = length_text(blue[0].to_mm - blue[0].from_mm, inch)
        lines = [f"Predicted blue, {edge} of {length} and a film of {film}, edge by edge:"]
        lines += [
            f"edge from {length_text(each.from_mm, inch)} to {length_text(each.to_mm, inch)}: "
            f"{_blue_of(each, inch)}."
            for each in blue
        ]
    return [*lines, *_edge_words(blue[0])]


def _edge_words(found: "Blue") -> list[str]:
    if found.bends:
        return []
    if found.held_by_hand:
        edge = found.edge or "a real edge"
        return [f"Held by hand, for the face does not look up: how far {edge} bends onto it is not known."]
    if found.edge is None:
        return ["A real edge bends under its own weight and marks more: name yours with --edge."]
    return [
        f"How far {found.edge} bends onto the face is not known, so no place can be promised bare: give its "
        "depth_mm and material in bed.toml."
    ]


def _film(found: "Blue", inch: bool) -> str:
    return (
        f"{height_text(found.film_um, inch, _film_digits(found.film_um))} "
        f"± {height_bound(2 * found.film_uncertainty_um, inch)}"
    )


def _film_digits(film_um: float) -> float:
    return 0.1 if film_um % 1 else 1.0


def _mark_words(found: "Blue", inch: bool) -> list[str]:
    if not found.marks:
        return []
    if not found.contradicted:
        return ["The marks seen and the map agree."]
    return [
        *(contradiction_words(each, found, inch) for each in found.contradicted),
        "One of the two is wrong there: clean both, blue again thinly, and read the face there once more "
        "before any metal comes off.",
    ]


def contradiction_words(each: "Contradiction", found: "Blue", inch: bool) -> str:
    """Marks that the map did not foresee, and which way the face must then lie."""
    stretch, at = _stretch(each.from_mm, each.to_mm, inch), length_text(each.at_mm, inch)
    film = f"or the film is not {_film(found, inch)}."
    if each.seen == "bare":
        return (
            f"At {stretch} no blue was seen, where the edge must touch by the map (at {at}): the face is "
            f"lower there than mapped, or higher elsewhere under the edge; {film}"
        )
    gap = height_known(each.gap_um, each.expanded_gap_um, inch)
    return (
        f"At {stretch} blue was seen, where the map leaves a gap of {gap} (at {at}): the face is "
        f"higher there than mapped, or lower where the edge rests; {film}"
    )


def _blue_of(each: "Blue", inch: bool) -> str:
    """Stretches that touch, what is left open, and how it rests."""
    whole = ((each.from_mm, each.to_mm),)
    if len(each.touches_mm) == 1 and np.allclose(each.touches_mm, whole):
        words = "touches all along"
    else:
        words = f"touches at {_stretches(each.touches_mm, inch)}"
    if each.may_touch_mm:
        words += f"; may also touch at {_stretches(each.may_touch_mm, inch)}"
    rests = places_words(each.rests_at_mm, inch)
    return f"{words} (it {'rocks on' if len(each.rests_at_mm) == 1 else 'rests on'} {rests})"


def _stretch(from_mm: float, to_mm: float, inch: bool) -> str:
    return f"{length_text(from_mm, inch).split()[0]} to {length_text(to_mm, inch)}"


def _stretches(stretches: "Stretches", inch: bool) -> str:
    """Stretches to the nearest mm; neighbours that differ by nothing one would see become one."""
    unit = 1.0 if not inch else MM_PER_INCH / 10
    shown: list[list[int]] = []
    for start, end in stretches:
        a, b = round(start / unit), round(end / unit)
        if shown and a <= shown[-1][1]:
            shown[-1][1] = max(b, shown[-1][1])
        else:
            shown.append([a, b])
    texts = [
        length_text(a * unit, inch)
        if a == b
        else f"{length_text(a * unit, inch).split()[0]} to {length_text(b * unit, inch)}"
        for a, b in shown
    ]
    return ", ".join(texts)


def places_words(station_mm: Sequence[float], inch: bool) -> str:
    """Stations in words: `400 and 600 mm`; many as a number between two.

    Examples
    --------
    >>> places_words([400.0, 600.0], inch=False), places_words([0, 1, 2, 3, 4.0], inch=False)
    ('400 and 600 mm', '5 stations between 0 and 4 mm')
    """
    texts = [length_text(each, inch) for each in station_mm]
    bare, unit = [text.split()[0] for text in texts], texts[0].split()[1]
    if len(texts) > MOST_PLACES:
        return f"{len(texts)} stations between {bare[0]} and {bare[-1]} {unit}"
    return f"{', '.join(bare[:-1])} and {bare[-1]} {unit}" if len(bare) > 1 else texts[0]
