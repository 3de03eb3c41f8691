"""What every analysis command shares: SURVEY opened, typed lengths in mm and µm, how an answer is given."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial, wraps
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias, TypeVar, cast

import click

from acquire.model.inch_words import in_owners_unit
from acquire.model.lengths import in_mm, in_um
from acquire.model.options import Written
from acquire.model.saying import say
from acquire.model.units import Reading

if TYPE_CHECKING:
    from analysis.answers.surveys import Survey

Function = TypeVar("Function", bound=Callable[..., Any])
Opened: TypeAlias = "Survey"
"""What a command is given; its module is loaded with the first survey."""

survey_argument = click.argument("survey", type=click.Path(path_type=Path))
"""The survey folder, first argument of every analysis command."""
JSON = click.option("--json", "as_json", is_flag=True, help="One JSON object: µm and mm, unrounded.")
PICTURE = click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Also draw it into FILE (.png, .svg or .pdf).",
)
INCH = click.option("--inch/--metric", "inch", default=None, help="Inches and thou first, or mm and µm.")


@dataclass(frozen=True)
class Typed:
    """A length as it was typed; what a bare number means is known once the survey is open."""

    reading: Reading
    in_contract_unit: Callable[[Reading, bool], float]


class Length(Written):
    """A length with or without its unit; the command gets it in mm. A bare number is mm or inches."""

    in_contract_unit = staticmethod(in_mm)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """As typed; `in_contract_units` makes it a number."""
        if isinstance(value, Typed):
            return value
        return Typed(super().convert(value, param, ctx), self.in_contract_unit)


class Height(Length):
    """Likewise a height; the command gets it in µm. A bare number is µm or thou."""

    in_contract_unit = staticmethod(in_um)


LENGTH, LENGTH_FROM_0, LENGTH_ABOVE_0 = Length(), Length(0.0), Length(0.0, is_above=True)
HEIGHT, HEIGHT_FROM_0, HEIGHT_ABOVE_0 = Height(), Height(0.0), Height(0.0, is_above=True)


def length(
    *names: str, of: click.ParamType = LENGTH, metavar: str = "L", **how: Any
) -> Callable[[Function], Function]:
    """An option that is a length, or as many as its `metavar` has words."""
    count = len(metavar.split())
    return click.option(*names, type=(of,) * count if count > 1 else of, metavar=metavar, **how)


height = partial(length, of=HEIGHT, metavar="U")
"""Likewise of heights."""


def in_contract_units(value: Any, is_inch: bool) -> Any:
    """What was typed in mm and µm, also inside tuples; all else as it is.

    Examples
    --------
    >>> in_contract_units((HEIGHT.convert("2", None, None), "way"), is_inch=True)
    (50.8, 'way')
    """
    if isinstance(value, Typed):
        return value.in_contract_unit(value.reading, is_inch)
    return tuple(in_contract_units(each, is_inch) for each in value) if isinstance(value, tuple) else value


@dataclass(frozen=True)
class Answer:
    """What a command found, and how it is said and drawn; both are told whether inches come first."""

    result: Any
    words: Callable[[bool], Sequence[str]]
    draw: Callable[[bool], Any] | None = None
    """Gives a matplotlib figure."""
    write: Callable[[bool], None] | None = None
    """Writes what was asked for beside the answer, before it is given."""


def drawn(figure: str, *found: Any, **options: Any) -> Callable[[bool], Any]:
    """A figure of `draw.figures`, which is loaded only where a picture is wanted."""
    return lambda inch: getattr(import_module("analysis.draw.figures"), figure)(*found, inch, **options)


def answers(function: Function) -> Function:
    """Make a command out of a function that takes the opened survey and returns an `Answer`.

    Adds --json, --picture and --inch. What was typed as a length comes in mm or µm.
    """
    return cast(Function, JSON(PICTURE(INCH(_answered(function)))))


def answers_without_picture(function: Function) -> Function:
    """The same for a few figures, of which there is no picture."""
    return cast(Function, JSON(INCH(_answered(function))))


def opened(survey: Path) -> Opened:
    """The survey, read whole once a command has its options: help is shown without numpy."""
    from analysis.answers.surveys import load

    return load(survey)


def _answered(function: Callable[..., Answer]) -> Callable[..., None]:
    @wraps(function)
    def command(
        survey: Path, as_json: bool, inch: bool | None, picture: Path | None = None, **typed: Any
    ) -> None:
        loaded = opened(survey)
        is_inch = loaded.bed.is_inch
        options = {name: in_contract_units(value, is_inch) for name, value in typed.items()}
        answer = function(loaded, **options)
        _give(answer, as_json, picture, is_inch if inch is None else inch)

    return command


def _give(answer: Answer, as_json: bool, picture: Path | None, inch: bool) -> None:
    """Print the answer as asked, and draw the picture if one is wanted."""
    if answer.write is not None:
        answer.write(inch)
    if as_json:
        from analysis.commands.json_form import as_json as json_of

        click.echo(json_of(answer.result))
    else:
        say("\n".join(in_owners_unit(line, inch) for line in answer.words(inch)))
    if picture is not None and answer.draw is not None:
        from analysis.draw.figures import save

        save(answer.draw(inch), picture)
        say(f"picture: {picture}", err=True)
