"""`waylog datums`: which faces can be trusted to start from."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import (
    ABOVE_0,
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


@click.command("datums")
@survey_argument
@click.option(
    "--within",
    type=ABOVE_0,
    metavar="U",
    help="Over which length each face is straight within this (a bare number: µm, or thou).",
)
@click.option("--pads", type=ABOVE_0, metavar="L", help="From pad to pad of a fixture: its path is told.")
@click.option(
    "--overhang", type=Written(), default="0 mm", metavar="L", help="From the middle of its pads to its tool."
)
@click.option(
    "--tool-across", type=Written(), metavar="L", help="From its top pads to its tool, + to the rear, and ..."
)
@click.option(
    "--tool-above", type=Written(), metavar="L", help="... above its side pads: puts its roll in the path."
)
@answer_options
def command(
    survey: Path,
    within: "Reading | None",
    pads: "Reading | None",
    overhang: "Reading",
    tool_across: "Reading | None",
    tool_above: "Reading | None",
    output: Output,
) -> None:
    """Which faces of SURVEY can be trusted to start from, and how they stand to each other."""
    from analysis.answers.datums import datums
    from analysis.answers.surveys import load
    from analysis.words.datums import datums_answer

    loaded = load(survey)
    is_inch = loaded.bed.is_inch
    result = datums(
        loaded.map(),
        in_um(within, is_inch),
        pads_mm=in_mm(pads, is_inch),
        overhang_mm=in_mm(overhang, is_inch),
        tool_across_mm=in_mm(tool_across, is_inch),
        tool_above_mm=in_mm(tool_above, is_inch),
    )

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import datums_figure

        return datums_figure(result, in_inches)

    give(result, lambda i: datums_answer(result, i), draw, output, loaded.bed.is_inch)
