"""Lines of text parsed many at once: the same readings as one by one, in a tenth of the time.

Lines of one length that differ in their digits alone have one shape. A pattern that does not
tell one digit from another treats all lines of a shape alike: it is tried on the shape, and the
numbers of all of them are summed up digit by digit. A whole number below 2^53 divided by a power
of ten up to 10^22 is rounded once, so it is to the bit what `float` makes of the text (Clinger
1990, from memory; held against `float` in the tests). Every other line is left to the decoder.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.columns import pieces_of
from acquire.model.errors import UnitError
from acquire.receive.wire.decoding import as_read

MOST_SHAPES = 24
"""Of lines of one length in a block; what has more is free text."""
MOST_DIGITS = 15
LF, CR, ZERO = 10, 13, 48

_BLANK = np.isin(np.arange(256), list(b" \t\n\r\x0b\x0c"))
"""What `bytes.strip` takes off."""
_ODD = re.compile(rb"[^\x20-\x7e\t]")
_NUMBER = re.compile(r"([-+]?)(\d*)(?:\.(\d*))?", re.ASCII)
_TOKEN = re.compile(r"\\.|\[0-9\]|\{\d+(?:,\d*)?\}|\{,\d+\}|\(\?P=|.", re.DOTALL)
_TELLS_DIGITS = re.compile(r"\d|\\[0-9xuUN]|\(\?P=", re.ASCII)
_COUNT_IN_CLASS = re.compile(r"\[[^\]]*\{|\[\^?\]|\\\]")
"""A brace in a class of characters counts nothing; a bracket in it hides where it ends."""
_FIRST_TEXT = re.compile(r"[A-Za-z0-9 ,:;=#/]+(?=[(\[\\])", re.ASCII)


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
    first: np.ndarray
    last: np.ndarray
    """Offsets in the block of each line's text, blanks at its ends left out."""
    taken: int
    """Bytes of the block that are done with."""
    longest: int
    """Bytes between two ends, or before the first or after the last, at the most."""


def blind_from(pattern: str) -> int | None:
    r"""The column of a line from which on a pattern treats all ten digits alike; None: not to be seen.

    Before it stands plain text that every line must begin with. After it digits may only stand
    as `\d`, `[0-9]` or the count of a repetition: more would need the pattern to be understood.

    Examples
    --------
    >>> blind_from(r"(?P<value>[-+]?\d{1,3}\.[0-9]+) mm"), blind_from(r"01A(?P<value>\d+)")
    (0, 3)
    >>> blind_from(r"(?P<value>\d+)|7") is None
    True
    """
    if _is_blind(pattern):
        return 0
    text = _FIRST_TEXT.match(pattern)
    column = text.end() if text else 0
    is_begun_with = column > 0 and "|" not in pattern
    return column if is_begun_with and _is_blind(pattern[column:]) else None


def _is_blind(pattern: str) -> bool:
    if _COUNT_IN_CLASS.search(pattern):
        return False
    tokens = (token for token in _TOKEN.findall(pattern) if token != "[0-9]" and token[0] != "{")
    return not any(map(_TELLS_DIGITS.match, tokens))


def block_of(
    data: bytes, end: bytes, pattern: re.Pattern[str], column: int, instrument: Instrument, decimal: str
) -> Block:
    """The whole lines of `data`, those that are readings with their values.

    Parameters
    ----------
    data : bytes
        It begins where a line begins.
    end : bytes
        What ends a line; empty: LF or CR.
    pattern : pattern
        What a line must match whole; its group `value` is the number, its group `unit`, if it
        has one, the unit.
    column : int
        From which on it is blind to digits (`blind_from`).
    instrument : Instrument
        Whose bounds the numbers are held against.
    decimal : str
        The decimal sign, a point or a comma.
    """
    sent = np.frombuffer(data, np.uint8)
    stop = _ends(sent, end)
    start = np.concatenate([[0], stop])
    tail = len(data) - int(start[-1])
    longest = max(int(np.diff(start).max(initial=0)) - max(1, len(end)), tail)
    is_dark = ~_BLANK.take(sent)
    dark = np.flatnonzero(is_dark)
    before = np.concatenate([[0], np.cumsum(is_dark)])[start]
    is_there = before[1:] > before[:-1]
    first, last = dark[before[:-1][is_there]], dark[before[1:][is_there] - 1] + 1
    value, is_good = np.full(len(first), np.nan), np.zeros(len(first), bool)
    size = last - first
    for width in np.flatnonzero(np.bincount(size)).tolist():
        rows = np.flatnonzero(size == width)
        text = pieces_of(sent, first[rows], width).view(np.uint8).reshape(-1, width)
        for of_shape, shape in _shapes(text, column):
            number = _number_in(shape, pattern, decimal)
            if number is not None:
                found, is_good[rows[of_shape]] = _judged(text[of_shape], number, instrument)
                value[rows[of_shape]] = found
    length = np.diff(start)[is_there]
    return Block(value, is_good, stop[is_there], length, first, last, int(start[-1]), longest)


