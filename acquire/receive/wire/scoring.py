"""How much bytes heard at some speed look like an instrument's lines, and what framing they show.

All is judged from a capture made with 8 data bits and no parity: the bytes of another
framing show in their top bit, or in the line errors that the driver counts.
"""

import math
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

from acquire.model.bed_toml.patterns import pattern_fault
from acquire.model.units import unit_name

FEWEST_LINES = 3
LONGEST_FRAME = 64
NUMBERS = {
    ".": re.compile(r"(?:[-+] *)?\d+(?:\.\d+)?(?:[eE][-+]?\d{1,3})?"),
    ",": re.compile(r"(?:[-+] *)?\d+(?:,\d+)?"),
}
"""Numbers within a line, by the decimal sign."""
_NUMBER_PATTERNS = {".": r"(?:[-+] *)?\d+(?:\.\d+)?", ",": r"(?:[-+] *)?\d+(?:,\d+)?"}
_EXPONENT = r"(?:[eE][-+]?\d+)?"
_PARITY_SHARE = 0.93
_ERROR_SHARE = 0.15


@dataclass(frozen=True)
class Heard:
    """What was heard at one speed with 8 data bits and no parity."""

    baud: int
    data: bytes
    framing_errors: int | None = None
    """None where the driver keeps no count."""

    @property
    def error_share(self) -> float:
        """Framing errors for each byte heard."""
        return (self.framing_errors or 0) / len(self.data) if self.data else 0.0


@dataclass(frozen=True)
class Framing:
    """Data bits, parity and stop bits; `doubt` says what speaks against them, in words."""

    bytesize: int
    parity: str
    stopbits: int = 1
    doubt: str = ""


@dataclass(frozen=True)
class LineShape:
    """A pattern that fits all lines heard, and the numbers in them."""

    pattern: str
    decimal: str
    unit: str | None
    """The unit written after the value, if it is one known here."""
    numbers: int
    """How many numbers a line holds."""


def whole_lines(data: bytes) -> list[bytes]:
    """Lines between two line ends, with seven bits to the byte; what lacks its beginning is left out."""
    parts = re.split(rb"[\r\n]+", bytes(byte & 0x7F for byte in data))
    return [line for line in parts[1:-1] if line.strip(b"\0 ")]


def score(heard: Heard) -> float:
    """How much a capture looks like lines with numbers: 0 for nothing, above 4 for an instrument.

    Examples
    --------
    >>> right = Heard(9600, b"5\\r\\n+0012.5\\r\\n+0012.7\\r\\n+0012.4\\r\\n")
    >>> wrong = Heard(38400, b"\\x80\\x00\\xf8\\x00\\x80\\x80\\x00\\xf8\\x00")
    >>> score(right) > 4 > score(wrong)
    True
    """
    data = bytes(byte & 0x7F for byte in heard.data)
    end = re.search(rb"[\r\n]", data)
    data = data[end.end() :] if end else data
    if len(data) < 4:
        return 0.0
    printable = sum(32 <= byte < 127 or byte in b"\r\n\t" for byte in data) / len(data)
    digits = sum(byte in b"0123456789+-., " for byte in data) / len(data)
    diversity = min(1.0, len(set(data)) / 4)
    lines = whole_lines(heard.data)
    return (
        2 * printable
        + 1.5 * digits * diversity
        + _regularity(lines)
        + _share_with_numbers(lines)
        - 0.8 * min(1.0, heard.error_share)
    )


def _regularity(lines: Sequence[bytes]) -> float:
    if len(lines) < 2:
        return 0.0
    lengths = [len(line) for line in lines]
    return max(0.0, 1.0 - statistics.pstdev(lengths) / statistics.mean(lengths))


def _share_with_numbers(lines: Sequence[bytes]) -> float:
    if not lines:
        return 0.0
    return sum(bool(NUMBERS["."].search(line.decode("ascii"))) for line in lines) / len(lines)


def is_certain(heard: Heard) -> bool:
    """Whether these are an instrument's lines beyond doubt: no other speed need be tried."""
    lines = whole_lines(heard.data)
    text = b"".join(lines)
    return (
        len(lines) >= FEWEST_LINES
        and all(32 <= byte < 127 or byte == 9 for byte in text)
        and _share_with_numbers(lines) == 1.0
        and sum(byte in b"0123456789" for byte in text) >= 0.3 * len(text)
        and _regularity(lines) > 0.7
    )


