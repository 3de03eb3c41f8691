"""`waylog square`: a column, guide or spindle against the table, the square's own error told apart."""

from pathlib import Path
from typing import Any

import click

from acquire.model.errors import UnitError
from acquire.model.options import GroupOfTests
from acquire.model.quantity import SLOPE
from acquire.model.units import Reading, parse_reading
from analysis.commands.align import UNCERTAINTY
from analysis.commands.options import Output, Written, figure_options, survey_argument
from analysis.commands.typed import Kept, Turned, answered, keep_options


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


HEIGHT = click.option(
    "--height", type=Written(), required=True, metavar="L", help="Over which each run is read."
)
FIRST = click.option(
    "--first", type=WrittenRun(), required=True, metavar="READINGS", help="From the foot up, evenly spaced."
)
SQUARE_ERROR = click.option(
    "--square-error", type=Written(), metavar="U", help="Its stated standard uncertainty, if not turned."
)
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
@HEIGHT
@FIRST
@click.option(
    "--turned", type=WrittenRun(), metavar="READINGS", help="The same, the square turned about its blade."
)
@SQUARE_ERROR
@ON
@STOOD
@UNCERTAINTY
@figure_options
@keep_options
def blade(survey: Path, face: str | None, output: Output, kept: Kept, **typed: Any) -> None:
    """A guide by a square, turned about its blade and read again."""
    _both(face, typed["stood"])

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            "height_mm": turned.mm(typed["height"]),
            "first_um": turned.um(typed["first"]),
            "turned_um": turned.um(typed["turned"]),
            "uncertainty_um": turned.um(typed["uncertainty"]),
            "square_uncertainty_um": turned.um(typed["square_error"]),
            "face": face,
            "stood_mm": turned.mm(typed["stood"]),
        }

    answered(survey, "square blade", readings, output, kept)


@command.command("guides")
@survey_argument
@HEIGHT
@click.option(
    "--up", type=WrittenRun(), required=True, metavar="READINGS", help="Up the blade, from its foot."
)
@click.option("--travel", type=Written(), required=True, metavar="L", help="Of the table, towards +x.")
@click.option(
    "--along", type=WrittenRun(), required=True, metavar="READINGS", help="On the foot as the table travels."
)
@click.option("--up-turned", type=WrittenRun(), metavar="READINGS", help="Up, the square turned.")
@click.option("--along-turned", type=WrittenRun(), metavar="READINGS", help="Along, the square turned.")
@SQUARE_ERROR
@UNCERTAINTY
@figure_options
@keep_options
def guides(survey: Path, output: Output, kept: Kept, **typed: Any) -> None:
    """A column against the travel of its table, by a square that lies on it untouched between the runs."""

    def readings(turned: Turned) -> dict[str, Any]:
        runs = ("up", "along", "up_turned", "along_turned")
        return {
            **{f"{name}_mm": turned.mm(typed[name]) for name in ("height", "travel")},
            **{f"{name}_um": turned.um(typed[name]) for name in (*runs, "uncertainty")},
            "square_uncertainty_um": turned.um(typed["square_error"]),
        }

    answered(survey, "square guides", readings, output, kept)


@command.command("cylinder")
@survey_argument
@HEIGHT
@FIRST
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
@keep_options
def cylinder(survey: Path, face: str | None, output: Output, kept: Kept, **typed: Any) -> None:
    """A guide by a cylinder square, turned 180° and read again."""
    _both(face, typed["stood"])

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            "height_mm": turned.mm(typed["height"]),
            **{f"{name}_um": turned.um(typed[name]) for name in ("first", "turned", "uncertainty")},
            "taper_uncertainty_um": turned.um(typed["taper"]),
            "face": face,
            "stood_mm": turned.mm(typed["stood"]),
        }

    answered(survey, "square cylinder", readings, output, kept)


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
@keep_options
def level(survey: Path, output: Output, kept: Kept, **typed: Any) -> None:
    """A column by a frame level; + where its end towards +x is high."""

    def readings(_: Turned) -> dict[str, Any]:
        opposite = typed["opposite"]
        return {
            "table_um_per_m": list(typed["table"]),
            "column_um_per_m": list(typed["column"]),
            "uncertainty_um_per_m": typed["uncertainty"],
            "opposite_um_per_m": None if opposite is None else list(opposite),
            "angle_uncertainty_um_per_m": typed["angle_error"],
        }

    answered(survey, "square level", readings, output, kept)


@command.command("sweep")
@survey_argument
@click.option("--reading", type=(Written(), Written()), required=True, metavar="A C", help="At +x and at −x.")
@click.option("--radius", type=Written(), required=True, metavar="L", help="Of the sweep.")
@UNCERTAINTY
@figure_options
@keep_options
def sweep(survey: Path, output: Output, kept: Kept, **typed: Any) -> None:
    """A spindle by an indicator swept round it over the table."""

    def readings(turned: Turned) -> dict[str, Any]:
        return {
            "reading_um": turned.um(typed["reading"]),
            "radius_mm": turned.mm(typed["radius"]),
            "uncertainty_um": turned.um(typed["uncertainty"]),
        }

    answered(survey, "square sweep", readings, output, kept)


def _both(face: str | None, stood: Any) -> None:
    if (face is None) != (stood is None):
        raise click.UsageError("--on and --stood go together.")
