"""`waylog work`: the part that a lathe turns on its ways as they are."""

from functools import partial
from typing import Any

import click

from analysis.commands.options import Answer, Opened, answers, drawn, length, survey_argument


@click.command("work")
@survey_argument
@length("--diameter", "diameter_mm", default="50 mm", show_default=True, help="Of the part.")
@length("--tip-high", "tip_high_mm", default="0 mm", help="The tool's tip above centre height as set.")
@length("--axis-across", "axis_across_mm", help="Spindle axis across the bed (default: midway).")
@click.option(
    "--guide", metavar="FACE", help="Side face that guides the carriage (default: the vee it rides)."
)
@length("--from", "from_mm", help="Where turning starts (default: all along).")
@length("--to", "to_mm", help="Where it ends.")
@click.option(
    "--after-plan", is_flag=True, help="Also once the carriage's ways are cut as planned, without wind."
)
@click.option("--across-joints", is_flag=True, help="That plan may cut over joints that bed.toml declares.")
@answers
def command(
    survey: Opened,
    from_mm: float | None,
    to_mm: float | None,
    after_plan: bool,
    across_joints: bool,
    **asked: Any,
) -> Answer:
    """What the shape of SURVEY's ways does to a part turned on them: its diameter along its length."""
    from analysis.answers.planned_work import before_and_after_plan
    from analysis.answers.work import turned_part
    from analysis.words.work import work_words

    first, last = survey.bed.station_mm[0], survey.bed.station_mm[-1]
    stretch_mm = (first if from_mm is None else from_mm, last if to_mm is None else to_mm)
    predicted = partial(before_and_after_plan, across_joints=across_joints) if after_plan else turned_part
    found = predicted(survey.map(), stretch_mm=stretch_mm, **asked)
    return Answer(found, lambda inch: work_words(found, inch), drawn("work_figure", found))