def framing_of(heard: Heard) -> Framing:
    """The framing that a capture at the right speed shows.

    Top bit always 0: eight data bits (with line errors on some bytes: a parity bit where the
    stop bit was looked for); always 1: seven and two stop bits; otherwise seven and parity.

    Examples
    --------
    >>> framing_of(Heard(9600, bytes([0x30, 0xB1, 0xB2, 0x33, 0x8D, 0x0A])))
    Framing(bytesize=7, parity='E', stopbits=1, doubt='')
    """
    data = _from_first_end(heard.data)
    if not data:
        return Framing(8, "N", doubt="too little was heard to tell the framing")
    top = sum(byte >> 7 for byte in data) / len(data)
    if top <= 1 - _PARITY_SHARE:
        return _eight_bits(data, heard)
    odd = sum(byte.bit_count() & 1 for byte in data) / len(data)
    if odd <= 1 - _PARITY_SHARE:
        return Framing(7, "E")
    if odd >= _PARITY_SHARE:
        return Framing(7, "O")
    if top >= _PARITY_SHARE:
        return Framing(7, "N", 2)
    return Framing(8, "N", doubt="the top bit follows no rule; some bytes may be wrong")


def _from_first_end(data: bytes) -> bytes:
    for place, byte in enumerate(data):
        if byte & 0x7F in b"\r\n":
            return data[place:]
    return data


def _eight_bits(data: bytes, heard: Heard) -> Framing:
    """A parity bit of 0 in the place of the stop bit is a framing error, one of 1 is none."""
    if heard.framing_errors is None or heard.error_share <= _ERROR_SHARE:
        return Framing(8, "N")
    even_share = sum(not byte.bit_count() & 1 for byte in data) / len(data)
    distances = {"E": abs(heard.error_share - even_share), "O": abs(heard.error_share - (1 - even_share))}
    parity = min(distances, key=lambda kind: distances[kind])
    is_close = abs(distances["E"] - distances["O"]) < 0.1
    return Framing(8, parity, doubt="even and odd parity look alike here" if is_close else "")


def line_shape(lines: Sequence[str]) -> LineShape | None:
    """A pattern for lines that differ in their numbers alone; None where they differ otherwise.

    The value is the number that varies most (the first of those that vary equally).

    Examples
    --------
    >>> line_shape(["X +1.50 T 21", "X -0.25 T 21", "X +3.00 T 21"]).pattern
    'X *(?P<value>(?:[-+] *)?\\\\d+(?:\\\\.\\\\d+)?) *T *(?:[-+] *)?\\\\d+(?:\\\\.\\\\d+)?'
    >>> line_shape(["-0,25 mm", "1,50 mm"]).unit
    'mm'
    """
    texts = [line.strip() for line in lines]
    decimal = "." if any(re.search(r"\d\.\d|\d[eE]", text) for text in texts) else ","
    number = NUMBERS[decimal]
    skeletons = {tuple(piece.strip() or piece[:1] for piece in number.split(text)) for text in texts}
    pieces = skeletons.pop() if len(skeletons) == 1 else ()
    if len(pieces) < 2:
        return None
    found = [number.findall(text) for text in texts]
    chosen = max(range(len(pieces) - 1), key=lambda place: (_variety(found, place), -place))
    if not any("," in text for row in found for text in row):
        decimal = "."
    has_exponent = any("e" in text.lower() for row in found for text in row)
    shape = _NUMBER_PATTERNS[decimal] + (_EXPONENT if has_exponent else "")
    pattern = _joined(pieces, shape, chosen)
    if pattern_fault(pattern) is not None:
        return None
    return LineShape(pattern, decimal, unit_name(pieces[chosen + 1]), len(pieces) - 1)


def _plain(number: str) -> float:
    return float(number.replace(",", ".").replace(" ", ""))


def _variety(found: Sequence[Sequence[str]], place: int) -> float:
    """How much a number varies, next to its size."""
    values = [_plain(numbers[place]) for numbers in found]
    spread = max(values) - min(values)
    return spread / max(1e-9, *map(abs, values)) if math.isfinite(spread) else 0.0


def _joined(pieces: Sequence[str], number: str, chosen: int) -> str:
    parts = [_between(pieces[0]).removeprefix(" *")]
    for place, piece in enumerate(pieces[1:]):
        parts.append(f"(?P<value>{number})" if place == chosen else number)
        parts.append(_between(piece))
    parts[-1] = parts[-1].removesuffix(" *").removesuffix(" +")
    return "".join(parts)


def _between(piece: str) -> str:
    """What stands between two numbers; blanks around words may come and go."""
    if not piece:
        return ""
    return " +" if piece.isspace() else f" *{_literal(piece)} *"


def _literal(piece: str) -> str:
    return " +".join(re.escape(word) for word in piece.split())


def frame_length(data: bytes) -> int | None:
    """The number of bytes after which binary data repeat themselves best; None where they do not.

    Examples
    --------
    >>> frame_length(bytes([0xAA, 0x55, 1, 2, 9, 0xAA, 0x55, 1, 3, 7, 0xAA, 0x55, 1, 9, 3] * 2))
    5
    """
    lengths = range(2, min(LONGEST_FRAME, len(data) // 3) + 1)
    alike = {
        length: sum(a == b for a, b in zip(data, data[length:], strict=False)) / (len(data) - length)
        for length in lengths
    }
    if not alike:
        return None
    best = max(alike.values())
    return next(length for length in lengths if alike[length] >= 0.9 * best) if best > 0.3 else None
