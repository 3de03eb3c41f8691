"""`waylog align`: tailstock, spindle, quill, centres and cross slide against the path of the carriage."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.options import GroupOfTests
from analysis.commands.options import Output, Written, figure_options, survey_argument
from analysis.commands.typed import Kept, Turned, answered, keep_options

if TYPE_CHECKING:
    from acquire.model.units import Reading

UNCERTAINTY = click.option(
    "--uncertainty",
    type=Written(),
    default="1 um",
    show_default=True,
    metavar="U",
    help="Standard uncertainty of one reading.",
)
AT = click.option(
    "--at",
    "at",
    type=(Written(), Written()),
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
@click.option("--base", type=Written(), metavar="L", help="Its bearing length along the bed.")
@GUIDE
@figure_options
@keep_options
def tailstock(
    survey: Path,
    faces: tuple[str, ...],
    base: "Reading | None",
    guide: str | None,
    output: Output,
    kept: Kept,
) -> None:
    """The tailstock's ways against the carriage's, up and sideways."""

    def readings(turned: Turned) -> dict[str, Any]:
        return {"faces": list(faces), "base_mm": turned.mm(base), "guide": guide}

    answered(survey, "align tailstock", readings, output, kept)


@command.command("bar")
@survey_argument
@click.option("--top", type=(Written(),) * 4, required=True, metavar="NEAR FAR NEAR FAR",
              help="On top: near, far, both again turned 180°.")  # fmt: skip
@click.option("--front", type=(Written(),) * 4, required=True, metavar="NEAR FAR NEAR FAR",
              help="In front, likewise.")  # fmt: skip
@AT
@click.option(
    "--held", type=Written(), default="0 mm", metavar="L", help="From the spindle to the near place."
)
@click.option("--bar-diameter", type=Written(), metavar="L", help="For its sag.")
@click.option("--bar-length", type=Written(), metavar="L", help="Out of the spindle, for its sag.")
@click.option(
    "--bar-taper", type=Written(), default="0 um", metavar="U", help="Uncertainty of its own taper."
)
@GUIDE
@UNCERTAINTY
@figure_options
@keep_options
def bar(survey: Path, guide: str | None, output: Output, kept: Kept, **typed: Any) -> None:
    """The spindle's axis by a test bar, turned 0° and 180°."""
    if (typed["bar_diameter"] is None) != (typed["bar_length"] is None):
        raise click.UsageError("--bar-diameter and --bar-length go together.")

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            **_line_readings(turned, typed, guide),
            "diameter_mm": turned.mm(typed["bar_diameter"]),
            "length_mm": turned.mm(typed["bar_length"]),
            "taper_uncertainty_um": turned.um(typed["bar_taper"]),
        }

    answered(survey, "align bar", readings, output, kept)


@command.command("quill")
@survey_argument
@click.option("--top", type=(Written(),) * 2, required=True, metavar="NEAR FAR", help="On top of it.")
@click.option("--front", type=(Written(),) * 2, required=True, metavar="NEAR FAR", help="In front.")
@click.option(
    "--top-turned", type=(Written(),) * 2, metavar="NEAR FAR", help="With a bar in its taper: turned 180° ..."
)
@click.option("--front-turned", type=(Written(),) * 2, metavar="NEAR FAR", help="... and in front likewise.")
@click.option(
    "--held", type=Written(), default="0 mm", metavar="L", help="From the casting to the near place."
)
@click.option("--diameter", type=Written(), metavar="L", help="Of the quill, for its sag.")
@click.option("--extension", type=Written(), metavar="L", help="Out of the casting, for its sag.")
@AT
@GUIDE
@UNCERTAINTY
@figure_options
@keep_options
def quill(survey: Path, guide: str | None, output: Output, kept: Kept, **typed: Any) -> None:
    """The tailstock's quill, run out, by an indicator on the carriage; best by a bar in its taper, turned.

    Its own surface tells its direction where it is round and straight; a bar that is turned 180° leaves the
    axis of its taper.
    """
    for one, other in (("diameter", "extension"), ("top_turned", "front_turned")):
        if (typed[one] is None) != (typed[other] is None):
            raise click.UsageError(f"--{one.replace('_', '-')} and --{other.replace('_', '-')} go together.")
    for side in ("top", "front"):
        typed[side] = (*typed[side], *(typed[f"{side}_turned"] or ()))

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            **_line_readings(turned, typed, guide),
            "diameter_mm": turned.mm(typed["diameter"]),
            "length_mm": turned.mm(typed["extension"]),
        }

    answered(survey, "align quill", readings, output, kept)


