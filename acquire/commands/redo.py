"""`waylog redo`: derive traverses anew from their raw bytes."""

from pathlib import Path

import click

from acquire.commands.talk import progress
from acquire.model.saying import say


@click.command(name="redo")
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("numbers", nargs=-1, type=click.IntRange(min=1), metavar="[NUMBER]...")
@click.option(
    "--as",
    "corrections",
    multiple=True,
    metavar="SLIP",
    help="Undo a slip of the whole run: turned (a level end for end), sign, order (run the other way), "
    "mirrored (measured from the other end of the bed), "
    "unit:U, times:F, shifted:MM; written: as it was written after all. Several may be given.",
)
def command(survey: Path, numbers: tuple[int, ...], corrections: tuple[str, ...]) -> None:
    """Derive traverses of SURVEY anew from their raw bytes, as bed.toml is now.

    All of them, or those of the NUMBERs. Each keeps its number; the old file goes to
    traverses/superseded. Where one of them cannot be derived, none is touched. What --as
    undid stays undone when a traverse is derived anew without it; what was written stays in the file.
    """
    from acquire.record.redoing import redo
    from acquire.store import files_of

    if corrections and not numbers:
        raise click.UsageError("--as needs the NUMBER of each run that it is true of.")
    with progress(len(numbers) or len(files_of(survey))) as step:
        done = redo(survey, numbers, on_derived=step, corrections=corrections or None)
    for each in done:
        say(f"{each.path.name}: derived anew; the old one is superseded/{each.kept.name}")
        for change in each.changes:
            say(f"  look: {change}", err=True)
    if not done:
        say(f"{survey}: no traverse to derive anew.")
