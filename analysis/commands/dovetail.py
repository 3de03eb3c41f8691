"""`waylog dovetail`: width, angle, taper and worn flank of a dovetail by pins; its gib."""

from typing import Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import height, length, survey_argument
from analysis.commands.typed import lengths, readings, together, typed_test


@click.group("dovetail", cls=GroupOfTests)
def command() -> None:
    """A dovetail by two pins along its length, and the gib that takes up its play."""


@command.command("pins")
@survey_argument
@lengths("--at", "at_mm", required=True, metavar="PLACES", help="Along it, blanks between.")
@lengths("--measure", "measure_mm", required=True, metavar="MEASURES", help="Over or between the pins there.")
@length("--pin", "pin_mm", required=True, metavar="D", help="Diameter of the pins.")
@click.option("--angle", "angle_deg", type=float, metavar="DEG", help="Of the flanks, from the flat.")
@click.option("--angle-uncertainty", "angle_uncertainty_deg", type=float, metavar="DEG",
              help="How sure that angle is (standard uncertainty); not given: exact.")  # fmt: skip
@height("--pin-uncertainty", "pin_uncertainty_um", help="How sure a pin's diameter is; not given: exact.")
@length("--other-pin", "other_pin_mm", metavar="D", help="A second size of pins at the first place ...")
@length(
    "--other-measure", "other_measure_mm", metavar="M", help="... and the measure with it: tells the angle."
)
@click.option(
    "--between", "is_between", is_flag=True, help="Between pins in a female one (default: over a male one)."
)
@readings("--side", "side_um", help="Indicator guided by a sound side, on one pin.")
@height("--uncertainty", "uncertainty_um", default="2 um", show_default=True, help="Of one measure.")
@height(
    "--side-uncertainty", "side_uncertainty_um", default="1 um", show_default=True, help="Of one reading."
)
@typed_test("dovetail pins")
def pins(is_between: bool, **typed: Any) -> dict[str, Any]:
    """Width, taper, and with an indicator from a sound side which flank it is."""
    together(typed, other_pin_mm="--other-pin", other_measure_mm="--other-measure")
    if (typed["other_pin_mm"] is None) == (typed["angle_deg"] is None):
        raise click.UsageError("--angle, or --other-pin with --other-measure: one of the two.")
    if typed["angle_uncertainty_deg"] is not None and typed["angle_deg"] is None:
        raise click.UsageError("--angle-uncertainty goes with --angle.")
    return {**typed, "is_over": not is_between}


@command.command("gib")
@survey_argument
@height("--play", "play_um", required=True, help="Sideways play.")
@click.option(
    "--angle", "angle_deg", type=float, required=True, metavar="DEG", help="Of the flanks, from the flat."
)
@click.option("--taper", "one_in", type=float, metavar="N", help="Taper of the gib, 1:N.")
@typed_test("dovetail gib")
def gib(**typed: Any) -> dict[str, Any]:
    """How much thicker a gib takes up a play, and how far a tapered one is driven."""
    return typed
