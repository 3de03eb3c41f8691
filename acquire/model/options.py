"""What both houses' commands have beyond click: lengths with units, `--across`, groups of tests."""

from typing import Any

import click

from acquire.model.errors import UnitError, did_you_mean
from acquire.model.lengths import parse_length
from acquire.model.units import Reading


class Written(click.ParamType):
    """A length as written, with or without a unit; `in_mm` or `in_um` then says what it is.

    A bare number is in the survey's own unit, which only the command knows.
    """

    name = "length"

    def __init__(self, lowest: float | None = None, is_above: bool = False):
        self.lowest, self.is_above = lowest, is_above

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Reading:
        """Read the number and its unit; what is no length, or below the lowest, is refused."""
        if isinstance(value, Reading):
            return value
        try:
            found = parse_length(str(value))
        except UnitError as error:
            self.fail(str(error), param, ctx)
        low = self.lowest
        if low is not None and (found.value < low or (self.is_above and found.value == low)):
            self.fail(
                f"{value!r}; a length {'above' if self.is_above else 'of at least'} {low:g}", param, ctx
            )
        return found


ABOVE_0 = Written(0.0, is_above=True)
FROM_0 = Written(0.0)


class AcrossCommand(click.Command):
    """A command whose `--across` takes two faces, or the one word carriage."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Give `--across carriage` the second word that click counts on."""
        from acquire.model.reference import CARRIAGE  # every --help would wait for it

        filled: list[str] = []
        for index, word in enumerate(args):
            filled.append(word)
            if word == CARRIAGE and index and args[index - 1] == "--across":
                filled.append(CARRIAGE)
        return super().parse_args(ctx, filled)


class GroupOfTests(click.Group):
    """Tests come before the survey; of a wrong word the near one is told, also where both are swapped."""

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the test."""
        if args and args[0] not in self.commands and not args[0].startswith("-"):
            later = [word for word in args[1:] if word in self.commands]
            meant = did_you_mean(args[0], self.commands)
            told = f"first the test, then the survey: {later[0]} {args[0]}" if later else meant
            known = ", ".join(self.commands)
            told = f" {told[0].upper()}{told[1:]}" if told else ""
            raise click.UsageError(f"No such test {args[0]!r}; needed one of {known}.{told}", ctx)
        return super().resolve_command(ctx, args)
