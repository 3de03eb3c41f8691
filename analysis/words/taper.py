"""How two faces taper: in words."""

from typing import TYPE_CHECKING

from acquire.model.units import length_text
from analysis.words.assumptions import taken_and_notes
from analysis.words.known import height_bound, height_known, slope_bound, slope_known
from analysis.words.tables import columns

if TYPE_CHECKING:
    from analysis.answers.taper import Taper, Tapers


def tapers_words(found: "Tapers", inch: bool) -> list[str]:
    """Each pair: its taper, how evenly, station by station."""
    lines = []
    for each in found.pairs:
        lines += [taper_answer(each, inch), *(f"  {words}" for words in _beside(each, inch))]
        doubt = 2 * each.standard_uncertainty_um
        lines += columns(each.station_mm, each.departure_um, doubt, inch=inch, what="from the line")
    return [*lines, *taken_and_notes(found.assumptions, found.warnings)]


def taper_answer(each: "Taper", inch: bool) -> str:
    """The taper in one line."""
    doubt = each.taper_expanded_um_per_m
    pair = f"{each.a} and {each.b}"
    if not each.is_seen:
        return f"{pair}: parallel within what could be seen (± {slope_bound(doubt, inch)})."
    amount = slope_known(abs(each.taper_um_per_m), doubt, inch)
    over = height_known(abs(each.over_um), each.over_expanded_um, inch)
    length = length_text(float(each.station_mm[-1] - each.station_mm[0]), inch)
    return f"{pair}: {_way(each)}, by {amount}: {over} over {length}."


def _way(each: "Taper") -> str:
    grows = each.taper_um_per_m > 0
    if each.is_gap:
        return f"the gap between grows {'narrower' if grows else 'wider'} towards the {each.far_end}"
    if each.look_opposite:
        return f"what lies between is {'thicker' if grows else 'thinner'} towards the {each.far_end}"
    return f"{each.b} {'rises' if grows else 'falls'} against {each.a} towards the {each.far_end}"


def _beside(each: "Taper", inch: bool) -> list[str]:
    expanded = each.departure_expanded_um
    if each.is_even:
        seen = height_bound(expanded, inch)
        lines = [f"Even all along within what could be seen ({seen})."]
    else:
        size = height_known(each.departure_range_um, expanded, inch)
        high, low = (length_text(place.station_mm, inch) for place in (each.highest, each.lowest))
        most, least = ("narrowest", "widest") if each.is_gap else ("thickest", "thinnest")
        if not each.look_opposite:
            most, least = "highest", "lowest"
        lines = [f"From its line it departs by {size}: {most} at {high}, {least} at {low}."]
    unknown = [face for face in (each.a, each.b) if face not in each.shapes_known]
    if unknown:
        which = "neither face" if len(unknown) == 2 else unknown[0]
        lines.append(
            f"The shape of {which} is not known from these readings: a bend common to both does not show. "
            "A level or straightedge along one of them would tell."
        )
    return lines
