r"""Whether a line pattern can be matched in bounded time, whatever is on the wire.

Python's matcher tries again in every way that a pattern leaves open, so a pattern such as
`(\d+)*x` can take years over one bad line. Here the parsed pattern is walked from its end
to its beginning: a repeat, an option or a choice leaves something open only if what may
begin it may also begin what follows it. The product of the ways left open, times the
length of a line, bounds the work. `.*` at the end never fails, so nothing before it is
tried again on its account.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from re import _parser  # type: ignore[attr-defined]  # the one door to the parsed form; in 3.11 and later
from typing import Any

MOST_STEPS = 2_000_000
"""Of matching one line: some 50 ms at worst."""

LONGEST_EXPANSION = 16
MOST_ITEMS = 20_000

_FLAGS = re.compile(r"\(\?([a-zA-Z]+)")

Letters = frozenset[int]
OTHER_DIGITS, OTHER_LETTERS, OTHER_BLANKS, OTHERS = 256, 257, 258, 259
ALL: Letters = frozenset(range(260))
"""Characters to 255 one by one, those above by what they are."""


class _TooOpen(Exception):
    """The pattern cannot be shown to match in bounded time; the words say why."""


@dataclass(frozen=True)
class _Shape:
    """Of a part of the pattern: the ways it leaves open, what may begin it, whether it may be empty."""

    ways: float
    first: Letters
    may_be_empty: bool
    takes_anything: bool = False
    """Any text that is left matches it."""


@dataclass(frozen=True)
class _Rest:
    """What follows a part: what may begin it, whether it may be empty, whether it takes any text."""

    first: Letters
    may_be_empty: bool
    takes_anything: bool


def pattern_fault(pattern: str, longest_line: int) -> str | None:
    r"""Why a pattern will not do, in words; None where it will.

    Examples
    --------
    >>> pattern_fault(r".*?(?P<value>[-+]?\d+(?:\.\d+)?)\s*(?P<unit>mm|in)?.*", 120)
    >>> pattern_fault(r"(?P<value>(\d+)*)x", 120)
    'a repeat inside a repeat can match one line in countless ways'
    """
    try:
        items = _without_ends(list(_parser.parse(pattern)))
        shape = _Walk(longest_line, "i" in "".join(_FLAGS.findall(pattern))).sequence(
            items, _Rest(frozenset(), True, False)
        )
    except (re.error, RecursionError, OverflowError) as error:
        return f"it is no regular expression ({error})"
    except _TooOpen as error:
        return str(error)
    if shape.ways * longest_line > MOST_STEPS:
        return (
            f"it can match one line of {longest_line} bytes in {shape.ways:.2g} ways; say which characters "
            "may stand there, [^,]* for instance rather than .*"
        )
    return None


def _without_ends(items: list[Any]) -> list[Any]:
    """The whole line must match anyway: ^ at the beginning and $ at the end say nothing."""
    if items and str(items[0][0]) == "AT" and "BEGINNING" in str(items[0][1]):
        items = items[1:]
    return items[:-1] if items and str(items[-1][0]) == "AT" and "AT_END" in str(items[-1][1]) else items


class _Walk:
    """One walk through a parsed pattern, itself bounded."""

    def __init__(self, longest: int, ignores_case: bool):
        self._longest = longest
        self._ignores_case = ignores_case
        self._steps = 0

    def sequence(self, items: Sequence[Any], rest: _Rest) -> _Shape:
        """The shape of items in a row, walked from the last."""
        ways = 1.0
        whole = _Shape(ways, frozenset(), True, rest.takes_anything)
        for item in reversed(items):
            following = _Rest(
                whole.first | (rest.first if whole.may_be_empty else frozenset()),
                whole.may_be_empty and rest.may_be_empty,
                whole.takes_anything,
            )
            part = self._item(item, following)
            ways *= part.ways
            whole = _Shape(
                ways,
                part.first | (whole.first if part.may_be_empty else frozenset()),
                part.may_be_empty and whole.may_be_empty,
                part.takes_anything or (part.may_be_empty and whole.takes_anything),
            )
        return whole

    def _item(self, item: Any, rest: _Rest) -> _Shape:
        self._steps += 1
        if self._steps > MOST_ITEMS:
            raise _TooOpen("its repeats are too deep in one another")
        kind, value = str(item[0]), item[1]
        if kind in ("LITERAL", "NOT_LITERAL", "ANY", "IN", "RANGE", "CATEGORY"):
            exact = _letters(kind, value)
            return _Shape(1.0, _either_case(exact) if self._ignores_case else exact, False)
        if kind == "SUBPATTERN":
            return self.sequence(list(value[3]), rest)
        if kind == "ATOMIC_GROUP":
            return self.sequence(list(value), rest)
        if kind == "BRANCH":
            return self._branch([list(branch) for branch in value[1]], rest)
        if kind in ("MAX_REPEAT", "MIN_REPEAT", "POSSESSIVE_REPEAT"):
            return self._repeat(int(value[0]), int(value[1]), list(value[2]), rest)
        raise _TooOpen("it looks ahead or behind, marks a boundary, or refers back to a group")

    def _branch(self, branches: Sequence[Sequence[Any]], rest: _Rest) -> _Shape:
        shapes = [self.sequence(branch, rest) for branch in branches]
        seen: set[int] = set()
        is_open = sum(shape.may_be_empty for shape in shapes) > 1
        for shape in shapes:
            begins = shape.first | (rest.first if shape.may_be_empty else frozenset())
            is_open = is_open or bool(seen & begins)
            seen |= begins
        ways = [shape.ways for shape in shapes]
        return _Shape(
            sum(ways) if is_open else max(ways),
            frozenset().union(*(shape.first for shape in shapes)),
            any(shape.may_be_empty for shape in shapes),
        )

    def _repeat(self, least: int, most: int, body: Sequence[Any], rest: _Rest) -> _Shape:
        most = min(most, self._longest)
        if most <= 0:
            return _Shape(1.0, frozenset(), True)
        if least == most and (most <= LONGEST_EXPANSION or len(body) > 1):
            return self.sequence(list(body) * most, rest)
        if (least, most) == (0, 1):
            once = self.sequence(body, rest)
            is_open = once.may_be_empty or bool(once.first & rest.first)
            return _Shape(once.ways + (is_open and not rest.takes_anything), once.first, True)
        return self._loop(least, most, body, rest)

    def _loop(self, least: int, most: int, body: Sequence[Any], rest: _Rest) -> _Shape:
        """A repeat of no fixed number: its body must leave nothing open, or the ways multiply at
        every turn."""
        first = self.sequence(body, _Rest(ALL, False, False)).first
        once = self.sequence(body, _Rest(first | rest.first, False, False))
        if once.may_be_empty or once.ways > 1:
            raise _TooOpen("a repeat inside a repeat can match one line in countless ways")
        is_open = bool(first & rest.first) and not rest.takes_anything and least < most
        is_any = least == 0 and most >= self._longest and len(body) == 1 and str(body[0][0]) == "ANY"
        is_last = rest.may_be_empty and not rest.first
        return _Shape(
            most - least + 1.0 if is_open else 1.0,
            first,
            least == 0,
            is_any and (is_last or rest.takes_anything),
        )


@cache
def _category(name: str) -> Letters:
    letter = {"DIGIT": "d", "SPACE": "s", "WORD": "w"}[name.removeprefix("CATEGORY_").removeprefix("NOT_")]
    above = {"d": {OTHER_DIGITS}, "s": {OTHER_BLANKS}, "w": {OTHER_DIGITS, OTHER_LETTERS}}[letter]
    if "NOT_" in name:
        return frozenset(ALL - _category(name.replace("NOT_", "")))
    return frozenset({code for code in range(256) if re.fullmatch(rf"\{letter}", chr(code))} | above)


def _letters(kind: str, value: Any) -> Letters:
    """All that one item may match."""
    if kind == "ANY":
        return ALL
    if kind == "LITERAL":
        return frozenset({_marker(value)})
    if kind == "NOT_LITERAL":
        return ALL - {value} if value < 256 else ALL
    if kind == "RANGE":
        return frozenset(map(_marker, range(value[0], value[1] + 1)))
    if kind == "CATEGORY":
        return _category(str(value))
    return _class_of(value)


def _class_of(items: Iterable[Any]) -> Letters:
    parts = [(str(item[0]), item[1]) for item in items]
    if parts and parts[0][0] == "NEGATE":
        return ALL - frozenset().union(*(_exactly(kind, value) for kind, value in parts[1:]))
    return frozenset().union(*(_letters(kind, value) for kind, value in parts))


def _exactly(kind: str, value: Any) -> Letters:
    """What is surely left out by a negated class: no group of characters above 255 is left out whole,
    unless by a category."""
    if kind == "CATEGORY":
        return _category(str(value))
    codes = range(value[0], value[1] + 1) if kind == "RANGE" else [value]
    return frozenset(code for code in codes if code < 256)


def _either_case(codes: Letters) -> Letters:
    """The same with every letter's other case; beyond ASCII, and for I, K and S, that may lie above 255."""
    found = set(codes)
    for letter in (chr(code) for code in codes if code < 256 and chr(code).isalpha()):
        found.update(map(_marker, map(ord, letter.swapcase())))
        if letter in "iksIKS" or not letter.isascii():
            found.add(OTHER_LETTERS)
    if OTHER_LETTERS in codes:
        found.update(code for code in range(256) if chr(code).isalpha())
    return frozenset(found)


def _marker(code: int) -> int:
    if code < 256:
        return code
    character = chr(code)
    if character.isdigit():
        return OTHER_DIGITS
    if character.isalpha():
        return OTHER_LETTERS
    return OTHER_BLANKS if character.isspace() else OTHERS
