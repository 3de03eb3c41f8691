"""`waylog align`: tailstock, spindle, quill, centres and cross slide against the path of the carriage."""

from typing import Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import HEIGHT, LENGTH, survey_argument
from analysis.commands.typed import UNCERTAINTY, together, typed_test

AT = click.option(
    "--at",
    "at_mm",
    type=(LENGTH, LENGTH),
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
@click.option("--base", "base_mm", type=LENGTH, metavar="L", help="Its bearing length along the bed.")
@GUIDE
@typed_test("align tailstock")
def tailstock(**typed: Any) -> dict[str, Any]:
    """The tailstock's ways against the carriage's, up and sideways."""
    return typed


@command.command("bar")
@survey_argument
@click.option("--top", "top_um", type=(HEIGHT,) * 4, required=True, metavar="NEAR FAR NEAR FAR",
              help="On top: near, far, both again turned 180°.")  # fmt: skip
@click.option("--front", "front_um", type=(HEIGHT,) * 4, required=True, metavar="NEAR FAR NEAR FAR",
              help="In front, likewise.")  # fmt: skip
@AT
@click.option(
    "--held", "held_mm", type=LENGTH, default="0 mm", metavar="L", help="From the spindle to the near place."
)
@click.option("--bar-diameter", "diameter_mm", type=LENGTH, metavar="L", help="For its sag.")
@click.option("--bar-length", "length_mm", type=LENGTH, metavar="L", help="Out of the spindle, for its sag.")
@click.option("--bar-taper", "taper_uncertainty_um", type=HEIGHT, default="0 um", metavar="U",
              help="Uncertainty of its own taper.")  # fmt: skip
@GUIDE
@UNCERTAINTY
@typed_test("align bar")
def bar(**typed: Any) -> dict[str, Any]:
    """The spindle's axis by a test bar, turned 0° and 180°."""
    together(typed, diameter_mm="--bar-diameter", length_mm="--bar-length")
    return typed


@command.command("quill")
@survey_argument
@click.option("--top", "top_um", type=(HEIGHT,) * 2, required=True, metavar="NEAR FAR", help="On top of it.")
@click.option("--front", "front_um", type=(HEIGHT,) * 2, required=True, metavar="NEAR FAR", help="In front.")
@click.option("--top-turned", type=(HEIGHT,) * 2, metavar="NEAR FAR",
              help="With a bar in its taper: turned 180° ...")  # fmt: skip
@click.option(
    "--front-turned", type=(HEIGHT,) * 2, metavar="NEAR FAR", help="... and in front likewise."
)  # fmt: skip
@click.option(
    "--held", "held_mm", type=LENGTH, default="0 mm", metavar="L", help="From the casting to the near place."
)
@click.option("--diameter", "diameter_mm", type=LENGTH, metavar="L", help="Of the quill, for its sag.")
@click.option("--extension", "length_mm", type=LENGTH, metavar="L", help="Out of the casting, for its sag.")
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
@click.option("--diameters", "diameters_mm", type=(LENGTH, LENGTH), required=True, metavar="NEAR FAR",
              help="Of the two collars, turned without a centre.")  # fmt: skip
@AT
@click.option(
    "--force", "force_n", type=float, metavar="N", help="Of the cut, to see whether the bar is stiff enough."
)
@click.option("--stick-out", "stick_out_mm", type=LENGTH, metavar="L", help="Chuck to far collar.")
@click.option(
    "--bar-diameter", "bar_diameter_mm", type=LENGTH, metavar="L", help="Of the bar between the collars."
)
@GUIDE
@UNCERTAINTY
@typed_test("align turned")
def turned(**typed: Any) -> dict[str, Any]:
    """Two collars turned without a centre: headstock, roll (feet and wear) or sway."""
    together(typed, force_n="--force", stick_out_mm="--stick-out", bar_diameter_mm="--bar-diameter")
    return typed


@command.command("centres")
@survey_argument
@click.option("--top", "top_um", type=(HEIGHT,) * 4, required=True, metavar="HEAD TAIL HEAD TAIL",
              help="On top at both ends; again with the bar swapped end for end.")  # fmt: skip
@click.option("--front", "front_um", type=(HEIGHT,) * 4, required=True, metavar="HEAD TAIL HEAD TAIL",
              help="In front.")  # fmt: skip
@UNCERTAINTY
@typed_test("align centres")
def centres(**typed: Any) -> dict[str, Any]:
    """Both centres, by a bar between them."""
    return typed


@command.command("facing")
@survey_argument
@click.option(
    "--reading", "reading_um", type=HEIGHT, required=True, metavar="R", help="Far side less centre."
)
@click.option("--radius", "radius_mm", type=LENGTH, required=True, metavar="L", help="Where it was read.")
@click.option(
    "--diameter", "diameter_mm", type=LENGTH, required=True, metavar="L", help="Of the face, for its depth."
)
@UNCERTAINTY
@typed_test("align facing")
def facing(**typed: Any) -> dict[str, Any]:
    """The cross slide, by a face that it turned: an indicator on the slide, run past the centre."""
    return typed
