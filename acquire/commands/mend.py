"""`waylog mend`: bring back recordings that were cut short."""

from pathlib import Path

import click

from acquire.model.saying import say


@click.command(name="mend")
@click.argument("survey", type=click.Path(path_type=Path))
def command(survey: Path) -> int:
    """Bring back recordings of SURVEY that were cut short.

    Every journal that no recorder holds becomes a traverse file with all that is whole in
    it; what was lost is said. A journal from which nothing can be had stays as it is, and
    so does every earlier traverse. Nothing measured is deleted.
    """
    from acquire.record.mending import LEFT, mend

    done = mend(survey)
    for each in done:
        say(each.text, err=each.outcome == LEFT)
    if not done:
        say(f"{survey}: nothing to mend.")
    return 1 if any(each.outcome == LEFT for each in done) else 0
