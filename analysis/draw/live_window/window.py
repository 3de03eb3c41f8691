"""The window on the screen: its input, which of matplotlib's backends opens one, and redrawing it in time."""

import os
import sys
import threading
import time
from collections.abc import Iterable
from typing import Any

from matplotlib.figure import Figure

from analysis.draw.live_window.picture import draw
from analysis.draw.live_window.shapes import Shape, joints_of, other_direction, seating_of, shape_of
from analysis.draw.live_window.state import Start, State, after

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


BACKENDS = ("TkAgg", "QtAgg", "GTK4Agg", "GTK3Agg", "WXAgg")
SIZE_IN = (11.2, 6.3)
"""Fits a screen of 1280 × 800 with its frame, also where the toolkit enlarges it a little."""
SHORTEST_MS = 200
PART_OF_TIME = 0.3
"""Drawing takes at most this part of the time, so that the recorder has the rest."""


class Painter:
    """Redraws a figure where something has changed; `tick` is called by the window's timer."""

    def __init__(self, figure: Figure, feed: Feed):
        self._figure, self._feed = figure, feed
        self.state = State()
        self._size: tuple[float, float] = (0.0, 0.0)
        self._drawn: State | None = None
        self._start: Start | None = None
        self._seating_um = 0.0
        self._before: Shape | None = None
        self._joints_mm: tuple[float, ...] = ()
        self.took_s = 0.0
        """How long the last redrawing took."""

    def tick(self) -> bool:
        """Take what has come and redraw; false where nothing has changed."""
        self.state = self._feed.after(self.state)
        size = tuple(self._figure.get_size_inches())
        if self.state == self._drawn and size == self._size:
            return False
        began_s = time.perf_counter()
        if self.state.start != self._start:
            self._look_back(self.state.start)
        shape = shape_of(self.state.start, self.state.stations, self._seating_um)
        draw(self._figure, self.state, shape, self._before, self._joints_mm)
        self._figure.canvas.draw()
        self._drawn, self._size = self.state, size
        self.took_s = time.perf_counter() - began_s
        return True

    def wait_ms(self) -> int:
        """How long to leave it alone."""
        return max(SHORTEST_MS, int(1000 * self.took_s * (1 / PART_OF_TIME - 1)))

    def _look_back(self, start: Start) -> None:
        self._start = start
        if start.survey:
            self._seating_um = seating_of(start)
            self._joints_mm = joints_of(start)
            self._before = other_direction(start, self._seating_um)


def run() -> int:
    """Show what standard input says until the window is closed; 1 where no window can be had."""
    figure, faults = _open_window()
    if figure is None:
        print(f"waylog window: {_why_not(faults)}; the recording goes on without it.", file=sys.stderr)
        return 1
    if hasattr(os, "nice"):
        os.nice(5)
    _keep_up(figure, Painter(figure, Feed(sys.stdin.buffer).start()))
    return 0


def _keep_up(figure: Any, painter: Painter) -> None:
    """Redraw by a timer until the window is closed."""
    from matplotlib import pyplot

    timer = figure.canvas.new_timer(interval=SHORTEST_MS)

    def look() -> None:
        painter.tick()
        timer.interval = painter.wait_ms()

    timer.add_callback(look)
    timer.start()
    pyplot.show(block=True)


def has_display() -> bool:
    """Whether there can be a window: on Linux a display must be named."""
    if not sys.platform.startswith("linux"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def _open_window() -> tuple[Any, list[str]]:
    """A figure in a window of the first backend that opens one; otherwise what each of them said."""
    if not has_display():
        return None, ["no display"]
    import matplotlib
    from matplotlib import pyplot

    matplotlib.rcParams["toolbar"] = "None"
    faults = []
    for backend in (*(("macosx",) if sys.platform == "darwin" else ()), *BACKENDS):
        try:
            pyplot.switch_backend(backend)
            figure = pyplot.figure("waylog", figsize=SIZE_IN)
        except Exception as fault:  # each toolkit has errors of its own for a display it cannot reach
            faults.append(f"{backend}: {' '.join(str(fault).split())[:80]}")
            if not isinstance(fault, ImportError):
                break  # the toolkit is there, the display is not; the others would abort the process
        else:
            return figure, []
    return None, faults


def _why_not(faults: list[str]) -> str:
    if faults == ["no display"]:
        return "there is no display here (DISPLAY is not set)"
    if len(faults) >= len(BACKENDS):
        return "this Python has no window toolkit (install python3-tk for it)"
    return f"no window can be opened ({faults[-1]})"
