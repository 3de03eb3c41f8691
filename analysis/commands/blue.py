"""`waylog blue`: where a straightedge would mark a face, held against the marks that were seen."""

from typing import TYPE_CHECKING

import click

from analysis.commands.options import HEIGHT_FROM_0, LENGTH, Answer, answers, drawn, survey_argument

if TYPE_CHECKING:
    from analysis.answers.surveys import Survey


@click.command("blue")
@survey_argument
@click.argument("face")
@click.option("--edge", metavar="NAME", help="The straightedge, as bed.toml calls it.")
@click.option("--film", "film_um", type=HEIGHT_FROM_0, metavar="U",
              help="Thickness of the blue (a bare number: µm, or thou).")  # fmt: skip
@click.option("--from", "from_mm", type=LENGTH, metavar="L",
              help="Where the edge lies (default: all along).")  # fmt: skip
@click.option("--to", "to_mm", type=LENGTH, metavar="L", help="Its other end.")
@answers
def command(
    survey: "Survey",
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
