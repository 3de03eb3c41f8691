"""The first page: the sheet to carry to the machine."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from acquire.model.bed import Bed
from analysis.answers.feet_on_bed import Feet
from analysis.answers.plan import FacePlan
from analysis.draw.figures import inline_svg
from analysis.draw.figures.side_view import Strip, side_view_figure
from analysis.words.cautions import ALL, PREAMBLE, Caution
from analysis.words.facts import sentence
from analysis.words.wall import Found, Thing, things_to_do

ON_THE_FIRST = 4
"""Faces on the first page, one fewer above feet: more leave no room for the cautions."""
ON_A_FURTHER = 9


@dataclass(frozen=True)
class Wall:
    """All that is on the sheet."""

    things: tuple[Thing, ...]
    picture: str | None
    """An SVG element; None where no face can be planned."""
    further: tuple[str, ...]
    """Pictures of the faces that the first page has no room for, a page each."""
    not_yet: str | None
    """Why nothing may be scraped yet."""
    feet: str | None
    """Why no foot may be turned."""
    unknown: tuple[str, ...]
    """Faces whose shape is not known."""
    preamble: str = PREAMBLE
    cautions: tuple[Caution, ...] = ALL


def wall_sheet(bed: Bed, found: Found, why_not: Mapping[str, str], inch: bool) -> Wall:
    """Draw and word the sheet.

    Parameters
    ----------
    bed : Bed
    found : Found
    why_not : mapping of face id to words
        Faces that may not be scraped yet, and why.
    inch : bool
    """
    strips = [Strip(plan, plan.face not in why_not) for plan in in_order(bed, found.plans)]
    room = ON_THE_FIRST - bool(bed.feet)
    first, rest = strips[:room], strips[room:]
    pages = [rest[i : i + ON_A_FURTHER] for i in range(0, len(rest), ON_A_FURTHER)]
    planned = {plan.face for plan in found.plans}
    return Wall(
        things=things_to_do(found, inch),
        picture=inline_svg(side_view_figure(first, bed, inch, found.feet), "side") if first else None,
        further=tuple(
            inline_svg(side_view_figure(page, bed, inch), f"side-{number}")
            for number, page in enumerate(pages, 2)
        ),
        not_yet=found.why_not if found.plans else None,
        feet=_feet_words(bed, found.feet),
        unknown=tuple(name for name in bed.faces if name not in planned),
    )


def in_order(bed: Bed, plans: Sequence[FacePlan]) -> list[FacePlan]:
    """The carriage's ways first, then as in bed.toml."""
    ways = bed.carriage_ways()
    return sorted(plans, key=lambda plan: ways.index(plan.face) if plan.face in ways else len(ways))


def _feet_words(bed: Bed, feet: Feet | None) -> str | None:
    """Why no foot is turned; nothing about feet that are not described."""
    if not bed.feet or feet is None or feet.refused is None:
        return None
    return f"Turn no foot: {sentence(feet.refused)}."
