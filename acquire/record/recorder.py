"""The recorder routes: what the ports say goes to the journal first, then to whoever looks on.

It decodes nothing and shows nothing.  It ends when it is told to (a key, a signal, the
last station, a time), when the disk runs low, or when the journal cannot be written;
what has been captured is kept in every case.  A clock is handed in; all times are
seconds from the start of the recording.
"""

import shutil
import signal
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from acquire.model.bed import Instrument
from acquire.model.errors import RecordingError
from acquire.model.recorded import Chunk, Event
from acquire.model.system import utc_now
from acquire.model.traverse import Setup
from acquire.receive.ports.asking import plan_ports
from acquire.receive.ports.reader import PortReader
from acquire.record.conversion import Converted, convert
from acquire.store import own_folder, traverse_folder
from acquire.store.journal import JournalWriter, begin

FLOOR_BYTES = 200_000_000
FLOOR_SECONDS = 600.0
"""So many seconds of data must fit beside the floor."""
CONVERSION_FACTOR = 4
"""The HDF5 file is written while its journal is still there, and holds the readings as well."""
DISK_CHECK_S = 2.0
LOOK_S = 0.05
ENDING_SIGNALS = {
    "SIGINT": "Ctrl-C",
    "SIGTERM": "a request to stop (SIGTERM)",
    "SIGHUP": "the terminal, which closed",
    "SIGBREAK": "Ctrl-Break",
}
"""What ends a recording cleanly, and who that was."""
NOBODYS_WISH = ("SIGHUP",)
"""The operator ended nothing where the terminal went away: such a traverse is not complete."""
ALWAYS_OBEYED = ("SIGINT", "SIGTERM")
"""Also where they were ignored at the start, as a shell's script leaves SIGINT to what it runs behind it.

A closed terminal (SIGHUP) is still ignored where it was: that is what `nohup` is for.
"""


class Observer(Protocol):
    """Whoever looks on: the screen, a window, the invented bench."""

    def chunk(self, chunk: Chunk) -> None:
        """Bytes have been taken and kept."""

    def event(self, event: Event) -> None:
        """Something happened and was kept."""


@dataclass(frozen=True)
class Recording:
    """What came of a recording."""

    path: Path
    """The traverse's HDF5 file."""
    number: int
    seconds: float
    bytes_kept: int
    ended_by: str
    converted: Converted


@dataclass(frozen=True)
class _End:
    reason: str
    is_complete: bool


