"""`waylog square`: a column, guide or spindle against the table, the square's own error told apart."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.model.errors import UnitError
from acquire.model.group_of_tests import GroupOfTests
from acquire.model.quantity import SLOPE
from acquire.model.units import Reading, parse_reading
from analysis.commands.align import UNCERTAINTY
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
    from analysis.answers.squareness import Square
    from analysis.answers.surveys import Survey


class WrittenRun(click.ParamType):
    """Readings one after the other, with blanks between: `0 1.5 2`, or `0 0.01in 0.02in`."""

    name = "readings"

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[Reading, ...]:
        """Each as a length as written."""
        if isinstance(value, tuple):
            return value
        return tuple(Written().convert(each, param, ctx) for each in str(value).split())


class WrittenSlope(click.ParamType):
    """A level's reading in µm/m, or with its unit: 0.02mm/m, 4arcsec."""

    name = "slope"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """The reading in µm/m."""
        if isinstance(value, float):
            return value
        try:
            found = parse_reading(str(value))
            return SLOPE.to_contract(found.value, found.unit or "um/m")
        except UnitError as error:
            self.fail(str(error), param, ctx)


ON = click.option(
    "--on", "face", metavar="FACE", help="Face that it stood on, for the line along the whole of it."
)
STOOD = click.option(
    "--stood", type=(Written(), Written()), metavar="FROM TO", help="Where its foot stood on FACE."
)
SLOPES = (WrittenSlope(), WrittenSlope())


@click.group("square", cls=GroupOfTests)
def command() -> None:
    """Whether a column, guide or spindle is square to the table, or the square is out.

    Plunger towards +x, pushed in is +; a lean is + where the top stands towards +x.
    """


@command.command("blade")
@survey_argument
@click.option("--height", type=Written(), required=True, metavar="L", help="Over which each run is read.")
@click.option(
    "--first", type=WrittenRun(), required=True, metavar="READINGS", help="From the foot up, evenly spaced."
)
@click.option(
    "--turned", type=WrittenRun(), metavar="READINGS", help="The same, the square turned about its blade."
)
@click.option(
    "--square-error", type=Written(), metavar="U", help="Its stated standard uncertainty, if not turned."
)
@ON
@STOOD
@UNCERTAINTY
@figure_options
def blade(survey: Path, face: str | None, output: Output, **typed: Any) -> None:
    """A guide by a square, turned about its blade and read again."""
    from analysis.answers.squareness import square_turned

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    error = typed["square_error"]
    found = square_turned(
        in_mm(typed["height"], is_inch),
        [in_um(each, is_inch) for each in typed["first"]],
        None if typed["turned"] is None else [in_um(each, is_inch) for each in typed["turned"]],
        in_um(typed["uncertainty"], is_inch),
        square_uncertainty_um=None if error is None else in_um(error, is_inch),
    )
    _give(loaded, found, face, typed["stood"], "square", output)


@command.command("guides")
@survey_argument
@click.option("--height", type=Written(), required=True, metavar="L", help="Over which each run is read.")
@click.option(
    "--up", type=WrittenRun(), required=True, metavar="READINGS", help="Up the blade, from its foot."
)
@click.option("--travel", type=Written(), required=True, metavar="L", help="Of the table, towards +x.")
@click.option(
    "--along", type=WrittenRun(), required=True, metavar="READINGS", help="On the foot as the table travels."
)
@click.option("--up-turned", type=WrittenRun(), metavar="READINGS", help="Up, the square turned.")
@click.option("--along-turned", type=WrittenRun(), metavar="READINGS", help="Along, the square turned.")
@click.option(
    "--square-error", type=Written(), metavar="U", help="Its stated standard uncertainty, if not turned."
)
@UNCERTAINTY
@figure_options
def guides(survey: Path, output: Output, **typed: Any) -> None:
    """A column against the travel of its table, by a square that lies on it untouched between the runs."""
    from analysis.answers.squareness import guides_joined

    loaded = opened(survey)
    is_inch, error = loaded.bed.is_inch, typed["square_error"]

    def runs(name: str) -> list[list[float]]:
        found = [typed[name], typed[f"{name}_turned"]]
        return [[in_um(each, is_inch) for each in run] for run in found if run is not None]

    found = guides_joined(
        in_mm(typed["height"], is_inch),
        runs("up"),
        in_mm(typed["travel"], is_inch),
        runs("along"),
        in_um(typed["uncertainty"], is_inch),
        square_uncertainty_um=None if error is None else in_um(error, is_inch),
    )
    _give(loaded, found, None, None, "square", output, "Against the travel of the table the column")


