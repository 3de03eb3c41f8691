"""`waylog blue`: where a straightedge would mark a face, held against the marks that were seen."""

import click

from analysis.commands.options import (
    HEIGHT_FROM_0,
    Answer,
    Opened,
    answers,
    drawn,
    height,
    length,
    survey_argument,
)


@click.command("blue")
@survey_argument
@click.argument("face")
@click.option("--edge", metavar="NAME", help="The straightedge, as bed.toml calls it.")
@height("--film", "film_um", of=HEIGHT_FROM_0, help="Thickness of the blue (a bare number: µm, or thou).")
@length("--from", "from_mm", help="Where the edge lies (default: all along).")
@length("--to", "to_mm", help="Its other end.")
@answers
def command(
    survey: Opened,
    face: str,
    edge: str | None,
    film_um: float | None,
    from_mm: float | None,
    to_mm: float | None,
) -> Answer:
    """Where a straightedge laid on FACE would leave its blue, and whether the marks seen agree.

    Marks kept by `waylog marks` are held against the map: with no options, the latest of the face.
    """
    from acquire.store.kept import read_marks
    from analysis.answers.blue import blue_on
    from analysis.answers.blue_seen import marks_that_fit
    from analysis.words.blue import blue_answer

    kept = marks_that_fit(read_marks(survey.folder), face, edge, (from_mm, to_mm))
    lies = {"film_um": film_um, "from_mm": from_mm, "to_mm": to_mm}
    found = blue_on(survey.map(), face, edge, kept=kept, **lies)
    return Answer(found, lambda inch: blue_answer(found, inch), drawn("blue_figure", found))
