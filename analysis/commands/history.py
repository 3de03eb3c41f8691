"""`waylog history`: the bed before and after work on it."""

from pathlib import Path
from typing import Any

import click

from analysis.commands.options import Answer, Opened, answers, drawn, opened


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
@answers
def command(survey: Opened, before: Path, face: str | None, scraped: tuple[str, ...]) -> Answer:
    """Did work on the bed make it better? BEFORE and AFTER are surveys of one bed.

    Measure again after the work into a new folder, with a copy of bed.toml (less the `unworn`
    stretches that were cut): same faces, bed standing alike, same instruments. In one folder `map`
    and `plan` would mix both. Traverses that are in both count as before. A line is taken off the
    change of each face: what came off evenly does not show.
    """
    from acquire.model.errors import AnalysisError
    from analysis.answers.history import before_and_after
    from analysis.words.history import history_answer

    found = before_and_after(opened(before), survey, () if face is None else (face,), scraped=scraped)
    if face is not None and not found.faces:
        raise AnalysisError(
            face, found.not_compared[face], "measured before and after", "`waylog next` says what would tell"
        )  # fmt: skip

    def draw(inch: bool) -> Any:
        if not found.faces and found.twist is None:
            picture = click.get_current_context().params["picture"]
            raise AnalysisError(str(picture), "no face is known both before and after", "one to draw")
        return drawn("history_figure", found.faces, twist=found.twist)(inch)

    return Answer(found, lambda inch: history_answer(found, inch, with_table=face is not None), draw)
