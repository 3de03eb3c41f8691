"""Follows a recording as it goes: where the instrument is, what it reads, which stations it has.

What it takes to be a station's reading is for the eye; the file's stations are derived
from all bytes at the end.
"""

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from acquire.console.hearing import Hearing
from acquire.console.stillness import InTurn, RestTimer, is_steady
from acquire.console.taken import Itinerary, Taken
from acquire.entry.doubts import reading_words
from acquire.model.bed import Instrument
from acquire.model.inch_words import in_owners_unit
from acquire.model.places import SNAP_MM, is_same_place
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup, Stations
from acquire.model.units import length_text
from acquire.reduce.no_station import MARK, REST, taken_back
from acquire.reduce.placed import marks_in, start_place

SETTLED_S = 3.0
END_AFTER_S = 5.0
END_AFTER_IN_TURN_S = 10.0
"""Longer, where it is only supposed which stretch was the last station."""
PROBLEMS = ("lost", "silent", "errors", "behind", "disk")


@dataclass(frozen=True)
class Live:
    """The state of things at one instant, for whoever shows it."""

    time_s: float = 0.0
    position_mm: float | None = None
    reading: float | None = None
    reading_age_s: float | None = None
    next_mm: float | None = None
    """The station to go to; once the operator has marked one, that one until it is taken."""
    is_missed: bool = False
    """The next station lies behind: it was passed without being taken."""
    reach_mm: float = SNAP_MM
    """So near counts as standing at the station."""
    still_s: float = 0.0
    needed_s: float = SETTLED_S
    is_settled: bool = False
    is_taken_here: bool = False
    """The station it stands at has been taken."""
    is_placeless: bool = False
    """The position stream has stopped: what is read now has no place."""
    is_unmarked: bool = False
    """It is the operator who says, by a mark, when it stands at the next station."""
    in_turn: int | None = None
    """Stations found by rest alone, in turn; None where a scale or marks say where it stands."""
    taken: tuple[Taken, ...] = ()
    places: int = 0
    counts: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    """Good readings and others, of each instrument."""
    unread: Mapping[str, int] = field(default_factory=dict)
    """Bytes of each instrument that sent some and never a whole line or frame."""
    beside: Mapping[str, float | None] = field(default_factory=dict)
    problem: str = ""
    ends_in_s: float | None = None

    @property
    def to_go_mm(self) -> float | None:
        """From here to the next station, along the bed; None where either is not known."""
        if self.next_mm is None or self.position_mm is None:
            return None
        return self.next_mm - self.position_mm


News = Callable[[str, str], None]
"""Told what happened: a kind (taken, problem, note) and words."""


