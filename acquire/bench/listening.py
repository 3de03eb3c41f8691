"""Listens to every instrument that has a port, also while some of them are missing."""

import time
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, field

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.errors import PortError
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import FLAGS
from acquire.receive.ports.asking import plan_ports
from acquire.receive.ports.reader import PortReader
from acquire.receive.wire.decoding import Decoded
from acquire.receive.wire.health import Health, HealthWatch
from acquire.receive.wire.kinds import decoder_for, tell

SPREAD_S = 5.0
"""The spread shown is that of so many seconds."""
LOOK_S = 0.05
RETRY_S = 1.0
MOST_RECENT = 5000
TROUBLE = ("lost", "silent", "errors", "behind")


@dataclass(frozen=True)
class Seen:
    """One instrument at one moment."""

    instrument: Instrument
    health: Health
    spread: float | None
    """Largest minus smallest of the last seconds, as read; None before there are two readings."""
    trouble: str
    """What is wrong with its port, or nothing."""


@dataclass
class Kept:
    """All good readings of one instrument, and when it sent others."""

    time_s: list[float] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    bad_time_s: list[float] = field(default_factory=list)

    def arrays(self) -> tuple[np.ndarray, np.ndarray]:
        """Times and values as read, rising in time."""
        time_s, value = np.array(self.time_s), np.array(self.value)
        order = np.argsort(time_s, kind="stable")
        return time_s[order], value[order]


class Receiver:
    """Opens the ports of `instruments` and decodes what they send; a context manager.

    A port that is missing is looked for again; the others are heard meanwhile.

    Parameters
    ----------
    instruments : sequence of Instrument
        Those with a port.
    clock : callable, optional
        Gives the time.
    make_reader : callable, optional
        As `PortReader`.
    keeps_all : bool, optional
        Keep every good reading (a still record, placings), not only the last seconds.

    Raises
    ------
    PortError
        On entering, if none of the ports can be opened.
    """

    def __init__(
        self,
        instruments: Sequence[Instrument],
        clock: Callable[[], float] = time.monotonic,
        make_reader: Callable[..., PortReader] = PortReader,
        *,
        keeps_all: bool = False,
    ):
        self.instruments = tuple(instruments)
        self._clock, self._make_reader, self._keeps_all = clock, make_reader, keeps_all
        self._start_s = clock()
        self._plan = plan_ports(self.instruments)
        self._decoders = {i.name: decoder_for(i) for i in self.instruments}
        self._health = {i.name: HealthWatch() for i in self.instruments}
        self._recent: dict[str, deque[tuple[float, float]]] = {
            i.name: deque(maxlen=MOST_RECENT) for i in self.instruments
        }
        self.kept: Mapping[str, Kept] = {i.name: Kept() for i in self.instruments}
        self._readers: dict[str, PortReader] = {}
        self._open = ExitStack()
        self._trouble: dict[str, str] = {}
        self._retry_at_s = 0.0

    def __enter__(self) -> "Receiver":
        faults = self._open_missing()
        if not self._readers:
            raise faults[0] if len(faults) == 1 else PortError("ports", " / ".join(map(str, faults)))
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def now_s(self) -> float:
        """Seconds since it was made."""
        return self._clock() - self._start_s

    def listen(self, seconds: float = LOOK_S) -> None:
        """Take what has come; wait up to `seconds` where nothing has."""
        if self.now_s() >= self._retry_at_s and len(self._readers) < len(self._plan.specs):
            self._open_missing()
        took = sum(self._take_all(port, reader) for port, reader in self._readers.items())
        if not took:
            port, reader = next(iter(self._readers.items()))
            if (item := reader.get(seconds)) is not None:
                self._take(port, item)

    def look(self) -> list[Seen]:
        """Every instrument as it is now."""
        now_s = self.now_s()
        return [self._seen(instrument, now_s) for instrument in self.instruments]

    def _open_missing(self) -> list[PortError]:
        faults = []
        for port, spec in self._plan.specs.items():
            if port in self._readers:
                continue
            reader = self._make_reader({port: spec}, self.now_s, requests=self._plan.requests)
            try:
                self._readers[port] = self._open.enter_context(reader)
                self._trouble.pop(port, None)
            except PortError as error:
                faults.append(error)
                self._trouble[port] = str(error)
        self._retry_at_s = self.now_s() + RETRY_S
        return faults

    def _take_all(self, port: str, reader: PortReader) -> int:
        count = 0
        while count < MOST_RECENT and (item := reader.get(0)) is not None:
            self._take(port, item)
            count += 1
        return count

    def _take(self, port: str, item: Chunk | Event) -> None:
        names = [name for name, where in self._plan.port_of.items() if where == port]
        if isinstance(item, Event):
            self._event(port, names, item)
            return
        for name in names:
            decoded = self._decoders[name].feed(item.data, item.time_s)
            self._health[name].take(decoded)
            for reading in decoded:
                self._one(name, reading)

    def _event(self, port: str, names: Sequence[str], event: Event) -> None:
        for name in names:
            tell(self._decoders[name], event)
        if event.kind in TROUBLE:
            self._trouble[port] = event.text.partition(": ")[2]
        elif event.kind in ("opened", "reopened", "speaking"):
            self._trouble.pop(port, None)

    def _one(self, name: str, reading: Decoded) -> None:
        kept = self.kept[name]
        if reading.flag != FLAGS["good"]:
            if self._keeps_all and reading.flag in (FLAGS["overflow"], FLAGS["out_of_range"]):
                kept.bad_time_s.append(reading.time_s)
            return
        self._recent[name].append((reading.time_s, reading.value))
        if self._keeps_all:
            kept.time_s.append(reading.time_s)
            kept.value.append(reading.value)

    def _seen(self, instrument: Instrument, now_s: float) -> Seen:
        values = [value for t, value in self._recent[instrument.name] if t >= now_s - SPREAD_S]
        spread = max(values) - min(values) if len(values) > 1 else None
        trouble = self._trouble.get(self._plan.port_of[instrument.name], "")
        return Seen(instrument, self._health[instrument.name].at(now_s), spread, trouble)
