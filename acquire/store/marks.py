"""The blue that was seen, kept in the survey: `marks/001-FACE.toml`, numbered as entered, never altered."""

import re
import tomllib
from dataclasses import asdict
from pathlib import Path
from typing import Any

from acquire.model.errors import SurveyError
from acquire.model.marks import SEEN, Mark, Marks
from acquire.store.safe_files import write_file
from acquire.store.survey import own_folder

_NAME = re.compile(r"(\d{3,})-.*\.toml")


def marks_folder(survey: Path | str) -> Path:
    """Where a survey's marks are."""
    return Path(survey) / "marks"


def keep_marks(survey: Path | str, marks: Marks) -> Path:
    """Write marks under the next free number; a file that stands already is never touched."""
    import tomlkit

    folder = own_folder(marks_folder(survey))
    number = max((_number(path) or 0 for path in folder.iterdir()), default=0) + 1
    path = folder / f"{number:03d}-{marks.face}.toml"
    text = tomlkit.dumps({**asdict(marks), "stretches": [asdict(mark) for mark in marks.stretches]})
    try:
        write_file(path, text.encode("utf-8"))
    except OSError as error:
        raise SurveyError(
            str(path), f"cannot be written ({error.strerror})", "a survey that may be written"
        ) from error
    return path


def read_marks(survey: Path | str) -> tuple[Marks, ...]:
    """All marks of a survey in order of number.

    Raises
    ------
    SurveyError
        Where a file holds something else.
    """
    folder = marks_folder(survey)
    paths = [path for path in folder.iterdir() if _number(path)] if folder.is_dir() else []
    return tuple(_read(path) for path in sorted(paths, key=lambda path: _number(path) or 0))


def _number(path: Path) -> int | None:
    match = _NAME.fullmatch(path.name)
    return int(match.group(1)) if match else None


def _read(path: Path) -> Marks:
    try:
        held = tomllib.loads(path.read_text(encoding="utf-8"))
        stretches = tuple(_mark(each) for each in held.pop("stretches"))
        return Marks(**held, stretches=stretches)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError, TypeError, KeyError, ValueError) as error:
        raise SurveyError(
            str(path), f"found no marks in it: {error}", "a file as `waylog marks` writes it", "move it away"
        ) from error


def _mark(held: dict[str, Any]) -> Mark:
    mark = Mark(float(held["from_mm"]), float(held["to_mm"]), held["seen"])
    if mark.seen not in SEEN or not mark.from_mm < mark.to_mm:
        raise ValueError(f"{mark.from_mm:g} to {mark.to_mm:g} mm {mark.seen}")
    return mark
