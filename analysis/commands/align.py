"""`waylog align`: tailstock, spindle, quill, centres and cross slide against the path of the carriage."""

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

if TYPE_CHECKING:
    from acquire.model.units import Reading
    from analysis.adjust.bed_map import BedMap
    from analysis.answers.surveys import Survey

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
    help="Stations of the middle of the carriage at the two places.",
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
def tailstock(
    survey: Path,
    faces: tuple[str, ...],
    base: "Reading | None",
    guide: str | None,
    output: Output,
) -> None:
    """The tailstock's ways against the carriage's, up and sideways."""
    from analysis.answers.alignment_on_bed import tailstock_on_bed
    from analysis.words.align import tailstock_words

    loaded = opened(survey)
    base_mm = None if base is None else in_mm(base, loaded.bed.is_inch)
    result = tailstock_on_bed(loaded.map(), faces, base_mm=base_mm, guide=guide)
    give(result, lambda i: tailstock_words(result, i), None, output, loaded.bed.is_inch)


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
def bar(survey: Path, guide: str | None, output: Output, **typed: Any) -> None:
    """The spindle's axis by a test bar, turned 0° and 180°."""
    from analysis.answers.alignment import Bar

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    described = None
    if typed["bar_diameter"] is not None and typed["bar_length"] is not None:
        described = Bar(
            in_mm(typed["bar_diameter"], is_inch),
            in_mm(typed["bar_length"], is_inch),
            taper_uncertainty_um=in_um(typed["bar_taper"], is_inch),
        )
    elif typed["bar_diameter"] is not None or typed["bar_length"] is not None:
        raise click.UsageError("--bar-diameter and --bar-length go together.")
    _give_line(loaded, "The spindle's axis", typed, described, guide, output)


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
def quill(survey: Path, guide: str | None, output: Output, **typed: Any) -> None:
    """The tailstock's quill, run out, by an indicator on the carriage; best by a bar in its taper, turned.

    Its own surface tells its direction where it is round and straight; a bar that is turned 180° leaves the
    axis of its taper.
    """
    from analysis.answers.alignment import Bar

    loaded = opened(survey)
    for one, other in (("diameter", "extension"), ("top_turned", "front_turned")):
        if (typed[one] is None) != (typed[other] is None):
            raise click.UsageError(f"--{one.replace('_', '-')} and --{other.replace('_', '-')} go together.")
    is_inch = loaded.bed.is_inch
    sleeve = None
    if typed["diameter"] is not None:
        sleeve = Bar(in_mm(typed["diameter"], is_inch), in_mm(typed["extension"], is_inch))
    for side in ("top", "front"):
        typed[side] = (*typed[side], *(typed[f"{side}_turned"] or ()))
    _give_line(loaded, "The quill", typed, sleeve, guide, output)


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
def turned(survey: Path, guide: str | None, output: Output, **typed: Any) -> None:
    """Two collars turned without a centre: headstock, roll (feet and wear) or sway."""
    from analysis.answers.alignment import Measured, push_off_um
    from analysis.answers.alignment_on_bed import collars_on_bed
    from analysis.words.align import collars_words, push_off_words

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    near, far = (1000 * in_mm(each, is_inch) for each in typed["diameters"])
    taper = Measured(far - near, 2**0.5 * in_um(typed["uncertainty"], is_inch))
    at = [in_mm(each, is_inch) for each in typed["at"]]
    result = collars_on_bed(_map(loaded), taper, *at, guide=guide)
    given = [typed[name] for name in ("force", "stick_out", "bar_diameter")]
    if any(each is None for each in given) and any(each is not None for each in given):
        raise click.UsageError("--force, --stick-out and --bar-diameter go together.")

    def words(in_inches: bool) -> list[str]:
        if given[0] is None:
            return collars_words(result, in_inches)
        push = push_off_um(given[0], in_mm(given[1], is_inch), in_mm(given[2], is_inch))
        return [*collars_words(result, in_inches), *push_off_words(push, taper, in_inches)]

    give(result, words, None, output, is_inch)


@command.command("centres")
@survey_argument
@click.option("--top", type=(Written(),) * 4, required=True, metavar="HEAD TAIL HEAD TAIL",
              help="On top at both ends; again with the bar swapped end for end.")  # fmt: skip
@click.option(
    "--front", type=(Written(),) * 4, required=True, metavar="HEAD TAIL HEAD TAIL", help="In front."
)
@UNCERTAINTY
@figure_options
def centres(survey: Path, output: Output, **typed: Any) -> None:
    """Both centres, by a bar between them."""
    from analysis.answers.alignment import centres_of_bar
    from analysis.words.align import centres_words

    is_inch = opened(survey).bed.is_inch
    top, front = ([in_um(each, is_inch) for each in typed[name]] for name in ("top", "front"))
    result = centres_of_bar(top, front, in_um(typed["uncertainty"], is_inch))
    give(result, lambda i: centres_words(result, i), None, output, is_inch)


@command.command("facing")
@survey_argument
@click.option("--reading", type=Written(), required=True, metavar="R", help="Far side less centre.")
@click.option("--radius", type=Written(), required=True, metavar="L", help="Where it was read.")
@click.option("--diameter", type=Written(), required=True, metavar="L", help="Of the face, for its depth.")
@UNCERTAINTY
@figure_options
def facing(survey: Path, output: Output, **typed: Any) -> None:
    """The cross slide, by a face that it turned: an indicator on the slide, run past the centre."""
    from analysis.answers.alignment import facing_test
    from analysis.words.align import facing_words

    is_inch = opened(survey).bed.is_inch
    radius, diameter = (in_mm(typed[name], is_inch) for name in ("radius", "diameter"))
    reading, u = (in_um(typed[name], is_inch) for name in ("reading", "uncertainty"))
    result = facing_test(reading, radius, diameter, u)
    give(result, lambda i: facing_words(result, i), None, output, is_inch)


def _map(loaded: "Survey") -> "BedMap | None":
    """The map of the ways; None before anything was measured."""
    return loaded.map() if loaded.measuring else None


def _give_line(
    loaded: "Survey", name: str, typed: dict[str, Any], described: Any, guide: str | None, output: Output
) -> None:
    from analysis.answers.alignment import axis_of_bar
    from analysis.answers.alignment_on_bed import line_on_bed
    from analysis.words.align import line_words

    is_inch = loaded.bed.is_inch
    near, far = (in_mm(each, is_inch) for each in typed["at"])
    top, front = ([in_um(each, is_inch) for each in typed[face]] for face in ("top", "front"))
    u = in_um(typed["uncertainty"], is_inch)
    held = in_mm(typed["held"], is_inch) if "held" in typed else 0.0
    line = axis_of_bar(top, front, far - near, u, bar=described, near_mm=held)
    result = line_on_bed(_map(loaded), line, near, far, guide=guide)
    give(result, lambda i: line_words(result, name, i), None, output, is_inch)
