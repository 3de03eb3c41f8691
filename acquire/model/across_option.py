"""`--across FRONT REAR`, or `--across carriage`: an option of two words, of which one may stand alone."""

import click

from acquire.model.reference import CARRIAGE


class AcrossCommand(click.Command):
    """A command whose `--across` takes two faces, or the one word carriage."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Give `--across carriage` the second word that click counts on."""
        filled: list[str] = []
        for index, word in enumerate(args):
            filled.append(word)
            if word == CARRIAGE and index and args[index - 1] == "--across":
                filled.append(CARRIAGE)
        return super().parse_args(ctx, filled)
