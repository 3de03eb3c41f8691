"""Keys of a terminal, one at a time and without Enter; nothing is read where there is no terminal."""

import os
import select
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from acquire.model.position import Position


def key_words(position: Position) -> tuple[str, ...]:
    """The keys that mean something where the place comes from there, and their meaning.

    Examples
    --------
    >>> key_words(Position("scale", "dro"))
    ('Enter: a mark', 'g: do not end by itself', 'q: end and keep')
    """
    if position.is_stations:
        return (
            "Enter: it stands at the station", "b: back one", "s: skip one", "x: that was no station",
            "q: end and keep",
        )  # fmt: skip
    if position.is_feed:
        return ("Enter: the feed starts, then stops", "q: end and keep")
    return ("Enter: a mark", "g: do not end by itself", "q: end and keep")


@contextmanager
def keys() -> Iterator[Callable[[float], str]]:
    """Gives a function that waits up to so many seconds for a key ("" for none).

    The terminal is put back as it was.  The end of input is no key.
    """
    if sys.stdin is None or not sys.stdin.isatty():
        yield _no_key
        return
    if sys.platform == "win32":
        yield _windows_key
        return
    import termios
    import tty

    handle = sys.stdin.fileno()
    before = termios.tcgetattr(handle)
    try:
        tty.setcbreak(handle)
        yield lambda wait_s: _posix_key(handle, wait_s)
    finally:
        termios.tcsetattr(handle, termios.TCSADRAIN, before)


def _no_key(wait_s: float) -> str:
    select.select([], [], [], wait_s) if sys.platform != "win32" else _pause(wait_s)
    return ""


def _pause(wait_s: float) -> None:
    import threading

    threading.Event().wait(wait_s)


def _posix_key(handle: int, wait_s: float) -> str:
    if not select.select([handle], [], [], wait_s)[0]:
        return ""
    try:
        pressed = os.read(handle, 1).decode("ascii", "replace")
    except OSError:
        pressed = ""
    if pressed == "":  # the end of input stays readable for ever
        _no_key(wait_s)
    return {"\n": "\r", " ": "\r"}.get(pressed, pressed.lower())


def _windows_key(wait_s: float) -> str:
    import importlib
    import time

    console = importlib.import_module("msvcrt")
    until_s = time.monotonic() + wait_s
    while time.monotonic() < until_s:
        if console.kbhit():
            pressed = console.getwch()
            return {"\n": "\r", " ": "\r"}.get(pressed, pressed.lower())
        _pause(0.02)
    return ""
