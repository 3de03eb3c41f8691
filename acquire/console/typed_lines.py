"""Lines typed at a terminal, each with how it came; they end with Enter or with Tab."""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from acquire.console.keys import AHEAD, BACK, END, NO_KEY, Characters, characters
from acquire.entry.typed_by import AT_ONCE_S, GOES_ON_S, Typed

LONGEST_LINE = 200
LOOK_S = 3600.0
_ENDS = ("\n", "\r", "\t", AHEAD)
_ERASE, _CLEAR = ("\x7f", "\b"), "\x15"


class LineReader:
    """Puts characters together to lines, with the little editing that a line needs.

    Whether a burst goes on is looked for as its line ends, before anybody works on it: a card that takes
    half a second to write would make the next line of a paste a second press of the key.

    Parameters
    ----------
    character : callable
        Waits for one character or key.
    echo : callable
        Shows what is typed.
    clock : callable
        Seconds; any origin.
    """

    def __init__(self, character: Characters, echo: Callable[[str], None], clock: Callable[[], float]):
        self._character, self._echo, self._clock = character, echo, clock
        self._ended_s = float("-inf")
        self._ahead = ""
        """The first character of the line that the burst went on with."""

    def line(self) -> Typed | None:
        """The next line; None at the end of input."""
        text, began_s = "", None
        if self._ahead:
            self._ended_s = self._clock()  # what the line before was worked on for does not count
        while True:
            pressed, self._ahead = self._ahead or self._character(LOOK_S), ""
            now_s = self._clock()
            if pressed == END:
                self._echo("\n")
                return None
            if pressed in ("", NO_KEY) or (pressed == BACK and text):
                continue
            if pressed == BACK:
                return self._ended("b", now_s, now_s)
            if pressed in _ENDS:
                return self._ended(text, now_s if began_s is None else began_s, now_s)
            began_s = now_s if began_s is None else began_s
            text = self._edited(text, pressed)

    def _edited(self, text: str, pressed: str) -> str:
        if pressed in _ERASE and text:
            self._echo("\b \b")
            return text[:-1]
        if pressed == _CLEAR:
            self._echo("\b \b" * len(text))
            return ""
        if not pressed.isprintable() or len(text) >= LONGEST_LINE:
            return text
        self._echo(pressed)
        return text + pressed

    def _ended(self, text: str, began_s: float, now_s: float) -> Typed:
        self._echo("\n")
        after_s, self._ended_s = began_s - self._ended_s, now_s
        holds_number = any(each.isdigit() for each in text)  # `b` typed before it was asked for is no reading
        is_burst = holds_number and now_s - began_s <= AT_ONCE_S * len(text)
        self._ahead = self._next_at_once() if is_burst else ""
        return Typed(text, is_burst, after_s)

    def _next_at_once(self) -> str:
        """The character that the burst goes on with; an interruption ends what comes after the line."""
        try:
            return self._character(GOES_ON_S)
        except KeyboardInterrupt:
            return END


@contextmanager
def typed_lines() -> Iterator[Callable[[], Typed | None]]:
    """Gives what reads the next line from the terminal; None at the end of input or where interrupted."""
    with characters(keeps_waiting=True) as character:
        reader = LineReader(character, _echo, time.monotonic)

        def next_line() -> Typed | None:
            try:
                return reader.line()
            except KeyboardInterrupt:
                _echo("\n")
                return None

        yield next_line


def _echo(text: str) -> None:
    """On the terminal, where the prompts are; nowhere else."""
    if sys.stderr.isatty():
        sys.stderr.write(text)
        sys.stderr.flush()
