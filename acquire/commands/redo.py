"""`waylog redo`: derive traverses anew from their raw bytes."""

from pathlib import Path

import click

from acquire.commands.talk import progress


@click.command(name="redo")
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("numbers", nargs=-1, type=click.IntRange(min=1), metavar="[NUMBER]...")
def command(survey: Path, numbers: tuple[int, ...]) -> None:
    """Derive traverses of SURVEY anew from their raw bytes, as bed.toml is now.

    All of them, or those of the NUMBERs. Each keeps its number; the old file goes to
    traverses/superseded. Where one of them cannot be derived, none is touched.
    """
    from acquire.record.redoing import redo
    from acquire.store import files_of

    with progress("deriving", len(numbers) or len(files_of(survey))) as step:
        done = redo(survey, numbers, on_derived=step)
    for each in done:
        click.echo(f"{each.path.name}: derived anew; the old one is superseded/{each.kept.name}")
        for change in each.changes:
            click.echo(f"  look: {change}", err=True)
    if not done:
        click.echo(f"{survey}: no traverse to derive anew.")
