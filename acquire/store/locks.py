"""Says whether a file is in use by another waylog: an advisory lock, gone with its process."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from acquire.model.plain_files import check_plain

if sys.platform == "win32":
    import msvcrt

    _FAR_BEYOND_THE_END = 1 << 40

    def _lock(handle: int, wait: bool) -> None:
        os.lseek(handle, _FAR_BEYOND_THE_END, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)

else:
    try:
        import fcntl
    except ImportError:  # a system with neither: as a file system that knows no locks

        def _lock(handle: int, wait: bool) -> None:
            raise OSError("no locks here")

    else:

        def _lock(handle: int, wait: bool) -> None:
            fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))


def try_lock(handle: int, *, wait: bool = False) -> bool:
    """Lock an open file until `handle` is closed; False where another process has locked it.

    A file system that knows no locks (some network shares) lets everybody through.
    """
    try:
        _lock(handle, wait)
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
    handle = os.open(path, os.O_RDWR | getattr(os, "O_CLOEXEC", 0))
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
    if os.name != "posix":
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        try_lock(handle, wait=True)
        yield
    finally:
        os.close(handle)
