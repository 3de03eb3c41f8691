"""How a command line takes a length: as written, with its unit or in the survey's own."""

from typing import Any

import click

from acquire.model.errors import UnitError
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
