"""What every analysis command shares: --json, --picture, --inch, typed lengths, how an answer is given."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click

from acquire.model.errors import UnitError
from acquire.model.quantity import OFFSET
from acquire.model.units import Reading, parse_reading

Function = TypeVar("Function", bound=Callable[..., Any])


@dataclass(frozen=True)
class Shown:
    """How the person wants the answer."""

    json: bool
    picture: Path | None
    inch: bool | None
    """None: as bed.toml says."""


class Written(click.ParamType):
    """A length as written, with or without a unit; a bare number is in the survey's own unit."""

    name = "length"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Reading:
        """Read the number and its unit; what is no length is refused."""
        if isinstance(value, Reading):
            return value
        try:
            found = parse_reading(str(value))
            OFFSET.to_contract(found.value, found.unit or "um")
        except UnitError as error:
            self.fail(str(error), param, ctx)
        return found


def in_mm(written: Reading, is_inch: bool) -> float:
    """A length in mm; a bare number is mm, or inches where the survey is shown in inches.

    Examples
    --------
    >>> bare = Reading(2.0, None)
    >>> in_mm(bare, is_inch=False), in_mm(bare, is_inch=True), in_mm(Reading(1.0, "in"), is_inch=False)
    (2.0, 50.8, 25.4)
    """
    return OFFSET.to_contract(written.value, written.unit or ("in" if is_inch else "mm")) / 1000


def in_um(written: Reading, is_inch: bool) -> float:
    """A reading of an indicator in µm; a bare number is µm, or thou where the survey is shown in inches.

    Examples
    --------
    >>> bare = Reading(2.0, None)
    >>> in_um(bare, is_inch=False), in_um(bare, is_inch=True), in_um(Reading(0.01, "mm"), is_inch=True)
    (2.0, 50.8, 10.0)
    """
    return OFFSET.to_contract(written.value, written.unit or ("thou" if is_inch else "um"))


def survey_argument(function: Function) -> Function:
    """The survey folder, first argument of every analysis command."""
    return click.argument("survey", type=click.Path(path_type=Path))(function)


def answer_options(function: Function) -> Function:
    """Add --json, --picture and --inch."""
    options = [
        click.option("--json", "as_json", is_flag=True, help="One JSON object: µm and mm, unrounded."),
        click.option(
            "--picture",
            type=click.Path(path_type=Path, dir_okay=False),
            help="Also draw it into FILE (.png, .svg or .pdf).",
        ),
        click.option("--inch/--metric", "inch", default=None, help="Inches and thou first, or mm and µm."),
    ]
    for option in reversed(options):
        function = option(function)
    return function


def give(
    result: Any,
    words: Callable[[bool], Sequence[str]],
    draw: Callable[[bool], Any] | None,
    shown: Shown,
    display_inch: bool,
) -> None:
    """Print the answer as asked, and draw the picture if one is wanted.

    `words` and `draw` take whether inches and thou come first; `draw` returns a
    matplotlib figure.
    """
    inch = display_inch if shown.inch is None else shown.inch
    if shown.json:
        from analysis.commands.json_form import as_json

        click.echo(as_json(result))
    else:
        click.echo("\n".join(words(inch)))
    if shown.picture is not None and draw is not None:
        from analysis.draw.figures import save

        save(draw(inch), shown.picture)
        click.echo(f"picture: {shown.picture}", err=True)
