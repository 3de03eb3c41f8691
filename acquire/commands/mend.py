"""`waylog mend`: bring back recordings that were cut short."""

from pathlib import Path

import click


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
        click.echo(each.text, err=each.outcome == LEFT)
    if not done:
        click.echo(f"{survey}: nothing to mend.")
    return 1 if any(each.outcome == LEFT for each in done) else 0
