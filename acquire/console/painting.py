"""One page of the live screen as lines of text, for wide and narrow terminals, with and without colour."""

from collections.abc import Sequence

from rich.text import Text

from acquire.console.keys import key_words
from acquire.console.live_words import (
    counts,
    feeding,
    heading,
    next_words,
    reading_now,
    still_words,
    taken_words,
    where_now,
)
from acquire.console.tracking import Live
from acquire.entry.live_page import LivePage
from acquire.entry.terminal_text import large, on_lines
from acquire.model.saying import folded
from acquire.model.traverse import Setup

Line = tuple[str, str]
"""Text and its style."""
FEWEST_DRAWN = 4
OLD_S = 2.0
"""A reading older than this is said to be."""
ROWS_FOR_ONE, ROWS_FOR_TWO = 15, 22
"""Terminals of so many rows have room for one number, or two, in large characters."""


def page(
    live: Live,
    setup: Setup,
    columns: int,
    profile: Sequence[str] = (),
    status: str = "",
    rows: int = 24,
) -> list[Line]:
    """Lines of the page, each with its style; styles only repeat what the words say.

    From the top: what goes wrong, what it reads and where it is or must go (large), the way
    to the next station, how still it stands, what was taken, the profile as far as there is
    room, what each instrument sent, the keys.
    """
    top = _top(live, setup, columns, rows)
    middle = _progress(live, setup, columns)
    foot = [(words, "bold") for words in _ending(live, status)]
    keys = [(words, "reverse") for words in on_lines(key_words(setup.placed_by), columns)]
    parts = [_folded(part, columns) for part in (top, middle, foot, keys)]
    sent = counts(live)
    if sum(map(len, parts)) + len(sent) >= rows:
        sent = [words for words in sent if "not good" in words]
        parts[0] = [line for line in parts[0] if line[0]]  # without the empty lines
    left = rows - 1 - sum(map(len, parts))
    drawn = _as_room_allows(profile, left - len(sent))
    plain = [(words, "") for words in (*drawn, *sent)]
    return [*parts[0], *parts[1], *plain, *parts[2], *parts[3]]


def _top(live: Live, setup: Setup, columns: int, rows: int) -> list[Line]:
    """What goes wrong; what it reads and where it is or must go, large where there is room."""
    words = heading(setup, live)
    lines = [(words if len(words) <= columns else words[: columns - 1] + "…", "bold")]
    if live.problem:
        lines.append((f"! {live.problem}", "bold red"))
    reading = large(reading_now(live, setup), columns if rows >= ROWS_FOR_ONE else 0)
    if (live.reading_age_s or 0.0) > OLD_S:
        reading += f"\nlast reading {live.reading_age_s:.0f} s ago"
    where = large(where_now(live, setup), columns if rows >= ROWS_FOR_TWO else 0)
    gap = [""] if rows >= ROWS_FOR_ONE else []
    return lines + [(line, "bold") for line in (*reading.splitlines(), *gap, *where.splitlines(), *gap)]


def _progress(live: Live, setup: Setup, columns: int) -> list[Line]:
    """The way to the next station, how still it stands, what was taken."""
    if setup.placed_by.is_feed:
        return [(feeding(live), "bold cyan")]
    inch = setup.bed.is_inch
    return [
        *(
            (line, "bold cyan")
            for line in next_words(live, inch, columns, setup.placed_by.is_stations, setup.bed.called)
        ),
        (still_words(live), "bold green" if live.is_settled or live.is_taken_here else ""),
        (taken_words(live, setup.described, inch), ""),
    ]


def _ending(live: Live, status: str) -> list[str]:
    soon = live.ends_in_s is not None and not status
    lines = [f"last station taken: ends by itself in {live.ends_in_s:.0f} s (g: go on)"] if soon else []
    return lines + ([status] if status else [])


def _as_room_allows(profile: Sequence[str], rows: int) -> list[str]:
    """The profile's heading and as many of its latest rows as there is room for."""
    if len(profile) <= rows:
        return list(profile)
    return [] if rows < FEWEST_DRAWN else [profile[0], *profile[len(profile) - rows + 1 :]]


def _folded(lines: Sequence[Line], columns: int) -> list[Line]:
    """Lines that are too wide, cut between words; the rest of one is moved in."""
    return [(part, style) for text, style in lines for part in folded(text, columns).split("\n")]


class Page(LivePage):
    """The page on a terminal, redrawn in place; a context manager."""

    def __init__(self, setup: Setup):
        super().__init__()
        self._setup = setup
        self._shown: list[Line] = []

    @property
    def columns(self) -> int:
        """Width of the terminal."""
        return self.console.width

    def paint(self, live: Live, profile: Sequence[str], status: str, setup: Setup | None = None) -> None:
        """Redraw."""
        self._setup = setup or self._setup
        lines = page(live, self._setup, self.columns, profile, status, self.console.height)
        if lines == self._shown:
            return
        self._shown = lines
        self.draw(*(Text(line, style=style) for line, style in lines))
