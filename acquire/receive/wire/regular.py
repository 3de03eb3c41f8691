"""Lines of plain text parsed many at once: the same readings as one by one, in a tenth of the time.

Only what is regular is taken so: printable ASCII, numbers as NR1 to NR3 without blanks in them,
within the bounds of the instrument. Every other line is left to the decoder, one by one.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Instrument
from acquire.receive.wire.decoding import OVERFLOW_AT

_ODD = re.compile(r"[^\x20-\x7e\t\r\n]")
_NUMBERS = re.compile(r"(?:[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?\n)*+", re.ASCII)


@dataclass(frozen=True, eq=False)
class Block:
    """Whole lines of one block, each array of shape (n,)."""

    value: np.ndarray
    is_good: np.ndarray
    """Which are readings; the others are to be looked at one by one."""
    end: np.ndarray
    """Offset in the block just after each line's first end byte or bytes."""
    length: np.ndarray
    """Bytes of each on the wire, its end included."""
    lines: Sequence[str]
    """The lines, ends trimmed."""
    taken: int
    """Bytes of the block that are done with."""


def block_of(
    data: bytes, end: re.Pattern[bytes], pattern: re.Pattern[str], instrument: Instrument, decimal: str
) -> Block | None:
    """The whole lines of `data`; None where it is no plain text.

    Parameters
    ----------
    data : bytes
        It begins where a line begins.
    end : pattern of bytes
        What ends a line.
    pattern : pattern
        What a line must match whole; its group `value` is the number, and it has no group `unit`.
    instrument : Instrument
        Whose bounds the numbers are held against.
    decimal : str
        The decimal sign, a point or a comma.
    """
    if not data.isascii():
        return None
    text = data.decode("ascii")
    if _ODD.search(text):
        return None
    stop = np.array([match.end() for match in end.finditer(data)], np.int64)
    if not len(stop):
        return Block(np.zeros(0), np.zeros(0, bool), stop, stop, (), 0)
    taken = int(stop[-1])
    pieces = re.split(end.pattern.decode("ascii"), text[:taken])[:-1]
    length = np.diff(stop, prepend=0)
    lines = [piece.strip() for piece in pieces]
    is_there = np.fromiter(map(bool, lines), bool, len(lines))
    stop, length = stop[is_there], length[is_there]
    lines = [line for line in lines if line]
    value, is_good = _values(lines, pattern, instrument, decimal)
    return Block(value, is_good, stop, length, lines, taken)


def _values(
    lines: Sequence[str], pattern: re.Pattern[str], instrument: Instrument, decimal: str
) -> tuple[np.ndarray, np.ndarray]:
    """The numbers in the lines, and which of them are readings."""
    is_good = np.zeros(len(lines), bool)
    value = np.full(len(lines), np.nan)
    matches = [
        (at, match["value"] or "")
        for at, match in enumerate(map(pattern.fullmatch, lines))
        if match is not None and "\n" not in match.string
    ]
    if decimal == ",":
        matches = [(at, "?" if "." in word else word.replace(",", ".")) for at, word in matches]
    if _NUMBERS.fullmatch("".join(f"{word}\n" for _, word in matches)) is None:
        matches = [(at, word) for at, word in matches if _NUMBERS.fullmatch(f"{word}\n")]
    at = np.array([index for index, _ in matches], np.int64)
    numbers = np.array([float(word) for _, word in matches], float)
    value[at], is_good[at] = numbers, _is_possible(numbers, instrument)
    return value, is_good


def _is_possible(numbers: np.ndarray, instrument: Instrument) -> np.ndarray:
    lowest, highest = instrument.measures.lowest, instrument.measures.highest
    in_contract = numbers * instrument.contract_per_reading
    possible = np.isfinite(numbers) & (np.abs(numbers) < OVERFLOW_AT)
    possible &= (lowest <= in_contract) & (in_contract <= highest)
    if instrument.range is not None:
        possible &= (instrument.range[0] <= numbers) & (numbers <= instrument.range[1])
    return possible
