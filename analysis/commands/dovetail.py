"""`waylog dovetail`: width, angle, taper and worn flank of a dovetail by pins; its gib."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.group_of_tests import GroupOfTests
from analysis.commands.options import (
    Output,
    Written,
    figure_options,
    give,
    in_mm,
    in_um,
    opened,
    survey_argument,
)
from analysis.commands.square import WrittenRun

if TYPE_CHECKING:
    from analysis.answers.alignment import Measured


@click.group("dovetail", cls=GroupOfTests)
def command() -> None:
    """A dovetail by two pins along its length, and the gib that takes up its play."""


@command.command("pins")
@survey_argument
@click.option(
    "--at", "places", type=WrittenRun(), required=True, metavar="PLACES", help="Along it, blanks between."
)
@click.option(
    "--measure", type=WrittenRun(), required=True, metavar="MEASURES", help="Over or between the pins there."
)
@click.option("--pin", type=Written(), required=True, metavar="D", help="Diameter of the pins.")
@click.option("--angle", "angle_deg", type=float, metavar="DEG", help="Of the flanks, from the flat.")
@click.option("--other-pin", type=Written(), metavar="D", help="A second size of pins at the first place ...")
@click.option(
    "--other-measure", type=Written(), metavar="M", help="... and the measure with it: tells the angle."
)
@click.option(
    "--between", "is_between", is_flag=True, help="Between pins in a female one (default: over a male one)."
)
@click.option(
    "--side", type=WrittenRun(), metavar="READINGS", help="Indicator guided by a sound side, on one pin."
)
@click.option(
    "--uncertainty", type=Written(), default="2 um", show_default=True, metavar="U", help="Of one measure."
)
@click.option(
    "--side-uncertainty",
    type=Written(),
    default="1 um",
    show_default=True,
    metavar="U",
    help="Of one reading.",
)
@figure_options
def pins(survey: Path, angle_deg: float | None, is_between: bool, output: Output, **typed: Any) -> None:
    """Width, taper, and with an indicator from a sound side which flank it is."""
    from analysis.answers.dovetail import dovetail
    from analysis.words.flanks import dovetail_words

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    places, measures = ([in_mm(each, is_inch) for each in typed[name]] for name in ("places", "measure"))
    angle = _angle(typed, measures, is_inch, not is_between)
    if (angle is None) == (angle_deg is None):
        raise click.UsageError("--angle, or --other-pin with --other-measure: one of the two.")
    side = typed["side"]
    result = dovetail(
        places,
        measures,
        in_mm(typed["pin"], is_inch),
        angle_deg if angle is None else angle.value,  # type: ignore[arg-type]
        is_over=not is_between,
        reading_uncertainty_um=in_um(typed["uncertainty"], is_inch),
        angle_uncertainty_deg=0.0 if angle is None else angle.standard_uncertainty,
        side_um=None if side is None else [in_um(each, is_inch) for each in side],
        side_uncertainty_um=in_um(typed["side_uncertainty"], is_inch),
    )
    give(result, lambda i: dovetail_words(result, i, angle), None, output, is_inch)


@command.command("gib")
@survey_argument
@click.option("--play", type=Written(), required=True, metavar="U", help="Sideways play.")
@click.option(
    "--angle", "angle_deg", type=float, required=True, metavar="DEG", help="Of the flanks, from the flat."
)
@click.option("--taper", "one_in", type=float, metavar="N", help="Taper of the gib, 1:N.")
@figure_options
def gib(survey: Path, play: Any, angle_deg: float, one_in: float | None, output: Output) -> None:
    """How much thicker a gib takes up a play, and how far a tapered one is driven."""
    from analysis.answers.dovetail import gib_for
    from analysis.words.flanks import gib_words

    is_inch = opened(survey).bed.is_inch
    result = gib_for(in_um(play, is_inch), angle_deg, one_in)
    give(result, lambda i: gib_words(result, i), None, output, is_inch)


def _angle(typed: dict[str, Any], measures: list[float], is_inch: bool, is_over: bool) -> "Measured | None":
    """The angle by two sizes of pins, where both were typed."""
    from analysis.answers.dovetail import angle_of_pins

    given = [typed[name] for name in ("other_pin", "other_measure")]
    if any(each is None for each in given):
        if any(each is not None for each in given):
            raise click.UsageError("--other-pin and --other-measure go together.")
        return None
    pin, measure = (in_mm(each, is_inch) for each in given)
    u = in_um(typed["uncertainty"], is_inch)
    return angle_of_pins((measures[0], measure), (in_mm(typed["pin"], is_inch), pin), u, is_over=is_over)
