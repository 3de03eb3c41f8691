"""Says whether a file is in use by another waylog: an advisory lock, gone with its process."""

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from acquire.model.plain_files import check_plain
from acquire.model.system import flags, lock, opened_folder


def try_lock(handle: int, *, wait: bool = False) -> bool:
    """Lock an open file until `handle` is closed; False where another process has locked it.

    A file system that knows no locks (some network shares) lets everybody through.
    """
    try:
        lock(handle, wait)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True
    return True


@contextmanager
def locked(path: Path) -> Iterator[bool]:
    """Lock a file meanwhile; yields False where another process has locked it.

    Raises
    ------
    OSError
        If it cannot be opened, or is no plain file.
    """
    check_plain(path)
    handle = os.open(path, flags("O_RDWR", "O_CLOEXEC"))
    try:
        yield try_lock(handle)
    finally:
        os.close(handle)


@contextmanager
def numbers_locked(folder: Path) -> Iterator[None]:
    """Keep other waylogs from choosing a number in `folder` meanwhile.

    The folder itself is locked where the system lets folders be opened; elsewhere the
    exclusive creation of each file is the only guard.
    """
    with opened_folder(folder) as handle:
        if handle is not None:
            try_lock(handle, wait=True)
        yield
