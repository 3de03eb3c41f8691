"""What tests of a few readings share: options that are readings, answered, and kept on request."""

from collections.abc import Callable, Mapping
from functools import partial, wraps
from pathlib import Path
from typing import Any, TypeVar, cast

import click

from acquire.model.saying import say
from analysis.commands.options import (
    HEIGHT,
    LENGTH,
    Answer,
    Length,
    Opened,
    Typed,
    answers_without_picture,
    height,
    length,
)

Function = TypeVar("Function", bound=Callable[..., Any])
KEEP = click.option(
    "--keep", is_flag=True, help="Keep the readings with the survey, for `kept`, `show` and the report."
)
NOTE = click.option("--note", default="", metavar="WORDS", help="Words to keep with them.")
UNCERTAINTY = height(
    "--uncertainty",
    "uncertainty_um",
    default="1 um",
    show_default=True,
    help="Standard uncertainty of one reading.",
)


class Run(click.ParamType):
    """Readings one after the other, with blanks between: `0 1.5 2`, or `0 0.01in 0.02in`."""

    name = "readings"

    def __init__(self, one: Length):
        self.one = one

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> tuple[Typed, ...]:
        """Each as it was typed."""
        if isinstance(value, tuple):
            return value
        return tuple(self.one.convert(each, param, ctx) for each in str(value).split())


readings = partial(length, of=Run(HEIGHT), metavar="READINGS")
"""An option that is a run of heights."""
lengths = partial(length, of=Run(LENGTH))


def typed_test(test: str) -> Callable[[Function], Function]:
    """Make a command of a test: its options have the names that the readings are kept under.

    The function says which of them go together, and returns the readings.
    """

    def made(function: Function) -> Function:
        @wraps(function)
        def command(survey: Opened, keep: bool, note: str, **typed: Any) -> Answer:
            from analysis.answers.typed_tests import answer_test
            from analysis.words.typed_tests import typed_test_words

            if note and not keep:
                raise click.UsageError("--note goes with --keep.")
            given = function(**typed)
            read = {name: list(each) if isinstance(each, tuple) else each for name, each in given.items()}
            found = answer_test(survey, test, read)
            write = (lambda _: _keep(survey.folder, test, read, note)) if keep else None
            return Answer(found, lambda inch: typed_test_words(test, found, read, inch), write=write)

        return cast(Function, answers_without_picture(KEEP(NOTE(command))))

    return made


def together(typed: Mapping[str, Any], **options: str) -> None:
    """Refuse some of the options without the others; each by the name that its reading is kept under."""
    if len({typed[name] is None for name in options}) > 1:
        *first, last = options.values()
        raise click.UsageError(f"{', '.join(first)} and {last} go together.")


def _keep(survey: Path, test: str, readings: Mapping[str, Any], note: str) -> None:
    from acquire.model.system import utc_now
    from acquire.store.kept import KeptTest, keep_test

    kept = KeptTest(test, utc_now(), readings, note)
    say(f"kept: {keep_test(survey, kept)}", err=True)
