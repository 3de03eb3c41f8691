"""What tests of a few readings share: their readings turned into one unit, answered, and kept on request."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar, cast

import click

from analysis.commands.options import Output, give, in_mm, in_um, opened

if TYPE_CHECKING:
    from acquire.model.units import Reading

Function = TypeVar("Function", bound=Callable[..., Any])
KEEP = click.option(
    "--keep", is_flag=True, help="Keep the readings with the survey, for `kept`, `show` and the report."
)
NOTE = click.option("--note", default="", metavar="WORDS", help="Words to keep with them.")


@dataclass(frozen=True)
class Kept:
    """Whether the readings are to be kept, and with which words."""

    is_wanted: bool
    note: str


def keep_options(function: Function) -> Function:
    """Add --keep and --note, handed on together as `kept`."""

    @wraps(function)
    def command(*arguments: Any, keep: bool, note: str, **options: Any) -> Any:
        if note and not keep:
            raise click.UsageError("--note goes with --keep.")
        return function(*arguments, kept=Kept(keep, note), **options)

    return cast(Function, KEEP(NOTE(command)))


@dataclass(frozen=True)
class Turned:
    """Turns what was typed into mm and µm, a bare number as the survey has it; None stays."""

    inch: bool

    def mm(self, written: "Reading | tuple[Reading, ...] | None") -> Any:
        """One length, or several."""
        return self._each(in_mm, written)

    def um(self, written: "Reading | tuple[Reading, ...] | None") -> Any:
        """One height, or several."""
        return self._each(in_um, written)

    def _each(self, turn: Callable[["Reading | None", bool], float | None], written: Any) -> Any:
        if isinstance(written, tuple) and not hasattr(written, "unit"):
            return [turn(each, self.inch) for each in written]
        return turn(written, self.inch)


def answered(
    survey: Path, test: str, readings: Callable[[Turned], Mapping[str, Any]], output: Output, kept: Kept
) -> None:
    """Give the answer of one test; then keep its readings, if that is wanted.

    `readings` gives them under the names that they are kept under, mm and µm.
    """
    from analysis.answers.typed_tests import answer_test
    from analysis.words.typed_tests import typed_test_words

    loaded = opened(survey)
    is_inch = loaded.bed.is_inch
    read = readings(Turned(is_inch))
    found = answer_test(loaded, test, read)
    give(found, lambda i: typed_test_words(test, found, read, i), None, output, is_inch)
    if kept.is_wanted:
        click.echo(f"kept: {_keep(loaded.folder, test, read, kept.note)}", err=True)


def _keep(survey: Path, test: str, readings: Mapping[str, Any], note: str) -> Path:
    from acquire.model.system import utc_now
    from acquire.store.kept import KeptTest, keep_test

    return keep_test(survey, KeptTest(test, utc_now(), readings, note))
