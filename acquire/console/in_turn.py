"""Stations taken in turn where nothing says where the instrument stands: each stretch of rest is one."""

from collections.abc import Sequence

import numpy as np

from acquire.model.bed import Instrument
from acquire.reduce.stopping import SPARSE_S, is_sent_by_key
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
        self.count = 0
        self.is_moving = False
        """Whether it has left the last of them."""

    def rested(self, rested_s: float) -> None:
        """It has been at rest for so long."""
        self.is_moving = rested_s <= 0
        if self.is_moving:
            self._is_counted = False
        elif rested_s >= self._needed_s and not self._is_counted:
            self._is_counted = True
            self.count += 1

    def sent(self, readings: int) -> None:
        """So many readings were sent one by one: each is a station."""
        self.count, self.is_moving = readings, False


def is_one_by_one(instrument: Instrument, time_s: Sequence[float], now_s: float) -> bool:
    """Whether its readings come one at a time, at the press of a key."""
    if len(time_s) == 0 or not is_sent_by_key(instrument):
        return False
    if len(time_s) == 1:
        return now_s - time_s[0] > SPARSE_S
    return float(np.median(np.diff(np.asarray(time_s)))) > SPARSE_S
