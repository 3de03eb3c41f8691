"""Lines that an invented instrument speaks over: a pseudo-terminal, or a loopback socket.

A pseudo-terminal is a real serial port to whoever opens it.  Where the system has
none (Windows), a socket that listens on the loopback address alone takes its place.
"""

import os
import socket
import time
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from typing import Protocol

PATIENCE_S = 30.0


class SimulatedPort(Protocol):
    """One end of a line; the other is opened by its `url`."""

    url: str

    def await_listener(self) -> None:
        """Called when somebody is known to have opened the other side."""

    def send(self, data: bytes) -> None:
        """Put all of it on the line, waiting as long as need be."""

    def offer(self, data: bytes) -> None:
        """Put it on the line as a real instrument does: what nobody takes is lost."""

    def received(self) -> bytes:
        """What has come from the other side since the last call; never waits."""

    def close(self) -> None:
        """Hang up."""


def open_port(loopback: bool | None = None) -> SimulatedPort:
    """A pseudo-terminal where there is one, else a loopback socket (or as `loopback` says)."""
    if loopback is None:
        loopback = not hasattr(os, "openpty")
    return LoopbackPort() if loopback else PseudoTerminal()


@contextmanager
def open_lines(names: Iterable[str], loopback: bool | None = None) -> Iterator[Mapping[str, SimulatedPort]]:
    """A line for each instrument, hung up at the end."""
    with ExitStack() as lines:
        ports = {name: open_port(loopback) for name in names}
        for port in ports.values():
            lines.callback(port.close)
        yield ports


class PseudoTerminal:
    """The instrument's side of a pseudo-terminal.

    Our own hold on the other side keeps the line up while nobody has it open.
    """

    def __init__(self) -> None:
        import tty

        self._ours, self._theirs = os.openpty()
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.url = os.ttyname(self._theirs)

    def await_listener(self) -> None:
        """Nothing to wait for: a terminal line is always up."""

    def send(self, data: bytes) -> None:
        """Put all of it on the line, waiting while the other side's buffer is full."""
        deadline = time.monotonic() + PATIENCE_S
        while data:
            try:
                data = data[os.write(self._ours, data) :]
            except BlockingIOError:
                _wait_a_little(deadline, self.url)

    def offer(self, data: bytes) -> None:
        """What does not fit into the other side's buffer is lost."""
        with suppress(BlockingIOError):
            os.write(self._ours, data)

    def received(self) -> bytes:
        """What has come from the other side since the last call; never waits."""
        try:
            return os.read(self._ours, 4096)
        except OSError:
            return b""

    def close(self) -> None:
        """Hang up."""
        os.close(self._theirs)
        os.close(self._ours)


class LoopbackPort:
    """The same over a socket on the loopback address; nothing outside this machine can reach it."""

    def __init__(self) -> None:
        self._door = socket.create_server(("127.0.0.1", 0))
        self._line: socket.socket | None = None
        self.url = f"socket://127.0.0.1:{self._door.getsockname()[1]}"

    def await_listener(self) -> None:
        """Take the newest caller; an earlier one has hung up."""
        self._door.settimeout(PATIENCE_S)
        self._answer(self._door.accept()[0])
        self._answer_all()

    def _answer_all(self) -> None:
        self._door.settimeout(0)
        with suppress(OSError):
            while True:
                self._answer(self._door.accept()[0])

    def _answer(self, line: socket.socket) -> None:
        if self._line is not None:
            self._line.close()
        line.settimeout(PATIENCE_S)
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._line = line

    def send(self, data: bytes) -> None:
        """Put all of it on the line, waiting for somebody to open it."""
        if self._line is None:
            self.await_listener()
        assert self._line is not None
        self._line.sendall(data)

    def offer(self, data: bytes) -> None:
        """Lost where nobody listens."""
        self._answer_all()
        with suppress(OSError):
            if self._line is not None:
                self._line.sendall(data)

    def received(self) -> bytes:
        """What has come from the other side since the last call; never waits."""
        if self._line is None:
            return b""
        self._line.setblocking(False)
        try:
            return self._line.recv(4096)
        except OSError:
            return b""
        finally:
            self._line.settimeout(PATIENCE_S)

    def close(self) -> None:
        """Hang up."""
        if self._line is not None:
            self._line.close()
        self._door.close()


def _wait_a_little(deadline: float, url: str) -> None:
    if time.monotonic() > deadline:
        raise TimeoutError(f"{url}: nobody has read it for {PATIENCE_S:.0f} s")
    time.sleep(0.0005)
