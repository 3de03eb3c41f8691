"""Follows a recording as it goes: where the instrument is, what it reads, which stations it has.

What it takes to be a station's reading is for the eye; the file's stations are derived
from all bytes at the end.
"""

import threading
from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from acquire.console.in_turn import InTurn, is_one_by_one
from acquire.console.stillness import Recent, RestTimer, StillTimer, is_steady
from acquire.entry.doubts import reading_words
from acquire.model.bed import Instrument
from acquire.model.inch_words import in_owners_unit
from acquire.model.places import is_same_place
from acquire.model.traverse import FLAGS, Setup, Stations
from acquire.model.units import length_text
from acquire.receive.ports import Chunk, PortEvent, plan_ports
from acquire.receive.wire import Decoded, decoder_for
from acquire.receive.wire.health import HealthWatch, lump_words
from acquire.receive.wire.kinds import tell
from acquire.receive.wire.lines import NO_LINE_END
from acquire.record.recorder import instruments_of
from acquire.reduce import places_in_order, places_meant
from acquire.reduce.no_station import MARK, REST, taken_back
from acquire.reduce.placed import marks_in, start_place
from acquire.reduce.tagging import snapped
from acquire.reduce.tagging.dwells import NUDGE_MM
from acquire.reduce.tagging.places import SNAP_MM
from acquire.store.journal import Event

SETTLED_S = 3.0
STALE_S = 1.5
END_AFTER_S = 5.0
END_AFTER_IN_TURN_S = 10.0
"""Longer, where it is only supposed which stretch was the last station."""
FLAG_WORDS = {number: name.replace("_", " ") for name, number in FLAGS.items()}
PROBLEMS = ("lost", "silent", "errors", "behind", "disk")


@dataclass(frozen=True)
class Taken:
    """One station as the screen took it."""

    station_mm: float
    reading: float
    uncertainty: float
    time_s: float
    repeat: int = 1
    doubt: str | None = None


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