def _ends(sent: np.ndarray, end: bytes) -> np.ndarray:
    """Offsets just after each end of a line."""
    if not end:
        return np.flatnonzero((sent == LF) | (sent == CR)) + 1
    is_end = sent[len(end) - 1 :] == end[-1]
    if len(end) == 2:
        is_end &= sent[:-1] == end[0]
    return np.flatnonzero(is_end) + len(end)


def _shapes(text: np.ndarray, column: int) -> Iterator[tuple[np.ndarray, bytes]]:
    """Which rows of a block of bytes are of one shape, and it: its digits from `column` on as zeros."""
    shapes = np.where(text - np.uint8(ZERO) <= 9, np.uint8(ZERO), text)
    shapes[:, :column] = text[:, :column]
    whole = np.ascontiguousarray(shapes).view(f"S{text.shape[1]}")[:, 0]
    left = np.arange(len(text))
    for _ in range(MOST_SHAPES):
        if not len(left):
            return
        is_same = whole[left] == whole[left[0]]
        yield left[is_same], shapes[left[0]].tobytes()
        left = left[~is_same]


@dataclass(frozen=True)
class _Number:
    digits: tuple[int, ...]
    """Where they stand in the line."""
    decimals: int
    is_negative: bool
    unit: str | None


def _number_in(shape: bytes, pattern: re.Pattern[str], decimal: str) -> _Number | None:
    """Where the number stands in lines of a shape; None where they are to be looked at one by one."""
    match = None if _ODD.search(shape) else pattern.fullmatch(shape.decode("ascii"))
    if match is None:
        return None
    word, at = match["value"] or "", match.start(pattern.groupindex["value"])
    if decimal == ",":
        word = "?" if "." in word else word.replace(",", ".")
    plain = _NUMBER.fullmatch(word)
    unit = match["unit"] if "unit" in pattern.groupindex else None
    if plain is None or "0" in (unit or ""):
        return None
    digits = tuple(at + k for k, sign in enumerate(word) if sign == "0")
    if not 0 < len(digits) <= MOST_DIGITS:
        return None
    return _Number(digits, len(plain[3] or ""), plain[1] == "-", unit)


def _judged(text: np.ndarray, number: _Number, instrument: Instrument) -> tuple[np.ndarray, np.ndarray]:
    """The numbers in lines of one shape, in what the instrument reads, and which can be readings."""
    found = np.zeros(len(text))
    for column in number.digits:
        found = 10 * found + (text[:, column] - np.uint8(ZERO))
    found /= float(10**number.decimals)
    found = -found if number.is_negative else found
    try:
        found = as_read(instrument, found, number.unit) if number.unit else found
    except UnitError:
        return found, np.zeros(len(found), bool)
    return found, _is_possible(found, instrument)


def _is_possible(numbers: np.ndarray, instrument: Instrument) -> np.ndarray:
    lowest, highest = instrument.measures.lowest, instrument.measures.highest
    in_contract = numbers * instrument.contract_per_reading
    possible = (lowest <= in_contract) & (in_contract <= highest)
    if instrument.range is not None:
        possible &= (instrument.range[0] <= numbers) & (numbers <= instrument.range[1])
    return possible
