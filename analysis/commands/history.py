"""`waylog history`: the bed before and after work on it."""

from pathlib import Path

import click

from analysis.commands.options import Output, answer_options, give


@click.command("history")
@click.argument("before", type=click.Path(path_type=Path))
@click.argument("survey", metavar="AFTER", type=click.Path(path_type=Path))
@click.option("--face", help="Only this face, with its change station by station.")
@click.option(
    "--scraped",
    multiple=True,
    metavar="FACE",
    help="A face that metal was taken off (may be given again): the others tell how the bed moved.",
)
@answer_options
def command(
    before: Path,
    survey: Path,
    face: str | None,
    scraped: tuple[str, ...],
    output: Output,
) -> None:
    """Did work on the bed make it better? BEFORE and AFTER are surveys of one bed.

    Copy the survey folder before the work; measure again into the present one (or a new one)
    after it: same faces, bed standing alike, same instruments. Traverses that are in both count
    as before. A line is taken off the change of each face: what was taken off evenly does not show.
    """
    from acquire.model.errors import AnalysisError
    from analysis.answers.history import before_and_after
    from analysis.answers.surveys import load
    from analysis.words.history import history_answer

    after = load(survey)
    result = before_and_after(load(before), after, () if face is None else (face,), scraped=scraped)
    if face is not None and not result.faces:
        raise AnalysisError(
            face, result.not_compared[face], "measured before and after", "`waylog next` says what would tell"
        )  # fmt: skip

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.history import history_figure

        if not result.faces and result.twist is None:
            raise AnalysisError(str(output.picture), "no face is known both before and after", "one to draw")
        return history_figure(result.faces, in_inches, twist=result.twist)

    give(
        result,
        lambda i: history_answer(result, i, with_table=face is not None),
        draw,
        output,
        after.bed.is_inch,
    )
