"""`waylog square`: a column, guide or spindle against the table, the square's own error told apart."""

from functools import partial
from typing import Any

import click

from acquire.model.errors import UnitError
from acquire.model.options import GroupOfTests
from acquire.model.quantity import SLOPE
from acquire.model.units import parse_reading
from analysis.commands.options import height, length, survey_argument
from analysis.commands.typed import UNCERTAINTY, readings, together, typed_test


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


slope = partial(length, of=Slope(), metavar="U")
OVER = length("--height", "height_mm", required=True, help="Over which each run is read.")
FIRST = readings("--first", "first_um", required=True, help="From the foot up, evenly spaced.")
SQUARE_ERROR = height(
    "--square-error", "square_uncertainty_um", help="Its stated standard uncertainty, if not turned."
)
ON = click.option(
    "--on", "face", metavar="FACE", help="Face that it stood on, for the line along the whole of it."
)
STOOD = length("--stood", "stood_mm", metavar="FROM TO", help="Where its foot stood on FACE.")


@click.group("square", cls=GroupOfTests)
def command() -> None:
    """Whether a column, guide or spindle is square to the table, or the square is out.

    Plunger towards +x, pushed in is +; a lean is + where the top stands towards +x.
    """


@command.command("blade")
@survey_argument
@OVER
@FIRST
@readings("--turned", "turned_um", help="The same, the square turned about its blade.")
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
@readings("--up", "up_um", required=True, help="Up the blade, from its foot.")
@length("--travel", "travel_mm", required=True, help="Of the table, towards +x.")
@readings("--along", "along_um", required=True, help="On the foot as the table travels.")
@readings("--up-turned", "up_turned_um", help="Up, the square turned.")
@readings("--along-turned", "along_turned_um", help="Along, the square turned.")
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
@readings("--turned", "turned_um", required=True, help="The cylinder turned 180°.")
@height("--taper", "taper_uncertainty_um", required=True, help="Standard uncertainty of its taper.")
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
@slope(
    "--table",
    "table_um_per_m",
    required=True,
    metavar="R R",
    help="On the table: as it lies, turned end for end.",
)
@slope("--column", "column_um_per_m", required=True, metavar="R R", help="On the column, likewise.")
@slope("--opposite", "opposite_um_per_m", metavar="R R", help="On the opposite side of the column.")
@slope("--angle-error", "angle_uncertainty_um_per_m", help="The level's own stated angle, if not opposite.")
@slope("--uncertainty", "uncertainty_um_per_m", default="1", show_default=True, help="Of one reading.")
@typed_test("square level")
def level(**typed: Any) -> dict[str, Any]:
    """A column by a frame level; + where its end towards +x is high."""
    return typed


@command.command("sweep")
@survey_argument
@height("--reading", "reading_um", required=True, metavar="A C", help="At +x and at −x.")
@length("--radius", "radius_mm", required=True, help="Of the sweep.")
@UNCERTAINTY
@typed_test("square sweep")
def sweep(**typed: Any) -> dict[str, Any]:
    """A spindle by an indicator swept round it over the table."""
    return typed
