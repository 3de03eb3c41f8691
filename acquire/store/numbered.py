"""Small text files of a survey, numbered as they are kept: `001-NAME.toml`; none is ever altered."""

import re
import tomllib
from pathlib import Path
from typing import Any

from acquire.model.errors import SurveyError
from acquire.model.plain_files import open_plain
from acquire.store.safe_files import write_file
from acquire.store.survey import own_folder

MOST_BYTES = 1 << 20
_NAME = re.compile(r"(\d{3,})-.*\.toml")


def keep_next(folder: Path, name: str, held: dict[str, Any]) -> Path:
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
    try:
        write_file(path, tomlkit.dumps(held).encode("utf-8"))
    except OSError as error:
        raise SurveyError(
            str(path), f"cannot be written ({error.strerror})", "a survey that may be written"
        ) from error
    return path


def in_order(folder: Path) -> list[Path]:
    """Those that are there, in order of number."""
    paths = [path for path in folder.iterdir() if number_of(path)] if folder.is_dir() else []
    return sorted(paths, key=lambda path: number_of(path) or 0)


def table_of(path: Path) -> dict[str, Any]:
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


def number_of(path: Path) -> int | None:
    """The number of a file, None where it has no such name."""
    match = _NAME.fullmatch(path.name)
    return int(match.group(1)) if match else None
