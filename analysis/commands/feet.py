"""`waylog feet`: which foot of the bed to move, which way and how much."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import ABOVE_0, Output, Written, answer_options, give, in_um, survey_argument

if TYPE_CHECKING:
    from acquire.model.units import Reading


@click.command("feet")
@survey_argument
@click.option("--front", help="The front way (default: the one the carriage rides at its front).")
@click.option("--rear", help="The rear way.")
@click.option(
    "--at-most",
    type=ABOVE_0,
    metavar="U",
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
    type=(str, Written()),
    multiple=True,
    metavar="FOOT L",
    help="How a foot was moved since --after, + up (default: as `waylog feet OLDER` said).",
)
@answer_options
def command(
    survey: Path,
    front: str | None,
    rear: str | None,
    at_most: "Reading | None",
    response: Path | None,
    after: Path | None,
    moved: "tuple[tuple[str, Reading], ...]",
    output: Output,
) -> None:
    """Which foot of SURVEY's bed to move, which way and how much, and what will be read then."""
    from analysis.answers.feet_learned import learned_response
    from analysis.answers.feet_on_bed import feet_to_move
    from analysis.answers.feet_response import measured_response
    from analysis.answers.surveys import load
    from analysis.words.feet import feet_words

    loaded = load(survey)
    is_inch, bed_map = loaded.bed.is_inch, loaded.map()
    measured = None if response is None else lambda bed: measured_response(response, bed)
    if response is not None and after is not None:
        raise click.UsageError("--response or --after, one of the two")
    if after is not None:
        older = load(after).map()
        lifts = {foot: in_um(lift, is_inch) for foot, lift in moved} or {
            each.foot: each.lift_um for each in feet_to_move(older, front, rear).moves
        }
        learned = learned_response(older, bed_map, lifts)
        measured = lambda bed: learned  # noqa: E731
    most_um = in_um(at_most, is_inch)
    result = feet_to_move(bed_map, front, rear, most_um=most_um, measured=measured)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import feet_figure

        return feet_figure(result, in_inches)

    give(result, lambda i: feet_words(result, i), draw, output, loaded.bed.is_inch)
