"""`waylog blue`: where a straightedge would mark a face, held against the marks that were seen."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import (
    FROM_0,
    Output,
    Written,
    answer_options,
    give,
    in_mm,
    in_um,
    survey_argument,
)

if TYPE_CHECKING:
    from acquire.model.units import Reading
    from analysis.answers.blue import Blue
    from analysis.answers.surveys import Survey


@click.command("blue")
@survey_argument
@click.argument("face")
@click.option("--edge", metavar="NAME", help="The straightedge, as bed.toml calls it.")
@click.option("--film", type=FROM_0, metavar="U", help="Thickness of the blue (a bare number: µm, or thou).")
@click.option(
    "--from", "start", type=Written(), metavar="L", help="Where the edge lies (default: all along)."
)
@click.option("--to", "end", type=Written(), metavar="L", help="Its other end.")
@answer_options
def command(
    survey: Path,
    face: str,
    edge: str | None,
    film: "Reading | None",
    start: "Reading | None",
    end: "Reading | None",
    output: Output,
) -> None:
    """Where a straightedge laid on FACE would leave its blue, and whether the marks seen agree.

    Marks kept by `waylog marks` are held against the map: with no options, the latest of the face.
    """
    from analysis.answers.surveys import load
    from analysis.words.blue import blue_answer

    loaded = load(survey)
    is_inch = loaded.bed.is_inch
    film_um = in_um(film, is_inch)
    from_mm, to_mm = (in_mm(each, is_inch) for each in (start, end))
    result = _blue(loaded, face, edge, film_um, (from_mm, to_mm))

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import blue_figure

        return blue_figure(result, in_inches)

    give(result, lambda i: blue_answer(result, i), draw, output, loaded.bed.is_inch)


def _blue(
    loaded: "Survey",
    face: str,
    edge: str | None,
    film_um: float | None,
    lies: tuple[float | None, float | None],
) -> "Blue":
    from acquire.store.kept import read_marks
    from analysis.answers.assumptions import assumptions
    from analysis.answers.blue import FILM_UM, described_edge, predict_blue
    from analysis.answers.blue_seen import marks_that_fit
    from analysis.answers.face_map import own_shape

    bed_map = loaded.map()
    own, warnings = own_shape(bed_map, face)
    taken = assumptions(bed_map, {face})
    kept = marks_that_fit(read_marks(loaded.folder), face, edge, lies)
    if kept is None:
        described = described_edge(loaded.bed, edge)
        return predict_blue(
            own,
            described,
            from_mm=lies[0],
            to_mm=lies[1],
            film_um=FILM_UM if film_um is None else film_um,
            joints_mm=loaded.bed.joints_mm,
            warnings=warnings,
            assumptions=taken,
        )
    return predict_blue(
        own,
        described_edge(loaded.bed, kept.edge),
        from_mm=kept.from_mm,
        to_mm=kept.to_mm,
        film_um=kept.film_um if film_um is None else film_um,
        marks=kept.stretches,
        joints_mm=loaded.bed.joints_mm,
        warnings=warnings,
        assumptions=taken,
    )
