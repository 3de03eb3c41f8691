"""`waylog export`: a survey for other programs."""

from pathlib import Path

import click

from acquire.model.saying import say


@click.command("export")
@click.argument("survey", type=click.Path(path_type=Path))
@click.argument("target", type=click.Path(path_type=Path))
def command(survey: Path, target: Path) -> None:
    """Write SURVEY for other programs: into one HDF5 file (TARGET ends in .h5), else CSV into a folder.

    The CSV files hold the readings at their stations and can be imported again; the HDF5 file holds
    everything, a group for each traverse.
    """
    from acquire.store import survey_bed
    from acquire.store.exporting import export_csv, export_hdf5

    survey_bed(survey)
    if target.suffix in (".h5", ".hdf5"):
        say(f"{export_hdf5(survey, target)} traverses in {target}")
    else:
        for path in export_csv(survey, target):
            say(str(path))
