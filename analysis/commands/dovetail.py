"""`waylog dovetail`: width, angle, taper and worn flank of a dovetail by pins; its gib."""

from pathlib import Path
from typing import Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import Output, Written, figure_options, survey_argument
from analysis.commands.square import WrittenRun
from analysis.commands.typed import Kept, Turned, answered, keep_options


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
@keep_options
def pins(
    survey: Path, angle_deg: float | None, is_between: bool, output: Output, kept: Kept, **typed: Any
) -> None:
    """Width, taper, and with an indicator from a sound side which flank it is."""
    other = [typed[name] for name in ("other_pin", "other_measure")]
    if any(each is None for each in other) and any(each is not None for each in other):
        raise click.UsageError("--other-pin and --other-measure go together.")
    if (other[0] is None) == (angle_deg is None):
        raise click.UsageError("--angle, or --other-pin with --other-measure: one of the two.")

    def readings(turned: Turned) -> dict[str, Any]:
        lengths = ("measure", "pin", "other_pin", "other_measure")
        return {
            "at_mm": turned.mm(typed["places"]),
            **{f"{name}_mm": turned.mm(typed[name]) for name in lengths},
            **{f"{name}_um": turned.um(typed[name]) for name in ("side", "side_uncertainty", "uncertainty")},
            "angle_deg": angle_deg,
            "is_over": not is_between,
        }

    answered(survey, "dovetail pins", readings, output, kept)


@command.command("gib")
@survey_argument
@click.option("--play", type=Written(), required=True, metavar="U", help="Sideways play.")
@click.option(
    "--angle", "angle_deg", type=float, required=True, metavar="DEG", help="Of the flanks, from the flat."
)
@click.option("--taper", "one_in", type=float, metavar="N", help="Taper of the gib, 1:N.")
@figure_options
@keep_options
def gib(survey: Path, play: Any, angle_deg: float, one_in: float | None, output: Output, kept: Kept) -> None:
    """How much thicker a gib takes up a play, and how far a tapered one is driven."""

    def readings(turned: Turned) -> dict[str, Any]:
        return {"play_um": turned.um(play), "angle_deg": angle_deg, "one_in": one_in}

    answered(survey, "dovetail gib", readings, output, kept)
