"""`waylog feet`: which foot of the bed to move, which way and how much."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.commands.options import ABOVE_0, Shown, answer_options, give, in_um, survey_argument

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
    default="50 µm",
    show_default=True,
    help="Move no foot further than this in one round.",
)
@click.option(
    "--response",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="TOML file of how a level across the ways answered a turn of each foot (default: a stiff bed).",
)
@answer_options
def command(
    survey: Path,
    front: str | None,
    rear: str | None,
    at_most: "Reading",
    response: Path | None,
    as_json: bool,
    picture: Path | None,
    inch: bool | None,
) -> None:
    """Which foot of SURVEY's bed to move, which way and how much, and what will be read then."""
    from analysis.answers.feet_on_bed import feet_to_move
    from analysis.answers.feet_response import measured_response
    from analysis.answers.surveys import load
    from analysis.words.feet import feet_words

    loaded = load(survey)
    most_um = in_um(at_most, loaded.bed.is_inch)
    measured = None if response is None else lambda bed: measured_response(response, bed)
    result = feet_to_move(loaded.map(), front, rear, most_um=most_um, measured=measured)

    def draw(in_inches: bool) -> object:
        from analysis.draw.figures import feet_figure

        return feet_figure(result, in_inches)

    give(result, lambda i: feet_words(result, i), draw, Shown(as_json, picture, inch), loaded.bed.is_inch)
