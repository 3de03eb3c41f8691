"""From what was asked for to an entry under way: a new one, or the one that was cut short."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from acquire.entry import Entry, stations_to_read
from acquire.entry.asking import SETTLE_VIAL_S
from acquire.model.traverse import Setup
from acquire.page.live import Company
from acquire.page.run import Manner, Run
from acquire.record.keeping import lines_of, resumable
from acquire.record.setup_checks import make_setup, setup_warnings
from acquire.store import survey_bed
from acquire.store.journal import JournalWriter, begin

SetUp = Callable[[Setup, tuple[float, ...]], Mapping[str, Any]]
"""How it stands on the machine: `drawing` (SVG), `signs` (what + and − mean)."""


@dataclass(frozen=True)
class Wish:
    """One run as somebody wants it."""

    asked: Mapping[str, Any]
    """What `make_setup` takes."""
    step_mm: float | None = None
    start_mm: float | None = None
    end_mm: float | None = None
    closing: bool = False
    vial: bool = False
    settle_s: float | None = None
    resume: bool = True
    """Whether to go on with an entry of the same that was cut short."""


@dataclass(frozen=True)
class Helpers:
    """What the command table hands in: the other house is known here by what it can be asked."""

    company: Company | None = None
    set_up: SetUp | None = None


@dataclass(frozen=True)
class Begun:
    """A run under way, and what ought to be known before its readings are believed."""

    run: Run
    wish: Wish
    notes: tuple[str, ...] = field(default=())


def begun(survey: Path, wish: Wish, helpers: Helpers) -> Begun:
    """Begin, or go on with what was cut short.

    Raises
    ------
    EntryError
        If it cannot be measured so, in the words of `make_setup`.
    RecordingError
        If another waylog has that entry open.
    """
    setup = _setup_of(survey, wish)
    places = stations_to_read(setup, wish.step_mm, wish.start_mm, wish.end_mm)
    left = resumable(survey, setup) if wish.resume else None
    writer = begin(survey, setup) if left is None else JournalWriter.reopen(left)
    try:
        lines = [] if left is None else lines_of(left)
        entry = Entry.begun(writer.setup, places, lines, wish.closing)
        manner = _manner(survey, writer.setup, places, wish, helpers)
    except BaseException:
        writer.close()
        if left is None:  # nothing was read into it yet
            writer.path.unlink()
        raise
    notes = [] if left is None else [f"going on with {left.name}: {entry.taken} readings are there"]
    run = Run(entry, writer, _clock_of(writer.setup), manner)
    return Begun(run, wish, (*notes, *setup_warnings(writer.setup)))


def _setup_of(survey: Path, wish: Wish) -> Setup:
    created = datetime.now(UTC).isoformat(timespec="seconds")
    return make_setup(survey_bed(survey), survey, source="enter", created_utc=created, **wish.asked)


def _manner(survey: Path, setup: Setup, places: tuple[float, ...], wish: Wish, helpers: Helpers) -> Manner:
    settle_s = wish.settle_s if wish.settle_s is not None else SETTLE_VIAL_S if wish.vial else 0.0
    company = None if helpers.company is None else helpers.company(survey, setup)
    set_up = {} if helpers.set_up is None else helpers.set_up(setup, places)
    return Manner(wish.vial, settle_s, company, set_up)


def _clock_of(setup: Setup) -> Callable[[], float]:
    since = datetime.fromisoformat(setup.created_utc)
    return lambda: max(0.0, (datetime.now(UTC) - since).total_seconds())
