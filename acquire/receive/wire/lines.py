"""Lines of text: one reading, or several, in each.

A line ends with LF, CR or CR LF. The pattern must match the whole of it, ends trimmed;
its group `value` is the number, its group `unit` (optional) the unit. Where a line holds
several values, each instrument has a pattern that picks its own. Numbers are those of
IEEE 488.2 (NR1 -123, NR2 -1.23, NR3 -1.23E+00; from memory), with a decimal comma where
the wire table says so. A line is never read before its end has come. A
request that the line echoes is passed over.
"""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from typing import Any

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.bed_toml.patterns import line_pattern
from acquire.model.bed_toml.wire_keys import LONGEST_LINE
from acquire.model.units import unit_name
from acquire.receive.wire.decoding import (
    GARBLED,
    GOOD,
    Decoded,
    Decoder,
    Frame,
    Judgement,
    Rows,
    garbled,
    judge,
    request_bytes,
)
from acquire.receive.wire.regular import Block, blind_from, block_of

SUSPECT_WITHIN_S = 0.05
"""A first line that comes so soon after opening may have begun before it."""

LINES_REMEMBERED = 4096
"""Judgements of the latest different lines: an instrument of limited resolution says the same again."""

NO_LINE_END = "no line end"
AFTER_GAP = garbled("bytes before it are missing")
FEWEST_AT_ONCE = 8
LONGEST_END = 2

_NUMBER = re.compile(r"([-+]?) *(\d+\.?\d*|\.\d+)([eE][-+]?\d{1,3})?", re.ASCII)
_TRAILING_UNIT = re.compile(r"\s*(?P<unit>[^\s\d.,;+-][^\s\d,;+-]*)$")
_ENDS = {
    "any": (re.compile(rb"[\r\n]"), b""),
    "lf": (re.compile(rb"\n"), b"\n"),
    "cr": (re.compile(rb"\r"), b"\r"),
    "crlf": (re.compile(rb"\r\n"), b"\r\n"),
}


def number(text: str, decimal: str = ".") -> float | None:
    """The number that a line's value group holds; None where it is none.

    Refused: NaN, infinities in words, thousands marks, the other decimal sign.

    Examples
    --------
    >>> number("-1.23E+00"), number("- 0.5"), number("+3,25", ","), number("3,25"), number("nan")
    (-1.23, -0.5, 3.25, None, None)
    """
    if decimal == ",":
        if "." in text:
            return None
        text = text.replace(",", ".")
    match = _NUMBER.fullmatch(text.strip())
    return float(match[0].replace(" ", "")) if match else None


