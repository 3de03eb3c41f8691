"""A survey for other programs: one HDF5 file with a group per traverse, or a CSV per traverse."""

import csv
import io
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import h5py

from acquire.model.errors import SurveyError
from acquire.model.traverse import Traverse
from acquire.store.safe_files import NewFile, write_file
from acquire.store.survey import files_of
from acquire.store.traverse_file.reader import read_traverse
from acquire.store.traverse_file.writer import write_into


def export_hdf5(survey: Path | str, path: Path | str) -> int:
    """Copy every traverse of a survey into one HDF5 file, raw bytes included.

    Traverse 3 is the group `/003`, laid out as its own file is; xarray opens
    `group="003/stations"`.  Every file is read and checked before it is copied.

    Returns
    -------
    int
        How many traverses it holds.

    Raises
    ------
    SurveyError
        If the survey holds no traverse, `path` is taken, or it cannot be written.
    TraverseFileError
        If one of its files is damaged: nothing is then written.
    """
    path, files = Path(path), _files(survey)
    _refuse_taken([path])
    with _told(path), NewFile(path) as new:
        with h5py.File(new.path, "w", locking=False) as file:
            file.attrs["format"] = "waylog survey"
            for number, source in files.items():
                write_into(file.create_group(f"{number:03d}"), read_traverse(source))
        new.put_in_place()
    return len(files)


def export_csv(survey: Path | str, folder: Path | str) -> list[Path]:
    """Write the stations of every traverse as CSV, in a form that `waylog import` takes back.

    Raises
    ------
    SurveyError
        If the survey holds no traverse, a file of that name is there already, or it cannot be written.
    """
    folder, written = Path(folder), []
    texts = {
        folder / source.with_suffix(".csv").name: stations_as_csv(read_traverse(source, raw=False))
        for source in _files(survey).values()
    }
    _refuse_taken(list(texts))
    with _told(folder):
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in texts.items():
            write_file(path, text.encode("utf-8"))
            written.append(path)
    return written


def _refuse_taken(paths: list[Path]) -> None:
    for path in paths:
        if os.path.lexists(path):
            raise SurveyError(str(path), "is there already", "a new name, or a new folder")


@contextmanager
def _told(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        words = os.strerror(error.errno) if error.errno else str(error)
        raise SurveyError(
            str(target), f"cannot be written ({words})", "a folder with room and leave to write there"
        ) from error


def stations_as_csv(traverse: Traverse) -> str:
    """One traverse's readings as CSV, contract units named in the head; what it is of as comments.

    Signs are turned back to what the instrument showed, so that importing the text
    again gives the same readings.
    """
    setup, stations = traverse.setup, traverse.stations
    text = io.StringIO()
    about = [f"traverse {setup.number}", setup.subject, setup.instrument, setup.direction]
    about += [f"reference {setup.reference}"] if setup.reference else []
    about += [f"other {setup.other}"] if setup.other else []
    text.write(f"# {', '.join(about)}\r\n")
    rows = csv.writer(text)
    rows.writerow(["station_mm", f"reading ({traverse.instrument.contract_unit})", "repeat", "note"])
    notes = stations.note or ("",) * len(stations)
    shown_as = traverse.instrument.as_shown(stations.reading, traverse.instrument.contract_unit)
    for station, shown, repeat, note in zip(
        stations.station_mm.tolist(), shown_as.tolist(), stations.repeat.tolist(), notes, strict=True
    ):
        rows.writerow([repr(station), repr(shown), repeat, note])
    return text.getvalue()


def _files(survey: Path | str) -> dict[int, Path]:
    files = files_of(survey)
    if not files:
        raise SurveyError(
            str(survey), "holds no traverse", "a survey with one at least", "record or import one"
        )
    return files