@dataclass
class _Heard:
    """What one instrument has said."""

    instrument: Instrument
    recent: Recent = field(default_factory=Recent)
    health: HealthWatch = field(default_factory=HealthWatch)
    last_times_s: deque[float] = field(default_factory=lambda: deque(maxlen=50))
    good: int = 0
    others: int = 0
    endless: int = 0
    """Of the others: lines that became too long before their end came."""


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
        instruments = instruments_of(setup, beside)
        self._port_of = plan_ports(instruments).port_of
        self._heard = {i.name: _Heard(i) for i in instruments}
        self._decoders = {i.name: decoder_for(i) for i in instruments}
        self._scale = setup.placed_by.scale
        sign, feed = -1.0 if setup.direction == "reverse" else 1.0, setup.placed_by.feed_mm_per_s
        self._feed_mm_per_s = None if feed is None else sign * feed
        self._fed_from: tuple[float, float] | None = None
        self._still = StillTimer()
        described = self._heard[setup.instrument].instrument
        self._rest = RestTimer(max(3 * described.uncertainty, 2 * described.contract_resolution, 1e-9))
        self._in_turn = InTurn(settled_s) if setup.placed_by.is_stations else None
        self._places = [float(x) for x in places_in_order(setup)]
        self._meant = places_meant(setup)
        pitch_mm = float(np.min(np.diff(self._meant))) if len(self._meant) > 1 else np.inf
        self._reach_mm = min(SNAP_MM, pitch_mm / 10)
        self._turn = 0
        self._pending: tuple[float, float] | None = None
        self._marked_at: list[tuple[float, float]] = []
        self._first_mm: float | None = None
        self._has_moved = self._shows_moves = False
        self._taken: list[Taken] = []
        self._is_taken_here = False
        self._problem = ""
        self._ends_at_s: float | None = None
        self._may_end = True
        self._lost: set[str] = set()
        self._lumps_told: set[str] = set()
        self._told_others: dict[str, int] = {}
        self._sent_bytes: Counter[str] = Counter()
        self._is_stale_told = self._is_frozen_told = self._has_ended = False
        self._lock = threading.RLock()

    def chunk(self, chunk: Chunk) -> None:
        """Decode what came."""
        with self._lock:
            self._sent_bytes[chunk.port] += len(chunk.data)
            for name, port in self._port_of.items():
                if port == chunk.port:
                    heard = self._heard[name]
                    readings = self._decoders[name].feed(chunk.data, chunk.time_s)
                    heard.health.take(readings, self._position_mm())
                    for decoded in readings:
                        self._one(heard, decoded)

    def event(self, event: PortEvent) -> None:
        """Take note of what happened."""
        with self._lock:
            for name, port in self._port_of.items():
                if event.text.startswith(f"{port}:"):
                    tell(self._decoders[name], Event(event.time_s, event.kind, event.text))
            if event.kind == "mark":
                self._marked(event)
            elif event.kind == "ended":
                self._has_ended = True
            elif event.kind in PROBLEMS:
                if event.kind == "lost":
                    self._lost.add(event.text.partition(":")[0])
                self._wrong(event.text)
            elif event.kind in ("reopened", "speaking"):
                self._lost.discard(event.text.partition(":")[0])
                self._problem = ""
                self._news("note", event.text)

    def tick(self, now_s: float) -> Live:
        """Look at the clock: take a station that has settled; give the state of things."""
        with self._lock:
            self._look_for_stale_position(now_s)
            self._look_for_frozen_readings(now_s)
            self._look_for_lumps(now_s)
            still_s = self._still_s(now_s)
            self._rest.look(self._heard[self.setup.instrument].recent, now_s)
            settled = self._is_settled(now_s, still_s)
            if settled and not self._is_taken_here:
                self._take(now_s)
            if self._scale is not None and still_s < 0.3:
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
            self._turn = max(0, self._turn - 1)
            self._pending, self._ends_at_s = None, None

    def take_back(self) -> str | None:
        """The last station was none; gives what to keep of that, None where there is nothing to take back.

        In turn the last stretch of rest, else the last mark; with a scale a station is where it stood.
        """
        with self._lock:
            self._ends_at_s = None
            if self._in_turn is not None:
                at_s = self._in_turn.take_back()
                self._turn = self._in_turn.count
                return None if at_s is None else taken_back(REST, at_s)
            if not self._marked_at:
                return None
            at_s, place = self._marked_at.pop()
            if self._taken and is_same_place(self._taken[-1].station_mm, place) and self._pending is None:
                self._taken.pop()
            self._pending = None
            self._turn = next((k for k, p in enumerate(self._places) if is_same_place(p, place)), self._turn)
            return taken_back(MARK, at_s)

    def pass_over(self) -> None:
        """Leave the next station out."""
        with self._lock:
            self._turn = min(len(self._places), self._turn + 1)

    @property
    def next_mm(self) -> float | None:
        """The station to go to: the next in turn; with a scale, then whatever was passed over."""
        turn = self._next_turn()
        return None if turn is None else self._places[turn]

    def _next_turn(self) -> int | None:
        ahead, behind = range(self._turn, len(self._places)), range(self._turn)
        if self._scale is None:
            return ahead[0] if ahead else None
        had = {round(taken.station_mm, 2) for taken in self._taken}
        return next((k for k in (*ahead, *behind) if round(self._places[k], 2) not in had), None)

    def question(self, index: int, doubt: str) -> None:
        """Say of a station taken that it cannot be; it is kept all the same."""
        with self._lock:
            self._taken[index] = replace(self._taken[index], doubt=doubt)
            self._wrong(doubt)

    def stations(self, count: int | None = None) -> Stations:
        """The stations taken so far (the first `count` of them), as whoever draws the profile wants them."""
        with self._lock:
            rows = sorted(self._taken[:count], key=lambda taken: (taken.station_mm, taken.repeat))
        count = len(rows)
        uncertainty = np.array([row.uncertainty for row in rows], float)
        return Stations(
            np.array([row.station_mm for row in rows], float),
            np.array([row.reading for row in rows], float),
            uncertainty,
            np.zeros(count),
            np.ones(count, np.int64),
            np.array([row.repeat for row in rows], np.int64),
            np.array([row.time_s for row in rows], float),
        )

    def _one(self, heard: _Heard, decoded: Decoded) -> None:
        if decoded.flag != FLAGS["good"]:
            heard.others += 1
            heard.endless += decoded.reason.startswith(NO_LINE_END)
            self._tell_of_others(heard, decoded)
            return
        heard.good += 1
        instrument = heard.instrument
        value = instrument.to_contract(decoded.value)
        heard.recent.add(decoded.time_s, value)
        heard.last_times_s.append(decoded.time_s)
        if instrument.name == self._scale:
            self._still.add(decoded.time_s, value)
            self._first_mm = value if self._first_mm is None else self._first_mm
            self._has_moved |= abs(value - self._first_mm) > NUDGE_MM

    def _tell_of_others(self, heard: _Heard, decoded: Decoded) -> None:
        """At the first, the fifth, and then ever more rarely: at once, and not for ever."""
        count, name = heard.others, heard.instrument.name
        if count < self._told_others.get(name, 1):
            return
        self._told_others[name] = max(5, round(count * 2.2))
        words = f"{name}: {count} {FLAG_WORDS[decoded.flag]} so far ({decoded.words or repr(decoded.text)})"
        if count >= 5 and heard.good == 0 and heard.instrument.port is not None:
            words += f", none good: is {heard.instrument.port.baud} baud its speed, and the pattern right?"
        self._wrong(words)

    def _wrong(self, words: str) -> None:
        self._problem = words
        self._news("problem", words)

    def _marked(self, event: PortEvent) -> None:
        (_, named), *_ = marks_in([Event(event.time_s, event.kind, event.text)])
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
        self._turn = next((k + 1 for k, p in enumerate(self._places) if is_same_place(p, place)), self._turn)

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
        if self._scale is not None:
            return 0.0 if self._is_stale(now_s) else self._still.still_s(now_s)
        return max(0.0, now_s - self._pending[1]) if self._pending else 0.0

    def _is_settled(self, now_s: float, still_s: float) -> bool:
        if still_s < self.settled_s or (self._scale is None and self._pending is None):
            return False
        measuring = self._heard[self.setup.instrument]
        if measuring.recent.last_s is None or not (self._rest.is_at_rest or self._is_one_by_one(now_s)):
            return False
        allowance = max(0.3 * measuring.instrument.uncertainty, 1e-9)
        return is_steady(measuring.recent, now_s, allowance)

    def _take(self, now_s: float) -> None:
        self._is_taken_here = True
        recent = self._heard[self.setup.instrument].recent
        station_mm = self._standing_at()
        samples = recent.between(now_s - 1.0)
        if station_mm is None or len(samples) == 0:
            return
        if not self.setup.is_on_bed(station_mm):
            words = f"{station_mm:.1f} mm is off the bed (0 to {self.setup.bed.length_mm:g} mm)"
            shown = in_owners_unit(words, self.setup.bed.is_inch)
            self._wrong(f"{shown}: look at the scale's zero and sign")
            return
        if self._scale is not None and not self._has_moved and not np.isin(station_mm, self._meant):
            place = length_text(station_mm, self.setup.bed.is_inch)
            self._news(
                "note", f"at rest at {place}, which is no station: not taken, the traverse has not begun"
            )
            return
        reading = float(samples.mean())
        repeat = 1 + sum(bool(is_same_place(t.station_mm, station_mm)) for t in self._taken)
        uncertainty = self.setup.described.uncertainty
        self._taken.append(Taken(station_mm, reading, uncertainty, now_s, repeat))
        self._turn_on(station_mm)
        self._pending = None
        self._news("taken", f"{station_mm:g}")
        self._problem = ""
        if self.next_mm is None:
            self._end_soon(now_s, END_AFTER_S, "last station taken")

    def _end_soon(self, now_s: float, after_s: float, why: str) -> None:
        if self._may_end:
            self._ends_at_s = now_s + after_s
            self._news("note", f"{why}: ends by itself in {after_s:g} s unless it moves on")

    def _is_one_by_one(self, now_s: float) -> bool:
        measuring = self._heard[self.setup.instrument]
        return is_one_by_one(measuring.instrument, measuring.last_times_s, now_s)

    def _follow_in_turn(self, now_s: float) -> None:
        """Without a scale or marks each stretch of rest (or reading sent by its key) is a station in turn."""
        if self._in_turn is None:
            return
        measuring = self._heard[self.setup.instrument]
        before = self._in_turn.count
        if self._is_one_by_one(now_s):
            self._in_turn.sent(measuring.good, measuring.last_times_s)
        else:
            self._in_turn.rested(self._rest.rested_s(now_s), now_s)
        if self._in_turn.is_moving:
            self._ends_at_s = None
        if self._in_turn.count > before:
            self._one_more_in_turn(now_s, measuring.recent.last or 0.0)

    def _one_more_in_turn(self, now_s: float, reading: float) -> None:
        assert self._in_turn is not None
        count, places = self._in_turn.count, len(self._places)
        if count > places:
            self._ends_at_s = None
            self._wrong(
                f"{count} stretches of rest for {places} stations: one is too many; "
                "x: the last was no station; q ends and keeps"
            )
            return
        instrument, inch = self.setup.described, self.setup.bed.is_inch
        place = length_text(self._places[count - 1], inch)
        self._turn = count
        self._news("in turn", f"{count} of {places}, so {place}: {reading_words(instrument, reading, inch)}")
        if count == places:
            self._end_soon(now_s, END_AFTER_IN_TURN_S, "last station in turn")

    def _standing_at(self) -> float | None:
        if self._scale is None:
            return self._pending[0] if self._pending else None
        position = self._position_mm()
        if position is None:
            return None
        return float(snapped(np.array([position]), self._meant)[0])

    def _turn_on(self, station_mm: float) -> None:
        here = [k for k, place in enumerate(self._places) if is_same_place(place, station_mm)]
        if here:
            self._turn = max(self._turn, here[0] + 1) if self._scale is None else here[0] + 1

    def _is_stale(self, now_s: float) -> bool:
        last_s = None if self._scale is None else self._heard[self._scale].recent.last_s
        return last_s is not None and now_s - last_s > STALE_S

    def _look_for_stale_position(self, now_s: float) -> None:
        is_stale = self._is_stale(now_s)
        if is_stale and not (self._is_stale_told or self._lost or self._has_ended):
            self._wrong(f"{self._scale}: no position for {STALE_S:g} s; what is read now has no place")
        self._is_stale_told = is_stale

    def _look_for_frozen_readings(self, now_s: float) -> None:
        health = self._heard[self.setup.instrument].health.at(now_s)
        if health.is_frozen and not self._is_frozen_told:
            self._wrong(f"{self.setup.instrument}: {health.words()[-1]}: is it on hold, or out of reach?")
        self._is_frozen_told = health.is_frozen

    def _look_for_lumps(self, now_s: float) -> None:
        """Told once of each instrument: what comes in lumps is late, and its stations need time."""
        for name, heard in self._heard.items():
            lumps_s = heard.health.at(now_s).lumps_s
            if lumps_s is not None and name not in self._lumps_told:
                self._lumps_told.add(name)
                longer_s = self.settled_s + 2 * lumps_s
                self._wrong(
                    f"{name}: {lump_words(lumps_s)}, or stand still for {longer_s:.0f} s at each station"
                )

    def _shown_mm(self) -> float | None:
        return self.next_mm if self._pending is None else self._pending[0]

    def _shown_position_mm(self, now_s: float) -> float | None:
        if self._is_stale(now_s):
            return None
        return self._fed_mm(now_s) if self._scale is None else self._position_mm()

    def _position_mm(self) -> float | None:
        return self._heard[self._scale].recent.last if self._scale is not None else None

    def _fed_mm(self, now_s: float) -> float | None:
        """Where a constant feed has come to, from its first mark on."""
        if self._feed_mm_per_s is None or self._fed_from is None:
            return None
        start_s, start_mm = self._fed_from
        return start_mm + self._feed_mm_per_s * (now_s - start_s)

    def _unread_bytes(self, name: str) -> int:
        heard = self._heard[name]
        is_endless = heard.others == heard.endless
        return self._sent_bytes[self._port_of[name]] if heard.good == 0 and is_endless else 0

    def _live(self, now_s: float, still_s: float, settled: bool) -> Live:
        recent = self._heard[self.setup.instrument].recent
        others = [n for n in self._heard if n not in (self.setup.instrument, self._scale)]
        return Live(
            time_s=now_s,
            position_mm=self._shown_position_mm(now_s),
            reading=recent.last,
            reading_age_s=None if recent.last_s is None else max(0.0, now_s - recent.last_s),
            next_mm=self._shown_mm() if self._feed_mm_per_s is None else None,
            is_missed=(self._next_turn() or 0) < self._turn and self._scale is not None,
            reach_mm=self._reach_mm,
            still_s=still_s,
            needed_s=self.settled_s,
            is_settled=settled,
            is_taken_here=self._scale is not None and self._is_taken_here and bool(self._taken),
            is_placeless=self._is_stale(now_s),
            is_unmarked=self.setup.placed_by.is_stations and self._pending is None,
            in_turn=None if self._in_turn is None else self._in_turn.count,
            taken=tuple(self._taken),
            places=len(self._places),
            counts={name: (heard.good, heard.others) for name, heard in self._heard.items()},
            unread={name: count for name in self._heard if (count := self._unread_bytes(name))},
            beside={name: self._heard[name].recent.last for name in others},
            problem=self._problem,
            ends_in_s=None if self._ends_at_s is None else max(0.0, self._ends_at_s - now_s),
        )
