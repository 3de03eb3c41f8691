"""What a survey keeps beside its traverses: the blue that was seen, and tests of a few readings.

Each is a small text file, numbered as it was kept (`marks/001-FACE.toml`,
`tests/001-align-bar.toml`); none is ever altered.
"""

import math
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, TypeVar

from acquire.model.errors import SurveyError, told_as
from acquire.model.marks import SEEN, Mark, Marks
from acquire.model.plain_files import open_plain
from acquire.store.safe_files import write_file
from acquire.store.survey import number_of, own_folder

MOST_BYTES = 1 << 20
KeptThing = TypeVar("KeptThing")
LONGEST = 1000
"""Readings under one name, letters of one word."""


def keep_marks(survey: Path | str, marks: Marks) -> Path:
    """Write marks under the next free number; a file that stands already is never touched."""
    held = {**asdict(marks), "stretches": [asdict(mark) for mark in marks.stretches]}
    return _keep_next(Path(survey) / "marks", marks.face, held)


def read_marks(survey: Path | str) -> tuple[Marks, ...]:
    """All marks of a survey in order of number.

    Raises
    ------
    SurveyError
        Where a file holds something else.
    """
    return _read_all(Path(survey) / "marks", _marks_in, ("no marks", "waylog marks"))


def _marks_in(held: dict[str, Any], _path: Path) -> Marks:
    stretches = tuple(_mark(each) for each in held.pop("stretches"))
    return Marks(**held, stretches=stretches)


def _mark(held: dict[str, Any]) -> Mark:
    mark = Mark(float(held["from_mm"]), float(held["to_mm"]), held["seen"])
    if mark.seen not in SEEN or not mark.from_mm < mark.to_mm:
        raise ValueError(f"{mark.from_mm:g} to {mark.to_mm:g} mm {mark.seen}")
    return mark


@dataclass(frozen=True)
class KeptTest:
    """One test as it was read: every reading under a name that tells its unit."""

    test: str
    """As the command line calls it: `align bar`."""
    created_utc: str
    readings: Mapping[str, Any]
    """Numbers, words, or lists of either."""
    note: str = ""
    number: int = 0
    """As kept; 0 before."""


def checked_readings(readings: Any) -> dict[str, Any]:
    """Readings out of a file.

    Raises
    ------
    ValueError
        If a name or a value is none that a test is kept with.

    Examples
    --------
    >>> checked_readings({"top_um": [2, 11.5], "guide": "wall", "is_over": True})
    {'top_um': [2.0, 11.5], 'guide': 'wall', 'is_over': True}
    """
    if not isinstance(readings, Mapping):
        raise ValueError("readings are no table")
    return {str(name): _value(value) for name, value in readings.items()}


def _value(value: Any) -> Any:
    if isinstance(value, list) and len(value) <= LONGEST:
        return [_value(each) for each in value if not isinstance(each, list)]
    if isinstance(value, bool) or (isinstance(value, str) and len(value) <= LONGEST):
        return value
    if isinstance(value, int | float) and math.isfinite(value):
        return float(value)
    raise ValueError(f"{str(value)[:40]!r} is no reading")


def kept_folder(survey: Path | str) -> Path:
    """Where a survey's kept tests are."""
    return Path(survey) / "tests"


def keep_test(survey: Path | str, kept: KeptTest) -> Path:
    """Write a test under the next free number; a file that stands already is never touched."""
    readings = {name: value for name, value in kept.readings.items() if value is not None}
    held = {"test": kept.test, "created_utc": kept.created_utc, "note": kept.note, "readings": readings}
    return _keep_next(kept_folder(survey), kept.test.replace(" ", "-"), held)


def read_tests(survey: Path | str) -> tuple[KeptTest, ...]:
    """All tests that were kept, in order of number.

    Raises
    ------
    SurveyError
        Where a file holds something else.
    """
    return _read_all(kept_folder(survey), _test_in, ("no kept test", "--keep"))


def _test_in(held: dict[str, Any], path: Path) -> KeptTest:
    words = [held.pop(name) for name in ("test", "created_utc", "note")]
    readings = checked_readings(held.pop("readings"))
    if held or not all(isinstance(word, str) for word in words):
        raise ValueError("more than a test, its time, a note and its readings")
    return KeptTest(words[0], words[1], readings, words[2], number_of(path) or 0)


def _keep_next(folder: Path, name: str, held: dict[str, Any]) -> Path:
    """Write a table under the next free number.

    Raises
    ------
    SurveyError
        If it cannot be written.
    """
    import tomlkit

    folder = own_folder(folder)
    number = max((number_of(path) or 0 for path in folder.iterdir()), default=0) + 1
    path = folder / f"{number:03d}-{name}.toml"
    with told_as(SurveyError, path, "cannot be written", "a survey that may be written"):
        write_file(path, tomlkit.dumps(held).encode("utf-8"))
    return path


def _in_order(folder: Path) -> list[Path]:
    """Those that are there, in order of number."""
    paths = folder.glob("*.toml") if folder.is_dir() else ()
    return sorted(filter(number_of, paths), key=lambda path: number_of(path) or 0)


def _read_all(
    folder: Path, made: Callable[[dict[str, Any], Path], KeptThing], words: tuple[str, str]
) -> tuple[KeptThing, ...]:
    """All that a folder keeps; `words` say what was not found in a file, and which command writes it."""
    found = []
    for path in _in_order(folder):
        try:
            found.append(made(_table_of(path), path))
        except (OSError, TypeError, KeyError, ValueError) as error:
            raise SurveyError(
                str(path),
                f"found {words[0]} in it: {error}",
                f"a file as `{words[1]}` writes it",
                "move it away",
            ) from error
    return tuple(found)


def _table_of(path: Path) -> dict[str, Any]:
    """What a file holds.

    Raises
    ------
    OSError, ValueError
        Where it is no plain file, longer than such a file is, or no TOML.
    """
    with open_plain(path) as file:
        text = file.read(MOST_BYTES + 1)
    if len(text) > MOST_BYTES:
        raise ValueError(f"more than {MOST_BYTES} bytes")
    return tomllib.loads(text.decode("utf-8"))
