"""A survey for other programs: one HDF5 file with a group per traverse, or a CSV per traverse."""

import csv
import io
import math
import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from acquire.model.cells import as_cell
from acquire.model.errors import SurveyError, told_as
from acquire.model.traverse import Traverse
from acquire.model.units import MM_PER_INCH
from acquire.store.safe_files import NewFile, write_file
from acquire.store.survey import files_of
from acquire.store.traverse_file.reader import read_traverse
from acquire.store.traverse_file.writer import new_file, write_into

STATION_MM = 0.01
"""As if it were known so well; places are thus written to a hundredth of a micrometre."""
INDEX = "traverses.csv"
ROOM = "a folder with room and leave to write there"
_DESCRIBED = ("face", "front", "rear", "other", "instrument", "quantity", "direction", "reference")


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
    with told_as(SurveyError, path, "cannot be written", ROOM), NewFile(path) as new:
        with new_file(new.path) as file:
            file.attrs["format"] = "waylog survey"
            for number, source in files.items():
                write_into(file.create_group(f"{number:03d}"), read_traverse(source))
        new.put_in_place()
    return len(files)


def export_csv(survey: Path | str, folder: Path | str) -> list[Path]:
    """Write the stations of every traverse as CSV, in a form that `waylog import` takes back.

    `traverses.csv` says what each file is of.

    Raises
    ------
    SurveyError
        If the survey holds no traverse, a file of that name is there already, or it cannot be written.
    """
    folder, written = Path(folder), []
    traverses = {
        source.with_suffix(".csv").name: read_traverse(source, raw=False)
        for source in _files(survey).values()
    }
    texts = {folder / name: stations_as_csv(traverse) for name, traverse in traverses.items()}
    texts[folder / INDEX] = traverses_as_csv(list(traverses.values()), list(traverses))
    _refuse_taken(list(texts))
    with told_as(SurveyError, folder, "cannot be written", ROOM):
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in texts.items():
            write_file(path, text.encode("utf-8"))
            written.append(path)
    return written


def _refuse_taken(paths: list[Path]) -> None:
    for path in paths:
        if os.path.lexists(path):
            raise SurveyError(str(path), "is there already", "a new name, or a new folder")


def stations_as_csv(traverse: Traverse) -> str:
    """One traverse's readings as CSV, units named in the head, which is the first row.

    They are the contract's, or inches and thou where the survey is shown in inches.

    Signs are turned back to what the instrument showed, so that importing the text
    again gives the same readings; a number is rounded to a thousandth of its uncertainty.
    """
    stations = traverse.stations
    text = io.StringIO()
    rows = csv.writer(text)
    head, place_mm, unit = _units_of(traverse)
    rows.writerow([head, f"reading ({unit})", "repeat", "note"])
    notes = stations.note or ("",) * len(stations)
    shown_as = traverse.instrument.as_shown(stations.reading, unit)
    per_unit = abs(traverse.instrument.as_shown(1.0, unit) - traverse.instrument.as_shown(0.0, unit))
    sure = stations.standard_uncertainty * per_unit
    columns = (stations.station_mm, shown_as, sure, stations.repeat, np.array(notes))
    read = list(zip(*(column.tolist() for column in columns), strict=True))
    # in the order of reading: whoever imports it again holds that against --direction
    for station, shown, u, repeat, note in reversed(read) if traverse.setup.direction == "reverse" else read:
        rows.writerow([_place(station, place_mm), _number(shown, u), repeat, as_cell(note)])
    for struck in traverse.corrections:
        if struck.is_struck:  # a gap that says why
            words = f"struck out, read {struck.was}: {struck.because}"
            rows.writerow([_place(struck.station_mm, place_mm), "", struck.repeat, as_cell(words)])
    return text.getvalue()


def _units_of(traverse: Traverse) -> tuple[str, float, str]:
    """Head of the column of places, what their unit is in mm, and the unit of the readings."""
    quantity = traverse.setup.measures
    if not traverse.setup.bed.is_inch:
        return "station_mm", 1.0, traverse.instrument.contract_unit
    unit = "thou" if quantity.is_length else "thou/ft" if quantity.is_angle else quantity.contract_unit
    return "station (in)", MM_PER_INCH, unit


def _place(station_mm: float, unit_mm: float) -> str:
    """A place in its unit, which comes to the same mm again.

    Examples
    --------
    >>> _place(76.2, 25.4), _place(76.2, 1.0)
    ('3.0', '76.2')
    """
    return _number(station_mm / unit_mm, STATION_MM / unit_mm**2)


def traverses_as_csv(traverses: Sequence[Traverse], names: Sequence[str]) -> str:
    """What each exported file is of: a row for each."""
    text = io.StringIO()
    rows = csv.writer(text)
    rows.writerow(["file", "traverse", *_DESCRIBED, "mode", "complete"])
    for traverse, name in zip(traverses, names, strict=True):
        described = [as_cell(getattr(traverse.setup, key) or "") for key in _DESCRIBED]
        rows.writerow([name, traverse.number, *described, traverse.mode, str(traverse.complete).lower()])
    return text.getvalue()


def _number(value: float, uncertainty: float) -> str:
    """A number with the digits that it deserves: rounded by less than a thousandth of its uncertainty.

    Examples
    --------
    >>> _number(-29.999999999999996, 1.0), _number(12.345678, 0.02), _number(0.1 + 0.2, 0.0)
    ('-30.0', '12.34568', '0.3')
    """
    digits = 3 - math.floor(math.log10(uncertainty)) if 0 < uncertainty < math.inf else None
    return repr(float(f"{value:.12g}") if digits is None else round(value, digits) + 0.0)


def _files(survey: Path | str) -> dict[int, Path]:
    files = files_of(survey)
    if not files:
        raise SurveyError(
            str(survey), "holds no traverse", "a survey with one at least", "record or import one"
        )
    return files
