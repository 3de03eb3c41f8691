"""`waylog datums`: which faces can be trusted to start from."""

from typing import Any

import click

from analysis.commands.options import (
    HEIGHT_ABOVE_0,
    LENGTH_ABOVE_0,
    Answer,
    Opened,
    answers,
    drawn,
    height,
    length,
    survey_argument,
)


@click.command("datums")
@survey_argument
@height(
    "--within",
    "within_um",
    of=HEIGHT_ABOVE_0,
    help="Over which length each face is straight within this (a bare number: µm, or thou).",
)
@length("--pads", "pads_mm", of=LENGTH_ABOVE_0, help="From pad to pad of a fixture: its path is told.")
@length("--overhang", "overhang_mm", default="0 mm", help="From the middle of its pads to its tool.")
@length("--tool-across", "tool_across_mm", help="From its top pads to its tool, + to the rear, and ...")
@length("--tool-above", "tool_above_mm", help="... above its side pads: puts its roll in the path.")
@answers
def command(survey: Opened, within_um: float | None, **fixture: Any) -> Answer:
    """Which faces of SURVEY can be trusted to start from, and how they stand to each other."""
    from analysis.answers.datums import datums
    from analysis.words.datums import datums_answer

    found = datums(survey.map(), within_um, **fixture)
    return Answer(found, lambda inch: datums_answer(found, inch), drawn("datums_figure", found))