class LinesDecoder(Decoder):
    """Decoder of the wire kind `lines`."""

    is_memoryless = True
    """A line means the same whatever came before it."""

    def __init__(self, instrument: Instrument, wire: Mapping[str, Any] | None = None):
        wire = instrument.wire if wire is None else wire
        super().__init__(instrument, request_bytes(wire))
        self._pattern = line_pattern(wire["pattern"])
        self._value = self._pattern.groupindex["value"]
        self._has_unit = "unit" in self._pattern.groupindex
        self._decimal = wire.get("decimal", ".")
        self._end, self._end_bytes = _ENDS[wire.get("ends", "any")]
        self._blind_from = blind_from(wire["pattern"])
        self._longest = wire.get("longest_line", LONGEST_LINE)
        self._echo = (self._request or b"").strip()
        self._judgement_of = lru_cache(LINES_REMEMBERED)(self._read) if self.is_memoryless else self._read
        self._is_skipping = False
        self._is_after_gap = False
        self._may_be_cut = False
        self._held: Decoded | None = None

    def started(self, time_s: float) -> None:
        """Learn that the port was opened: its first line may have begun before that."""
        super().started(time_s)
        self._is_skipping, self._may_be_cut, self._held = False, self._request is None, None
        self._is_after_gap = False

    def interrupted(self, time_s: float) -> None:
        """Learn that bytes are missing here: of the first line that ends now, the beginning may be."""
        super().interrupted(time_s)
        self._may_be_cut, self._is_after_gap = False, True

    def feed(self, data: bytes, time_s: float) -> list[Decoded]:
        """Take bytes that arrived together at `time_s`; give the lines they complete."""
        if not self._may_be_cut and self._held is None:
            return super().feed(data, time_s)
        return self._feed_first(data, time_s)

    def feed_chunks(
        self, data: bytes, chunk_end: Sequence[int], chunk_time_s: Sequence[float]
    ) -> Iterable[Decoded]:
        """Take many chunks at once; the readings are those of feeding each, without their `text`.

        Chunks in which a line may lack its beginning or its end are fed one by one.
        """
        is_unsure = self._may_be_cut or self._held or self._broken_off
        if len(chunk_end) < FEWEST_AT_ONCE or is_unsure or self._is_endless_in(data):
            yield from super().feed_chunks(data, chunk_end, chunk_time_s)
            return
        before = self._taken + len(self._pending)
        self._pending += data
        chunk = 0
        for frame, judgement in self._cut():
            while chunk_end[chunk] + before < frame.end:
                chunk += 1
            if self._is_ours:
                yield self._decoded(frame, judgement, chunk_time_s[chunk])

    def feed_block(self, data: bytes, chunk_end: np.ndarray, chunk_time_s: np.ndarray) -> Rows | None:
        """As `feed_chunks`, in columns; None, and nothing is taken, where the bytes are not regular.

        Of an instrument that is asked, or remembers, each line is looked at.
        """
        is_plain = self.is_memoryless and self._request is None
        is_unsure = self._may_be_cut or self._held or self._broken_off or self._is_skipping
        is_unsure = is_unsure or self._is_after_gap or self._asked_s is not None or not self._is_ours
        if not is_plain or self._blind_from is None or is_unsure or len(chunk_end) < FEWEST_AT_ONCE:
            return None
        held = bytes(self._pending)
        sent = held + data
        block = block_of(
            sent, self._end_bytes, self._pattern, self._blind_from, self.instrument, self._decimal
        )
        if block.longest + LONGEST_END > self._longest:
            return None  # a line may become too long before its end comes: chunks decide where it is cut
        chunk = np.searchsorted(chunk_end + len(held), block.end)
        rows = self._rows(sent, block, chunk_time_s[chunk])
        self._pending += data
        self._drop(block.taken)
        return rows

    def _rows(self, sent: bytes, block: Block, arrival_s: np.ndarray) -> Rows:
        on_wire_s = np.zeros(int(block.length.max(initial=0)) + 1)
        for length in np.flatnonzero(np.bincount(block.length)).tolist():
            on_wire_s[length] = self._wire_time_s(length)
        value = block.value.copy()
        flag = np.full(len(value), GOOD, np.uint8)
        refused = []
        for at in np.flatnonzero(~block.is_good).tolist():
            line = sent[int(block.first[at]) : int(block.last[at])]
            frame = Frame(line, self._taken + int(block.end[at]), int(block.length[at]))
            one = self._decoded(frame, self._judgement_of(line), float(arrival_s[at]))
            value[at], flag[at] = one.value, one.flag
            refused += [one] if one.reason else []
        return Rows(arrival_s - on_wire_s[block.length], value, flag, arrival_s, refused)

    def _is_endless_in(self, data: bytes) -> bool:
        """Whether a line may become too long before its end comes, so that chunks decide where it is cut."""
        first, *others = self._end.split(data)
        longest = max(map(len, others), default=0)
        return max(longest, len(self._pending) + len(first)) + LONGEST_END > self._longest

    def finish(self) -> list[Decoded]:
        """Give a first line that waited for a second one to be compared with."""
        held, self._held = self._held, None
        return [_cut_off(held)] if held else []

    def _feed_first(self, data: bytes, time_s: float) -> list[Decoded]:
        """A line that began before the port was opened would read as a smaller number.

        It is held back until the next line shows how they begin and how long they are.
        """
        if self._may_be_cut and data and self._started_s is not None:
            self._may_be_cut = time_s - self._started_s < SUSPECT_WITHIN_S
            self._started_s = None
        broken = len(self._broken_off)
        found = super().feed(data, time_s)
        return found[:broken] + self._without_cut_off(found[broken:])

    def _without_cut_off(self, out: list[Decoded]) -> list[Decoded]:
        if self._held is not None and out:
            first, self._held = self._held, None
            return [first if _begins_like(first.text, out[0].text) else _cut_off(first), *out]
        if self._may_be_cut and out:
            self._may_be_cut = False
            if len(out) == 1:
                self._held = out[0]
                return []
            if not _begins_like(out[0].text, out[1].text):
                out[0] = _cut_off(out[0])
        return out

    def _cut(self) -> Iterable[tuple[Frame, Judgement]]:
        frames = []
        start = 0
        for match in self._end.finditer(self._pending):
            line, length = bytes(self._pending[start : match.start()]), match.end() - start
            start = match.end()
            if self._is_skipping:
                self._is_skipping = False
            elif line.strip() and line.strip() != self._echo:
                frame = Frame(line, self._taken + match.end(), length)
                frames.append((frame, AFTER_GAP if self._is_after_gap else self._judgement_of(line)))
            self._is_after_gap = False
        if start:
            self._drop(start)
        if len(self._pending) > self._longest:
            frames.extend(self._too_long())
        return frames

    def _too_long(self) -> list[tuple[Frame, Judgement]]:
        """Drop an endless line, all but a last CR that may be half of its end; told once."""
        head, count = bytes(self._pending[: self._longest]), len(self._pending) - 1
        end = self._drop(count)
        if self._is_skipping:
            return []
        self._is_skipping = True
        return [(Frame(head, end, count), garbled(f"{NO_LINE_END} within {self._longest} bytes"))]

    def _read(self, line: bytes) -> Judgement:
        if len(line) > self._longest:
            return garbled(f"longer than {self._longest} bytes")
        line = line.strip()
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError:
            text = line.decode("latin-1")
        match = None if "\n" in text else self._pattern.fullmatch(text)
        if match is not None:
            return self._matched(match, match["unit"] if self._has_unit else None)
        is_sure = self._has_unit or not self.is_memoryless or "\n" in text
        with_unit = None if is_sure else self._before_unit(text)
        return garbled("does not match the pattern") if with_unit is None else self._matched(*with_unit)

    def _before_unit(self, text: str) -> tuple[re.Match[str], str] | None:
        """A line that ends in its value and then a unit, of which the pattern says nothing."""
        tail = _TRAILING_UNIT.search(text)
        if tail is None or unit_name(tail["unit"]) is None:
            return None
        match = self._pattern.fullmatch(text, 0, tail.start())
        is_last = match is not None and match.end(self._value) == tail.start()
        return (match, tail["unit"]) if match is not None and is_last else None

    def _matched(self, match: re.Match[str], unit: str | None = None) -> Judgement:
        value = number(match["value"] or "", self._decimal)
        if value is None:
            return garbled("its value is no number")
        return judge(self.instrument, value, unit)


def _begins_like(first: str, second: str) -> bool:
    """Whether the first line has its beginning, judged by the line after it.

    Examples
    --------
    >>> _begins_like("+1.25", "+12.50"), _begins_like("2.345", "12.345"), _begins_like("12.345", "12.351")
    (True, False, True)
    """
    if first[:1] in ("+", "-"):
        return True
    return len(first) >= len(second) and first[:1].isdigit() == second[:1].isdigit()


def _cut_off(first: Decoded) -> Decoded:
    return first._replace(value=math.nan, flag=GARBLED, reason="may have lost its beginning")
