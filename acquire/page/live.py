"""A recording under way, followed through its journal alone: whoever looks on never costs a reading."""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from acquire.console.live_words import (
    counts,
    doubt_about,
    next_words,
    reading_now,
    settled_share,
    stillness,
    taken_words,
    title_words,
    where_now,
)
from acquire.console.taken import Taken
from acquire.console.tracking import Live as Shown
from acquire.console.tracking import Tracker
from acquire.entry.doubts import reading_words
from acquire.model.companion import Companion
from acquire.model.errors import TraverseFileError, WaylogError
from acquire.model.inch_words import in_owners_unit
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.model.units import length_text
from acquire.record.keeping import setup_in
from acquire.reduce.streams import BESIDE
from acquire.store import files_of
from acquire.store.journal import End
from acquire.store.journal.reading import Following

EVERY_S = 0.1
"""The tracker looks so often, by the recording's own time, as a screen beside the recorder does."""
LONGEST_LOOK_S = 0.2
"""A page that comes late to a long recording catches up in several looks."""
MOST_TAKEN = 6
"""Listed before the last one, which stands by itself."""
WIDE = 1000
"""Columns: a page folds its lines itself."""
SILENT_AFTER_S = 60.0
GONE_AFTER_S = 600.0
"""A journal that has not grown for so long is taken to be of a recorder that is no more."""
Clock = Callable[[], float]
Company = Callable[[Path, Setup], Companion]


class Live:
    """The latest recording of a survey that is under way."""

    def __init__(self, survey: Path, clock: Clock = time.monotonic, company: Company | None = None):
        self._survey, self._clock, self._company = survey, clock, company
        self._followed: _Followed | None = None
        self._passed_over: set[Path] = set()
        self._lock = threading.Lock()

    def now(self) -> dict[str, Any]:
        """The state of things, every number with its unit; `live` is None where nothing is recorded."""
        with self._lock:
            if self._followed is None:
                self._followed = self._found()
            if self._followed is None:
                return {"live": None}
            try:
                return {"live": self._followed.look()}
            except (OSError, WaylogError):
                self._followed = None  # it has become a traverse, or was taken away
                return {"live": None}

    def _found(self) -> "_Followed | None":
        for path in reversed(self._journals()):
            if path in self._passed_over:
                continue
            setup = setup_in(path)
            if setup is not None and setup.source == "record":
                if _is_gone(path):
                    continue
                company = None if self._company is None else self._company(self._survey, setup)
                return _Followed(path, setup, self._clock, company)
            self._passed_over.add(path)
        return None

    def _journals(self) -> list[Path]:
        try:
            return list(files_of(self._survey, "journal").values())
        except (OSError, WaylogError):
            return []


def _is_gone(path: Path) -> bool:
    with suppress(OSError):
        return time.time() - path.stat().st_mtime > GONE_AFTER_S
    return True


class _Followed:
    """One recording: its journal's news are told to a tracker like the screen's own."""

    def __init__(self, path: Path, setup: Setup, clock: Clock, companion: Companion | None):
        self._following, self._setup, self._clock = Following(path), setup, clock
        self._companion, self._judged = companion, 0
        self._beside: list[str] = []
        self._tracker: Tracker | None = None
        self._told_s = self._ticked_s = 0.0
        self._grew_at = clock()
        self._is_over = False

    def look(self) -> dict[str, Any]:
        """Take in what is new; the state of things then."""
        until = self._clock() + LONGEST_LOOK_S
        for record in self._news(until):
            self._told_s = max(self._told_s, getattr(record, "time_s", 0.0))
            self._take(record)
        silent_s = self._clock() - self._grew_at
        if silent_s > GONE_AFTER_S:
            raise TraverseFileError(self._following.path.name, f"has not grown for {silent_s:.0f} s")
        tracker = self._tracker_now()
        live = tracker.tick(self._told_s if self._is_over else self._told_s + silent_s)
        self._judge(tracker, live)
        return _shown(self._setup, live, self._state(silent_s))

    def _news(self, until: float) -> Iterator[Any]:
        while True:
            is_new = False
            for record in self._following.news():
                is_new = True
                yield record
            if is_new:
                self._grew_at = self._clock()
            if not self._following.is_behind or self._clock() > until:
                return

    def _state(self, silent_s: float) -> str:
        if self._is_over:
            return "ended; its traverse file is being written"
        if self._following.is_behind:
            return "catching up"
        return f"nothing has come for {silent_s:.0f} s" if silent_s > SILENT_AFTER_S else ""

    def _take(self, record: Any) -> None:
        if isinstance(record, Chunk):
            self._tracker_now().chunk(record)
        elif isinstance(record, Event) and record.kind == BESIDE:
            self._beside.append(record.text)
        elif isinstance(record, Event):
            self._tracker_now().event(record)
        self._is_over = self._is_over or isinstance(record, End)
        if self._told_s - self._ticked_s >= EVERY_S:
            self._ticked_s = self._told_s
            self._tracker_now().tick(self._told_s)

    def _judge(self, tracker: Tracker, live: Shown) -> None:
        """Hold what was taken since against the survey, but for what had been taken before anybody looked."""
        if self._companion is not None and not self._following.is_behind:
            for index in range(max(self._judged, len(live.taken) - 1), len(live.taken)):
                doubt = doubt_about(tracker, index, live.taken[index], self._companion)
                if doubt is not None:
                    tracker.question(index, doubt)
            self._judged = len(live.taken)

    def _tracker_now(self) -> Tracker:
        if self._tracker is None:
            known = self._setup.bed.instruments
            self._tracker = Tracker(self._setup, [known[name] for name in self._beside if name in known])
        return self._tracker


def _shown(setup: Setup, live: Shown, state: str) -> dict[str, Any]:
    """The state of things in the words of the screen beside the recorder."""
    inch = setup.bed.is_inch
    is_marked = setup.placed_by.is_stations
    return {
        "title": f"Run {setup.number}: {title_words(setup)}",
        "state": state,
        "problem": in_owners_unit(live.problem, inch),
        "reading": reading_now(live, setup),
        "age_s": live.reading_age_s,
        "where": where_now(live, setup),
        "next": ""
        if setup.placed_by.is_feed
        else next_words(live, inch, WIDE, is_marked, setup.bed.called)[0],
        "still": stillness(live),
        "share": settled_share(live),
        "is_settled": live.is_settled or live.is_taken_here,
        "taken": in_owners_unit(taken_words(live, setup.described, inch), inch),
        "stations": [_taken_words(setup, each) for each in reversed(live.taken[-MOST_TAKEN - 1 : -1])],
        "counts": counts(live),
    }


def _taken_words(setup: Setup, taken: Taken) -> str:
    inch = setup.bed.is_inch
    again = f", visit {taken.repeat}" if taken.repeat > 1 else ""
    return (
        f"{length_text(taken.station_mm, inch)}: {reading_words(setup.described, taken.reading, inch)}{again}"
    )
