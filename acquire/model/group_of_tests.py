"""Commands that are groups of tests: `waylog align TEST SURVEY`."""

import click

from acquire.model.near_words import did_you_mean


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
