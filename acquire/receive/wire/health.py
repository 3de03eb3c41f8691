"""How an instrument is doing while it is read: counts by what was wrong, rate, age, sameness.

Names, counts and words for the screen; what is kept in the file is decided when the
recording is derived, from all of it.
"""

from collections import Counter, deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import median

from acquire.model.traverse import FLAGS
from acquire.receive.wire.decoding import GOOD, Decoded

FEWEST_LUMPS, FEWEST_IN_LUMP = 3, 3
SHORTEST_LUMP_S, TOGETHER_S, AT_ONCE = 0.3, 0.02, 0.2
"""Lumps as the derivation finds them: lines closer together than this, after a gap, handed over at once."""
RATE_OVER = 20
"""The rate is that of so many readings."""

FROZEN_AFTER_S = 5.0
FROZEN_READINGS = 20
FROZEN_MOVE_MM = 20.0
"""The same value for so long, so often, while the position moves so far: frozen."""

LATE_PERIODS = 4.0
"""A reading that is so many of its usual intervals overdue is late."""

FLAG_WORDS = {number: name.replace("_", " ") for name, number in FLAGS.items()}


@dataclass(frozen=True)
class Health:
    """The state of one instrument at one moment."""

    readings: int
    good: int
    counts: Mapping[str, int]
    """How many were not good, by the name of their flag."""
    last_reason: str
    last_value: float | None
    rate_hz: float | None
    """Readings a second over the last few; None before there are two."""
    age_s: float | None
    """Since the last reading of any kind."""
    same_for_s: float
    """How long the value has been the same to its last digit."""
    same_readings: int
    moved_mm: float
    """How far the position has moved meanwhile."""
    lumps_s: float | None = None
    """The time from lump to lump, where its lines come in lumps."""

    @property
    def is_late(self) -> bool:
        """Whether the next reading is long overdue."""
        return bool(self.rate_hz and self.age_s is not None and self.age_s * self.rate_hz > LATE_PERIODS)

    @property
    def is_frozen(self) -> bool:
        """Whether the value has stayed the same for too long while the position moved."""
        return (
            self.same_for_s >= FROZEN_AFTER_S
            and self.same_readings >= FROZEN_READINGS
            and self.moved_mm >= FROZEN_MOVE_MM
        )

    def words(self) -> list[str]:
        """What is wrong, in words for the screen; nothing where all is well.

        Examples
        --------
        >>> Health(9, 7, {"garbled": 2}, "does not match the pattern", 1.5, 10.0, 0.1, 0.0, 1, 0.0).words()
        ['2 garbled (does not match the pattern)']
        """
        counts = sorted(self.counts.items(), key=lambda item: -item[1])
        said = [f"{count} {name}" for name, count in counts]
        if said and self.last_reason:
            said[-1 if len(said) == 1 else 0] += f" ({self.last_reason})"
        if self.is_frozen:
            said.append(f"frozen for {self.same_for_s:.0f} s while the position moved {self.moved_mm:.0f} mm")
        if self.lumps_s is not None:
            said.append(lump_words(self.lumps_s))
        elif self.is_late and self.age_s is not None:
            said.append(f"late: nothing for {self.age_s:.1f} s")
        return said


def lump_words(lumps_s: float) -> str:
    """What is wrong with an adapter that hands lines over in lumps, and what to do."""
    return f"its adapter hands over lines in lumps of {lumps_s:.2g} s: set it to hand over at once"


class HealthWatch:
    """Gathers the health of one instrument from its readings as they come.

    Examples
    --------
    >>> watch = HealthWatch()
    >>> watch.take([Decoded(0.1 * k, 2.0, GOOD, 0, "2.0", 0.1 * k) for k in range(11)])
    >>> health = watch.at(1.0)
    >>> health.good, round(health.rate_hz, 6), round(health.same_for_s, 6)
    (11, 10.0, 1.0)
    """

    def __init__(self) -> None:
        self._flags: Counter[int] = Counter()
        self._arrivals_s: deque[float] = deque(maxlen=RATE_OVER)
        self._reason = ""
        self._lumps_s: deque[float] = deque(maxlen=FEWEST_LUMPS)
        self._lump_began_s, self._lump_lines, self._gap_s = 0.0, 0, 0.0
        self._value: float | None = None
        self._same_since_s = 0.0
        self._same_readings = 0
        self._lowest_mm = self._highest_mm = self._position_mm = 0.0

    def take(self, readings: Iterable[Decoded], position_mm: float | None = None) -> None:
        """Take readings in order of arrival, and where the carriage is now if that is known."""
        if position_mm is not None:
            self._position_mm = position_mm
            self._lowest_mm = min(self._lowest_mm, position_mm)
            self._highest_mm = max(self._highest_mm, position_mm)
        for reading in readings:
            self._flags[reading.flag] += 1
            self._look_for_lump(reading.arrival_s)
            self._arrivals_s.append(reading.arrival_s)
            if reading.flag == GOOD:
                self._good(reading)
            else:
                self._reason = reading.words

    def _good(self, reading: Decoded) -> None:
        if reading.value == self._value:
            self._same_readings += 1
            return
        self._value, self._same_since_s, self._same_readings = reading.value, reading.arrival_s, 1
        self._lowest_mm = self._highest_mm = self._position_mm

    def at(self, now_s: float) -> Health:
        """The state at `now_s`."""
        last_s = self._arrivals_s[-1] if self._arrivals_s else None
        return Health(
            readings=sum(self._flags.values()),
            good=self._flags[GOOD],
            counts={FLAG_WORDS[flag]: n for flag, n in self._flags.items() if flag != GOOD},
            last_reason=self._reason,
            last_value=self._value,
            rate_hz=self._rate_hz(),
            age_s=None if last_s is None else now_s - last_s,
            same_for_s=0.0 if last_s is None or self._value is None else last_s - self._same_since_s,
            same_readings=self._same_readings,
            moved_mm=self._highest_mm - self._lowest_mm,
            lumps_s=float(median(self._lumps_s)) if len(self._lumps_s) == FEWEST_LUMPS else None,
        )

    def _look_for_lump(self, arrival_s: float) -> None:
        """Count lines that come together; three lumps in a row are lumps, a line by itself is their end."""
        gap_s = arrival_s - self._arrivals_s[-1] if self._arrivals_s else 0.0
        if gap_s <= TOGETHER_S:
            self._lump_lines += 1
            return
        took_s = self._arrivals_s[-1] - self._lump_began_s
        is_lump = self._lump_lines >= FEWEST_IN_LUMP and self._gap_s >= SHORTEST_LUMP_S
        if is_lump and took_s <= AT_ONCE * self._gap_s:
            self._lumps_s.append(self._gap_s)
        else:
            self._lumps_s.clear()
        self._lump_began_s, self._lump_lines, self._gap_s = arrival_s, 1, gap_s

    def _rate_hz(self) -> float | None:
        if len(self._arrivals_s) < 2 or self._arrivals_s[-1] <= self._arrivals_s[0]:
            return None
        return (len(self._arrivals_s) - 1) / (self._arrivals_s[-1] - self._arrivals_s[0])
