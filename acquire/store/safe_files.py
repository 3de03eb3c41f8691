"""Files put in place so that a crash leaves the old, the new, or both: never half of one."""

import os
from pathlib import Path

from acquire.model.errors import SurveyError


def beside(path: Path, ending: str = ".tmp") -> Path:
    """Where a file is written before it is put in place."""
    return path.with_name(path.name + ending)


def sync_file(path: Path) -> None:
    """Have the file's bytes on the disk before going on."""
    with path.open("r+b") as file:
        os.fsync(file.fileno())


def sync_folder(folder: Path) -> None:
    """Have the folder's names on the disk, where the system lets folders be opened."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def put_in_place(written: Path, path: Path, *, replace: bool = False) -> None:
    """Give `written` its final name; an existing file is only replaced where `replace` says so.

    Raises
    ------
    SurveyError
        If `path` is taken and `replace` is false; `written` is then left as it is.
    """
    if replace:
        written.replace(path)
    else:
        _link_new(written, path)
        written.unlink(missing_ok=True)
    sync_folder(path.parent)


def _link_new(written: Path, path: Path) -> None:
    taken = SurveyError(str(path), "found a file of that name already", "a free name", "move it away first")
    try:
        os.link(written, path)
    except FileExistsError:
        raise taken from None
    except OSError:  # a file system without hard links: a moment between look and rename remains
        if path.exists():
            raise taken from None
        written.rename(path)
