"""`waylog work`: the part that a lathe turns on its ways as they are."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import Output, Written, answer_options, give, in_mm, survey_argument

if TYPE_CHECKING:
    from acquire.model.units import Reading


@click.command("work")
@survey_argument
@click.option(
    "--diameter", type=Written(), metavar="L", default="50 mm", show_default=True, help="Of the part."
)
@click.option(
    "--tip-high",
    type=Written(),
    metavar="L",
    default="0 mm",
    help="The tool's tip above centre height as set.",
)
@click.option(
    "--axis-across", type=Written(), metavar="L", help="Spindle axis across the bed (default: midway)."
)
@click.option(
    "--guide", metavar="FACE", help="Side face that guides the carriage (default: the vee it rides)."
)
@click.option(
    "--from", "start", type=Written(), metavar="L", help="Where turning starts (default: all along)."
)
@click.option("--to", "end", type=Written(), metavar="L", help="Where it ends.")
@click.option(
    "--after-plan", is_flag=True, help="Also once the carriage's ways are cut as planned, without wind."
)
@click.option("--across-joints", is_flag=True, help="That plan may cut over joints that bed.toml declares.")
@answer_options
def command(
    survey: Path,
    diameter: "Reading",
    tip_high: "Reading",
    axis_across: "Reading | None",
    guide: str | None,
    start: "Reading | None",
    end: "Reading | None",
    after_plan: bool,
    across_joints: bool,
    output: Output,
) -> None:
    """What the shape of SURVEY's ways does to a part turned on them: its diameter along its length."""
    from functools import partial

    from analysis.answers.planned_work import before_and_after_plan
    from analysis.answers.surveys import load
    from analysis.answers.work import turned_part
    from analysis.words.work import work_words

    loaded = load(survey)
    is_inch = loaded.bed.is_inch
    first, last = loaded.bed.station_mm[0], loaded.bed.station_mm[-1]
    predicted = partial(before_and_after_plan, across_joints=across_joints) if after_plan else turned_part
    result = predicted(
        loaded.map(),
        diameter_mm=in_mm(diameter, is_inch),
        tip_high_mm=in_mm(tip_high, is_inch),
        axis_across_mm=in_mm(axis_across, is_inch),
        guide=guide,
        stretch_mm=(
            first if start is None else in_mm(start, is_inch),
            last if end is None else in_mm(end, is_inch),
        ),
    )

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures.work import work_figure

        return work_figure(result, in_inches)

    give(result, lambda i: work_words(result, i), draw, output, loaded.bed.is_inch)
