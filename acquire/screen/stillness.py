"""Whether the instrument stands still and its reading has settled, worked out as readings come."""

from collections import deque
from itertools import islice

import numpy as np

STILL_MM = 0.020
KEPT_S = 12.0
MOST_KEPT = 4000


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

    @property
    def since_s(self) -> float:
        """When it came to rest."""
        return self._since_s


def is_steady(recent: Recent, now_s: float, allowance: float) -> bool:
    """Whether the last second's mean agrees with that of the second before.

    Within `allowance`, or within what the readings' own scatter lets the two differ by.
    """
    late, early = recent.between(now_s - 1.0), recent.between(now_s - 2.0, now_s - 1.0)
    if len(late) == 0 or len(early) == 0:
        return False
    spread = float(np.std(np.concatenate([early - early.mean(), late - late.mean()])))
    # Neighbouring readings of a level are alike: about three count as one.
    chance = 3 * spread * np.sqrt(3 / len(late) + 3 / len(early))
    return abs(float(late.mean() - early.mean())) <= max(allowance, chance)
