"""`waylog datums`: which faces can be trusted to start from."""

from typing import TYPE_CHECKING, Any

import click

from analysis.commands.options import (
    HEIGHT_ABOVE_0,
    LENGTH,
    LENGTH_ABOVE_0,
    Answer,
    answers,
    drawn,
    survey_argument,
)

if TYPE_CHECKING:
    from analysis.answers.surveys import Survey


@click.command("datums")
@survey_argument
@click.option(
    "--within",
    "within_um",
    type=HEIGHT_ABOVE_0,
    metavar="U",
    help="Over which length each face is straight within this (a bare number: µm, or thou).",
)
@click.option("--pads", "pads_mm", type=LENGTH_ABOVE_0, metavar="L",
              help="From pad to pad of a fixture: its path is told.")  # fmt: skip
@click.option("--overhang", "overhang_mm", type=LENGTH, default="0 mm", metavar="L",
              help="From the middle of its pads to its tool.")  # fmt: skip
@click.option("--tool-across", "tool_across_mm", type=LENGTH, metavar="L",
              help="From its top pads to its tool, + to the rear, and ...")  # fmt: skip
@click.option("--tool-above", "tool_above_mm", type=LENGTH, metavar="L",
              help="... above its side pads: puts its roll in the path.")  # fmt: skip
@answers
def command(survey: "Survey", within_um: float | None, **fixture: Any) -> Answer:
    """Which faces of SURVEY can be trusted to start from, and how they stand to each other."""
    from analysis.answers.datums import datums
    from analysis.words.datums import datums_answer

    found = datums(survey.map(), within_um, **fixture)
    return Answer(found, lambda inch: datums_answer(found, inch), drawn("datums_figure", found))
