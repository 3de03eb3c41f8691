"""`waylog marks`: what blue a straightedge left on a face, stretch by stretch."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.model.lengths import in_mm, in_um
from acquire.model.options import FROM_0, Written
from acquire.model.places import end_where_rounded
from acquire.model.saying import say
from acquire.model.system import utc_now

if TYPE_CHECKING:
    from acquire.model.bed import Bed, Straightedge
    from acquire.model.marks import Mark
    from acquire.model.units import Reading

ASKED = "seen (FROM-TO full, spots or bare; Enter alone ends): "


@click.command("marks")
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("face")
@click.argument("stretches", nargs=-1, metavar="[STRETCH]...")
@click.option("--edge", required=True, metavar="NAME", help="The straightedge, as bed.toml calls it.")
@click.option(
    "--from", "lay_from", type=Written(), metavar="L", help="Where the edge lay (default: all along)."
)
@click.option("--to", "lay_to", type=Written(), metavar="L", help="Its other end.")
@click.option(
    "--film",
    type=FROM_0,
    default="5 µm",
    show_default=True,
    metavar="U",
    help="Thickness of the marking blue (common practice: 1 to 10 µm, 0.04 to 0.4 thou).",
)
@click.option("--note", default="", metavar="WORDS", help="Words to keep with it.")
def command(
    survey: Path,
    face: str,
    stretches: tuple[str, ...],
    edge: str,
    lay_from: "Reading | None",
    lay_to: "Reading | None",
    film: "Reading",
    note: str,
) -> int:
    """Keep what blue the straightedge left on FACE: one STRETCH after the other, such as "0-350 full".

    Without STRETCHes they are asked for, or read from standard input line by line. `waylog blue`
    holds them against the map.
    """
    from acquire.model.marks import Marks
    from acquire.store import survey_bed
    from acquire.store.kept import keep_marks

    bed = survey_bed(survey)
    laid = _edge(bed, face, edge)
    start = 0.0 if lay_from is None else in_mm(lay_from, bed.is_inch)
    end = min(start + laid.length_mm, bed.length_mm) if lay_to is None else in_mm(lay_to, bed.is_inch)
    start, end = (end_where_rounded(bed.length_mm, each) for each in (start, end))
    seen = tuple(_inside(mark, start, end, bed.is_inch) for mark in _typed(stretches, bed.is_inch))
    if not seen:
        say("nothing was typed, nothing is kept", err=True)
        return 1
    path = keep_marks(survey, Marks(face, edge, start, end, in_um(film, bed.is_inch), utc_now(), seen, note))
    say(f"{len(seen)} stretches of {face} under {edge}: {path}")
    say(f"hold them against the map: waylog blue {survey} {face}")
    return 0


def _edge(bed: "Bed", face: str, edge: str) -> "Straightedge":
    from acquire.model.errors import SurveyError

    if face not in bed.faces:
        raise SurveyError(f"face {face!r}", "found no such face in bed.toml", ", ".join(bed.faces))
    if edge not in bed.straightedges:
        needed = ", ".join(bed.straightedges) or "a table [straightedges.NAME]"
        raise SurveyError(
            f"--edge {edge!r}", "found no such straightedge in bed.toml", needed, "describe it there"
        )
    return bed.straightedges[edge]


def _typed(stretches: tuple[str, ...], inch: bool) -> "Iterator[Mark]":
    """Marks from the command line; else asked of a person, who is asked again, or read line by line."""
    from acquire.model.errors import SurveyError
    from acquire.model.marks import parse_mark

    if stretches or not sys.stdin.isatty():
        yield from (parse_mark(text, inch) for text in stretches or sys.stdin if text.strip())
        return
    while text := click.prompt(ASKED, default="", show_default=False, prompt_suffix="", err=True).strip():
        try:
            yield parse_mark(text, inch)
        except SurveyError as error:
            say(f"  {error}", err=True)


def _inside(mark: "Mark", start: float, end: float, inch: bool) -> "Mark":
    from dataclasses import replace

    from acquire.model.errors import SurveyError
    from acquire.model.places import ROUNDING_MM
    from acquire.model.units import length_text

    first, last = (start if abs(mark.from_mm - start) <= ROUNDING_MM else mark.from_mm,
                   end if abs(mark.to_mm - end) <= ROUNDING_MM else mark.to_mm)  # fmt: skip
    mark = replace(mark, from_mm=first, to_mm=last)
    if not start <= mark.from_mm < mark.to_mm <= end:
        raise SurveyError(
            "marks",
            f"found {length_text(mark.from_mm, inch)} to {length_text(mark.to_mm, inch)}",
            f"a stretch under the edge, {length_text(start, inch)} to {length_text(end, inch)}",
            "say where it lay: --from and --to",
        )
    return mark
