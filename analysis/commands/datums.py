"""`waylog datums`: which faces can be trusted to start from."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import ABOVE_0, Shown, answer_options, give, in_um, survey_argument

if TYPE_CHECKING:
    from acquire.model.units import Reading


@click.command("datums")
@survey_argument
@click.option(
    "--within",
    type=ABOVE_0,
    metavar="U",
    help="Over which length each face is straight within this (a bare number: µm, or thou).",
)
@answer_options
def command(
    survey: Path, within: "Reading | None", as_json: bool, picture: Path | None, inch: bool | None
) -> None:
    """Which faces of SURVEY can be trusted to start from, and how they stand to each other."""
    from analysis.answers.datums import datums
    from analysis.answers.surveys import load
    from analysis.words.datums import datums_answer

    loaded = load(survey)
    within_um = None if within is None else in_um(within, loaded.bed.is_inch)
    result = datums(loaded.map(), within_um)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import datums_figure

        return datums_figure(result, in_inches)

    give(result, lambda i: datums_answer(result, i), draw, Shown(as_json, picture, inch), loaded.bed.is_inch)
