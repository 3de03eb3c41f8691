"""`waylog align`: tailstock, spindle, quill, centres and cross slide against the path of the carriage."""

from typing import Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import height, length, survey_argument
from analysis.commands.typed import UNCERTAINTY, together, typed_test

AT = length(
    "--at",
    "at_mm",
    required=True,
    metavar="NEAR FAR",
    help="Stations of the middle of the carriage at the two places, NEAR the one nearer to the spindle (of a "
    "quill: to its casting).",
)
GUIDE = click.option("--guide", metavar="FACE", help="Side face that guides the carriage (default: its vee).")


@click.group("align", cls=GroupOfTests)
def command() -> None:
    """Hold tailstock, spindle, quill, centres or cross slide against the path of the carriage.

    An indicator that the carriage takes along reads + where its plunger is pushed in. The map of the
    ways is used wherever it tells the path; without it the ways are never cleared of blame.
    """


@command.command("tailstock")
@survey_argument
@click.option(
    "--on", "faces", multiple=True, required=True, metavar="FACE", help="What it rides (once or more)."
)
@length("--base", "base_mm", help="Its bearing length along the bed.")
@GUIDE
@typed_test("align tailstock")
def tailstock(**typed: Any) -> dict[str, Any]:
    """The tailstock's ways against the carriage's, up and sideways."""
    return typed


@command.command("bar")
@survey_argument
@height(
    "--top",
    "top_um",
    required=True,
    metavar="NEAR FAR NEAR FAR",
    help="On top: near, far, both again turned 180°.",
)
@height("--front", "front_um", required=True, metavar="NEAR FAR NEAR FAR", help="In front, likewise.")
@AT
@length("--held", "held_mm", default="0 mm", help="From the spindle to the near place.")
@length("--bar-diameter", "diameter_mm", help="For its sag.")
@length("--bar-length", "length_mm", help="Out of the spindle, for its sag.")
@height("--bar-taper", "taper_uncertainty_um", default="0 um", help="Uncertainty of its own taper.")
@GUIDE
@UNCERTAINTY
@typed_test("align bar")
def bar(**typed: Any) -> dict[str, Any]:
    """The spindle's axis by a test bar, turned 0° and 180°."""
    together(typed, diameter_mm="--bar-diameter", length_mm="--bar-length")
    return typed


@command.command("quill")
@survey_argument
@height("--top", "top_um", required=True, metavar="NEAR FAR", help="On top of it.")
@height("--front", "front_um", required=True, metavar="NEAR FAR", help="In front.")
@height("--top-turned", metavar="NEAR FAR", help="With a bar in its taper: turned 180° ...")
@height("--front-turned", metavar="NEAR FAR", help="... and in front likewise.")
@length("--held", "held_mm", default="0 mm", help="From the casting to the near place.")
@length("--diameter", "diameter_mm", help="Of the quill, for its sag.")
@length("--extension", "length_mm", help="Out of the casting, for its sag.")
@AT
@GUIDE
@UNCERTAINTY
@typed_test("align quill")
def quill(top_turned: Any, front_turned: Any, **typed: Any) -> dict[str, Any]:
    """The tailstock's quill, run out, by an indicator on the carriage; best by a bar in its taper, turned.

    Its own surface tells its direction where it is round and straight; a bar that is turned 180° leaves the
    axis of its taper.
    """
    turned = {"top_um": top_turned, "front_um": front_turned}
    together(typed, diameter_mm="--diameter", length_mm="--extension")
    together(turned, top_um="--top-turned", front_um="--front-turned")
    return {**typed, **{name: (*typed[name], *(again or ())) for name, again in turned.items()}}


@command.command("turned")
@survey_argument
@length(
    "--diameters",
    "diameters_mm",
    required=True,
    metavar="NEAR FAR",
    help="Of the two collars, turned without a centre.",
)
@AT
@click.option(
    "--force", "force_n", type=float, metavar="N", help="Of the cut, to see whether the bar is stiff enough."
)
@length("--stick-out", "stick_out_mm", help="Chuck to far collar.")
@length("--bar-diameter", "bar_diameter_mm", help="Of the bar between the collars.")
@GUIDE
@UNCERTAINTY
@typed_test("align turned")
def turned(**typed: Any) -> dict[str, Any]:
    """Two collars turned without a centre: headstock, roll (feet and wear) or sway."""
    together(typed, force_n="--force", stick_out_mm="--stick-out", bar_diameter_mm="--bar-diameter")
    return typed


@command.command("centres")
@survey_argument
@height(
    "--top",
    "top_um",
    required=True,
    metavar="HEAD TAIL HEAD TAIL",
    help="On top at both ends; again with the bar swapped end for end.",
)
@height("--front", "front_um", required=True, metavar="HEAD TAIL HEAD TAIL", help="In front.")
@UNCERTAINTY
@typed_test("align centres")
def centres(**typed: Any) -> dict[str, Any]:
    """Both centres, by a bar between them."""
    return typed


@command.command("facing")
@survey_argument
@height("--reading", "reading_um", required=True, metavar="R", help="Far side less centre.")
@length("--radius", "radius_mm", required=True, help="Where it was read.")
@length("--diameter", "diameter_mm", required=True, help="Of the face, for its depth.")
@UNCERTAINTY
@typed_test("align facing")
def facing(**typed: Any) -> dict[str, Any]:
    """The cross slide, by a face that it turned: an indicator on the slide, run past the centre."""
    return typed
