"""Files put in place so that a crash leaves the old, the new, or both: never half of one.

Everything that waylog writes is first written beside its place, under a name of its own that
nobody can have planted there as a link, synced, and only then given its name; what stood there
before is gone only if that was meant.  Whether a file is in use by another waylog an advisory lock
says, which is gone with its process.
"""

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Self

from acquire.model.errors import SurveyError
from acquire.model.plain_files import check_plain
from acquire.model.system import flags, lock, opened_folder, sync_folder


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


_FLAGS = flags("O_RDWR", "O_APPEND", "O_CREAT", "O_EXCL", "O_NOFOLLOW", "O_CLOEXEC", "O_BINARY")
_TEMPORARY = re.compile(r"\.waylog-[0-9a-f]{16}\.tmp")


class NewFile:
    """A file of our own beside its place, held against other waylogs; a context manager.

    Parameters
    ----------
    place : Path
        What it is to be called in the end.

    Raises
    ------
    OSError
        If none can be created there.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     with NewFile(Path(folder) / "notes") as new:
    ...         new.write(b"all of it")
    ...         new.put_in_place()
    ...     (Path(folder) / "notes").read_bytes(), len(list(Path(folder).iterdir()))
    (b'all of it', 1)
    """

    def __init__(self, place: Path):
        self.place = place
        self.path = place.with_name(f".waylog-{os.urandom(8).hex()}.tmp")
        """Where it is meanwhile."""
        self.handle = os.open(self.path, _FLAGS, 0o666)
        self._is_in_place = self._is_let_go = False
        try_lock(self.handle)

    def write(self, data: bytes) -> None:
        """Append all of `data`."""
        rest = memoryview(data)
        while rest:
            rest = rest[os.write(self.handle, rest) :]

    def put_in_place(self, *, replace: bool = False) -> None:
        """Have it on the disk, then under its name, then the name on the disk.

        Raises
        ------
        SurveyError
            If there is a file of that name and `replace` is false, or somebody exchanged the
            file meanwhile.
        """
        os.fsync(self.handle)
        if not os.path.samestat(os.fstat(self.handle), os.lstat(self.path)):
            raise SurveyError(str(self.path), "was exchanged by somebody meanwhile", "a folder of your own")
        if replace:
            self.path.replace(self.place)
        else:
            _link_new(self.path, self.place)
        self._is_in_place = True
        sync_folder(self.place.parent)

    def let_go(self) -> int:
        """The open, held handle, which is the caller's to close from now on."""
        self._is_let_go = True
        return self.handle

    def close(self) -> None:
        """Close it; one that was not put in place is gone then."""
        if not self._is_in_place:
            self.path.unlink(missing_ok=True)
        if not self._is_let_go:
            self._is_let_go = True
            os.close(self.handle)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


def write_file(place: Path, data: bytes) -> None:
    """Put a file of these bytes in place.

    Raises
    ------
    OSError
        If it cannot be written.
    SurveyError
        If there is a file of that name.
    """
    with NewFile(place) as new:
        new.write(data)
        new.put_in_place()


def move(old: Path, place: Path) -> None:
    """Give a file another name, in another folder perhaps; an existing one is never replaced.

    Raises
    ------
    SurveyError
        If there is a file of that name; the old one is then as it was.
    """
    _link_new(old, place)
    sync_folder(place.parent)
    sync_folder(old.parent)


def leftovers(folder: Path) -> Iterator[Path]:
    """Remove the files of our own that nobody writes any more; gives each that is gone."""
    for path in sorted(folder.iterdir()) if folder.is_dir() else []:
        if _TEMPORARY.fullmatch(path.name) and _removed_unless_held(path):
            yield path


def _removed_unless_held(path: Path) -> bool:
    try:
        with locked(path) as is_free:
            if is_free:
                path.unlink(missing_ok=True)
            return is_free
    except OSError:
        return False


def _link_new(written: Path, place: Path) -> None:
    taken = SurveyError(str(place), "found a file of that name already", "a free name", "move it away first")
    try:
        os.link(written, place)
    except FileExistsError:
        raise taken from None
    except OSError:  # a file system without hard links: a moment between look and rename remains
        if os.path.lexists(place):
            raise taken from None
        written.rename(place)
    else:
        written.unlink(missing_ok=True)
