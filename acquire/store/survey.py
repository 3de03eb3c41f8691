"""A survey is a folder: names, numbers and places of its traverses."""

import os
import re
from pathlib import Path

from acquire.model.bed import Bed
from acquire.model.bed_toml.reading import read_bed
from acquire.model.errors import SurveyError
from acquire.model.traverse import Setup

_NAME = re.compile(r"(\d{3,})-[^/]*\.(h5|journal|toml)")


def traverse_folder(survey: Path | str) -> Path:
    """Where the survey's traverses are."""
    return Path(survey) / "traverses"


def own_folder(folder: Path) -> Path:
    """A folder within a survey to write in, made where it is missing.

    Raises
    ------
    SurveyError
        If a link or something else stands there: what is written would land outside the
        survey; or if it cannot be made.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        if not os.path.lexists(folder) or folder.is_dir():
            raise SurveyError(
                str(folder), f"cannot be made ({error.strerror})", "a survey that may be written"
            ) from error
    if folder.is_symlink() or not folder.is_dir():
        raise SurveyError(
            str(folder), "found a link or a file", "a folder of the survey's own", "move it away"
        )
    return folder


def survey_bed(survey: Path | str) -> Bed:
    """The survey's bed, or a plain refusal where the folder is none."""
    survey = Path(survey)
    if not survey.is_dir():
        raise SurveyError(
            str(survey), "found no such folder", "a survey", f"make one with `waylog start {survey}`"
        )
    return read_bed(survey / "bed.toml")


def number_of(path: Path) -> int | None:
    """The number in the name of what a survey keeps: a traverse, a journal, marks; None where it has none.

    Examples
    --------
    >>> number_of(Path("007-front-vee-level.h5")), number_of(Path("notes.txt"))
    (7, None)
    """
    match = _NAME.fullmatch(path.name)
    return int(match.group(1)) if match else None


def files_of(survey: Path | str, ending: str = "h5") -> dict[int, Path]:
    """The survey's traverse files (or journals) by number, in order."""
    folder = traverse_folder(survey)
    found: dict[int, Path] = {}
    for path in sorted(folder.glob(f"*.{ending}")) if folder.is_dir() else []:
        number = number_of(path)
        if number is None:
            continue
        if not path.is_file():
            raise SurveyError(str(path), "is no plain file", "a traverse's file", "move it away")
        if number in found:
            raise SurveyError(
                str(path), f"found number {number} twice ({found[number].name})", "each number once"
            )
        found[number] = path
    return dict(sorted(found.items()))


def next_number(survey: Path | str) -> int:
    """The lowest number above all that were ever used, withdrawn and superseded ones included."""
    folder = traverse_folder(survey)
    places = (folder, folder / "superseded", folder / "withdrawn")
    used = [number_of(path) or 0 for place in places if place.is_dir() for path in place.iterdir()]
    return max(used, default=0) + 1


def file_name(setup: Setup, ending: str = "h5") -> str:
    """Name of a traverse's file: its number, what it was measured on, and with what.

    Examples
    --------
    >>> file_name(Setup("level", "slope", "", number=3, face="front-vee"))
    '003-front-vee-level.h5'

    A colon is no part of a file's name on every system:

    >>> file_name(Setup("dial", "offset", "", number=4, face="straightedge:two-foot"))
    '004-straightedge-two-foot-dial.h5'
    """
    where = (setup.face or f"{setup.front}-{setup.rear}").replace(":", "-")
    return f"{setup.number:03d}-{where}-{setup.instrument}.{ending}"
