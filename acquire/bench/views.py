"""Where what is watched is shown: a page on a terminal, or one plain line after another."""

from collections.abc import Callable, Sequence
from typing import Protocol

from rich.text import Text

from acquire.bench.listening import Seen
from acquire.bench.words import blocks_page, plain_line
from acquire.entry.live_page import LivePage
from acquire.model.inch_words import in_owners_unit

PAINT_EVERY_S = 0.1
PLAIN_EVERY_S = 1.0


class View(Protocol):
    """Shows instruments and says things."""

    def paint(self, seen: Sequence[Seen], now_s: float, heading: Sequence[str]) -> None:
        """Show everything as it is now, as often as the view thinks fit."""

    def say(self, words: str) -> None:
        """Say one thing that stays."""

    def bell(self) -> None:
        """Make a sound, where there is one."""


class PlainView:
    """One line a second for each instrument; what is said goes the same way as it comes.

    Parameters
    ----------
    write : callable
        Takes one line of readings.
    tell : callable
        Takes one line of talk.
    every_s : float, optional
        How often the readings are written.
    inch : bool, optional
        What readings mean, and what is said, in thou and inches.
    """

    def __init__(
        self,
        write: Callable[[str], None],
        tell: Callable[[str], None],
        every_s: float = PLAIN_EVERY_S,
        inch: bool = False,
    ):
        self._write, self._tell, self._every_s, self._inch = write, tell, every_s, inch
        self._due_s = every_s

    def paint(self, seen: Sequence[Seen], now_s: float, heading: Sequence[str]) -> None:
        """Write a line for each instrument where one is due."""
        if now_s < self._due_s:
            return
        self._due_s = max(self._due_s + self._every_s, now_s)
        for each in seen:
            self._write(plain_line(each, now_s, self._inch))

    def say(self, words: str) -> None:
        """Say it."""
        self._tell(in_owners_unit(words, self._inch))

    def bell(self) -> None:
        """None: nobody is there."""


class PageView(LivePage):
    """One page on a terminal, redrawn in place; a context manager."""

    def __init__(self, foot: str, inch: bool = False):
        super().__init__()
        self._foot, self._inch = Text(foot, "reverse"), inch
        self._painted_s = float("-inf")

    def paint(self, seen: Sequence[Seen], now_s: float, heading: Sequence[str]) -> None:
        """Redraw ten times a second at most."""
        if now_s - self._painted_s < PAINT_EVERY_S:
            return
        self._painted_s = now_s
        blocks = blocks_page(seen, self.console, self.console.height - len(heading) - 2, self._inch)
        self.draw(*(Text(words, "bold") for words in heading), blocks, self._foot)

    def say(self, words: str) -> None:
        """Say it above the page, in the owner's unit."""
        super().say(in_owners_unit(words, self._inch))
