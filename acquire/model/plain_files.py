"""Files opened for reading where anything may stand under a name: a queue, a device, a folder."""

import errno
import os
import stat
from pathlib import Path
from typing import BinaryIO

from acquire.model.system import flags


def open_plain(path: Path | str) -> BinaryIO:
    """Open a file for reading its bytes; links are followed.

    Raises
    ------
    OSError
        If it cannot be opened, or is a folder, a queue (FIFO), a socket or a device: these are
        never waited for.

    Examples
    --------
    >>> open_plain("/dev/null")
    Traceback (most recent call last):
    OSError: [Errno 22] is no plain file: '/dev/null'
    """
    check_plain(path)
    handle = os.open(path, flags("O_RDONLY", "O_NONBLOCK", "O_CLOEXEC", "O_BINARY", "O_NOCTTY"))
    try:
        _check(os.fstat(handle), path)
        return os.fdopen(handle, "rb")
    except BaseException:
        os.close(handle)
        raise


def check_plain(path: Path | str) -> None:
    """Refuse what is no plain file, without opening it.

    Raises
    ------
    OSError
        As `open_plain`.
    """
    _check(os.stat(path), path)  # noqa: PTH116


def _check(found: os.stat_result, path: Path | str) -> None:
    if not stat.S_ISREG(found.st_mode):
        raise OSError(errno.EINVAL, "is no plain file", str(path))
