"""Lines of encoder counts: a length from the count, over its wrap-around, tied to an index mark.

The line's group `value` is the count. A group `index` that matched something marks the line
sent at the index mark. Without `index_mm` lengths are from where the counter began; with it
there is none until the mark has been passed.
"""

import math
import re

from acquire.model.bed import Instrument
from acquire.model.bed_toml.wire_keys import COUNTER_PATTERN
from acquire.model.traverse import FLAGS
from acquire.receive.wire.decoding import OUT_OF_RANGE, Judgement, garbled, judge
from acquire.receive.wire.lines import LinesDecoder, number

RESTARTED_BELOW = 0.1
"""A counter back after a gap that counts less than this part of what it did has begun anew."""

RESTARTED_FROM_MM = 5.0


class CounterDecoder(LinesDecoder):
    """Decoder of the wire kind `counter`."""

    is_memoryless = False

    def __init__(self, instrument: Instrument):
        wire = instrument.wire
        super().__init__(instrument, {"pattern": COUNTER_PATTERN, **wire})
        self._has_index = "index" in self._pattern.groupindex
        self._per_mm = wire["counts_per_mm"]
        self._wrap: int | None = wire.get("wrap")
        self._index_mm: float | None = wire.get("index_mm")
        self._counts: int | None = None
        self._zero_counts: int | None = None if self._index_mm is not None else 0
        self._is_back = self._is_astray = False

    def started(self, time_s: float) -> None:
        """Learn that the port was opened: the counter may have begun anew meanwhile."""
        super().started(time_s)
        self._is_back = self._counts is not None

    def _matched(self, match: re.Match[str], unit: str | None = None) -> Judgement:
        value = number(match["value"] or "")
        if value is None or not value.is_integer() or abs(value) >= 1 << 62:
            return garbled("its count is no whole number")
        self._count(int(value))
        if self._has_index and match["index"]:
            self._zero_counts, self._is_astray = self._counts, False
        return self._judged()

    def _count(self, counted: int) -> None:
        if self._is_back:
            self._is_back = False
            if self._has_begun_anew(counted):
                self._is_astray, self._counts = True, None
        if self._counts is None or self._wrap is None:
            self._counts = counted
            return
        half = self._wrap // 2
        self._counts += (counted - self._counts + half) % self._wrap - half

    def _has_begun_anew(self, counted: int) -> bool:
        before = abs(self._counts or 0)
        return before > RESTARTED_FROM_MM * self._per_mm and abs(counted) < RESTARTED_BELOW * before

    def _judged(self) -> Judgement:
        if self._zero_counts is None or self._counts is None:
            return Judgement(math.nan, FLAGS["no_position"], "the index mark has not been passed yet")
        if self._is_astray:
            return Judgement(math.nan, OUT_OF_RANGE, "the counter began anew; pass the index mark")
        length_mm = (self._counts - self._zero_counts) / self._per_mm + (self._index_mm or 0.0)
        return judge(self.instrument, length_mm, "mm")
