"""`waylog square`: a column, guide or spindle against the table, the square's own error told apart."""

from typing import Any

import click

from acquire.model.errors import UnitError
from acquire.model.options import GroupOfTests
from acquire.model.quantity import SLOPE
from acquire.model.units import parse_reading
from analysis.commands.options import HEIGHT, LENGTH, survey_argument
from analysis.commands.typed import UNCERTAINTY, Run, together, typed_test


class Slope(click.ParamType):
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


SLOPES = (Slope(), Slope())
OVER = click.option(
    "--height",
    "height_mm",
    type=LENGTH,
    required=True,
    metavar="L",
    help="Over which each run is read.",
)
FIRST = click.option("--first", "first_um", type=Run(HEIGHT), required=True, metavar="READINGS",
                     help="From the foot up, evenly spaced.")  # fmt: skip
SQUARE_ERROR = click.option("--square-error", "square_uncertainty_um", type=HEIGHT, metavar="U",
                            help="Its stated standard uncertainty, if not turned.")  # fmt: skip
ON = click.option(
    "--on", "face", metavar="FACE", help="Face that it stood on, for the line along the whole of it."
)
STOOD = click.option(
    "--stood", "stood_mm", type=(LENGTH, LENGTH), metavar="FROM TO", help="Where its foot stood on FACE."
)


@click.group("square", cls=GroupOfTests)
def command() -> None:
    """Whether a column, guide or spindle is square to the table, or the square is out.

    Plunger towards +x, pushed in is +; a lean is + where the top stands towards +x.
    """


@command.command("blade")
@survey_argument
@OVER
@FIRST
@click.option("--turned", "turned_um", type=Run(HEIGHT), metavar="READINGS",
              help="The same, the square turned about its blade.")  # fmt: skip
@SQUARE_ERROR
@ON
@STOOD
@UNCERTAINTY
@typed_test("square blade")
def blade(**typed: Any) -> dict[str, Any]:
    """A guide by a square, turned about its blade and read again."""
    together(typed, face="--on", stood_mm="--stood")
    return typed


@command.command("guides")
@survey_argument
@OVER
@click.option(
    "--up", "up_um", type=Run(HEIGHT), required=True, metavar="READINGS", help="Up the blade, from its foot."
)
@click.option(
    "--travel", "travel_mm", type=LENGTH, required=True, metavar="L", help="Of the table, towards +x."
)
@click.option("--along", "along_um", type=Run(HEIGHT), required=True, metavar="READINGS",
              help="On the foot as the table travels.")  # fmt: skip
@click.option(
    "--up-turned", "up_turned_um", type=Run(HEIGHT), metavar="READINGS", help="Up, the square turned."
)
@click.option("--along-turned", "along_turned_um", type=Run(HEIGHT), metavar="READINGS",
              help="Along, the square turned.")  # fmt: skip
@SQUARE_ERROR
@UNCERTAINTY
@typed_test("square guides")
def guides(**typed: Any) -> dict[str, Any]:
    """A column against the travel of its table, by a square that lies on it untouched between the runs."""
    return typed


@command.command("cylinder")
@survey_argument
@OVER
@FIRST
@click.option("--turned", "turned_um", type=Run(HEIGHT), required=True, metavar="READINGS",
              help="The cylinder turned 180°.")  # fmt: skip
@click.option("--taper", "taper_uncertainty_um", type=HEIGHT, required=True, metavar="U",
              help="Standard uncertainty of its taper.")  # fmt: skip
@ON
@STOOD
@UNCERTAINTY
@typed_test("square cylinder")
def cylinder(**typed: Any) -> dict[str, Any]:
    """A guide by a cylinder square, turned 180° and read again."""
    together(typed, face="--on", stood_mm="--stood")
    return typed


@command.command("level")
@survey_argument
@click.option("--table", "table_um_per_m", type=SLOPES, required=True, metavar="R R",
              help="On the table: as it lies, turned end for end.")  # fmt: skip
@click.option(
    "--column", "column_um_per_m", type=SLOPES, required=True, metavar="R R", help="On the column, likewise."
)
@click.option(
    "--opposite", "opposite_um_per_m", type=SLOPES, metavar="R R", help="On the opposite side of the column."
)
@click.option("--angle-error", "angle_uncertainty_um_per_m", type=Slope(), metavar="U",
              help="The level's own stated angle, if not opposite.")  # fmt: skip
@click.option("--uncertainty", "uncertainty_um_per_m", type=Slope(), default="1", show_default=True,
              metavar="U", help="Of one reading.")  # fmt: skip
@typed_test("square level")
def level(**typed: Any) -> dict[str, Any]:
    """A column by a frame level; + where its end towards +x is high."""
    return typed


@command.command("sweep")
@survey_argument
@click.option(
    "--reading", "reading_um", type=(HEIGHT, HEIGHT), required=True, metavar="A C", help="At +x and at −x."
)
@click.option("--radius", "radius_mm", type=LENGTH, required=True, metavar="L", help="Of the sweep.")
@UNCERTAINTY
@typed_test("square sweep")
def sweep(**typed: Any) -> dict[str, Any]:
    """A spindle by an indicator swept round it over the table."""
    return typed
