"""`waylog saddle`: how far the saddle comes down, and what that asks of apron, rack, screw and lining."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import FROM_0, Output, Written, answer_options, give, in_mm, survey_argument

if TYPE_CHECKING:
    from acquire.model.units import Reading


@click.command("saddle")
@survey_argument
@click.option(
    "--apron",
    type=Written(),
    metavar="L",
    help="Across: where pinion or half nuts are. Default: apron_mm in bed.toml.",
)
@click.option(
    "--pressure-angle",
    "pressure_angle_deg",
    type=click.FloatRange(5, 45),
    default=20.0,
    show_default=True,
    metavar="DEG",
    help="Of the rack's teeth.",
)
@click.option("--sheet", type=FROM_0, metavar="L", help="Thickness of the sheet that lines the saddle.")
@click.option("--bond", type=FROM_0, default="0 mm", metavar="L", help="Thickness of its glue.")
@click.option("--scrape", type=FROM_0, default="0 mm", metavar="L", help="Allowance to scrape it in.")
@click.option("--across-joints", is_flag=True, help="Plan over joints that bed.toml declares.")
@answer_options
def command(
    survey: Path,
    apron: "Reading | None",
    pressure_angle_deg: float,
    sheet: "Reading | None",
    bond: "Reading",
    scrape: "Reading",
    across_joints: bool,
    output: Output,
) -> None:
    """How far SURVEY's saddle comes down once its ways are planned without wind, and what follows."""
    from analysis.answers.saddle import Lining, saddle_drop
    from analysis.answers.surveys import load
    from analysis.words.saddle import saddle_words

    loaded = load(survey)
    is_inch = loaded.bed.is_inch
    lining = None if sheet is None else Lining(*(in_mm(each, is_inch) for each in (sheet, bond, scrape)))
    result = saddle_drop(
        loaded.map(),
        in_mm(apron, is_inch),
        pressure_angle_deg=pressure_angle_deg,
        lining=lining,
        across_joints=across_joints,
    )

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.saddle import saddle_figure

        return saddle_figure(result, in_inches)

    give(result, lambda i: saddle_words(result, i), draw, output, is_inch)