@command.command("turned")
@survey_argument
@click.option("--diameters", type=(Written(), Written()), required=True, metavar="NEAR FAR",
              help="Of the two collars, turned without a centre.")  # fmt: skip
@AT
@click.option("--force", type=float, metavar="N", help="Of the cut, to see whether the bar is stiff enough.")
@click.option("--stick-out", type=Written(), metavar="L", help="Chuck to far collar.")
@click.option("--bar-diameter", type=Written(), metavar="L", help="Of the bar between the collars.")
@GUIDE
@UNCERTAINTY
@figure_options
@keep_options
def turned(survey: Path, guide: str | None, output: Output, kept: Kept, **typed: Any) -> None:
    """Two collars turned without a centre: headstock, roll (feet and wear) or sway."""
    cut = [typed[name] for name in ("force", "stick_out", "bar_diameter")]
    if any(each is None for each in cut) and any(each is not None for each in cut):
        raise click.UsageError("--force, --stick-out and --bar-diameter go together.")

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            "diameters_mm": turned.mm(typed["diameters"]),
            "at_mm": turned.mm(typed["at"]),
            "uncertainty_um": turned.um(typed["uncertainty"]),
            "guide": guide,
            "force_n": typed["force"],
            "stick_out_mm": turned.mm(typed["stick_out"]),
            "bar_diameter_mm": turned.mm(typed["bar_diameter"]),
        }

    answered(survey, "align turned", readings, output, kept)


@command.command("centres")
@survey_argument
@click.option("--top", type=(Written(),) * 4, required=True, metavar="HEAD TAIL HEAD TAIL",
              help="On top at both ends; again with the bar swapped end for end.")  # fmt: skip
@click.option(
    "--front", type=(Written(),) * 4, required=True, metavar="HEAD TAIL HEAD TAIL", help="In front."
)
@UNCERTAINTY
@figure_options
@keep_options
def centres(survey: Path, output: Output, kept: Kept, **typed: Any) -> None:
    """Both centres, by a bar between them."""

    def readings(turned: Turned) -> dict[str, Any]:
        return {f"{name}_um": turned.um(typed[name]) for name in ("top", "front", "uncertainty")}

    answered(survey, "align centres", readings, output, kept)


@command.command("facing")
@survey_argument
@click.option("--reading", type=Written(), required=True, metavar="R", help="Far side less centre.")
@click.option("--radius", type=Written(), required=True, metavar="L", help="Where it was read.")
@click.option("--diameter", type=Written(), required=True, metavar="L", help="Of the face, for its depth.")
@UNCERTAINTY
@figure_options
@keep_options
def facing(survey: Path, output: Output, kept: Kept, **typed: Any) -> None:
    """The cross slide, by a face that it turned: an indicator on the slide, run past the centre."""

    def readings(turned: Turned) -> dict[str, Any]:
        lengths = {f"{name}_mm": turned.mm(typed[name]) for name in ("radius", "diameter")}
        return {**lengths, **{f"{name}_um": turned.um(typed[name]) for name in ("reading", "uncertainty")}}

    answered(survey, "align facing", readings, output, kept)


def _line_readings(turned: Turned, typed: dict[str, Any], guide: str | None) -> dict[str, Any]:
    """What a test bar and a quill are both read by."""
    return {
        "top_um": turned.um(typed["top"]),
        "front_um": turned.um(typed["front"]),
        "at_mm": turned.mm(typed["at"]),
        "held_mm": turned.mm(typed["held"]),
        "uncertainty_um": turned.um(typed["uncertainty"]),
        "guide": guide,
    }
