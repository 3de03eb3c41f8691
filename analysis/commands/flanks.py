"""`waylog flanks`: which flank of a vee is worn, and the angles of its flanks by two rollers."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.align import UNCERTAINTY
from analysis.commands.options import Output, Written, figure_options, give, survey_argument
from analysis.commands.typed import Kept, Turned, answered, keep_options

if TYPE_CHECKING:
    from acquire.model.units import Reading

TWO = (Written(), Written())


@click.group("flanks", cls=GroupOfTests)
def command() -> None:
    """Which flank of a vee is worn, and what its angles are."""


@command.command("wear")
@survey_argument
@click.argument("face")
@figure_options
def wear(survey: Path, face: str, output: Output) -> None:
    """Both flanks of FACE along the bed, from its height and its sideways shape."""
    from analysis.answers.flanks import vee_flanks
    from analysis.answers.surveys import load
    from analysis.words.flanks import flanks_words

    loaded = load(survey)
    result = vee_flanks(loaded.map(), face)
    give(result, lambda i: flanks_words(result, i), None, output, loaded.bed.is_inch)


@command.command("angles")
@survey_argument
@click.option("--rollers", type=TWO, required=True, metavar="D D", help="Diameters of the two rollers.")
@click.option("--top", type=TWO, required=True, metavar="H H", help="Heights of their tops.")
@click.option(
    "--side", type=TWO, required=True, metavar="S S", help="Places of their centres, + to the rear."
)
@click.option("--sound", type=TWO, metavar="FROM TO", help="Sound stretch of the flanks, from the root.")
@UNCERTAINTY
@figure_options
@keep_options
def angles(
    survey: Path,
    rollers: "tuple[Reading, Reading]",
    top: "tuple[Reading, Reading]",
    side: "tuple[Reading, Reading]",
    sound: "tuple[Reading, Reading] | None",
    uncertainty: "Reading",
    output: Output,
    kept: Kept,
) -> None:
    """Flank angles of a groove by two rollers: height and place of each."""

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            "rollers_mm": turned.mm(rollers),
            "top_mm": turned.mm(top),
            "side_mm": turned.mm(side),
            "sound_mm": turned.mm(sound),
            "uncertainty_um": turned.um(uncertainty),
        }

    answered(survey, "flanks angles", readings, output, kept)
