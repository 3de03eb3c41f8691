"""The screen as the recorder knows it: an observer, with a thread that draws and reads keys."""

import sys
import threading
from collections import deque
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from acquire.console.keys import key_words, keys
from acquire.console.live_words import doubt_about
from acquire.console.painting import Page
from acquire.console.sound import TAKEN, WRONG, Aloud
from acquire.console.taken import Taken
from acquire.console.tracking import SETTLED_S, Live, Tracker
from acquire.console.window import WindowFeed, live_line, start_line, station_line
from acquire.entry.doubts import reading_words
from acquire.model.bed import Instrument
from acquire.model.companion import Companion
from acquire.model.inch_words import in_owners_unit
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.model.units import length_text
from acquire.record.recorder import Recorder
from acquire.reduce import places_in_order
from acquire.reduce.in_order import DOUBLE_PRESS_S
from acquire.reduce.no_station import NO_STATION

Answer = TypeVar("Answer")
EVERY_S = 0.1
UNTOLD = ("asked", "beside", "latency")
QUIET_TELLS = ("recording", "problem", "lost", "reopened", "silent", "disk", "ended")
ENDING = "ended; writing the traverse file: do not switch off"


class Screen:
    """Shows one recording; a context manager to be entered around the recorder's `run`.

    Parameters
    ----------
    survey, setup, beside
        As given to the recorder.
    settled_s : float, optional
        How long an instrument must stand still before its station is taken.
    company : callable, optional
        Gives a Companion, which draws the running profile and says what a station should
        read.  It is made and asked in the screen's own thread, and left out if it fails.
    has_bell : bool, optional
        One bell when a station is taken, two when something is wrong (on a terminal).
    aloud : Aloud, optional
        Plays or speaks the same; ended with the screen.
    is_quiet : bool, optional
        Without a terminal: only the beginning, what goes wrong, and the end.
    tells_all : bool, optional
        Without a terminal: also what is told for the record alone.
    window : callable, optional
        Starts the window's feed.
    from_mm : float, optional
        Where a constant feed starts, if not at the first place.
    """

    def __init__(
        self,
        survey: Path,
        setup: Setup,
        *,
        beside: Sequence[Instrument] = (),
        settled_s: float = SETTLED_S,
        company: Callable[[], Companion] | None = None,
        has_bell: bool = True,
        aloud: Aloud | None = None,
        is_quiet: bool = False,
        tells_all: bool = False,
        window: Callable[[], WindowFeed] | None = None,
        from_mm: float | None = None,
    ):
        self.survey, self._from_mm = survey, from_mm
        self._make_company = company
        self._companion: Companion | None = None
        self._judged = 0
        self.tracker = Tracker(setup, beside, settled_s, self._heard_news)
        self._has_bell, self._aloud, self._is_quiet = has_bell, aloud, is_quiet
        self._untold = () if tells_all else UNTOLD
        self._make_window = window
        self._window: WindowFeed | None = None
        self._is_window_gone = False
        self._recorder: Recorder | None = None
        self._lines: deque[str] = deque()
        self._bells = 0
        self._status = self._said = ""
        self._ended_s = 0.0
        self._lock = threading.RLock()
        self._ticked_s = float("-inf")
        self._told = 0
        self._profile: tuple[int, list[str]] = (-1, [])
        self._marks = 0
        self._marked_s = float("-inf")
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="waylog screen", daemon=True)
        self.fault: Exception | None = None
        """Why it stopped showing, if it did."""

    def watch(self, recorder: Recorder) -> "Screen":
        """Say whose clock and keys these are; to be called before the recorder runs."""
        self._recorder = recorder
        return self

    def __enter__(self) -> "Screen":
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(3.0)
        if self._aloud is not None:
            self._aloud.close()

    def chunk(self, chunk: Chunk) -> None:
        """Bytes were kept."""
        self.tracker.chunk(chunk)
        if chunk.time_s - self._ticked_s >= EVERY_S:
            self._look(chunk.time_s)

    def event(self, event: Event) -> None:
        """Something happened."""
        if event.kind == "recording" and self._recorder is not None:
            self.tracker.setup = self._recorder.setup
        self._said = event.text
        self.tracker.event(event)
        if event.kind == "ended":
            self._status, self._ended_s = ENDING, event.time_s
        if event.kind not in self._untold and not (self._is_quiet and event.kind not in QUIET_TELLS):
            self._say(event.time_s, event.kind, event.text)

    def _say(self, time_s: float, kind: str, text: str) -> None:
        if kind == "recording":
            setup = self.tracker.setup
            text = f"{setup.subject} by {setup.instrument}, {setup.direction}, into {text.partition(';')[0]}"
        text = in_owners_unit(text, self.tracker.setup.bed.is_inch)
        self._lines.append(f"{time_s:8.1f} s  {kind:<10} {text}")

    def _heard_news(self, kind: str, words: str) -> None:
        """From the tracker: ring, and say what is not said as an event anyway."""
        now_s = self._ticked_s if self._recorder is None else self._recorder.now_s()
        self._sound(now_s, kind, words)
        if kind == "problem":
            self._bells = 2
            if words != self._said:
                self._say(now_s, kind, words)
        elif kind == "taken":
            self._bells = max(self._bells, 1)
        elif not self._is_quiet:
            self._say(now_s, kind, words)

    def _sound(self, now_s: float, kind: str, words: str) -> None:
        """Play or speak a station taken, and what is wrong; where that fails, say so and ring the bell."""
        if self._aloud is None or kind not in ("problem", "taken", "in turn"):
            return
        setup = self.tracker.setup
        if kind == "taken":
            words = length_text(float(words), setup.bed.is_inch)
        self._aloud.sound(WRONG if kind == "problem" else TAKEN, words)
        if self._aloud.fault:
            self._say(now_s, "note", f"{self._aloud.fault}; the bell rings instead")
            self._aloud, self._has_bell = None, True

    def _look(self, now_s: float) -> Live:
        with self._lock:
            self._ticked_s = now_s
            live = self.tracker.tick(now_s)
            for taken in live.taken[self._told :]:
                self._tell_of_station(taken)
            self._told = len(live.taken)
        if self._recorder is not None and self.tracker.is_over(now_s):
            self._recorder.stop("the last station")
        return live

    def _tell_of_station(self, taken: Taken) -> None:
        setup = self.tracker.setup
        if not self._is_quiet:
            where = length_text(taken.station_mm, setup.bed.is_inch)
            words = reading_words(setup.described, taken.reading, setup.bed.is_inch)
            again = f", visit {taken.repeat}" if taken.repeat > 1 else ""
            self._say(taken.time_s, "station", f"{where}: {words}{again}")

    def _judge(self, live: Live) -> None:
        """Hold each new station against what the survey so far predicts for it; then feed the window."""
        for index in range(self._judged, len(live.taken)):
            taken = live.taken[index]
            doubt = self._asked_company(partial(doubt_about, self.tracker, index, taken))
            if doubt is not None:
                self.tracker.question(index, doubt)
            if self._window is not None:
                self._window.put(station_line(replace(taken, doubt=doubt)))
        self._judged = len(live.taken)

    def _asked_company(self, ask: Callable[[Companion], Answer]) -> Answer | None:
        """What the companion answers; one that fails is left out and said."""
        try:
            if self._make_company is not None:
                make, self._make_company = self._make_company, None
                self._companion = make()
            return None if self._companion is None else ask(self._companion)
        except Exception as fault:  # it only comments: it must never cost the screen, let alone a reading
            self._companion = None
            self._say(self._ticked_s, "note", f"no running profile: {fault}")
            return None

    def _run(self) -> None:
        try:
            with ExitStack() as stack:
                paint = self._painter(stack)
                press = stack.enter_context(keys())
                while not self._stop.is_set():
                    self._pressed(press(EVERY_S))
                    self._show(paint)
                self._show(paint)
        except (OSError, ValueError) as fault:  # the terminal has gone; the recording goes on
            self.fault = fault
        finally:
            if self._window is not None:
                self._window.put({"end": {"reason": self._status or "the recording stopped"}})
                self._window.close()

    def _painter(self, stack: ExitStack) -> Page | None:
        """A page on a terminal that can be redrawn; else None: one line for each event."""
        page = Page(self.tracker.setup)
        if page.can_redraw:
            return stack.enter_context(page)
        if sys.stdin is not None and sys.stdin.isatty():
            self._lines.append("keys: " + "   ".join(key_words(self.tracker.setup.placed_by)))
        return None

    def _show(self, page: Page | None) -> None:
        live = self._look(self._recorder.now_s() if self._recorder is not None else 0.0)
        self._feed(live)
        self._judge(live)
        if page is None:
            while self._lines:
                sys.stdout.write(self._lines.popleft() + "\n")
            sys.stdout.flush()
            return
        self._lines.clear()
        profile = self._profile_lines(live, page.columns)
        page.paint(live, profile, self._status_now(live), self.tracker.setup)
        if self._bells and self._has_bell:
            page.bell()
        self._bells = max(0, self._bells - 1)

    def _status_now(self, live: Live) -> str:
        """The end in words; of a long recording also how long its file has been in the making."""
        seconds = live.time_s - self._ended_s
        return f"{self._status} ({seconds:.0f} s)" if self._status and seconds > 2 else self._status

    def _feed(self, live: Live) -> None:
        if self._make_window is not None:
            self._window, self._make_window = self._make_window(), None
            setup = self.tracker.setup
            places = [float(place) for place in places_in_order(setup)]
            self._window.put(start_line(self.survey, setup, places))
        if self._window is not None and not self._is_window_gone:
            self._window.put(live_line(live))
            self._is_window_gone = self._window.has_gone
            if self._is_window_gone:
                self._say(live.time_s, "note", "the window has gone; the recording goes on")

    def _profile_lines(self, live: Live, columns: int) -> list[str]:
        """The running profile, worked out anew only when a station has been taken."""
        if len(live.taken) >= 2 and self._profile[0] != len(live.taken):
            lines = self._asked_company(lambda who: who.profile_lines(self.tracker.stations(), columns))
            self._profile = (len(live.taken), list(lines or ()))
        return self._profile[1]

    def _pressed(self, key: str) -> None:
        recorder = self._recorder
        if not key or recorder is None or self._status:
            return
        if key == "q":
            recorder.stop("q")
        elif key == "\r":
            self._mark(recorder)
        elif key == "b":
            self.tracker.go_back()
        elif key == "s":
            self.tracker.pass_over()
        elif key == "g":
            self.tracker.go_on()
        elif key == "x":
            self._take_back(recorder)

    def _take_back(self, recorder: Recorder) -> None:
        words = self.tracker.take_back()
        if words is not None:
            recorder.mark(words, NO_STATION)
        with self._lock:
            count = len(self.tracker.tick(recorder.now_s()).taken)
            self._told, self._judged = min(self._told, count), min(self._judged, count)

    def _mark(self, recorder: Recorder) -> None:
        position = self.tracker.setup.placed_by
        now_s = recorder.now_s()
        is_again, self._marked_s = now_s - self._marked_s < DOUBLE_PRESS_S, now_s
        if is_again:  # a switch that bounces, a finger that presses twice
            recorder.mark("Enter again within a second: no mark", "note")
            return
        self._marks += 1
        if position.is_feed:
            start = "the feed starts" + ("" if self._from_mm is None else f" at station {self._from_mm:g}")
            recorder.mark(start if self._marks == 1 else "the feed has stopped")
            if self._marks == 2:
                recorder.stop("the second mark")
        elif position.is_stations:
            place = self.tracker.next_mm
            if place is not None:
                recorder.mark(f"station {place:.10g}")
        else:
            recorder.mark("Enter")
