"""Taking a traverse out of its survey: moved aside under its own name, never deleted."""

from pathlib import Path

from acquire.model.errors import SurveyError, told_as
from acquire.store import files_of, own_folder, survey_bed, traverse_folder
from acquire.store.safe_files import locked, move


def withdraw(survey: Path | str, number: int | None = None) -> tuple[Path, Path]:
    """Move a traverse (the last one if no number is given) to `traverses/withdrawn`.

    One that was cut short is only taken by its number: with none, it is not guessed
    whether it or the finished one before it is meant.  Returns where it was and where it is.

    Raises
    ------
    SurveyError
        If there is none, it is still being recorded, or the last one was cut short.
    """
    survey_bed(survey)
    finished, cut_short = files_of(survey), files_of(survey, "journal")
    old = _last(survey, finished, cut_short) if number is None else (finished | cut_short).get(number)
    if old is None:
        what = "traverse" if number is None else f"traverse {number}"
        raise SurveyError(str(survey), f"found no {what}", "one to take out", "see `waylog show`")
    place = own_folder(traverse_folder(survey) / "withdrawn") / old.name
    with (
        told_as(SurveyError, old, "cannot be moved", "a survey that may be written"),
        locked(old) as is_free,
    ):
        if not is_free:
            raise SurveyError(str(old), "is in use by another waylog", "one at rest", "end that first")
        move(old, place)
    return old, place


def _is_under_way(journal: Path) -> bool:
    """Whether another waylog holds it; one that may not be opened is not known to be."""
    try:
        with locked(journal) as is_free:
            return not is_free
    except OSError:
        return False


def _last(survey: Path | str, finished: dict[int, Path], cut_short: dict[int, Path]) -> Path | None:
    last, open_one = max(finished, default=0), max(cut_short, default=0)
    if open_one > last and _is_under_way(cut_short[open_one]):
        raise SurveyError(
            str(cut_short[open_one]), "is being recorded or entered just now", "one at rest", "end that first"
        )
    if open_one > last:
        before = f" after traverse {last}" if last else ""
        raise SurveyError(
            str(survey),
            f"found traverse {open_one} cut short{before}",
            "a finished last traverse",
            f"`waylog mend` finishes it; or say which is meant: --number {open_one}"
            + (f" or --number {last}" if last else ""),
        )
    return finished.get(last)
