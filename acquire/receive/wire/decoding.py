"""What every wire kind shares: the reading that comes out, its flag, its unit and its time.

A decoder is fed whatever bytes arrived, in any pieces, and never raises: what cannot be
understood comes out as a reading flagged `garbled`, with the reason, and the next intact
frame is read again.  The same decoder serves the live screen and the file, so a recording
can be derived anew from its raw bytes and their times alone.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Any, NamedTuple

import numpy as np

from acquire.model.bed import Instrument, Port, Reading
from acquire.model.errors import UnitError
from acquire.model.traverse import FLAGS
from acquire.model.units import unit_name

GOOD, GARBLED = FLAGS["good"], FLAGS["garbled"]
OVERFLOW, OUT_OF_RANGE, REPEATED = FLAGS["overflow"], FLAGS["out_of_range"], FLAGS["repeated"]

OVERFLOW_AT = 9.9e37
"""IEEE 488.2 numeric response data (from memory): ±9.9E37 and 9.91E37 stand for infinity and for
not-a-number."""

ONE_ANSWER_S = 0.5
"""The same answer again so soon after one request is a repeat, not another reading."""

FRAME_LENGTHS = 512
"""So many different lengths of lines have their time on the wire remembered."""

LONGEST_TEXT = 80
"""So many characters of a line are kept beside its reading; the raw bytes hold all of it."""


class Decoded(NamedTuple):
    """One reading, or one frame that could not be read."""

    time_s: float
    """When it was true as far as the wire tells: arrival less the time on the wire; of an asked
    instrument the middle of request and reply."""
    value: float
    """In what the instrument reads (divisions or its unit), before its sign; NaN unless good."""
    flag: int
    """A number of `FLAGS`."""
    raw_end: int
    """Offset in all the bytes of the port just after this frame."""
    text: str
    """What was sent, shortened and printable."""
    arrival_s: float
    """When its last byte arrived."""
    reason: str = ""
    """What is wrong with it, in words that are the same for all of that kind."""
    found: float | str = ""
    """What was found, where that differs from one to the next."""

    @property
    def words(self) -> str:
        """Why it is not good, and what was found."""
        return f"{_found_words(self.found)} {self.reason}" if self.found != "" else self.reason


class Rows(NamedTuple):
    """Many readings at once, each array of shape (n,), as the fields of `Decoded`."""

    time_s: np.ndarray
    value: np.ndarray
    flag: np.ndarray
    arrival_s: np.ndarray
    refused: Sequence[Decoded]
    """Those of them that are not good."""


@dataclass(frozen=True)
class Judgement:
    """A value in what the instrument reads, its flag, and why it is not good."""

    value: float
    flag: int
    reason: str = ""
    found: float | str = ""


def garbled(reason: str, found: str = "") -> Judgement:
    """The judgement on a frame that cannot be read."""
    return Judgement(math.nan, GARBLED, reason, found)


def _found_words(found: float | str) -> str:
    return repr(found) if isinstance(found, str) else f"{found:g}"


def judge(instrument: Instrument, value: float, unit: str | None = None) -> Judgement:
    """Say whether a number can be a reading of `instrument`, and convert it to what it reads.

    `unit` is the unit sent with the number, if any.

    Examples
    --------
    >>> indicator = Instrument("dial", "offset", "um", range=(-500.0, 500.0))
    >>> judge(indicator, 0.25, "mm")
    Judgement(value=250.0, flag=0, reason='', found='')
    >>> judge(indicator, 9.9e37).reason, judge(indicator, 501.0).flag
    ('an overflow, not a reading', 3)
    """
    if not math.isfinite(value):
        return garbled("not a finite number")
    if abs(value) >= OVERFLOW_AT:
        return Judgement(math.nan, OVERFLOW, "an overflow, not a reading")
    if unit:
        try:
            value = as_read(instrument, value, unit)
        except UnitError:
            return garbled(f"is a unit that does not fit a {instrument.quantity}", unit[:12])
    reason = _beyond(instrument, value)
    return Judgement(math.nan, OUT_OF_RANGE, reason, value) if reason else Judgement(value, GOOD)


def as_read(instrument: Instrument, value: Reading, written_unit: str) -> Reading:
    """A number sent with its unit, or many, in what the instrument reads.

    Raises
    ------
    UnitError
        If the unit is none of what it measures.
    """
    unit = unit_name(written_unit)
    if unit is None:
        raise UnitError("unit", f"found {written_unit!r}")
    if unit in ("div", instrument.unit) and (unit == "div" or instrument.per_division is None):
        return value
    return value * instrument.measures.to_contract(1.0, unit) / instrument.contract_per_reading


def _beyond(instrument: Instrument, value: float) -> str:
    if instrument.range is not None and not instrument.range[0] <= value <= instrument.range[1]:
        return f"is outside {instrument.range[0]:g} to {instrument.range[1]:g}"
    measures = instrument.measures
    if not measures.lowest <= value * instrument.contract_per_reading <= measures.highest:
        return f"{instrument.unit} is more than any {instrument.quantity} can be"
    return ""


def shown(data: bytes) -> str:
    """Bytes of a line as short printable text; anything else as hex."""
    text = data[:LONGEST_TEXT].decode("utf-8", "replace").strip("\r\n\t \0")
    return text if text.isprintable() and "\ufffd" not in text else data[:LONGEST_TEXT].hex(" ")


NETWORK_URLS = ("socket:", "rfc2217:", "loop:")


def wire_time_s(port: Port | None, byte_count: int) -> float:
    """Seconds that so many bytes take on a serial line at the port's speed and framing.

    0 without a port and over a network, where the speed says nothing.

    Examples
    --------
    Twelve bytes of ten bits at 9600 baud:

    >>> wire_time_s(Port("/dev/ttyUSB0"), 12)
    0.0125
    """
    if port is None or port.url.startswith(NETWORK_URLS):
        return 0.0
    bits = 1 + port.bytesize + (port.parity != "N") + port.stopbits
    return byte_count * bits / port.baud


class Decoder:
    """Bytes in, readings out; what all kinds of wire share: offsets, times, whose turn it is.

    A kind supplies `_cut`, which takes whole frames off the pending bytes, and `_read`,
    which judges one.
    """

    def __init__(self, instrument: Instrument, request: bytes | None = None):
        self.instrument = instrument
        self._request = request
        self._wire_time_s = lru_cache(FRAME_LENGTHS)(partial(wire_time_s, instrument.port))
        self._pending = bytearray()
        self._taken = 0
        self._asked_s: float | None = None
        self._answer: bytes | None = None
        self._is_ours = True
        self._started_s: float | None = None
        self._broken_off: list[tuple[Frame, Judgement]] = []

    def request(self) -> bytes | None:
        """The bytes to send when a reading is wanted, or None."""
        return self._request

    def asked(self, instrument: str, time_s: float) -> None:
        """Learn that `instrument` was sent its request: what comes next answers that."""
        self._is_ours = self._request is None or instrument == self.instrument.name
        self._asked_s, self._answer = time_s, None

    def started(self, time_s: float) -> None:
        """Learn that the port was opened (again): what is half read is broken off."""
        if self._pending:
            half = bytes(self._pending)
            end = self._drop(len(half))
            self._broken_off.append((Frame(half, end, len(half)), garbled("broken off when the port went")))
        self._asked_s, self._is_ours, self._started_s = None, True, time_s

    def interrupted(self, time_s: float) -> None:
        """Learn that bytes or requests are missing here: a reply may be to a request that is not known."""
        is_half_read = bool(self._pending)
        self.started(time_s)
        self._is_ours = self._request is None
        if is_half_read:
            half, _ = self._broken_off.pop()
            self._broken_off.append((half, garbled("bytes after it are missing")))

    def feed(self, data: bytes, time_s: float) -> list[Decoded]:
        """Take bytes that arrived together at `time_s`; give what they complete."""
        self._pending += data
        frames = [*self._broken_off, *self._cut()]
        self._broken_off.clear()
        if not self._is_ours:
            return []
        return [self._decoded(frame, found, time_s, shown(frame.data)) for frame, found in frames]

    def feed_chunks(
        self, data: bytes, chunk_end: Sequence[int], chunk_time_s: Sequence[float]
    ) -> Iterable[Decoded]:
        """Take many chunks at once; the readings are those of feeding each, without their `text`."""
        start = 0
        for end, time_s in zip(chunk_end, chunk_time_s, strict=True):
            yield from self.feed(data[start:end], time_s)
            start = end

    def feed_block(self, data: bytes, chunk_end: np.ndarray, chunk_time_s: np.ndarray) -> Rows | None:
        """As `feed_chunks`, in columns; None, and nothing is taken, where that cannot be done."""
        return None

    def finish(self) -> list[Decoded]:
        """Nothing is held back; a kind that holds something gives it here."""
        return []

    def _cut(self) -> Iterable[tuple["Frame", Judgement]]:
        raise NotImplementedError

    def _drop(self, count: int) -> int:
        """Take `count` bytes off the front; the offset in all bytes just after them."""
        del self._pending[:count]
        self._taken += count
        return self._taken

    def _decoded(self, frame: "Frame", judgement: Judgement, arrival_s: float, text: str = "") -> Decoded:
        time_s = arrival_s - self._wire_time_s(frame.length)
        if self._asked_s is not None and judgement.flag == GOOD:
            if self._answer is None:
                self._answer, time_s = frame.data, 0.5 * (self._asked_s + arrival_s)
            elif self._answer == frame.data and arrival_s - self._asked_s < ONE_ANSWER_S:
                judgement = Judgement(math.nan, REPEATED, "the same answer twice to one request")
        return Decoded(
            time_s,
            judgement.value,
            judgement.flag,
            frame.end,
            text,
            arrival_s,
            judgement.reason,
            judgement.found,
        )


class Frame(NamedTuple):
    """The bytes of one line or frame, without its ends, and where they stood."""

    data: bytes
    end: int
    """Offset in all bytes just after it."""
    length: int
    """Bytes on the wire, ends included."""


def request_bytes(wire: Mapping[str, Any]) -> bytes | None:
    r"""The request of `ask`, with the escapes \r \n \t \xNN written out.

    Examples
    --------
    >>> request_bytes({"ask": "READ?\\r\\n"}), request_bytes({})
    (b'READ?\r\n', None)
    """
    text = wire.get("ask")
    return None if text is None else text.encode("latin-1").decode("unicode_escape").encode("latin-1")
