"""One page of the live screen as lines of text, for wide and narrow terminals, with and without colour."""

import re
import textwrap
from collections.abc import Sequence

from rich.console import Console, Group
from rich.live import Live as LivePage
from rich.text import Text

from acquire.console.keys import key_words
from acquire.console.tracking import Live
from acquire.entry.doubts import reading_words
from acquire.entry.folding import on_lines
from acquire.entry.large import large
from acquire.model.bed import Instrument
from acquire.model.called import Called
from acquire.model.traverse import Setup
from acquire.model.units import length_text, number_text

BAR = 20


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
) -> list[tuple[str, str]]:
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
    counts = _counts(live)
    if sum(map(len, parts)) + len(counts) >= rows:
        counts = [words for words in counts if "not good" in words]
        parts[0] = [line for line in parts[0] if line[0]]  # without the empty lines
    left = rows - 1 - sum(map(len, parts))
    drawn = _as_room_allows(profile, left - len(counts))
    plain = [(words, "") for words in (*drawn, *counts)]
    return [*parts[0], *parts[1], *plain, *parts[2], *parts[3]]


def _top(live: Live, setup: Setup, columns: int, rows: int) -> list[Line]:
    """What goes wrong; what it reads and where it is or must go, large where there is room."""
    heading = _heading(setup, live)
    lines = [(heading if len(heading) <= columns else heading[: columns - 1] + "…", "bold")]
    if live.problem:
        lines.append((f"! {live.problem}", "bold red"))
    reading = large(_reading(live, setup), columns if rows >= ROWS_FOR_ONE else 0)
    if (live.reading_age_s or 0.0) > OLD_S:
        reading += f"\nlast reading {live.reading_age_s:.0f} s ago"
    where = large(_where(live, setup), columns if rows >= ROWS_FOR_TWO else 0)
    gap = [""] if rows >= ROWS_FOR_ONE else []
    return lines + [(line, "bold") for line in (*reading.splitlines(), *gap, *where.splitlines(), *gap)]


