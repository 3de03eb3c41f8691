"""Whether the instrument stands still and has settled, and at how many stations it has stood so far.

Worked out as readings come.
"""

from collections import deque
from collections.abc import Sequence
from itertools import islice

import numpy as np

from acquire.model.bed import Instrument
from acquire.reduce.in_order import DOUBLE_PRESS_S, SPARSE_S, is_one_at_a_time, is_sent_by_key
from acquire.reduce.tagging.dwells import SHORTEST_DWELL_S

STILL_MM = 0.020
KEPT_S = 12.0
MOST_KEPT = 4000
FEWEST_IN_WINDOW = 5
WINDOW_S = 1.0
QUIETEST_SHARE = 0.2
RESTLESS_AT = 5.0
"""Times the quietest fifth's departure from a line, beyond which a reading is not at rest."""
LOOKED_EVERY_S = 0.5
LOOKS_KEPT = 400


class Recent:
    """The last seconds of one instrument; bounded whatever its rate."""

    def __init__(self) -> None:
        self._time_s: deque[float] = deque(maxlen=MOST_KEPT)
        self._value: deque[float] = deque(maxlen=MOST_KEPT)

    def add(self, time_s: float, value: float) -> None:
        """Keep one reading; let go of what is older than twelve seconds."""
        self._time_s.append(time_s)
        self._value.append(value)
        while self._time_s[0] < time_s - KEPT_S:
            self._time_s.popleft()
            self._value.popleft()

    @property
    def last(self) -> float | None:
        """The last reading."""
        return self._value[-1] if self._value else None

    @property
    def last_s(self) -> float | None:
        """When it was."""
        return self._time_s[-1] if self._time_s else None

    def window(self) -> tuple[np.ndarray, np.ndarray]:
        """Times and values of the last second, or of the last five readings where that is longer."""
        count = sum(1 for t in self._time_s if t > self._time_s[-1] - WINDOW_S)
        skipped = max(0, len(self._time_s) - max(count, FEWEST_IN_WINDOW))
        times, values = islice(self._time_s, skipped, None), islice(self._value, skipped, None)
        return np.array(list(times), float), np.array(list(values), float)

    def between(self, start_s: float, end_s: float = float("inf")) -> np.ndarray:
        """Readings from `start_s` up to `end_s`."""
        skipped = sum(1 for t in self._time_s if t < start_s)
        pairs = zip(islice(self._time_s, skipped, None), islice(self._value, skipped, None), strict=True)
        return np.array([value for time_s, value in pairs if time_s < end_s])


class StillTimer:
    """Since when a position has stayed put.

    Put is within 20 µm of where it was, or within eight times the stream's own noise.

    Examples
    --------
    >>> timer = StillTimer()
    >>> for t, x in [(0, 5.0), (1, 9.0), (2, 9.001), (4, 9.0)]:
    ...     timer.add(t, x)
    >>> timer.still_s(4.0)
    3.0
    """

    def __init__(self) -> None:
        self._anchor_mm: float | None = None
        self._since_s = 0.0
        self._noise_mm = 0.0
        self._last: deque[float] = deque(maxlen=3)

    def add(self, time_s: float, position_mm: float) -> None:
        """Take one position."""
        self._last.append(position_mm)
        if len(self._last) == 3:
            first, middle, last = self._last
            bend = min(abs(first - 2 * middle + last), 0.05)
            self._noise_mm += 0.02 * (bend / np.sqrt(6) - self._noise_mm)
        allowed = max(STILL_MM, 8 * self._noise_mm)
        if self._anchor_mm is None or abs(position_mm - self._anchor_mm) > allowed:
            self._anchor_mm, self._since_s = position_mm, time_s

    def still_s(self, now_s: float) -> float:
        """How long it has stood still."""
        return max(0.0, now_s - self._since_s) if self._anchor_mm is not None else 0.0


def is_steady(recent: Recent, now_s: float, allowance: float) -> bool:
    """Whether the last second's mean agrees with that of the second before.

    Within `allowance`, or within what the readings' own scatter lets the two differ by.
    """
    late, early = recent.between(now_s - 1.0), recent.between(now_s - 2.0, now_s - 1.0)
    if len(late) == 0 or len(early) == 0:
        return False
    spread = float(np.std(np.concatenate([early - early.mean(), late - late.mean()])))
    # Neighbouring readings of a level are alike: about three count as one.
    chance = 3 * spread * float(np.sqrt(3 / len(late) + 3 / len(early)))
    return bool(abs(float(late.mean() - early.mean())) <= max(allowance, chance))


