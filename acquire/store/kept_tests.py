"""Tests of a few readings, kept in the survey: `tests/001-align-bar.toml`, numbered, never altered."""

from pathlib import Path

from acquire.model.errors import SurveyError
from acquire.model.kept_tests import KeptTest, checked_readings
from acquire.store.numbered import in_order, keep_next, number_of, table_of


def kept_folder(survey: Path | str) -> Path:
    """Where a survey's kept tests are."""
    return Path(survey) / "tests"


def keep_test(survey: Path | str, kept: KeptTest) -> Path:
    """Write a test under the next free number; a file that stands already is never touched."""
    readings = {name: value for name, value in kept.readings.items() if value is not None}
    held = {"test": kept.test, "created_utc": kept.created_utc, "note": kept.note, "readings": readings}
    return keep_next(kept_folder(survey), kept.test.replace(" ", "-"), held)


def read_tests(survey: Path | str) -> tuple[KeptTest, ...]:
    """All tests that were kept, in order of number.

    Raises
    ------
    SurveyError
        Where a file holds something else.
    """
    return tuple(_read(path) for path in in_order(kept_folder(survey)))


def _read(path: Path) -> KeptTest:
    try:
        held = table_of(path)
        words = [held.pop(name) for name in ("test", "created_utc", "note")]
        readings = checked_readings(held.pop("readings"))
        if held or not all(isinstance(word, str) for word in words):
            raise ValueError("more than a test, its time, a note and its readings")
    except (OSError, ValueError, KeyError) as error:
        raise SurveyError(
            str(path), f"found no kept test in it: {error}", "a file as `--keep` writes it", "move it away"
        ) from error
    return KeptTest(words[0], words[1], readings, words[2], number_of(path) or 0)
