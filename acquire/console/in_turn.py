"""Stations taken in turn where nothing says where the instrument stands: each stretch of rest is one."""

from collections.abc import Sequence

import numpy as np

from acquire.model.bed import Instrument
from acquire.reduce.in_order import DOUBLE_PRESS_S, SPARSE_S, is_one_at_a_time, is_sent_by_key
from acquire.reduce.tagging.dwells import SHORTEST_DWELL_S


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