def departure_from_line(time_s: np.ndarray, value: np.ndarray) -> float:
    """Root mean square departure of some readings from their own straight line.

    Examples
    --------
    >>> round(departure_from_line(np.arange(4.0), np.array([1.0, 3.0, 5.0, 7.0])), 9)
    0.0
    """
    x = time_s - time_s.mean()
    y = value - value.mean()
    slope = float(x @ y) / max(float(x @ x), 1e-12)
    return float(np.sqrt(np.mean((y - slope * x) ** 2)))


class RestTimer:
    """Since when a reading has been at rest, held against the quietest fifth of what was seen.

    The same measure as finds the quiet stretches of a finished recording.

    Parameters
    ----------
    floor : float
        A departure from a straight line that is rest in any case: the instrument's step or doubt.
    """

    def __init__(self, floor: float):
        self._floor = floor
        self._looks: deque[float] = deque(maxlen=LOOKS_KEPT)
        self._looked_s = float("-inf")
        self._quietest = 0.0
        self._since_s: float | None = None

    def look(self, recent: Recent, now_s: float) -> None:
        """Take note of how restless the last second was."""
        time_s, value = recent.window()
        if len(time_s) < FEWEST_IN_WINDOW or now_s - time_s[-1] > KEPT_S:
            self._since_s = None
            return
        departure = departure_from_line(time_s, value)
        if now_s - self._looked_s >= LOOKED_EVERY_S:
            self._looks.append(departure)
            self._looked_s = now_s
            self._quietest = float(np.quantile(self._looks, QUIETEST_SHARE))
        if departure > max(RESTLESS_AT * self._quietest, self._floor):
            self._since_s = None
        elif self._since_s is None:
            self._since_s = float(time_s[0])

    @property
    def is_at_rest(self) -> bool:
        """Whether the last second was as quiet as it gets."""
        return self._since_s is not None

    def rested_s(self, now_s: float) -> float:
        """How long it has been at rest."""
        return 0.0 if self._since_s is None else max(0.0, now_s - self._since_s)


class InTurn:
    """Counts stretches of rest, each once it has lasted.

    Examples
    --------
    >>> turn = InTurn(3.0)
    >>> for rested_s in (1.0, 3.0, 5.0, 0.0, 2.0, 3.5):
    ...     turn.rested(rested_s)
    >>> turn.count
    2
    """

    def __init__(self, needed_s: float):
        self._needed_s = max(needed_s, SHORTEST_DWELL_S)
        self._is_counted = False
        self._at_s: list[float] = []
        self._sent_s, self._readings = float("-inf"), 0
        self.is_moving = False
        """Whether it has left the last of them."""

    @property
    def count(self) -> int:
        """How many stations there are so far."""
        return len(self._at_s)

    def rested(self, rested_s: float, now_s: float = 0.0) -> None:
        """It has been at rest for so long."""
        self.is_moving = rested_s <= 0
        if self.is_moving:
            self._is_counted = False
        elif rested_s >= self._needed_s and not self._is_counted:
            self._is_counted = True
            self._at_s.append(now_s)

    def sent(self, readings: int, last_s: Sequence[float]) -> None:
        """So many readings were sent one by one so far, the last at these times.

        Each is a station, unless it came within a second of the one before.
        """
        self.is_moving = False
        new, self._readings = readings - self._readings, readings
        for time_s in list(last_s)[-new:] if new else ():
            if time_s - self._sent_s >= DOUBLE_PRESS_S:
                self._at_s.append(time_s)
            self._sent_s = time_s

    def take_back(self) -> float | None:
        """The last one was no station; gives when it was counted, None where there is none."""
        return self._at_s.pop() if self._at_s else None


def is_one_by_one(instrument: Instrument, time_s: Sequence[float], now_s: float) -> bool:
    """Whether its readings come one at a time, at the press of a key."""
    if len(time_s) == 0 or not is_sent_by_key(instrument):
        return False
    if len(time_s) == 1:
        return now_s - time_s[0] > SPARSE_S
    return is_one_at_a_time(np.asarray(time_s))
