"""What every analysis command shares: --json, --picture, --inch, typed lengths, how an answer is given."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

import click

from acquire.model.inch_words import in_owners_unit
from acquire.model.length_option import ABOVE_0 as ABOVE_0
from acquire.model.length_option import FROM_0 as FROM_0
from acquire.model.length_option import Written as Written
from acquire.model.lengths import in_mm as in_mm
from acquire.model.lengths import in_um as in_um

Function = TypeVar("Function", bound=Callable[..., Any])


@dataclass(frozen=True)
class Shown:
    """How the person wants the answer."""

    json: bool
    picture: Path | None
    inch: bool | None
    """None: as bed.toml says."""


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
        click.echo("\n".join(in_owners_unit(line, inch) for line in words(inch)))
    if shown.picture is not None and draw is not None:
        from analysis.draw.figures import save

        save(draw(inch), shown.picture)
        click.echo(f"picture: {shown.picture}", err=True)
