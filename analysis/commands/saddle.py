"""`waylog saddle`: how far the saddle comes down, and what that asks of apron, rack, screw and lining."""

from typing import Any

import click

from analysis.commands.options import LENGTH_FROM_0, Answer, Opened, answers, drawn, length, survey_argument


@click.command("saddle")
@survey_argument
@length("--apron", "apron_mm", help="Across: where pinion or half nuts are. Default: apron_mm in bed.toml.")
@click.option(
    "--pressure-angle",
    "pressure_angle_deg",
    type=click.FloatRange(5, 45),
    default=20.0,
    show_default=True,
    metavar="DEG",
    help="Of the rack's teeth.",
)
@length("--sheet", "sheet_mm", of=LENGTH_FROM_0, help="Thickness of the sheet that lines the saddle.")
@length("--bond", "bond_mm", of=LENGTH_FROM_0, default="0 mm", help="Thickness of its glue.")
@length("--scrape", "scrape_mm", of=LENGTH_FROM_0, default="0 mm", help="Allowance to scrape it in.")
@click.option("--across-joints", is_flag=True, help="Plan over joints that bed.toml declares.")
@answers
def command(
    survey: Opened,
    apron_mm: float | None,
    sheet_mm: float | None,
    bond_mm: float,
    scrape_mm: float,
    **asked: Any,
) -> Answer:
    """How far SURVEY's saddle comes down once its ways are planned without wind, and what follows."""
    from analysis.answers.saddle import Lining, saddle_drop
    from analysis.words.saddle import saddle_words

    lining = None if sheet_mm is None else Lining(sheet_mm, bond_mm, scrape_mm)
    found = saddle_drop(survey.map(), apron_mm, lining=lining, **asked)
    return Answer(found, lambda inch: saddle_words(found, inch), drawn("saddle_figure", found))