def _progress(live: Live, setup: Setup, columns: int) -> list[Line]:
    """The way to the next station, how still it stands, what was taken."""
    if setup.placed_by.is_feed:
        return [(_feeding(live), "bold cyan")]
    inch = setup.bed.is_inch
    return [
        *(
            (line, "bold cyan")
            for line in _next(live, inch, columns, setup.placed_by.is_stations, setup.bed.called)
        ),
        (still_words(live), "bold green" if live.is_settled or live.is_taken_here else ""),
        (_taken(live, setup.described, inch), ""),
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
    folded: list[Line] = []
    for text, style in lines:
        if len(text) <= columns:
            folded.append((text, style))
            continue
        folded += [(part, style) for part in textwrap.wrap(text, columns, subsequent_indent="  ")]
    return folded


def _heading(setup: Setup, live: Live) -> str:
    way = f"{setup.subject} by {setup.instrument}, {setup.direction}"
    return f"{_clock(live.time_s)}  traverse {setup.number:03d}: {way}"


def _clock(seconds: float) -> str:
    minutes, rest = divmod(int(seconds), 60)
    return f"{minutes // 60}:{minutes % 60:02d}:{rest:02d}" if minutes >= 60 else f"{minutes}:{rest:02d}"


def _reading(live: Live, setup: Setup) -> str:
    """In the unit that the owner of the bed is shown."""
    if live.reading is None:
        return "no reading yet"
    if setup.bed.is_inch:
        words = reading_words(setup.described, live.reading, inch=True)
        return words.partition(" (")[0]
    unit = {"um/m": "µm/m", "um": "µm"}.get(setup.described.contract_unit, setup.described.contract_unit)
    decimals = 0 if abs(live.reading) >= 1000 else 1
    return f"{number_text(live.reading, decimals)} {unit}"


def _feeding(live: Live) -> str:
    """What to do under a constant feed."""
    return "press Enter as the feed starts" if live.position_mm is None else "press Enter as the feed stops"


def _where(live: Live, setup: Setup) -> str:
    """Where it is; without a scale, where it must go."""
    if setup.placed_by.is_feed:
        return "" if live.position_mm is None else _place(live.position_mm, setup)
    if setup.placed_by.scale is not None:
        return "no position" if live.position_mm is None else _place(live.position_mm, setup)
    return "" if live.next_mm is None else _place(live.next_mm, setup)


def _place(mm: float, setup: Setup) -> str:
    return length_text(mm, setup.bed.is_inch)


def _next(live: Live, inch: bool, columns: int, is_marked: bool, called: Called) -> list[str]:
    if live.next_mm is None:
        return ["every station has been read"]
    name = f"{'missed' if live.is_missed else 'next'} station {length_text(live.next_mm, inch)}"
    if live.to_go_mm is None:
        is_reading = is_marked and not live.is_unmarked
        return [f"reading station {length_text(live.next_mm, inch)}" if is_reading else name]
    if abs(live.to_go_mm) <= live.reach_mm:
        return [f"{name}: you are there"]
    way = called.away if live.to_go_mm > 0 else called.towards
    words = f"{name}: {length_text(abs(live.to_go_mm), inch)} to go, {way}"
    return [words] if len(words) <= columns else re.split("(?<=:) |(?<=,) ", words)


def still_words(live: Live) -> str:
    """How long it has stood still, as a bar and in words.

    Examples
    --------
    >>> still_words(Live(still_s=1.5, needed_s=3.0))
    '[##########..........] still for 1.5 s of 3 s'
    """
    if live.is_unmarked:
        return "press Enter when it stands there" if live.next_mm is not None else "q: end and keep"
    done = min(1.0, live.still_s / live.needed_s) if live.needed_s else 1.0
    bar = "#" * round(BAR * done) + "." * (BAR - round(BAR * done))
    if live.is_taken_here and not live.is_placeless:
        return f"[{bar}] TAKEN, go on"
    if live.is_settled:
        return f"[{bar}] SETTLED"
    if live.is_placeless:
        return f"[{bar}] the position has stopped coming"
    if live.still_s <= 0.0:
        return f"[{bar}] moving"
    if done >= 1:
        return f"[{bar}] still, not settled yet ({live.still_s:.0f} s)"
    return f"[{bar}] still for {live.still_s:.1f} s of {live.needed_s:g} s"


def _taken(live: Live, instrument: Instrument, inch: bool) -> str:
    if live.in_turn is not None:
        return f"no Enter so far: {live.in_turn} of {live.places} stations, each a stretch of rest, in turn"
    if not live.taken:
        return f"no station taken yet, {live.places} to take"
    last = live.taken[-1]
    words = f"{length_text(last.station_mm, inch)}: {reading_words(instrument, last.reading, inch)}"
    return f"{len(live.taken)} taken of {live.places}, the last {words}"


def _counts(live: Live) -> list[str]:
    lines = []
    for name, (good, others) in live.counts.items():
        words = f"{name}: {good} readings" + (f", {others} not good" if others else "")
        value = live.beside.get(name)
        lines.append(words + (f", now {value:g}" if value is not None else ""))
    return lines


class Page:
    """The page on a terminal, redrawn in place; a context manager."""

    def __init__(self, setup: Setup):
        self._setup = setup
        self._console = Console(highlight=False)
        self._shown: list[tuple[str, str]] = []
        self._live = LivePage(console=self._console, auto_refresh=False, transient=False)

    def __enter__(self) -> "Page":
        self._live.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._live.stop()

    @property
    def can_redraw(self) -> bool:
        """Whether this is a terminal, and one that can be drawn over."""
        return self._console.is_terminal and not self._console.is_dumb_terminal

    @property
    def columns(self) -> int:
        """Width of the terminal."""
        return self._console.width

    def paint(self, live: Live, profile: Sequence[str], status: str, setup: Setup | None = None) -> None:
        """Redraw."""
        self._setup = setup or self._setup
        lines = page(live, self._setup, self.columns, profile, status, self._console.height)
        if lines == self._shown:
            return
        self._shown = lines
        self._live.update(Group(*(Text(line, style=style) for line, style in lines)), refresh=True)

    def bell(self) -> None:
        """Ring the terminal's bell."""
        self._console.bell()
