"""What one operating system has and another lacks, all in one place: locks, terminals, flags, limits,
and what time it is.

Everybody else asks here, so that the program starts, reads and writes where a part is missing:
no lock then holds anybody back, no line is held, nothing is bounded. (A library of file locks was
weighed: it opens what it locks by its path, so that a link planted in a survey would be followed.)
"""

import errno
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

LACKING = ("fcntl", "termios", "tty", "pty", "resource")
"""Modules of POSIX systems alone: nobody but this file imports them (the invented bench has its own)."""

IS_POSIX = os.name == "posix"
HAS_TERMINAL_LINES = IS_POSIX and sys.platform != "win32"


def flags(*names: str) -> int:
    """Flags of `os.open` together, each where the system knows it.

    Examples
    --------
    >>> flags("O_RDONLY", "O_NO_SUCH_FLAG") == os.O_RDONLY
    True
    """
    found = 0
    for name in names:
        found |= getattr(os, name, 0)
    return found


if sys.platform == "win32":
    import msvcrt

    _FAR_BEYOND_THE_END = 1 << 40

    def lock(handle: int, wait: bool) -> None:
        """Lock an open file until it is closed; an `OSError` where that cannot be."""
        os.lseek(handle, _FAR_BEYOND_THE_END, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_LOCK if wait else msvcrt.LK_NBLCK, 1)

else:

    def lock(handle: int, wait: bool) -> None:
        """Lock an open file until it is closed; an `OSError` where that cannot be."""
        try:
            import fcntl
        except ImportError:
            raise OSError(errno.ENOSYS, "no locks here") from None
        fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))


def terminal_faults() -> tuple[type[BaseException], ...]:
    """What calls on a terminal line raise beside `OSError`: none where there are no such lines."""
    try:
        import termios
    except ImportError:
        return ()
    return (termios.error,)


def close_to_others(descriptor: int) -> None:
    """Keep other programs from opening a terminal line meanwhile."""
    if HAS_TERMINAL_LINES:
        import fcntl
        import termios

        fcntl.ioctl(descriptor, termios.TIOCEXCL)


def hold_lines_at_closing(descriptor: int) -> None:
    """Leave DTR and RTS of a terminal line as they are when it is closed."""
    if HAS_TERMINAL_LINES:
        import termios

        settings = termios.tcgetattr(descriptor)
        settings[2] &= ~termios.HUPCL
        termios.tcsetattr(descriptor, termios.TCSANOW, settings)


_TIOCGICOUNT = 0x545D


def line_counters(descriptor: int) -> tuple[int, ...]:
    """What the driver of a serial line counted: frames, overruns, parity, breaks, overruns of its buffer.

    Empty where there are no such lines; an `OSError` where this one keeps no count.
    """
    if not HAS_TERMINAL_LINES:
        return ()
    import fcntl

    return tuple(memoryview(fcntl.ioctl(descriptor, _TIOCGICOUNT, bytes(80))).cast("i")[6:11])


@contextmanager
def single_characters(handle: int, keeps_waiting: bool) -> Iterator[None]:
    """Have a terminal give each character as it is typed, without echo; it is put back as it was.

    What was typed before is kept or dropped.
    """
    import termios
    import tty

    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle, termios.TCSADRAIN if keeps_waiting else termios.TCSAFLUSH)
        yield
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def console_of_windows() -> Any:
    """The module that reads keys of a Windows console."""
    import importlib

    return importlib.import_module("msvcrt")


def utc_now() -> str:
    """The wall clock as files keep it, for people; no reading's time comes from it."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def sync_folder(folder: "os.PathLike[str]") -> None:
    """Have the names in a folder on the disk, where the system lets folders be opened."""
    with opened_folder(folder) as handle:
        if handle is not None:
            os.fsync(handle)


@contextmanager
def opened_folder(folder: "os.PathLike[str]") -> Iterator[int | None]:
    """A folder's handle; None where the system lets no folder be opened."""
    if not IS_POSIX:
        yield None
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        yield handle
    finally:
        os.close(handle)


@contextmanager
def bounded_address_space(bound: Callable[[int], int]) -> Iterator[None]:
    """Let this process take so much address space and no more; `bound` is told what it has by now.

    On Linux alone; elsewhere nothing is bounded. A lower bound that holds already stays.
    """
    in_use = _in_use_bytes()
    if in_use is None:
        yield
        return
    import resource

    soft, hard = resource.getrlimit(resource.RLIMIT_AS)
    most = bound(in_use)
    if soft != resource.RLIM_INFINITY and soft <= most:
        yield
        return
    resource.setrlimit(resource.RLIMIT_AS, (most, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_AS, (soft, hard))


def _in_use_bytes() -> int | None:
    """How much address space the process has now; None where the system does not tell."""
    try:
        with open("/proc/self/statm", encoding="ascii") as file:  # noqa: PTH123
            pages = int(file.read().split()[0])
    except (OSError, ValueError, IndexError):
        return None
    return pages * os.sysconf("SC_PAGE_SIZE")
