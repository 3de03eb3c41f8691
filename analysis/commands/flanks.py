"""`waylog flanks`: which flank of a vee is worn, and the angles of its flanks by two rollers."""

from typing import TYPE_CHECKING, Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import HEIGHT, LENGTH, Answer, answers_without_picture, survey_argument
from analysis.commands.typed import UNCERTAINTY, typed_test

if TYPE_CHECKING:
    from analysis.answers.surveys import Survey

TWO = (LENGTH, LENGTH)


@click.group("flanks", cls=GroupOfTests)
def command() -> None:
    """Which flank of a vee is worn, and what its angles are."""


@command.command("wear")
@survey_argument
@click.argument("face")
@answers_without_picture
def wear(survey: "Survey", face: str) -> Answer:
    """Both flanks of FACE along the bed, from its height and its sideways shape."""
    from analysis.answers.flanks import vee_flanks
    from analysis.words.flanks import flanks_words

    found = vee_flanks(survey.map(), face)
    return Answer(found, lambda inch: flanks_words(found, inch))


@command.command("angles")
@survey_argument
@click.option(
    "--rollers", "rollers_mm", type=TWO, required=True, metavar="D D", help="Diameters of the two rollers."
)
@click.option("--top", "top_mm", type=TWO, required=True, metavar="H H", help="Heights of their tops.")
@click.option("--side", "side_mm", type=TWO, required=True, metavar="S S",
              help="Places of their centres, + to the rear.")  # fmt: skip
@click.option(
    "--sound", "sound_mm", type=TWO, metavar="FROM TO", help="Sound stretch of the flanks, from the root."
)
@click.option("--roller-uncertainty", "roller_uncertainty_um", type=HEIGHT, metavar="U",
              help="How sure a roller's diameter is (standard uncertainty); not given: exact.")  # fmt: skip
@UNCERTAINTY
@typed_test("flanks angles")
def angles(**typed: Any) -> dict[str, Any]:
    """Flank angles of a groove by two rollers: height and place of each."""
    return typed
