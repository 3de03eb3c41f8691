"""What every analysis command shares: --json, --picture, --inch, typed lengths, how an answer is given."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from acquire.model.inch_words import in_owners_unit
from acquire.model.lengths import in_mm as in_mm
from acquire.model.lengths import in_um as in_um
from acquire.model.options import ABOVE_0 as ABOVE_0
from acquire.model.options import FROM_0 as FROM_0
from acquire.model.options import Written as Written

if TYPE_CHECKING:
    from analysis.answers.surveys import Survey

Function = TypeVar("Function", bound=Callable[..., Any])


JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object: µm and mm, unrounded.")
PICTURE = click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Also draw it into FILE (.png, .svg or .pdf).",
)
INCH = click.option("--inch/--metric", "inch", default=None, help="Inches and thou first, or mm and µm.")


@dataclass(frozen=True)
class Output:
    """How the person wants the answer."""

    json: bool
    picture: Path | None
    inch: bool | None
    """None: as bed.toml says."""

    def is_inch(self, display_inch: bool) -> bool:
        """Whether inches and thou come first, in a survey that shows them or not."""
        return display_inch if self.inch is None else self.inch


def survey_argument(function: Function) -> Function:
    """The survey folder, first argument of every analysis command."""
    return click.argument("survey", type=click.Path(path_type=Path))(function)


def opened(survey: Path) -> "Survey":
    """The survey, read whole once a command has its options: help is shown without numpy."""
    from analysis.answers.surveys import load

    return load(survey)


def answer_options(function: Function) -> Function:
    """Add --json, --picture and --inch, handed on together as `output`."""
    return cast(Function, JSON(PICTURE(INCH(_with_output(function)))))


def figure_options(function: Function) -> Function:
    """Add --json and --inch, handed on as `output`: there is no picture of a few figures."""
    return cast(Function, JSON(INCH(_with_output(function))))


def _with_output(function: Callable[..., Any]) -> Callable[..., Any]:
    @wraps(function)
    def command(
        *arguments: Any, as_json: bool, inch: bool | None, picture: Path | None = None, **options: Any
    ) -> Any:
        return function(*arguments, output=Output(as_json, picture, inch), **options)

    return command


def give(
    result: Any,
    words: Callable[[bool], Sequence[str]],
    draw: Callable[[bool], Any] | None,
    output: Output,
    display_inch: bool,
) -> None:
    """Print the answer as asked, and draw the picture if one is wanted.

    `words` and `draw` take whether inches and thou come first; `draw` returns a
    matplotlib figure.
    """
    inch = output.is_inch(display_inch)
    if output.json:
        from analysis.commands.json_form import as_json

        click.echo(as_json(result))
    else:
        click.echo("\n".join(in_owners_unit(line, inch) for line in words(inch)))
    if output.picture is not None and draw is not None:
        from analysis.draw.figures import save

        save(draw(inch), output.picture)
        click.echo(f"picture: {output.picture}", err=True)