@command.command("cylinder")
@survey_argument
@click.option("--height", type=Written(), required=True, metavar="L", help="Over which each run is read.")
@click.option(
    "--first", type=WrittenRun(), required=True, metavar="READINGS", help="From the foot up, evenly spaced."
)
@click.option(
    "--turned", type=WrittenRun(), required=True, metavar="READINGS", help="The cylinder turned 180°."
)
@click.option(
    "--taper", type=Written(), required=True, metavar="U", help="Standard uncertainty of its taper."
)
@ON
@STOOD
@UNCERTAINTY
@figure_options
def cylinder(survey: Path, face: str | None, output: Output, **typed: Any) -> None:
    """A guide by a cylinder square, turned 180° and read again."""
    from analysis.answers.squareness import cylinder_turned

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    found = cylinder_turned(
        in_mm(typed["height"], is_inch),
        [in_um(each, is_inch) for each in typed["first"]],
        [in_um(each, is_inch) for each in typed["turned"]],
        in_um(typed["uncertainty"], is_inch),
        taper_uncertainty_um=in_um(typed["taper"], is_inch),
    )
    _give(loaded, found, face, typed["stood"], "cylinder", output)


@command.command("level")
@survey_argument
@click.option(
    "--table", type=SLOPES, required=True, metavar="R R", help="On the table: as it lies, turned end for end."
)
@click.option("--column", type=SLOPES, required=True, metavar="R R", help="On the column, likewise.")
@click.option("--opposite", type=SLOPES, metavar="R R", help="On the opposite side of the column.")
@click.option(
    "--angle-error", type=WrittenSlope(), metavar="U", help="The level's own stated angle, if not opposite."
)
@click.option(
    "--uncertainty", type=WrittenSlope(), default="1", show_default=True, metavar="U", help="Of one reading."
)
@figure_options
def level(survey: Path, output: Output, **typed: Any) -> None:
    """A column by a frame level; + where its end towards +x is high."""
    from analysis.answers.squareness import frame_level

    found = frame_level(
        typed["table"],
        typed["column"],
        typed["uncertainty"],
        opposite_um_per_m=typed["opposite"],
        angle_uncertainty_um_per_m=typed["angle_error"],
    )
    _give(opened(survey), found, None, None, "frame level", output)


@command.command("sweep")
@survey_argument
@click.option("--reading", type=(Written(), Written()), required=True, metavar="A C", help="At +x and at −x.")
@click.option("--radius", type=Written(), required=True, metavar="L", help="Of the sweep.")
@UNCERTAINTY
@figure_options
def sweep(survey: Path, output: Output, **typed: Any) -> None:
    """A spindle by an indicator swept round it over the table."""
    from analysis.answers.squareness import swept

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    a, c = (in_um(each, is_inch) for each in typed["reading"])
    found = swept(a, c, in_mm(typed["radius"], is_inch), in_um(typed["uncertainty"], is_inch))
    _give(loaded, found, None, None, "sweep", output)


def _give(
    loaded: "Survey",
    found: "Square",
    face: str | None,
    stood: Any,
    tool: str,
    output: Output,
    name: str = "",
) -> None:
    from analysis.answers.squareness import against_whole
    from analysis.words.align import square_words

    if (face is None) != (stood is None):
        raise click.UsageError("--on and --stood go together.")
    is_inch = loaded.bed.is_inch
    if face is not None:
        found = against_whole(loaded.map(), found, face, *(in_mm(each, is_inch) for each in stood))
    by_tool = {"sweep": "The spindle", "frame level": "The column"}
    name = name or by_tool.get(tool, "The guide")
    give(found, lambda i: square_words(found, name, i, tool), None, output, is_inch)
