"""`waylog plan`: what to take off faces, station by station, and what blue to expect first."""

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analysis.commands.options import Shown, answer_options, give, survey_argument

if TYPE_CHECKING:
    from analysis.answers.plan import FacePlan, Plans


@click.command("plan")
@survey_argument
@click.argument("faces", nargs=-1, required=True)
@click.option(
    "--parallel-to",
    "other",
    metavar="FACE",
    help="Plan the faces parallel to this one: to its own plan if it is named with them, else as it stands.",
)
@click.option("--no-wind", is_flag=True, help="All FACES end parallel to each other.")
@click.option("--coplanar", is_flag=True, help="All FACES end in one plane along the bed.")
@click.option(
    "--at-most",
    "at_most_um",
    type=click.FloatRange(min=0, min_open=True),
    metavar="UM",
    help="Nowhere deeper than this, in µm.",
)
@click.option(
    "--crown",
    "crown_um",
    type=float,
    default=0.0,
    metavar="UM",
    help="Leave them this much higher in the middle, in µm (negative: hollow).",
)
@click.option(
    "--untouched",
    "untouched_mm",
    type=(float, float),
    multiple=True,
    metavar="FROM TO",
    help="Take nothing off this stretch, in mm (may be given again).",
)
@click.option("--least-greatest", is_flag=True, help="The least greatest depth before the least metal.")
@click.option(
    "--share",
    type=click.FloatRange(0, 1, min_open=True),
    default=0.5,
    show_default=True,
    help="Of each depth, to cut before the next survey.",
)
@click.option("--guard", is_flag=True, help="For grinding or planing in one setting: leave no low place.")
@click.option(
    "--film",
    "film_um",
    type=click.FloatRange(min=0),
    default=5.0,
    show_default=True,
    metavar="UM",
    help="Thickness of the marking blue in µm (common practice: 1 to 10).",
)
@click.option("--edge", metavar="NAME", help="Straightedge in bed.toml for the predicted blue.")
@answer_options
def command(
    survey: Path,
    faces: tuple[str, ...],
    guard: bool,
    film_um: float,
    edge: str | None,
    share: float,
    as_json: bool,
    picture: Path | None,
    inch: bool | None,
    **wished: Any,
) -> None:
    """What to take off each FACE of SURVEY so that it ends straight, and what blue it shows now."""
    from analysis.answers.joint_cut import Wishes
    from analysis.answers.plan import plan_faces
    from analysis.answers.surveys import load

    loaded = load(survey)
    wishes = Wishes(
        wished["other"],
        wished["no_wind"],
        wished["coplanar"],
        wished["at_most_um"],
        wished["crown_um"],
        wished["untouched_mm"],
        wished["least_greatest"],
    )
    result = plan_faces(loaded.map(), faces, wishes, guard=guard, film_um=film_um, edge=edge, share=share)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import plan_figure

        return plan_figure(tuple(result.plans.values()), in_inches)

    drawn = None if result.infeasible else draw
    give(result, lambda i: plan_words(result, i), drawn, Shown(as_json, picture, inch), loaded.bed.is_inch)


def plan_words(result: "Plans", inch: bool) -> Sequence[str]:
    """Face by face the answer, the table to take to the machine and the blue; then what to mind."""
    from analysis.words.assumptions import taken_words, unstated_words
    from analysis.words.plan import plans_words

    if result.infeasible is not None:
        return plans_words(result, inch)
    lines: list[str] = []
    for plan in result.plans.values():
        lines += [*_face_words(plan, inch), ""]
    lines += [*plans_words(result, inch), *taken_words(result.assumptions)]
    lines += [*unstated_words(result.assumptions), ""]
    return [*lines, "Before any metal comes off:", *(f"  {words}" for words in result.cautions)]


def _face_words(plan: "FacePlan", inch: bool) -> list[str]:
    from analysis.words.answers import notes, table
    from analysis.words.blue import blue_words
    from analysis.words.plan import flank_note, plan_answer, plan_heads, plan_notes, plan_rows

    beside = [*plan_notes(plan, inch), *flank_note(plan), *blue_words(plan.blue, inch)]
    return [
        plan_answer(plan, inch),
        *(f"  {words}" for words in beside),
        *table(plan_heads(plan, inch), plan_rows(plan, inch)),
        *notes(plan.warnings),
    ]
