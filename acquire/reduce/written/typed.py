"""Typed lines: station, repeat, time and what was typed, with tabs between them.

Each line is on disk before the next is asked for.  A later line for the same station and
repeat corrects the earlier one, which stays in the bytes and is named in the note.  A line
that came over a network, where it may come twice, ends in the name that it was sent as.
"""

import math
import re
from dataclasses import dataclass

from acquire.model.bed import Instrument
from acquire.model.errors import EntryError
from acquire.model.traverse import Row, Setup
from acquire.model.units import mixed_as_decimal, with_plain_minus
from acquire.reduce.written.readings import (
    GAPS,
    ReadingsTable,
    check_on_bed,
    expected_unit,
    gather,
    reading_of,
)

MOST_LINES = 200_000


@dataclass(frozen=True)
class TypedLine:
    """One entry: where, the how-manieth reading there, when, and the words as typed."""

    station_mm: float
    repeat: int
    time_s: float
    """Seconds since the entry began; NaN where no clock ran."""
    words: str
    sent_as: str = ""
    """The name that a sender gave it, by which one that is sent again is known; empty at a prompt."""

    @property
    def is_gap(self) -> bool:
        """Whether the station was left out on purpose."""
        return self.words.strip() in GAPS

    def as_bytes(self) -> bytes:
        """The line as it is kept.

        Examples
        --------
        >>> TypedLine(450.0, 1, 12.25, "+3,5 thou").as_bytes()
        b'450\\t1\\t12.25\\t+3,5 thou\\n'
        >>> TypedLine(450.0, 1, 12.25, "+3", "p7Kd2").as_bytes()
        b'450\\t1\\t12.25\\t+3\\tp7Kd2\\n'
        """
        words = " ".join(self.words.split())
        time_s = "" if math.isnan(self.time_s) else f"{self.time_s:.2f}"
        name = f"\t{self.sent_as}" if self.sent_as else ""
        return f"{self.station_mm:.10g}\t{self.repeat}\t{time_s}\t{words}{name}\n".encode()


def typed_lines(raw: bytes) -> list[TypedLine]:
    """All lines in `raw`, in the order typed; a last one without its line end is cut off and left out.

    Raises
    ------
    EntryError
        If a line is none of these.

    Examples
    --------
    >>> typed_lines(b"450\\t1\\t12.25\\t+3\\n500\\t1")
    [TypedLine(station_mm=450.0, repeat=1, time_s=12.25, words='+3', sent_as='')]
    """
    whole = raw[: raw.rfind(b"\n") + 1].decode("utf-8", errors="replace")
    lines = whole.split("\n")[:-1]
    if len(lines) > MOST_LINES:
        raise EntryError("typed lines", f"found {len(lines)}", f"at most {MOST_LINES}")
    return [_line(number, text) for number, text in enumerate(lines, start=1)]


def _line(number: int, text: str) -> TypedLine:
    fields = text.split("\t")
    try:
        station_mm, repeat, time_s = float(fields[0]), int(fields[1]), float(fields[2] or "nan")
        if (
            len(fields) not in (4, 5)
            or not math.isfinite(station_mm)
            or not 1 <= repeat < 10**6
            or math.isinf(time_s)
        ):
            raise ValueError
    except (ValueError, IndexError, OverflowError):
        raise EntryError(
            f"typed line {number}", f"found {text[:60]!r}", "station, repeat, time and reading, tabs between"
        ) from None
    return TypedLine(station_mm, repeat, time_s, fields[3], fields[4] if len(fields) == 5 else "")


def typed_reading(instrument: Instrument, words: str, unit: str | None = None) -> float:
    """One typed reading in the contract's unit; two with a stroke or blank between are both ends of a vial.

    The bubble has moved by the mean of what its two ends have, each read from its own
    mark and positive the same way; its length, which changes with temperature, drops out.

    Examples
    --------
    >>> vial = Instrument("vial", "slope", "um/m", per_division=20)
    >>> typed_reading(vial, "+1.5 / 2,5"), typed_reading(vial, "2 3"), typed_reading(vial, "2 div")
    (40.0, 50.0, 40.0)
    """
    ends = ends_written(words) if instrument.measures.is_angle else [words]
    if len(ends) == 1:
        return reading_of(instrument, words, unit)
    if len(ends) != 2:
        raise EntryError("reading", f"found {words.strip()[:40]!r}", "one reading, or both ends of a vial")
    return sum(reading_of(instrument, end, unit) for end in ends) / 2


def ends_written(words: str) -> list[str]:
    """The one number that was typed, or both ends of a bubble.

    Examples
    --------
    >>> ends_written("+1.5 / 2,5"), ends_written("2 div"), ends_written("4 1/2")
    (['+1.5', '2,5'], ['2 div'], ['4.5'])
    """
    plain = mixed_as_decimal(with_plain_minus(words.strip()))
    return re.split(r"\s*/\s*(?=[-+.,\d])|(?<=\d)\s+(?=[-+.,\d])", plain)


def readings_typed(setup: Setup, raw: bytes) -> ReadingsTable:
    """The readings in typed lines, corrections applied.

    Raises
    ------
    EntryError
        If a line cannot be taken (the prompts take none such, so the bytes are damaged).
    """
    last: dict[tuple[float, int], TypedLine] = {}
    earlier: dict[tuple[float, int], list[str]] = {}
    for line in typed_lines(raw):
        key = (line.station_mm, line.repeat)
        if key in last:
            earlier.setdefault(key, []).append(last[key].words)
        last[key] = line
    readings = [_one(setup, line, earlier.get(key, [])) for key, line in last.items() if not line.is_gap]
    gap_mm = sorted({line.station_mm for line in last.values() if line.is_gap})
    return gather(setup, readings, gap_mm, (f"readings in {expected_unit(setup)}",))


def _one(setup: Setup, line: TypedLine, earlier: list[str]) -> Row:
    check_on_bed(setup, line.station_mm)
    reading = typed_reading(setup.described, line.words, setup.unit)
    note = f"first read {', '.join(earlier)}" if earlier else ""
    return Row(line.station_mm, reading, time_s=line.time_s, note=note, repeat=line.repeat)
