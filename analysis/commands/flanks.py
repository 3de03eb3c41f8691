"""`waylog flanks`: which flank of a vee is worn, and the angles of its flanks by two rollers."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from acquire.model.group_of_tests import GroupOfTests
from analysis.commands.align import UNCERTAINTY
from analysis.commands.options import Output, Written, figure_options, give, in_mm, in_um, survey_argument

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
def angles(
    survey: Path,
    rollers: "tuple[Reading, Reading]",
    top: "tuple[Reading, Reading]",
    side: "tuple[Reading, Reading]",
    sound: "tuple[Reading, Reading] | None",
    uncertainty: "Reading",
    output: Output,
) -> None:
    """Flank angles of a groove by two rollers: height and place of each."""
    from analysis.answers.flanks import angles_of_rollers
    from analysis.answers.surveys import load
    from analysis.words.flanks import angles_words

    is_inch = load(survey).bed.is_inch

    def pair(written: "tuple[Reading, Reading]") -> tuple[float, float]:
        return in_mm(written[0], is_inch), in_mm(written[1], is_inch)

    small, large = pair(rollers)
    result = angles_of_rollers(
        (small / 2, large / 2),
        pair(top),
        pair(side),
        in_um(uncertainty, is_inch),
        flank_mm=None if sound is None else pair(sound),
    )
    give(result, lambda i: angles_words(result, i), None, output, is_inch)