class Recorder:
    """Records one traverse; made once, run once.

    Parameters
    ----------
    survey : Path
        The survey's folder.
    setup : Setup
        What is measured; its number is given when the journal is created.
    beside : sequence of Instrument, optional
        Further instruments to keep beside (a temperature).
    observers : sequence, optional
        Whoever looks on. One that fails is left out from then on; the recording goes on,
        and the fault is in `faults`.
    clock : callable, optional
        Seconds; any origin.
    announced : sequence of (kind, text), optional
        Events to keep as soon as it records.
    seconds : float, optional
        End by itself after so long.
    floor_bytes : int, optional
        What must stay free on the disk.
    make_reader : callable, optional
        Gives the reader for a plan of ports and a clock.
    """

    def __init__(
        self,
        survey: Path | str,
        setup: Setup,
        *,
        beside: Sequence[Instrument] = (),
        observers: Sequence[Observer] = (),
        announced: Sequence[tuple[str, str]] = (),
        clock: Callable[[], float] = time.monotonic,
        seconds: float | None = None,
        floor_bytes: int = FLOOR_BYTES,
        make_reader: Callable[..., Any] = PortReader,
        converter: Callable[[Path, Path], Converted] = convert,
    ):
        self.survey, self.setup = Path(survey), setup
        self.faults: list[Exception] = []
        self._beside, self._announced = tuple(beside), tuple(announced)
        self._observers = list(observers)
        self._clock, self._seconds, self._floor_bytes = clock, seconds, floor_bytes
        self._make_reader, self._converter = make_reader, converter
        self._start_s = self._ended_s = 0.0
        self._orders: deque[Event | _End] = deque()
        self._ending: _End | None = None
        self._kept_bytes = 0
        self._disk_checked_s = float("-inf")
        self._is_low_told = False

    def now_s(self) -> float:
        """Seconds from the start of the recording."""
        return self._clock() - self._start_s

    def mark(self, text: str = "", kind: str = "mark") -> None:
        """Keep a mark at this instant; may be called from any thread."""
        self._orders.append(Event(self.now_s(), kind, text))

    def stop(self, reason: str = "the operator", is_complete: bool = True) -> None:
        """End the recording; may be called from any thread or signal handler, and more than once."""
        self._orders.append(_End(reason, is_complete))

    def run(self) -> Recording:
        """Record until the end and convert; gives the finished traverse.

        Raises
        ------
        PortError
            If a port cannot be opened; nothing is left behind then.
        RecordingError
            If the disk is too full to begin, or the journal could not be written on: what
            it holds is kept and `waylog mend` finishes it.
        """
        self._refuse_a_full_disk()
        with ending_signals(self.stop):
            journal_path, number = self._record()
            path = journal_path.with_suffix(".h5")
            converted = self._converter(journal_path, path)
        reason = self._ending.reason if self._ending else ""
        return Recording(path, number, self._ended_s, self._kept_bytes, reason, converted)

    def _record(self) -> tuple[Path, int]:
        plan = plan_ports(self.setup.recorded_with(each.name for each in self._beside))
        self._start_s = self._clock()
        with ExitStack() as stack:
            reader = stack.enter_context(self._make_reader(plan.specs, self.now_s, requests=plan.requests))
            # a power cut knows no stepped clock: half a second is one of the wall
            journal = stack.enter_context(begin(self.survey, self.setup, clock=time.monotonic))
            self.setup = journal.setup
            self._announce(journal)
            try:
                self._route(reader, journal)
            except Exception:
                # Whatever went wrong, the bytes that the ports still held belong to the traverse.
                reader.close()
                with suppress(RecordingError):
                    self._drain(reader, journal)
                raise
            reader.close()
            self._drain(reader, journal)
            self._ended_s = self.now_s()
            ending = self._ending or _End("", False)
            self._tell(journal, Event(self._ended_s, "ended", f"by {ending.reason}; {utc_now()}"))
            journal.end(ending.is_complete, self._ended_s)
            return journal.path, journal.setup.number

    def _announce(self, journal: JournalWriter) -> None:
        for instrument in self._beside:
            self._tell(journal, Event(self.now_s(), "beside", instrument.name))
        for kind, text in self._announced:
            self._tell(journal, Event(self.now_s(), kind, text))
        self._tell(journal, Event(self.now_s(), "recording", f"{journal.path.name}; {utc_now()}"))

    def _route(self, reader: PortReader, journal: JournalWriter) -> None:
        while self._ending is None:
            item = reader.get(LOOK_S)
            if item is None:
                journal.sync()
            else:
                self._take(journal, item)
            self._obey(journal)
            self._look_at_time_and_disk(journal)

    def _drain(self, reader: PortReader, journal: JournalWriter) -> None:
        while (item := reader.get(0)) is not None:
            self._take(journal, item)
        self._obey(journal)

    def _take(self, journal: JournalWriter, item: Chunk | Event) -> None:
        if isinstance(item, Chunk):
            journal.chunk(item.port, item.time_s, item.data)
            self._kept_bytes += len(item.data)
            self._show("chunk", item)
        else:
            self._tell(journal, item)

    def _tell(self, journal: JournalWriter, event: Event) -> None:
        journal.event(event.time_s, event.kind, event.text)
        self._show("event", event)

    def _show(self, what: str, item: Chunk | Event) -> None:
        for observer in tuple(self._observers):
            try:
                getattr(observer, what)(item)
            except Exception as fault:  # whoever looks on must never cost a reading
                self._observers.remove(observer)
                self.faults.append(fault)

    def _obey(self, journal: JournalWriter) -> None:
        while self._orders:
            order = self._orders.popleft()
            if isinstance(order, _End):
                self._ending = self._ending or order
            else:
                self._tell(journal, order)

    def _look_at_time_and_disk(self, journal: JournalWriter) -> None:
        now_s = self.now_s()
        if self._seconds is not None and now_s >= self._seconds:
            self._ending = self._ending or _End(f"--seconds {self._seconds:g}", True)
        if now_s - self._disk_checked_s < DISK_CHECK_S:
            return
        self._disk_checked_s = now_s
        free, floor = self._free_bytes(), self._floor(now_s)
        if free < floor:
            words = f"the disk is nearly full ({_megabytes(free)} free, {_megabytes(floor)} must stay)"
            self._tell(journal, Event(now_s, "disk", f"{words}: the recording ends here, all of it kept"))
            self._ending = self._ending or _End(words, False)
        elif free < 2 * floor and not self._is_low_told:
            self._is_low_told = True
            self._tell(journal, Event(now_s, "disk", f"{_megabytes(free)} free: make room, or it ends soon"))

    def _floor(self, now_s: float) -> float:
        if self._floor_bytes == 0:
            return 0
        rate = self._kept_bytes / max(now_s, 10.0)
        return max(self._floor_bytes, FLOOR_SECONDS * rate) + CONVERSION_FACTOR * self._kept_bytes

    def _free_bytes(self) -> int:
        return shutil.disk_usage(self.survey).free

    def _refuse_a_full_disk(self) -> None:
        own_folder(traverse_folder(self.survey))
        free = self._free_bytes()
        if free < self._floor_bytes:
            raise RecordingError(
                str(self.survey),
                f"found {_megabytes(free)} free on its disk",
                f"{_megabytes(self._floor_bytes)} at least",
                "make room, or say --leave-free",
            )


def _megabytes(count: float) -> str:
    return f"{count / 1e6:.0f} MB"


@contextmanager
def ending_signals(stop: Callable[[str, bool], None]) -> Iterator[None]:
    """Let the ending signals call `stop` until all is written; a second one then changes nothing.

    `stop` is told who ended it, and whether that was the operator's wish.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before: dict[int, Any] = {}
    try:
        for name, who in ENDING_SIGNALS.items():
            number = getattr(signal, name, None)
            if number is not None and (
                name in ALWAYS_OBEYED or signal.getsignal(number) is not signal.SIG_IGN
            ):
                is_meant = name not in NOBODYS_WISH
                before[number] = signal.signal(
                    number, lambda *_, who=who, is_meant=is_meant: stop(who, is_meant)
                )
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