class Tracker:
    """Follows one recording; `chunk` and `event` come from the recorder, `tick` from a clock.

    Parameters
    ----------
    setup : Setup
        What is recorded.
    beside : sequence of Instrument, optional
        Further instruments recorded.
    settled_s : float, optional
        How long it must have stood still before a station is taken.
    on_news : callable, optional
        Told of stations taken and of what goes wrong.
    """

    def __init__(
        self,
        setup: Setup,
        beside: Sequence[Instrument] = (),
        settled_s: float = SETTLED_S,
        on_news: News = lambda kind, words: None,
    ):
        self.setup, self.settled_s = setup, settled_s
        self._news = on_news
        self._hearing = Hearing(setup, beside, self._wrong)
        self._itinerary = Itinerary(setup)
        self._has_scale = setup.placed_by.scale is not None
        sign, feed = -1.0 if setup.direction == "reverse" else 1.0, setup.placed_by.feed_mm_per_s
        self._feed_mm_per_s = None if feed is None else sign * feed
        self._fed_from: tuple[float, float] | None = None
        described = self._hearing.measuring.instrument
        self._rest = RestTimer(max(3 * described.uncertainty, 2 * described.contract_resolution, 1e-9))
        self._in_turn = InTurn(settled_s) if setup.placed_by.is_stations else None
        self._pending: tuple[float, float] | None = None
        self._marked_at: list[tuple[float, float]] = []
        self._shows_moves = self._is_taken_here = False
        self._problem = ""
        self._ends_at_s: float | None = None
        self._may_end = True
        self._lock = threading.RLock()

    def chunk(self, chunk: Chunk) -> None:
        """Decode what came."""
        with self._lock:
            self._hearing.chunk(chunk)

    def event(self, event: Event) -> None:
        """Take note of what happened."""
        with self._lock:
            self._hearing.event(event)
            if event.kind == "mark":
                self._marked(event)
            elif event.kind in PROBLEMS:
                self._wrong(event.text)
            elif event.kind in ("reopened", "speaking"):
                self._problem = ""
                self._news("note", event.text)

    def tick(self, now_s: float) -> Live:
        """Look at the clock: take a station that has settled; give the state of things."""
        with self._lock:
            self._hearing.look_for_trouble(now_s, self.settled_s)
            still_s = self._still_s(now_s)
            self._rest.look(self._hearing.measuring.recent, now_s)
            settled = self._is_settled(now_s, still_s)
            if settled and not self._is_taken_here:
                self._take(now_s)
            if self._has_scale and still_s < 0.3:
                self._is_taken_here, self._ends_at_s = False, None
            self._follow_in_turn(now_s)
            return self._live(now_s, still_s, settled)

    def is_over(self, now_s: float) -> bool:
        """Whether the last station was taken and the time to go on has passed."""
        with self._lock:
            return self._ends_at_s is not None and now_s >= self._ends_at_s

    def go_on(self) -> None:
        """Do not end by itself any more: somebody is there and wants to read on."""
        with self._lock:
            self._may_end, self._ends_at_s = False, None

    def go_back(self) -> None:
        """The station before comes next (again)."""
        with self._lock:
            self._itinerary.go_back()
            self._pending, self._ends_at_s = None, None

    def take_back(self) -> str | None:
        """The last station was none; gives what to keep of that, None where there is nothing to take back.

        In turn the last stretch of rest, else the last mark; with a scale a station is where it stood.
        """
        with self._lock:
            self._ends_at_s = None
            if self._in_turn is not None:
                at_s = self._in_turn.take_back()
                self._itinerary.turn = self._in_turn.count
                return None if at_s is None else taken_back(REST, at_s)
            if not self._marked_at:
                return None
            at_s, place = self._marked_at.pop()
            if self._pending is None:
                self._itinerary.take_back(place)
            self._pending = None
            self._itinerary.turn_to(place)
            return taken_back(MARK, at_s)

    def pass_over(self) -> None:
        """Leave the next station out."""
        with self._lock:
            self._itinerary.pass_over()

    @property
    def next_mm(self) -> float | None:
        """The station to go to: the next in turn; with a scale, then whatever was passed over."""
        return self._itinerary.next_mm

    def question(self, index: int, doubt: str) -> None:
        """Say of a station taken that it cannot be; it is kept all the same."""
        with self._lock:
            self._itinerary.question(index, doubt)
            self._wrong(doubt)

    def stations(self, count: int | None = None) -> Stations:
        """The stations taken so far (the first `count` of them), as whoever draws the profile wants them."""
        with self._lock:
            return self._itinerary.stations(count)

    def _wrong(self, words: str) -> None:
        self._problem = words
        self._news("problem", words)

    def _marked(self, event: Event) -> None:
        (_, named), *_ = marks_in([event])
        if self._feed_mm_per_s is not None and self._fed_from is None:
            self._fed_from = (event.time_s, start_place(self.setup) if named is None else named)
        if not self.setup.placed_by.is_stations:
            return
        self._in_turn, self._ends_at_s = None, None  # from the first mark on, marks alone count
        place = self.next_mm if named is None else named
        if place is None:
            return
        self._tell_of_unmoved(event.time_s, place)
        self._marked_at.append((event.time_s, place))
        self._pending, self._is_taken_here = (place, event.time_s), False
        self._itinerary.turn_beyond(place)

    def _tell_of_unmoved(self, now_s: float, place_mm: float) -> None:
        """A mark of another station though the reading has been at rest since the last: pressed twice?

        Of an instrument whose reading does not show that it is carried on, nothing is said.
        """
        if not self._marked_at or is_same_place(self._marked_at[-1][1], place_mm):
            return
        last_s, last_mm = self._marked_at[-1]
        is_unmoved = self._rest.rested_s(now_s) > now_s - last_s + 1.0
        self._shows_moves |= not is_unmoved
        if is_unmoved and self._shows_moves:
            inch = self.setup.bed.is_inch
            self._wrong(
                f"station {length_text(place_mm, inch)} marked, and no move was seen since "
                f"{length_text(last_mm, inch)}: pressed twice? x takes it back"
            )

    def _still_s(self, now_s: float) -> float:
        if self._has_scale:
            return self._hearing.still_s(now_s)
        return max(0.0, now_s - self._pending[1]) if self._pending else 0.0

    def _is_settled(self, now_s: float, still_s: float) -> bool:
        if still_s < self.settled_s or not (self._has_scale or self._pending):
            return False
        measuring = self._hearing.measuring
        if measuring.recent.last_s is None or not (self._rest.is_at_rest or measuring.is_one_by_one(now_s)):
            return False
        allowance = max(0.3 * measuring.instrument.uncertainty, 1e-9)
        return is_steady(measuring.recent, now_s, allowance)

    def _take(self, now_s: float) -> None:
        self._is_taken_here = True
        station_mm = self._standing_at()
        samples = self._hearing.measuring.recent.between(now_s - 1.0)
        if station_mm is None or len(samples) == 0:
            return
        if not self.setup.is_on_bed(station_mm):
            words = f"{station_mm:.1f} mm is off the bed (0 to {self.setup.bed.length_mm:g} mm)"
            shown = in_owners_unit(words, self.setup.bed.is_inch)
            self._wrong(f"{shown}: look at the scale's zero and sign")
            return
        if self._has_scale and not self._hearing.has_moved and not self._itinerary.is_meant(station_mm):
            place = length_text(station_mm, self.setup.bed.is_inch)
            self._news(
                "note", f"at rest at {place}, which is no station: not taken, the traverse has not begun"
            )
            return
        self._itinerary.take(station_mm, float(samples.mean()), now_s)
        self._pending = None
        self._news("taken", f"{station_mm:g}")
        self._problem = ""
        if self.next_mm is None:
            self._end_soon(now_s, END_AFTER_S, "last station taken")

    def _end_soon(self, now_s: float, after_s: float, why: str) -> None:
        if self._may_end:
            self._ends_at_s = now_s + after_s
            self._news("note", f"{why}: ends by itself in {after_s:g} s unless it moves on")

    def _follow_in_turn(self, now_s: float) -> None:
        """Without a scale or marks each stretch of rest (or reading sent by its key) is a station in turn."""
        if self._in_turn is None:
            return
        measuring, before = self._hearing.measuring, self._in_turn.count
        if measuring.is_one_by_one(now_s):
            self._in_turn.sent(measuring.good, measuring.last_times_s)
        else:
            self._in_turn.rested(self._rest.rested_s(now_s), now_s)
        if self._in_turn.is_moving:
            self._ends_at_s = None
        if self._in_turn.count > before:
            self._one_more_in_turn(now_s, measuring.recent.last or 0.0)

    def _one_more_in_turn(self, now_s: float, reading: float) -> None:
        assert self._in_turn is not None
        count, places = self._in_turn.count, self._itinerary.places
        if count > len(places):
            self._ends_at_s = None
            self._wrong(
                f"{count} stretches of rest for {len(places)} stations: one is too many; "
                "x: the last was no station; q ends and keeps"
            )
            return
        instrument, inch = self.setup.described, self.setup.bed.is_inch
        place = length_text(places[count - 1], inch)
        self._itinerary.turn = count
        self._news(
            "in turn", f"{count} of {len(places)}, so {place}: {reading_words(instrument, reading, inch)}"
        )
        if count == len(places):
            self._end_soon(now_s, END_AFTER_IN_TURN_S, "last station in turn")

    def _standing_at(self) -> float | None:
        if not self._has_scale:
            return self._pending[0] if self._pending else None
        position = self._hearing.position_mm
        return None if position is None else self._itinerary.nearest_mm(position)

    def _shown_mm(self) -> float | None:
        return self.next_mm if self._pending is None else self._pending[0]

    def _shown_position_mm(self, now_s: float) -> float | None:
        if self._hearing.is_stale(now_s):
            return None
        return self._hearing.position_mm if self._has_scale else self._fed_mm(now_s)

    def _fed_mm(self, now_s: float) -> float | None:
        """Where a constant feed has come to, from its first mark on."""
        if self._feed_mm_per_s is None or self._fed_from is None:
            return None
        start_s, start_mm = self._fed_from
        return start_mm + self._feed_mm_per_s * (now_s - start_s)

    def _live(self, now_s: float, still_s: float, settled: bool) -> Live:
        hearing, itinerary = self._hearing, self._itinerary
        recent = hearing.measuring.recent
        return Live(
            time_s=now_s,
            position_mm=self._shown_position_mm(now_s),
            reading=recent.last,
            reading_age_s=None if recent.last_s is None else max(0.0, now_s - recent.last_s),
            next_mm=self._shown_mm() if self._feed_mm_per_s is None else None,
            is_missed=itinerary.is_missed,
            reach_mm=itinerary.reach_mm,
            still_s=still_s,
            needed_s=self.settled_s,
            is_settled=settled,
            is_taken_here=self._has_scale and self._is_taken_here and bool(itinerary.taken),
            is_placeless=hearing.is_stale(now_s),
            is_unmarked=self.setup.placed_by.is_stations and self._pending is None,
            in_turn=None if self._in_turn is None else self._in_turn.count,
            taken=tuple(itinerary.taken),
            places=len(itinerary.places),
            counts=hearing.counts(),
            unread=hearing.unread(),
            beside=hearing.beside(),
            problem=self._problem,
            ends_in_s=None if self._ends_at_s is None else max(0.0, self._ends_at_s - now_s),
        )
