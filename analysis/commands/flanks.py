"""`waylog flanks`: which flank of a vee is worn, and the angles of its flanks by two rollers."""

from typing import Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import (
    Answer,
    Opened,
    answers_without_picture,
    height,
    length,
    survey_argument,
)
from analysis.commands.typed import UNCERTAINTY, typed_test


@click.group("flanks", cls=GroupOfTests)
def command() -> None:
    """Which flank of a vee is worn, and what its angles are."""


@command.command("wear")
@survey_argument
@click.argument("face")
@answers_without_picture
def wear(survey: Opened, face: str) -> Answer:
    """Both flanks of FACE along the bed, from its height and its sideways shape."""
    from analysis.answers.flanks import vee_flanks
    from analysis.words.flanks import flanks_words

    found = vee_flanks(survey.map(), face)
    return Answer(found, lambda inch: flanks_words(found, inch))


@command.command("angles")
@survey_argument
@length("--rollers", "rollers_mm", required=True, metavar="D D", help="Diameters of the two rollers.")
@length("--top", "top_mm", required=True, metavar="H H", help="Heights of their tops.")
@length("--side", "side_mm", required=True, metavar="S S", help="Places of their centres, + to the rear.")
@length("--sound", "sound_mm", metavar="FROM TO", help="Sound stretch of the flanks, from the root.")
@height(
    "--roller-uncertainty",
    "roller_uncertainty_um",
    help="How sure a roller's diameter is (standard uncertainty); not given: exact.",
)
@UNCERTAINTY
@typed_test("flanks angles")
def angles(**typed: Any) -> dict[str, Any]:
    """Flank angles of a groove by two rollers: height and place of each."""
    return typed
