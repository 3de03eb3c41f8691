r"""A line as the instrument sends it, made into the pattern that its lines must match.

The number is evident, or marked with braces: `X {+1.50} Y -0.25`. What the example shows is held to:
its words, the sign if it shows a plus, its decimals, and all its digits where it begins with a zero,
so that a line that lost some of its bytes is not taken for another number.
"""

import re
from dataclasses import dataclass

from acquire.model.bed_toml.patterns import pattern_fault
from acquire.model.units import unit_name

LONGEST_EXAMPLE = 120
MARK = "the one that counts in braces, as in 'X {+1.50} Y -0.25'"

_NUMBER = re.compile(
    r"(?P<sign>[-+]?)(?P<blank> *)(?P<whole>\d*)(?:(?P<mark>[.,])(?P<part>\d+))?"
    r"(?P<exponent>[eE][-+]?\d{1,3})?"
)
_BEGIN = re.compile(r"[-+]? *(?:\d|[.,]\d)")
_UNIT = re.compile(r" *(?P<unit>[^\s\d,;+-]+)")
MORE_DECIMALS = 2
"""A gauge switched from mm to inches shows one or two decimals more."""
UNIT_GROUP = r" *(?P<unit>[^\s\d,;+-]+)"


class UnclearExampleError(ValueError):
    """An example from which no pattern can be made; the words say what is needed."""


@dataclass(frozen=True)
class ExamplePattern:
    """What an example comes to."""

    pattern: str
    decimal: str
    """. or , as its number has it."""
    unit: str | None = None
    """Written behind the number, as bed.toml spells it."""


@dataclass(frozen=True)
class _Piece:
    text: str
    number: re.Match[str] | None = None
    is_value: bool = False


def pattern_of_example(example: str) -> ExamplePattern:
    r"""The pattern that lines like this one match.

    Raises
    ------
    UnclearExampleError
        If there is no number in it, or several and none is marked.

    Examples
    --------
    >>> pattern_of_example("+012.3")
    ExamplePattern(pattern='(?P<value>[-+]\\d{3}\\.\\d{1})', decimal='.', unit=None)
    >>> made = pattern_of_example("D1 {-1,25} mm T 21").pattern
    >>> [bool(re.fullmatch(made, line)) for line in ("D1 10,50 mm T 9", "D1 10,5 mm T 9", "D2 1,25 mm T 9")]
    [True, False, False]
    """
    pieces = _pieces(example.strip())
    parts: list[str] = []
    unit: re.Match[str] | None = None
    found: str | None = None
    for at, piece in enumerate(pieces):
        if piece.is_value and piece.number is not None:
            unit = _unit_of(pieces[at + 1].text) if at + 1 < len(pieces) else None
            parts.append(f"(?P<value>{_shape(piece.number, MORE_DECIMALS if unit else 0)})")
        elif piece.number is not None:
            parts.append(_shape(piece.number))
        elif unit is not None:
            parts.append(UNIT_GROUP + _words(piece.text[unit.end() :]))
            found, unit = unit_name(unit["unit"]), None
        else:
            parts.append(_words(piece.text))
    pattern = _without_outer_blanks("".join(parts))
    fault = pattern_fault(pattern)
    if fault is not None:
        raise UnclearExampleError(f"a pattern of your own for such a line; {fault}")
    value = next(piece for piece in pieces if piece.is_value)
    mark = value.number["mark"] if value.number is not None else None
    return ExamplePattern(pattern, "," if mark == "," else ".", found)


def _pieces(text: str) -> list[_Piece]:
    """Words and numbers in turn, one number the value."""
    marked = re.findall(r"\{[^{}]*\}", text)
    if len(marked) > 1 or "{" in text.replace("".join(marked[:1]), "", 1):
        raise UnclearExampleError(f"one number marked: {MARK}")
    if marked:
        before, _, after = text.partition(marked[0])
        inside = marked[0][1:-1].strip()
        number = _NUMBER.fullmatch(inside)
        if number is None or _BEGIN.match(inside) is None:
            raise UnclearExampleError(f"a number in the braces, not {inside[:20]!r}")
        return [*_cut(before), _Piece(inside, number, True), *_cut(after)]
    pieces = _cut(text)
    numbers = [at for at, piece in enumerate(pieces) if piece.number is not None]
    if not numbers:
        raise UnclearExampleError("a line with a number in it")
    if len(numbers) > 1:
        numbers = [at for at in numbers if at + 1 < len(pieces) and _unit_of(pieces[at + 1].text)]
    if len(numbers) != 1:
        raise UnclearExampleError(f"of several numbers {MARK}")
    pieces[numbers[0]] = _Piece(pieces[numbers[0]].text, pieces[numbers[0]].number, True)
    return pieces


def _cut(text: str) -> list[_Piece]:
    """Words and numbers in turn; digits within a word, as in D1, are part of it."""
    pieces, start, at = [], 0, 0
    while at < len(text):
        number = _number_at(text, at)
        if number is None:
            at += 1
            continue
        if start < at:
            pieces.append(_Piece(text[start:at]))
        pieces.append(_Piece(number.group(), number))
        start = at = number.end()
    return [*pieces, _Piece(text[start:])] if start < len(text) else pieces


def _number_at(text: str, at: int) -> re.Match[str] | None:
    """The number that begins at this place, if one does."""
    if _BEGIN.match(text, at) is None or (at and (text[at - 1].isalnum() or text[at - 1] == "_")):
        return None
    number = _NUMBER.match(text, at)
    if number is None:
        return None
    behind = re.match(r"[^\W\d_]+\S*", text[number.end() :])
    return number if behind is None or unit_name(behind.group().rstrip(",;")) is not None else None


def _unit_of(text: str) -> re.Match[str] | None:
    """The unit that a piece begins with, if it is one known here."""
    found = _UNIT.match(text)
    return found if found is not None and unit_name(found["unit"]) is not None else None


def _shape(number: re.Match[str], more_decimals: int = 0) -> str:
    """The pattern of numbers like this one; decimals may be more by so many, never fewer."""
    whole, part = number["whole"], number["part"]
    sign = "[-+]" if number["sign"] == "+" else "[-+]?"
    blank = " *" if number["blank"] else ""
    is_padded = len(whole) > 1 and whole.startswith("0")
    digits = rf"\d{{{len(whole)}}}" if is_padded else r"\d+" if whole else ""
    most = f",{len(part or '') + more_decimals}" if more_decimals else ""
    decimals = "" if part is None else rf"{re.escape(number['mark'])}\d{{{len(part)}{most}}}"
    return sign + blank + digits + decimals + (r"[eE][-+]?\d{1,3}" if number["exponent"] else "")


def _words(text: str) -> str:
    """Words as they stand; blanks between and around them may be more or fewer."""
    if not text.strip():
        return " +" if text else ""
    return " *" + " +".join(re.escape(word) for word in text.split()) + " *"


def _without_outer_blanks(pattern: str) -> str:
    return pattern.removeprefix(" *").removesuffix(" *")
