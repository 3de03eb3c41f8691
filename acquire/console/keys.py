"""Keys of a terminal, one at a time and without Enter; nothing is read where there is no terminal.

A foot switch types Enter or a space, a presenter's remote Page Down and Page Up or arrows: the key
that leads on is Enter here, the one that leads back is `b`.
"""

import codecs
import os
import select
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from acquire.model.position import Position
from acquire.model.system import console_of_windows, single_characters

END = "end of input"
"""What `characters` gives for ever once the terminal has gone, or Ctrl-D was typed."""
AHEAD, BACK, NO_KEY = "ahead", "back", "no key"
"""Keys of several bytes by what they are for; the others are no key."""
ESCAPE_S = 0.05
"""Within so long the bytes of one key follow each other."""
_ESCAPES = {
    "[6~": AHEAD, "[C": AHEAD, "OC": AHEAD, "[B": AHEAD, "OB": AHEAD,
    "[5~": BACK, "[D": BACK, "OD": BACK, "[A": BACK, "OA": BACK,
}  # fmt: skip
"""Page Down and Up, and the arrows, as terminals after ECMA-48 send them."""
_NO_MORE = (b"", b"\x04", b"\x00")
"""The terminal has gone; Ctrl-D; and a Ctrl-D that was typed before single characters were read."""
_WINDOWS = {"\x51": AHEAD, "\x4d": AHEAD, "\x50": AHEAD, "\x49": BACK, "\x4b": BACK, "\x48": BACK}
"""The second part of the same keys in a Windows console."""

Characters = Callable[[float], str]
"""Waits up to so many seconds for one character or key ("" for none)."""


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
    with characters() as character:
        yield lambda wait_s: _key(character, wait_s)


def _key(character: Characters, wait_s: float) -> str:
    pressed = character(wait_s)
    if pressed == END:  # it stays so for ever
        _pause(wait_s)
    meant = {"\n": "\r", " ": "\r", AHEAD: "\r", BACK: "b", NO_KEY: "", END: ""}
    return meant.get(pressed, pressed.lower())


@contextmanager
def characters(keeps_waiting: bool = False) -> Iterator[Characters]:
    """Gives what reads single characters and keys as they are pressed, without echo.

    The terminal is put back as it was.  Without one, nothing is ever read.  What was typed before
    is kept or dropped.
    """
    if sys.stdin is None or not sys.stdin.isatty():
        yield _nothing
        return
    if sys.platform == "win32":
        yield _windows_character
        return
    handle = sys.stdin.fileno()
    decoder = codecs.getincrementaldecoder("utf-8")("replace")
    with single_characters(handle, keeps_waiting):
        yield lambda wait_s: _posix_character(handle, decoder, wait_s)


def _nothing(wait_s: float) -> str:
    select.select([], [], [], wait_s) if sys.platform != "win32" else _pause(wait_s)
    return ""


def _pause(wait_s: float) -> None:
    threading.Event().wait(wait_s)


def _posix_character(handle: int, decoder: codecs.IncrementalDecoder, wait_s: float) -> str:
    text = ""
    while not text:  # a sign outside ASCII has several bytes
        if not select.select([handle], [], [], wait_s)[0]:
            return ""
        byte = _byte(handle)
        if byte in _NO_MORE:
            return END
        if byte == b"\x1b":
            return _ESCAPES.get(_escape(handle), NO_KEY)
        text = decoder.decode(byte)
    return text


def _byte(handle: int) -> bytes:
    try:
        return os.read(handle, 1)
    except OSError:
        return b""


def _escape(handle: int) -> str:
    """What follows an Escape at once: the rest of one key."""
    found = ""
    while len(found) < 8 and select.select([handle], [], [], ESCAPE_S)[0]:
        found += _byte(handle).decode("ascii", "replace")
        if not found or (len(found) > 1 and "@" <= found[-1] <= "~"):
            break
    return found


def _windows_character(wait_s: float) -> str:
    console = console_of_windows()
    until_s = time.monotonic() + wait_s
    while True:
        if console.kbhit():
            pressed = str(console.getwch())
            if pressed in ("\x00", "\xe0"):
                return _WINDOWS.get(str(console.getwch()), NO_KEY)
            return END if pressed in ("\x04", "\x1a") else pressed
        if time.monotonic() >= until_s:
            return ""
        _pause(0.005)
