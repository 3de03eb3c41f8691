"""The window's input, taken by a thread so that nobody waits for the picture."""

import threading
from collections.abc import Iterable

from analysis.draw.live_window.state import State, after

LIVE = b'{"live"'
CUT_OFF = "the end of what was sent"


class Feed:
    """Takes lines as they come; of the live ones only the newest is kept.

    Examples
    --------
    >>> feed = Feed([b'{"live": {"reading": 1}}', b'{"live": {"reading": 2}}', b'{"end": {"reason": "q"}}'])
    >>> feed.run()
    >>> state = feed.after(State())
    >>> state.now.reading, state.ended
    (2.0, 'q')
    """

    def __init__(self, lines: Iterable[bytes]):
        self._lines = lines
        self._kept: list[bytes] = []
        self._live: bytes | None = None
        self._has_ended = False
        self._lock = threading.Lock()

    def start(self) -> "Feed":
        """Begin to take lines."""
        threading.Thread(target=self.run, name="waylog window input", daemon=True).start()
        return self

    def run(self) -> None:
        """Take lines until their end."""
        try:
            for line in self._lines:
                self._take(line)
        except (OSError, ValueError):  # the other side went away in the middle of a line
            pass
        with self._lock:
            self._has_ended = True

    def after(self, state: State) -> State:
        """The state after all that has come since the last call."""
        with self._lock:
            lines, self._kept = self._kept, []
            live, self._live = self._live, None
            has_ended = self._has_ended
        for line in lines if live is None else [*lines, live]:
            state = after(state, line)
        if has_ended and state.ended is None:
            state = after(state, b'{"end": {"reason": "%s"}}' % CUT_OFF.encode())
        return state

    def _take(self, line: bytes) -> None:
        with self._lock:
            if line.startswith(LIVE):
                self._live = line
            else:
                self._kept.append(line)
