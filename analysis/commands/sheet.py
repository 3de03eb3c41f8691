"""`waylog sheet`: paper to write readings on at the machine."""

from pathlib import Path

import click

from acquire.model.options import AcrossCommand
from acquire.model.saying import say
from analysis.commands.options import survey_argument


@click.command("sheet", cls=AcrossCommand)
@survey_argument
@click.argument("faces", nargs=-1, metavar="[FACE]...")
@click.option("--across", nargs=2, metavar="FRONT REAR", help="A level across; or: --across carriage.")
@click.option("--instrument", "-i", metavar="I", help="Instrument in bed.toml; without it, any.")
@click.option("--paper", type=click.Choice(["A4", "Letter"]), help="Default: A4, Letter with inches.")
@click.option(
    "--output",
    "-o",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The PDF to write.",
    metavar="FILE",
)
def command(
    survey: Path,
    faces: tuple[str, ...],
    across: tuple[str, str] | None,
    instrument: str | None,
    paper: str | None,
    output: Path | None,
) -> None:
    """Print-ready sheets for readings on each FACE of SURVEY, as `waylog enter` takes them.

    A FACE may be carriage (a level on it), or FRONT+REAR for a level across, as --across.

    Beside the PDF stands a table (CSV) for each face, with the same rows: filled in with any
    spreadsheet, it is taken back by `waylog import`, once with --direction forward and once reverse.
    """
    from acquire.model.errors import AnalysisError
    from acquire.store import own_folder, survey_bed
    from analysis.draw.sheets import plan_sheet, refuse_existing, write_sheets, write_twin

    bed = survey_bed(survey)
    sheets = [plan_sheet(bed, face, instrument) for face in faces]
    if across is not None:
        sheets.append(plan_sheet(bed, "+".join(dict.fromkeys(across)), instrument, across=True))
    if not sheets:
        raise click.UsageError("Name a FACE, or give --across.")
    names = [
        *faces,
        *(["across", *dict.fromkeys(across)] if across else []),
        *([instrument] if instrument else []),
    ]
    path = output or survey / "sheets" / f"{'-'.join(names)}.pdf"
    if path.suffix.lower() != ".pdf":
        raise AnalysisError(str(path), f"found the ending {path.suffix!r}", ".pdf")
    if output is None:
        own_folder(path.parent)
    twins = [path.with_name(f"{path.stem}{f'-{s.name}' if len(sheets) > 1 else ''}.csv") for s in sheets]
    refuse_existing(twins)
    for sheet, twin in zip(sheets, twins, strict=True):
        write_twin(sheet, twin, bed.is_inch)
    pages = write_sheets(bed, sheets, path, paper or ("Letter" if bed.is_inch else "A4"))
    say(f"sheets: {path} ({pages} page{'s' if pages > 1 else ''})")
    for twin in twins:
        say(f"table: {twin}")
