"""Taking a traverse out of its survey: moved aside under its own name, never deleted."""

from pathlib import Path

from acquire.errors import SurveyError
from acquire.traverse_file import files_of, survey_bed, traverse_folder
from acquire.traverse_file.places import put_in_place


def withdraw(survey: Path | str, number: int | None = None) -> tuple[Path, Path]:
    """Move a traverse file (the last one if no number is given) to `traverses/withdrawn`.

    Returns where it was and where it is.

    Raises
    ------
    SurveyError
        If there is none, or a recording is still under way after it.
    """
    survey_bed(survey)
    found = files_of(survey)
    if not found or (number is not None and number not in found):
        what = f"traverse {number}" if number is not None else "a traverse"
        raise SurveyError(
            str(survey),
            f"found no {what[2:] if number is None else what}",
            "one to take out",
            "see `waylog show`",
        )
    chosen = max(found) if number is None else number
    _refuse_under_way(survey, chosen, number)
    old = found[chosen]
    folder = traverse_folder(survey) / "withdrawn"
    folder.mkdir(exist_ok=True)
    put_in_place(old, folder / old.name)
    return old, folder / old.name


def _refuse_under_way(survey: Path | str, chosen: int, asked: int | None) -> None:
    """With no number said, the last thing done may be a recording cut short: then it is not guessed."""
    unfinished = [n for n in files_of(survey, "journal") if n > chosen]
    if asked is None and unfinished:
        raise SurveyError(
            str(survey),
            f"found traverse {unfinished[-1]} unfinished after traverse {chosen}",
            "a finished last traverse",
            f"run `waylog mend`, or say which: --number {chosen}",
        )
