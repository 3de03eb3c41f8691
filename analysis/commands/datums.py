"""`waylog datums`: which faces can be trusted to start from."""

from pathlib import Path

import click

from analysis.commands.options import Shown, answer_options, give, survey_argument


@click.command("datums")
@survey_argument
@click.option(
    "--within",
    "within_um",
    type=click.FloatRange(min=0, min_open=True),
    metavar="UM",
    help="Over which length each face is straight within this, in µm.",
)
@answer_options
def command(
    survey: Path, within_um: float | None, as_json: bool, picture: Path | None, inch: bool | None
) -> None:
    """Which faces of SURVEY can be trusted to start from, and how they stand to each other."""
    from analysis.answers.datums import datums
    from analysis.answers.surveys import load
    from analysis.words.datums import datums_answer

    loaded = load(survey)
    result = datums(loaded.map(), within_um)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import datums_figure

        return datums_figure(result, in_inches)

    give(result, lambda i: datums_answer(result, i), draw, Shown(as_json, picture, inch), loaded.bed.is_inch)
