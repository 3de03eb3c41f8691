"""`waylog undo`: take the last traverse out of a survey; it is moved aside, never deleted."""

from pathlib import Path

import click

from acquire.model.saying import say


@click.command(name="undo")
@click.argument("survey", type=click.Path(path_type=Path))
@click.option("--number", "-n", type=click.IntRange(min=1), metavar="N", help="This one, not the last.")
def command(survey: Path, number: int | None) -> int:
    """Take the traverse that was recorded, entered or imported last out of SURVEY.

    Its file goes to traverses/withdrawn and can be moved back from there by hand. Its
    number is not used again.
    """
    from acquire.store.withdrawing import withdraw

    old, new = withdraw(survey, number)
    say(f"taken out: {old.name}\nkept as {new}")
    return 0
