"""`waylog plan`: what to take off faces, station by station, and what blue to expect first."""

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.saying import say
from analysis.commands.options import (
    HEIGHT_ABOVE_0,
    HEIGHT_FROM_0,
    Answer,
    Opened,
    answers,
    drawn,
    height,
    length,
    opened,
    survey_argument,
)

if TYPE_CHECKING:
    from acquire.model.bed import Bed
    from analysis.answers.plan import Plans
    from analysis.answers.rounds import AfterRound


@click.command("plan")
@survey_argument
@click.argument("faces", nargs=-1, required=True)
@click.option(
    "--parallel-to",
    metavar="FACE",
    help="Plan the faces parallel to this one: to its own plan if it is named with them, else as it stands.",
)
@click.option("--no-wind", is_flag=True, help="All FACES end parallel to each other.")
@click.option("--coplanar", is_flag=True, help="All FACES end in one plane along the bed.")
@height(
    "--at-most",
    "at_most_um",
    of=HEIGHT_ABOVE_0,
    help="Nowhere deeper than this (a bare number: µm, or thou).",
)
@height(
    "--crown",
    "crown_um",
    default="0",
    help="Leave them this much higher in the middle (negative: hollow; a bare number: µm, or thou).",
)
@length(
    "--untouched",
    "untouched_mm",
    multiple=True,
    metavar="FROM TO",
    help="Take nothing off this stretch (may be given again).",
)
@click.option(
    "--least-greatest",
    "greatest_first",
    is_flag=True,
    help="The least greatest depth before the least metal.",
)
@click.option(
    "--share",
    type=click.FloatRange(0, 1, min_open=True),
    help="Of each depth, to cut before the next survey (default: 0.5, or what --after shows).",
)
@click.option(
    "--after",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="OLDER",
    help="The survey before the last round: done, to do, overshot, and what share to cut now.",
)
@click.option(
    "--cut-share",
    type=click.FloatRange(0, 1, min_open=True),
    default=0.5,
    show_default=True,
    help="Of each depth, that was to be cut in the round since --after.",
)
@click.option("--across-joints", is_flag=True, help="Cut over joints that bed.toml declares.")
@click.option("--guard", is_flag=True, help="For grinding or planing in one setting: leave no low place.")
@height(
    "--film",
    "film_um",
    of=HEIGHT_FROM_0,
    default="5 µm",
    show_default=True,
    help="Thickness of the marking blue (common practice: 1 to 10 µm, 0.04 to 0.4 thou).",
)
@click.option(
    "--strip",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="Also a full-scale paper strip to lay on each way, as PDF in tiles.",
)
@click.option(
    "--paper",
    type=click.Choice(["A4", "Letter"]),
    help="For --strip (default: Letter where the survey is shown in inches).",
)
@click.option("--edge", metavar="NAME", help="Straightedge in bed.toml for the predicted blue.")
@answers
def command(
    survey: Opened,
    faces: tuple[str, ...],
    share: float | None,
    strip: Path | None,
    paper: str | None,
    after: Path | None,
    cut_share: float,
    film_um: float,
    edge: str | None,
    guard: bool,
    across_joints: bool,
    **wished: Any,
) -> Answer:
    """What to take off each FACE of SURVEY so that it ends straight, and what blue it shows now."""
    from analysis.answers.joint_cut import Wishes
    from analysis.words.plan_answer import plan_words

    faces, wishes = tuple(dict.fromkeys(faces)), Wishes(**wished)
    done: Mapping[str, AfterRound] = {}
    repeated: tuple[int, ...] = ()
    if after is not None:
        from analysis.answers.after_round import after_round
        from analysis.answers.history import only_new

        older = opened(after)
        survey, repeated = only_new(older, survey)
        done = after_round(older, survey, faces, wishes, cut_share)
        share = share or min(each.share for each in done.values())
    asked = {"guard": guard, "film_um": film_um, "edge": edge, "across_joints": across_joints}
    found = _planned(survey, faces, done, repeated, wishes=wishes, share=share, **asked)
    plans = tuple(found.plans.values())
    return Answer(
        found,
        lambda inch: plan_words(found, inch),
        None if found.infeasible else drawn("plan_figure", plans, not_yet=found.not_yet),
        (lambda inch: _write_strips(strip, survey.bed, found, inch, paper)) if strip and plans else None,
    )


def _planned(
    survey: Opened,
    faces: tuple[str, ...],
    done: "Mapping[str, AfterRound]",
    repeated: tuple[int, ...],
    *,
    share: float | None,
    **asked: Any,
) -> "Plans":
    """The plans of all faces, with what hinders them, the owner's limits, and the round before."""
    from dataclasses import replace

    from analysis.answers.history import taken_as_before
    from analysis.answers.limits import meets_limits
    from analysis.answers.not_yet import plan_not_yet
    from analysis.answers.plan import plan_faces
    from analysis.answers.rounds import SHARE

    bed_map = survey.map()
    plans = plan_faces(bed_map, faces, share=share or SHARE, **asked)
    hindered = plan_not_yet(bed_map)
    return replace(
        plans,
        not_yet={face: why for face, why in hindered.why.items() if face in faces},
        to_read=hindered.to_read,
        meets=meets_limits(bed_map, faces),
        after=done,
        warnings=taken_as_before(repeated),
    )


def _write_strips(file: Path, bed: "Bed", found: "Plans", is_inch: bool, paper: str | None) -> None:
    from analysis.draw.strip import write_strips

    plans, on = tuple(found.plans.values()), paper or ("Letter" if is_inch else "A4")
    write_strips(file, bed, plans, is_inch, on, not_yet=found.not_yet)
    say(f"strip: {file}", err=True)
