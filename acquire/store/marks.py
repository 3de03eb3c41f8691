"""The blue that was seen, kept in the survey: `marks/001-FACE.toml`, numbered as entered, never altered."""

from dataclasses import asdict
from pathlib import Path
from typing import Any

from acquire.model.errors import SurveyError
from acquire.model.marks import SEEN, Mark, Marks
from acquire.store.numbered import in_order, keep_next, table_of


def marks_folder(survey: Path | str) -> Path:
    """Where a survey's marks are."""
    return Path(survey) / "marks"


def keep_marks(survey: Path | str, marks: Marks) -> Path:
    """Write marks under the next free number; a file that stands already is never touched."""
    held = {**asdict(marks), "stretches": [asdict(mark) for mark in marks.stretches]}
    return keep_next(marks_folder(survey), marks.face, held)


def read_marks(survey: Path | str) -> tuple[Marks, ...]:
    """All marks of a survey in order of number.

    Raises
    ------
    SurveyError
        Where a file holds something else.
    """
    return tuple(_read(path) for path in in_order(marks_folder(survey)))


def _read(path: Path) -> Marks:
    try:
        held = table_of(path)
        stretches = tuple(_mark(each) for each in held.pop("stretches"))
        return Marks(**held, stretches=stretches)
    except (OSError, TypeError, KeyError, ValueError) as error:
        raise SurveyError(
            str(path), f"found no marks in it: {error}", "a file as `waylog marks` writes it", "move it away"
        ) from error


def _mark(held: dict[str, Any]) -> Mark:
    mark = Mark(float(held["from_mm"]), float(held["to_mm"]), held["seen"])
    if mark.seen not in SEEN or not mark.from_mm < mark.to_mm:
        raise ValueError(f"{mark.from_mm:g} to {mark.to_mm:g} mm {mark.seen}")
    return mark
