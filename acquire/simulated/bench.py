"""Plays a performance over real lines, by a stepped clock or in real time.

By the stepped clock time stands still until whoever records has taken every byte
sent at that instant; only then does it step on.  However slow or loaded the
machine, each byte is stamped with the instant it was sent at.
"""

import threading
import time
from collections.abc import Callable, Mapping
from typing import Any

from acquire.simulated.performance import Performance, Tick
from acquire.simulated.ports import SimulatedPort

PATIENCE_S = 60.0


def _nothing(*_: Any) -> None:
    """Nobody wants to know."""


class SteppedClock:
    """A clock that stands still until it is told to step on.

    Examples
    --------
    >>> clock = SteppedClock(100.0)
    >>> clock.step_to(100.5)
    >>> clock()
    100.5
    """

    def __init__(self, start_s: float = 0.0):
        self._now_s = float(start_s)

    def __call__(self) -> float:
        """The time in s."""
        return self._now_s

    def step_to(self, time_s: float) -> None:
        """Step on; never back."""
        if time_s < self._now_s:
            raise ValueError(f"clock at {self._now_s} s told to step back to {time_s} s")
        self._now_s = time_s


class Bench:
    """The invented bench: a clock, and a thread that plays one performance over open lines.

    Hand it to the recorder as an observer: what it is shown by `chunk` and `event`
    is how it knows that bytes have arrived.

    Parameters
    ----------
    performance : Performance
        What to play.
    ports : mapping
        An open line for each instrument that takes part.
    clock : SteppedClock, optional
        Stepped as it plays; the recorder is given the same one.
    on_progress : callable, optional
        Called now and then with the seconds played so far.
    """

    def __init__(
        self,
        performance: Performance,
        ports: Mapping[str, SimulatedPort],
        clock: SteppedClock | None = None,
        on_progress: Callable[[float], None] | None = None,
    ):
        self.performance = performance
        self.clock = clock or SteppedClock()
        self._on_progress = on_progress
        self._on_mark: Callable[[str], None] = _nothing
        self._on_end: Callable[[], None] = _nothing
        self._ports = {name: ports[name] for name in performance.sent}
        self._sent = dict.fromkeys(performance.sent, 0)
        self._taken = dict.fromkeys(performance.sent, 0)
        self._opened: set[str] = set()
        self._news = threading.Condition()
        self._is_stopped = False
        self._thread = threading.Thread(target=self._play_and_tell, name="invented bench", daemon=True)
        self.failure: Exception | None = None

    def __enter__(self) -> "Bench":
        return self

    def __exit__(self, *_: Any) -> None:
        self.stop()

    def chunk(self, chunk: Any) -> None:
        """Bytes have been taken: `chunk.port` names the instrument, `chunk.data` are they."""
        with self._news:
            if chunk.port in self._taken:
                self._taken[chunk.port] += len(chunk.data)
                if self._taken == self._sent:  # before that the bench would wake for nothing
                    self._news.notify_all()

    def event(self, event: Any) -> None:
        """Something happened; that a port has been opened is what it waits for."""
        if getattr(event, "kind", "") == "opened" and getattr(event, "port", None) in self._taken:
            self.opened(event.port)

    def opened(self, name: str) -> None:
        """The port of this instrument is being listened to from now on."""
        with self._news:
            self._opened.add(name)
            self._news.notify_all()

    def start(self, on_mark: Callable[[str], None] = _nothing, on_end: Callable[[], None] = _nothing) -> None:
        """Begin to play, as soon as every port is open.

        `on_mark` is called with the text of each key that the operator presses, `on_end`
        once, when everything has been played and taken or the bench has been stopped.
        """
        self._on_mark, self._on_end = on_mark, on_end
        self._thread.start()

    def join(self, timeout_s: float = PATIENCE_S) -> None:
        """Wait for the end; a failure of the bench is raised here."""
        self._thread.join(timeout_s)
        if self.failure is not None:
            raise self.failure

    def stop(self) -> None:
        """End it, wherever it is."""
        with self._news:
            self._is_stopped = True
            self._news.notify_all()
        if self._thread.is_alive() and self._thread is not threading.current_thread():
            self._thread.join(PATIENCE_S)

    def _play_and_tell(self) -> None:
        try:
            self._play()
        except Exception as failure:  # handed on by `join`, so that it is not lost with the thread
            self.failure = failure
        finally:
            self._on_end()

    def _play(self) -> None:
        self._wait(lambda: len(self._opened) == len(self._ports), "the ports to be opened")
        for port in self._ports.values():
            port.await_listener()
        start_s, told_s = self.clock(), 0.0
        for tick in self.performance.ticks():
            if self._is_stopped:
                return
            self.clock.step_to(start_s + tick.time_s)
            self._put(tick)
            self._wait(lambda: self._taken == self._sent, "the bytes of one tick to be taken")
            if self._on_progress is not None and tick.time_s - told_s >= 1.0:
                told_s = tick.time_s
                self._on_progress(told_s)

    def _put(self, tick: Tick) -> None:
        for name, data in tick.data.items():
            with self._news:
                self._sent[name] += len(data)
            self._ports[name].send(data)
        for text in tick.marks:
            self._on_mark(text)

    def _wait(self, is_done: Callable[[], bool], what: str) -> None:
        with self._news:
            if not self._news.wait_for(lambda: is_done() or self._is_stopped, PATIENCE_S):
                raise TimeoutError(f"invented bench: waited {PATIENCE_S:.0f} s for {what}")


def play_in_real_time(performance: Performance, ports: Mapping[str, SimulatedPort]) -> None:
    """Send each tick when it is due, whether anyone listens or not, as real instruments do."""
    start_s = time.monotonic()
    for tick in performance.ticks():
        time.sleep(max(0.0, start_s + tick.time_s - time.monotonic()))
        for name, data in tick.data.items():
            ports[name].offer(data)
