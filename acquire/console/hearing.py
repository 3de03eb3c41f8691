"""What the instruments of a recording say while it runs: decoded, counted, and doubted aloud once."""

from collections import Counter, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from acquire.console.stillness import Recent, StillTimer, is_one_by_one
from acquire.model.bed import Instrument
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import FLAGS, Setup
from acquire.receive.ports.asking import plan_ports
from acquire.receive.wire.decoding import Decoded
from acquire.receive.wire.health import FLAG_WORDS, HealthWatch, lump_words
from acquire.receive.wire.kinds import decoder_for, tell
from acquire.receive.wire.lines import NO_LINE_END
from acquire.reduce.tagging.dwells import NUDGE_MM

STALE_S = 1.5


@dataclass
class Heard:
    """What one instrument has said."""

    instrument: Instrument
    recent: Recent = field(default_factory=Recent)
    health: HealthWatch = field(default_factory=HealthWatch)
    last_times_s: deque[float] = field(default_factory=lambda: deque(maxlen=50))
    good: int = 0
    others: int = 0
    endless: int = 0
    """Of the others: lines that became too long before their end came."""

    def is_one_by_one(self, now_s: float) -> bool:
        """Whether its readings are sent one by one, by its key."""
        return is_one_by_one(self.instrument, self.last_times_s, now_s)


class Hearing:
    """All instruments of one recording.

    Parameters
    ----------
    setup : Setup
        What is recorded.
    beside : sequence of Instrument
        Further instruments recorded.
    wrong : callable
        Told in words of what goes wrong.
    """

    def __init__(self, setup: Setup, beside: Sequence[Instrument], wrong: Callable[[str], None]):
        instruments = setup.recorded_with(each.name for each in beside)
        self.of = {i.name: Heard(i) for i in instruments}
        self.measuring = self.of[setup.instrument]
        self._scale = setup.placed_by.scale
        self._wrong = wrong
        self._port_of = plan_ports(instruments).port_of
        self._decoders = {i.name: decoder_for(i) for i in instruments}
        self._still = StillTimer()
        self._first_mm: float | None = None
        self.has_moved = False
        """Whether the scale went further than a nudge since its first position."""
        self._lost: set[str] = set()
        self._has_ended = False
        self._lumps_told: set[str] = set()
        self._told_others: dict[str, int] = {}
        self._sent_bytes: Counter[str] = Counter()
        self._is_stale_told = self._is_frozen_told = False

    def chunk(self, chunk: Chunk) -> None:
        """Decode what came."""
        self._sent_bytes[chunk.port] += len(chunk.data)
        for name, port in self._port_of.items():
            if port == chunk.port:
                heard = self.of[name]
                readings = self._decoders[name].feed(chunk.data, chunk.time_s)
                heard.health.take(readings, self.position_mm)
                for decoded in readings:
                    self._one(heard, decoded)

    def event(self, event: Event) -> None:
        """Take note of what happened to a port."""
        for name, port in self._port_of.items():
            if port == event.port:
                tell(self._decoders[name], event)
        if event.kind == "lost":
            self._lost.add(event.port)
        elif event.kind in ("reopened", "speaking"):
            self._lost.discard(event.port)
        elif event.kind == "ended":
            self._has_ended = True

    @property
    def position_mm(self) -> float | None:
        """Where the scale stands; None without one."""
        return None if self._scale is None else self.of[self._scale].recent.last

    def still_s(self, now_s: float) -> float:
        """How long the scale has stood still."""
        return 0.0 if self.is_stale(now_s) else self._still.still_s(now_s)

    def is_stale(self, now_s: float) -> bool:
        """Whether the position stream has stopped."""
        last_s = None if self._scale is None else self.of[self._scale].recent.last_s
        return last_s is not None and now_s - last_s > STALE_S

    def counts(self) -> dict[str, tuple[int, int]]:
        """Good readings and others, of each instrument."""
        return {name: (heard.good, heard.others) for name, heard in self.of.items()}

    def unread(self) -> dict[str, int]:
        """Bytes of each instrument that sent some and never a whole line or frame."""
        return {
            name: self._sent_bytes[self._port_of[name]]
            for name, heard in self.of.items()
            if heard.good == 0 and heard.others == heard.endless and self._sent_bytes[self._port_of[name]]
        }

    def beside(self) -> dict[str, float | None]:
        """The last reading of each further instrument."""
        main = (self.measuring.instrument.name, self._scale)
        return {name: heard.recent.last for name, heard in self.of.items() if name not in main}

    def look_for_trouble(self, now_s: float, settled_s: float) -> None:
        """Tell, once each, of a position that stopped, of frozen readings, of lines that come in lumps."""
        self._look_for_stale_position(now_s)
        self._look_for_frozen_readings(now_s)
        self._look_for_lumps(now_s, settled_s)

    def _one(self, heard: Heard, decoded: Decoded) -> None:
        if decoded.flag != FLAGS["good"]:
            heard.others += 1
            heard.endless += decoded.reason.startswith(NO_LINE_END)
            self._tell_of_others(heard, decoded)
            return
        heard.good += 1
        value = heard.instrument.to_contract(decoded.value)
        heard.recent.add(decoded.time_s, value)
        heard.last_times_s.append(decoded.time_s)
        if heard.instrument.name == self._scale:
            self._still.add(decoded.time_s, value)
            self._first_mm = value if self._first_mm is None else self._first_mm
            self.has_moved |= abs(value - self._first_mm) > NUDGE_MM

    def _tell_of_others(self, heard: Heard, decoded: Decoded) -> None:
        """At the first, the fifth, and then ever more rarely: at once, and not for ever."""
        count, name = heard.others, heard.instrument.name
        if count < self._told_others.get(name, 1):
            return
        self._told_others[name] = max(5, round(count * 2.2))
        words = f"{name}: {count} {FLAG_WORDS[decoded.flag]} so far ({decoded.words or repr(decoded.text)})"
        if count >= 5 and heard.good == 0 and heard.instrument.port is not None:
            words += f", none good: is {heard.instrument.port.baud} baud its speed, and the pattern right?"
        self._wrong(words)

    def _look_for_stale_position(self, now_s: float) -> None:
        is_stale = self.is_stale(now_s)
        if is_stale and not (self._is_stale_told or self._lost or self._has_ended):
            self._wrong(f"{self._scale}: no position for {STALE_S:g} s; what is read now has no place")
        self._is_stale_told = is_stale

    def _look_for_frozen_readings(self, now_s: float) -> None:
        health = self.measuring.health.at(now_s)
        if health.is_frozen and not self._is_frozen_told:
            name = self.measuring.instrument.name
            self._wrong(f"{name}: {health.words()[-1]}: is it on hold, or out of reach?")
        self._is_frozen_told = health.is_frozen

    def _look_for_lumps(self, now_s: float, settled_s: float) -> None:
        """What comes in lumps is late, and its stations need time."""
        for name, heard in self.of.items():
            lumps_s = heard.health.at(now_s).lumps_s
            if lumps_s is not None and name not in self._lumps_told:
                self._lumps_told.add(name)
                longer_s = settled_s + 2 * lumps_s
                self._wrong(
                    f"{name}: {lump_words(lumps_s)}, or stand still for {longer_s:.0f} s at each station"
                )
