"""One port of a recording: open, spoken to, silent, lost, back again."""

import threading
from collections import Counter
from collections.abc import Callable, Sequence
from itertools import count
from typing import Any

from acquire.model.bed import Port
from acquire.model.errors import PortError
from acquire.model.recorded import Chunk, Event
from acquire.receive.ports.asking import Asking, Request
from acquire.receive.ports.naming import Found, found_ports, resolve
from acquire.receive.ports.opening import PORT_FAULTS, close_port, error_counters, is_pollable, open_port

COUNTERS_EVERY_S = 1.0
TOLD_AGAIN_AT = 10
"""Line errors are told when the first comes, and again when they are so many times as many."""
_generations = count(1)


Said = list[Chunk | Event]


class Line:
    """The state of one port; every method gives the chunks and events that come of it."""

    def __init__(
        self, name: str, port: Port, requests: Sequence[Request], silent_after_s: float, retry_s: float
    ):
        self.name, self.port = name, port
        self.handle: Any = None
        self.descriptor = -1
        self.generation = 0
        """A new number at every opening."""
        self.is_pollable = False
        self._requests = requests
        self._asking = Asking((), 0.0)
        self._silent_after_s, self._retry_s = silent_after_s, retry_s
        self._heard_s = self._retry_at_s = self._counted_s = 0.0
        self._is_silent = self._has_spoken = False
        self._counters: dict[str, int] = {}
        self._errors: Counter[str] = Counter()
        self._errors_told: dict[str, int] = {}
        self._identity: Found | None = None
        self._last_fault = ""
        self._lock = threading.Lock()

    @property
    def is_open(self) -> bool:
        """Whether bytes may come."""
        return self.handle is not None

    def open(self, now_s: float, kind: str) -> Said:
        """Open it by its name or identity.

        Raises
        ------
        PortError
            If it cannot be opened now.
        """
        device = self._device()
        self.handle, lacking = open_port(self.port, device)
        self.is_pollable = is_pollable(self.handle)
        self.descriptor = self.handle.fileno() if self.is_pollable else -1
        self.generation = next(_generations)
        self._identity = self._identity or _identity_of(device)
        self._asking = Asking(self._requests, now_s)
        self._heard_s, self._is_silent, self._counters = now_s, False, error_counters(self.handle)
        opened = self._event(now_s, kind, f"{device} at {self.port.settings}")
        return [opened, *(self._event(now_s, "latency", words) for words in lacking)]

    def close(self) -> None:
        """Close it, whatever state it is in."""
        handle, self.handle, self.descriptor = self.handle, None, -1
        if handle is not None:
            close_port(handle)

    def took(self, data: bytes, time_s: float) -> Said:
        """Note bytes that arrived."""
        self._heard_s, self._has_spoken = time_s, True
        self._asking.heard(time_s)
        chunk = Chunk(self.name, time_s, data)
        if not self._is_silent:
            return [chunk]
        self._is_silent = False
        return [self._event(time_s, "speaking", "it speaks again"), chunk]

    def lose(self, now_s: float, why: str) -> Said:
        """Close a port that has gone; only then can the system give its name again."""
        self.close()
        self._retry_at_s, self._last_fault = now_s + self._retry_s, ""
        return [self._event(now_s, "lost", f"the port has gone ({why}); looking for it")]

    def write(self, data: bytes) -> None:
        """Send bytes; a port fault is the caller's to handle."""
        with self._lock:
            if self.handle is None:
                raise OSError("the port has gone")
            self.handle.write(data)

    def wait_s(self, now_s: float) -> float:
        """How long it needs no attention."""
        return self._asking.wait_s(now_s) if self.is_open else max(0.0, self._retry_at_s - now_s)

    def attend(self, clock: Callable[[], float]) -> Said:
        """Do what is due: look for a lost port, ask, notice silence and line errors."""
        now_s = clock()
        if not self.is_open:
            return self._look_again(now_s) if now_s >= self._retry_at_s else []
        said = self._ask(clock)
        if not self._is_silent and now_s - self._heard_s >= self._silent_after_s:
            self._is_silent = True
            said.append(self._event(now_s, "silent", self._silence()))
        if now_s - self._counted_s >= COUNTERS_EVERY_S:
            said.extend(self._count_errors(now_s))
        return said

    def _look_again(self, now_s: float) -> Said:
        try:
            return self.open(now_s, "reopened")
        except (PortError, OSError):
            self.close()
            self._retry_at_s = now_s + self._retry_s
            return []

    def _ask(self, clock: Callable[[], float]) -> Said:
        request = self._asking.due(clock())
        if request is None:
            return []
        sent_s = clock()
        try:
            self.write(request.data)
        except PORT_FAULTS as error:
            return self.lose(clock(), str(error))
        self._asking.sent(sent_s)
        return [self._event(sent_s, "asked", request.instrument)]

    def _silence(self) -> str:
        if self._has_spoken:
            return f"nothing more for {self._silent_after_s:g} s; check its power and its cable"
        return (
            f"nothing came for {self._silent_after_s:g} s; check that it is switched on, that it sends "
            f"(a key, a mode, or a request), that {self.port.settings} is its own setting, and the wiring"
        )

    def _count_errors(self, now_s: float) -> Said:
        self._counted_s = now_s
        counters = error_counters(self.handle)
        for key, n in counters.items():
            self._errors[key] += max(0, n - self._counters.get(key, n))
        self._counters = counters
        due = {
            key: n
            for key, n in self._errors.items()
            if n >= TOLD_AGAIN_AT * self._errors_told.get(key, 0) and n
        }
        self._errors_told |= due
        words = ", ".join(f"{n} {key}" for key, n in due.items())
        return [self._event(now_s, "errors", f"the driver has counted {words} by now")] if words else []

    def _device(self) -> str:
        """The device to open: by identity once it is known.

        A number is given anew at a replug, and a name without a serial number then answers to
        another adapter of the kind.
        """
        if self._identity is None or self._identity.usb_name is None:
            return resolve(self.port.url)
        same = [port.device for port in found_ports() if port.is_same_as(self._identity)]
        if len(same) != 1:
            raise PortError(self.port.url, "is not plugged in", "the same adapter as before")
        return same[0]

    def _event(self, time_s: float, kind: str, text: str) -> Event:
        return Event(time_s, kind, f"{self.name}: {text}")


def _identity_of(device: str) -> Found | None:
    return next((port for port in found_ports() if port.device == device), None)
