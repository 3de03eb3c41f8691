"""One thread over all serial ports: bytes, each with the time at which they arrived.

The time is taken at once after the read; decoding and writing happen elsewhere. A port
that goes is closed first, then looked for by its identity until it is back; nothing else
stops for it. The queue is bounded: a slow taker makes the reader wait (counted, and told
as an event), so bytes wait in the driver rather than being thrown away.
"""

import os
import queue
import select
import selectors
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from functools import partial
from typing import Any

from acquire.model.bed import Port
from acquire.model.errors import PortError
from acquire.model.recorded import Chunk, Event
from acquire.receive.ports.asking import Request
from acquire.receive.ports.line import Line, Said
from acquire.receive.ports.opening import PORT_FAULTS

LONGEST_WAIT_S = 0.1
ON_ITS_WAY_S = 0.04
MOST_BYTES = 65536
MOST_BATCHES = 16384
ROOM_LOOKED_FOR_S = 0.005


class PortReader:
    """Reads all ports of a recording; a context manager.

    Parameters
    ----------
    specs : mapping
        Ports by name.
    clock : callable, optional
        Gives the time of chunks and events.
    requests : mapping, optional
        What to ask on which port; every request sent is an event `asked`.
    silent_after_s : float, optional
        A port that sent nothing for so long gets an event `silent`.
    retry_s : float, optional
        How often a lost port is looked for.

    Raises
    ------
    PortError
        On entering, if a port cannot be opened: all that cannot are named, none stays open.

    Examples
    --------
    >>> with PortReader({"echo": Port("loop://")}) as reader:
    ...     event = reader.get(5.0)
    ...     reader.write("echo", b"12.5")
    ...     chunk = reader.get(5.0)
    >>> event.kind, event.text, chunk.data
    ('opened', 'echo: loop:// at 9600 baud 8N1', b'12.5')
    """

    def __init__(
        self,
        specs: Mapping[str, Port],
        clock: Callable[[], float] = time.monotonic,
        *,
        requests: Mapping[str, Sequence[Request]] | None = None,
        silent_after_s: float = 5.0,
        retry_s: float = 0.7,
        most_batches: int = MOST_BATCHES,
    ):
        asked = requests or {}
        self._clock = clock
        self._lines = {
            name: Line(name, port, asked.get(name, ()), silent_after_s, retry_s)
            for name, port in specs.items()
        }
        self._batches = queue.SimpleQueue[Said]()  # a third of the time of queue.Queue
        self._most_batches = most_batches
        self._taken: deque[Chunk | Event] = deque()
        self._stop = threading.Event()
        self._threads: list[threading.Thread] = []
        self._fault: Exception | None = None
        self.stalls = 0
        """How often the reader had to wait because nobody took what it had."""
        self.stalled_s = 0.0

    def __enter__(self) -> "PortReader":
        faults = []
        for line in self._lines.values():
            try:
                self._put(line.open(self._clock(), "opened"))
            except PortError as error:
                faults.append(error)
        if faults:
            self._close_all()
            raise faults[0] if len(faults) == 1 else PortError("ports", " / ".join(map(str, faults)))
        self._start()
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Stop reading and close every port; what was read can still be got."""
        self._stop.set()
        while any(thread.is_alive() for thread in self._threads):
            self._make_room()
            for thread in self._threads:
                thread.join(0.02)
        self._make_room()
        self._close_all()

    def get(self, timeout: float | None = None) -> Chunk | Event | None:
        """The next chunk or event in order of arrival; None if none comes within `timeout` seconds.

        A fault in the reading itself is raised here once all that was read has been given.
        """
        if not self._taken:
            with suppress(queue.Empty):
                self._taken.extend(self._batches.get(timeout=timeout) if timeout != 0 else self._at_once())
        if self._taken:
            return self._taken.popleft()
        if self._fault is not None and self._batches.empty():
            raise self._fault
        return None

    def write(self, port: str, data: bytes) -> None:
        """Send bytes on a port.

        Raises
        ------
        PortError
            If there is no such port, or it has gone.
        """
        if port not in self._lines:
            raise PortError(port, "is no port of this recording", ", ".join(self._lines))
        try:
            self._lines[port].write(data)
        except PORT_FAULTS as error:
            raise PortError(port, f"cannot be written to ({error})", "a port that is there") from error

    def _at_once(self) -> Said:
        return self._batches.get_nowait()

    def _make_room(self) -> None:
        with suppress(queue.Empty):
            while True:
                self._taken.extend(self._batches.get_nowait())

    def _close_all(self) -> None:
        for line in self._lines.values():
            line.close()

    def _start(self) -> None:
        polled = [line for line in self._lines.values() if line.is_pollable]
        others = [line for line in self._lines.values() if not line.is_pollable]
        jobs: list[tuple[str, Callable[[], None]]] = [
            (f"waylog port {line.name}", partial(self._read_alone, line)) for line in others
        ]
        if polled:
            jobs.append(("waylog ports", partial(self._read_polled, polled)))
        self._threads = [
            threading.Thread(target=self._guarded, args=(job,), name=name, daemon=True) for name, job in jobs
        ]
        for thread in self._threads:
            thread.start()

    def _guarded(self, job: Callable[[], None]) -> None:
        """A reader that ended without a word would look like silent instruments."""
        try:
            job()
        except Exception as fault:
            self._fault = fault
            self._batches.put([])  # whoever waits learns of it at once

    def _put(self, batch: Said) -> None:
        """Hand a batch over, in order; wait where the queue is full."""
        if not batch:
            return
        if self._batches.qsize() < self._most_batches:
            self._batches.put(batch)
            return
        began_s = time.monotonic()
        self.stalls += 1
        while self._batches.qsize() >= self._most_batches:
            time.sleep(ROOM_LOOKED_FOR_S)
        self._batches.put(batch)
        waited_s = time.monotonic() - began_s
        self.stalled_s += waited_s
        text = f"{batch[0].port}: the recorder fell behind and bytes waited {waited_s:.1f} s in the driver"
        self._batches.put([Event(self._clock(), "behind", text)])

    def _read_polled(self, lines: Sequence[Line]) -> None:
        with selectors.DefaultSelector() as selector:
            watched: dict[int, Line] = {}
            while not self._stop.is_set():
                _watch(selector, watched, lines)
                ready = selector.select(self._wait_s(lines))
                self._read_each([key.data for key, _ in ready])
                self._attend(lines)
            _watch(selector, watched, lines)
            self._read_the_rest(selector)

    def _read_each(self, lines: Iterable[Line]) -> None:
        """Hand over in one batch what stood ready at once: whoever takes it is woken once."""
        found: Said = []
        try:
            for line in lines:
                found.extend(self._read_one(line))
        finally:
            self._put(found)

    def _read_the_rest(self, selector: selectors.BaseSelector) -> None:
        """Take what is still on its way: an adapter may withhold bytes for 16 ms."""
        until_s = time.monotonic() + ON_ITS_WAY_S
        while (left_s := until_s - time.monotonic()) > 0:
            for key, _ in selector.select(left_s):
                said = self._read_one(key.data)
                self._put([item for item in said if isinstance(item, Chunk)])
                if not key.data.is_open:
                    selector.unregister(key.fileobj)

    def _read_one(self, line: Line) -> Said:
        """Read what is there; no byte although the port is ready means that it has gone."""
        try:
            data = os.read(line.descriptor, MOST_BYTES)
        except BlockingIOError:
            return []
        except PORT_FAULTS as error:
            return line.lose(self._clock(), str(error))
        time_s = self._clock()
        return line.took(data, time_s) if data else line.lose(time_s, "it hung up")

    def _wait_s(self, lines: Sequence[Line]) -> float:
        now_s = self._clock()
        return min(LONGEST_WAIT_S, *(line.wait_s(now_s) for line in lines))

    def _attend(self, lines: Sequence[Line]) -> None:
        for line in lines:
            self._put(line.attend(self._clock))

    def _read_alone(self, line: Line) -> None:
        """The loop of a port that cannot be waited on with others (a network, Windows, a spy)."""
        while not self._stop.is_set():
            self._put(line.attend(self._clock))
            if not line.is_open:
                self._stop.wait(LONGEST_WAIT_S)
                continue
            try:
                data, time_s = _read_some(line.handle, line.wait_s(self._clock()), self._clock)
            except PORT_FAULTS as error:
                self._put(line.lose(self._clock(), str(error)))
                continue
            if data:
                self._put(line.took(data, time_s))


def _watch(selector: selectors.BaseSelector, watched: dict[int, Line], lines: Sequence[Line]) -> None:
    """Bring the selector up to date with which ports are open."""
    open_now = {line.generation: line for line in lines if line.is_open}
    if open_now.keys() == watched.keys():
        return
    selector_map = list(selector.get_map().values())
    for key in selector_map:
        with suppress(KeyError, ValueError, OSError):
            selector.unregister(key.fileobj)
    watched.clear()
    for generation, line in open_now.items():
        selector.register(line.descriptor, selectors.EVENT_READ, line)
        watched[generation] = line


def _read_some(handle: Any, wait_s: float, clock: Callable[[], float]) -> tuple[bytes, float]:
    """Bytes of a port that pyserial has to read, and the time just after the first of them.

    A network port counts at most one waiting byte, so it is waited on and read as a whole.
    """
    if type(handle).__module__ == "serial.urlhandler.protocol_socket":
        handle.timeout = 0
        if not select.select([handle.fileno()], [], [], min(LONGEST_WAIT_S, wait_s))[0]:
            return b"", clock()
        data = handle.read(MOST_BYTES)
        return data, clock()
    first = handle.read(1)
    time_s = clock()
    waiting = handle.in_waiting if first else 0
    return first + (handle.read(waiting) if waiting else b""), time_s
