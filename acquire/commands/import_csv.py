"""`waylog import`: the readings of a traverse from a CSV file."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from acquire.commands.talk import is_quiet, say_notes
from acquire.commands.traverse_options import ask_about_run, asked_of, doubt_about_run, traverse_options
from acquire.model.errors import EntryError, told_as
from acquire.model.options import AcrossCommand
from acquire.model.plain_files import open_plain
from acquire.model.saying import say
from acquire.model.system import utc_now
from acquire.model.units import length_text

if TYPE_CHECKING:
    from acquire.model.traverse import Setup
    from acquire.reduce.written.readings import ReadingsTable

PREVIEWED = 3


@click.command(name="import", cls=AcrossCommand)
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("csv_file", metavar="FILE.csv", type=click.Path(path_type=Path))
@click.option("--face", metavar="F", help="The face that was read, or carriage.")
@traverse_options()
@click.option("--unit", metavar="U", help="Unit of the readings, where the file does not say.")
@click.option("--preview", is_flag=True, help="Show what was understood and keep nothing.")
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")
@click.pass_context
def command(
    ctx: click.Context,
    /,
    survey: Path,
    csv_file: Path,
    face: str | None,
    unit: str | None,
    preview: bool,
    as_json: bool,
    **options: Any,
) -> int:
    """Take the readings of one traverse from FILE.csv into SURVEY.

    The file has a header with the columns station_mm and reading (of a level: the station is
    the middle of its base; or from_mm and to_mm for its feet), and repeat and note if wanted.
    Units may stand in the header, as in "reading (thou)". An empty reading is a gap. Commas,
    semicolons or tabs separate; decimal commas are understood. All rows are taken, or none.
    """
    from acquire.entry.doubts import doubt_of_column
    from acquire.record.keeping import keep_readings
    from acquire.record.setup_checks import make_setup, setup_warnings
    from acquire.reduce.written.imported import readings_imported
    from acquire.store import number_of, survey_bed

    asked = {**asked_of(options, face), "unit": unit}
    setup = make_setup(survey_bed(survey), survey, source="import", created_utc=utc_now(), **asked)
    raw = _bytes_of(csv_file)
    table = readings_imported(setup, raw, str(csv_file))
    if (turned := _asked_direction(setup, table)) != setup.direction:
        setup = replace(setup, direction=turned)
        table = readings_imported(setup, raw, str(csv_file))
    if preview or not is_quiet():
        _say_understood(setup, table)
    fine = doubt_of_column(setup.described, table.stations, table.unit or setup.unit)
    table = table if fine is None else replace(table, doubts=(*table.doubts, fine))
    say_notes((*table.doubts, *setup_warnings(setup)), setup.bed.is_inch)
    path = None if preview else keep_readings(survey, setup, raw)
    _answer(setup, table, path, as_json)
    if path is not None:
        ask_about_run(survey, doubt_about_run(ctx, survey, number_of(path)))
    return 0


def _asked_direction(setup: "Setup", table: "ReadingsTable") -> str:
    """The direction; a person whose rows run the other way is asked."""
    if not table.doubts or not sys.stdin.isatty():
        return setup.direction
    gone = {"forward": "reverse", "reverse": "forward"}[setup.direction]
    say(f"? {table.doubts[0]}", err=True)
    sorted_ = "" if gone == "reverse" else " (no: they were sorted by station afterwards)"
    # nobody sorts a table from its far end; many sort it from the near one
    is_gone = click.confirm(f"Was it read {gone}{sorted_}?", default=gone == "reverse", err=True)
    return gone if is_gone else setup.direction


def _bytes_of(csv_file: Path) -> bytes:
    from acquire.reduce.written.cutting import LARGEST_FILE_BYTES

    with told_as(EntryError, csv_file, "cannot be read", "a CSV file"), open_plain(csv_file) as file:
        raw = file.read(LARGEST_FILE_BYTES + 1)
    if len(raw) > LARGEST_FILE_BYTES:
        raise EntryError(
            str(csv_file), f"found more than {LARGEST_FILE_BYTES} bytes", "the readings of one traverse"
        )
    return raw


def _say_understood(setup: "Setup", table: "ReadingsTable") -> None:
    from acquire.entry.doubts import reading_words

    say("understood:", err=True)
    for words in table.understood:
        say(f"  {words}", err=True)
    stations, inch = table.stations, setup.bed.is_inch
    first = zip(stations.station_mm[:PREVIEWED], stations.reading[:PREVIEWED], strict=True)
    shown = ", ".join(
        f"{length_text(mm, inch)}: {reading_words(setup.described, um, inch)}" for mm, um in first
    )
    more = ", ..." if len(stations) > PREVIEWED else ""
    say(f"  {shown}{more}", err=True)
    if table.gap_mm:
        say(f"  {_gap_words(table.gap_mm, inch)}", err=True)


def _gap_words(gap_mm: Sequence[float], inch: bool) -> str:
    shown = ", ".join(length_text(mm, inch) for mm in gap_mm[:8]) + (", ..." if len(gap_mm) > 8 else "")
    return f"{len(gap_mm)} gap{'s' if len(gap_mm) > 1 else ''} at {shown}"


def _answer(setup: "Setup", table: "ReadingsTable", path: Path | None, as_json: bool) -> None:
    import json

    from acquire.store import number_of

    stations = table.stations
    number = None if path is None else number_of(path)
    if as_json:
        answer = {
            "traverse": number,
            "file": None if path is None else str(path),
            "face": setup.face,
            "front": setup.front,
            "rear": setup.rear,
            "instrument": setup.instrument,
            "quantity": setup.quantity,
            "direction": setup.direction,
            "mode": table.mode,
            "readings": len(stations),
            "station_mm": stations.station_mm.tolist(),
            "reading": stations.reading.tolist(),
            "gap_mm": list(table.gap_mm),
            "understood": list(table.understood),
            "doubts": list(table.doubts),
        }
        click.echo(json.dumps(answer, allow_nan=False))
        return
    taken = (
        f"{len(stations)} readings of {setup.subject} by {setup.instrument}, {table.mode}, {setup.direction}"
    )
    span = " to ".join(length_text(mm, setup.bed.is_inch) for mm in stations.station_mm[[0, -1]].tolist())
    kept = f"traverse {number}: {path}" if path is not None else "nothing kept (--preview)"
    say(f"{taken}, {span}\n{kept}")
