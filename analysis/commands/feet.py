"""`waylog feet`: which foot of the bed to move, which way and how much."""

from dataclasses import replace
from pathlib import Path

import click

from analysis.commands.options import (
    HEIGHT,
    HEIGHT_ABOVE_0,
    Answer,
    Opened,
    answers,
    drawn,
    height,
    opened,
    survey_argument,
)


@click.command("feet")
@survey_argument
@click.option("--front", help="The front way (default: the one the carriage rides at its front).")
@click.option("--rear", help="The rear way.")
@height(
    "--at-most",
    "most_um",
    of=HEIGHT_ABOVE_0,
    help="Move no foot further than this in one round (default: 50 µm, 0.002 in; bolted feet 200 µm).",
)
@click.option(
    "--response",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="TOML file of how a level across the ways answered a turn of each foot (default: a stiff bed).",
)
@click.option(
    "--after",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="OLDER",
    help="The survey before the last round of moves: how this bed answered it is learned from.",
)
@click.option(
    "--moved",
    nargs=2,
    type=(str, HEIGHT),
    multiple=True,
    metavar="FOOT L",
    help="How a foot was moved since --after, + up (default: as `waylog feet OLDER` said).",
)
@answers
def command(
    survey: Opened,
    front: str | None,
    rear: str | None,
    most_um: float | None,
    response: Path | None,
    after: Path | None,
    moved: tuple[tuple[str, float], ...],
) -> Answer:
    """Which foot of SURVEY's bed to move, which way and how much, and what will be read then."""
    from analysis.answers.feet_learned import learned_response
    from analysis.answers.feet_on_bed import feet_to_move
    from analysis.answers.feet_response import measured_response
    from analysis.answers.history import only_new, taken_as_before
    from analysis.words.feet import feet_words

    measured = None if response is None else lambda bed: measured_response(response, bed)
    repeated: tuple[int, ...] = ()
    if response is not None and after is not None:
        raise click.UsageError("--response or --after, one of the two")
    if after is not None:
        before = opened(after)
        survey, repeated = only_new(before, survey)
        older = before.map()
        lifts = dict(moved) or {each.foot: each.lift_um for each in feet_to_move(older, front, rear).moves}
        learned = learned_response(older, survey.map(), lifts)
        measured = lambda bed: learned  # noqa: E731
    found = feet_to_move(survey.map(), front, rear, most_um=most_um, measured=measured)
    found = replace(found, warnings=(*taken_as_before(repeated), *found.warnings))
    return Answer(found, lambda inch: feet_words(found, inch), drawn("feet_figure", found))
