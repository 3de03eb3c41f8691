"""Decimal commas, decimal points, thousands marks: told apart for a whole file, or refused."""

import re
from collections.abc import Iterable, Sequence

from acquire.model.errors import EntryError
from acquire.model.units import with_plain_minus

_MARK = re.compile(r"\d*([.,])\d*")
_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}[.,]\d{3}")
_PLAIN = re.compile(r"[-+]?\d+")


def decimal_mark(cells: Iterable[tuple[int, str]], where: str) -> str | None:
    """The one decimal mark in all the cells ((line, text) each); None where there is none.

    Raises
    ------
    EntryError
        If some cells have commas and others points: one may be a thousands mark.

    Examples
    --------
    >>> decimal_mark([(2, "0"), (3, "1,5")], "run.csv")
    ','
    """
    first: dict[str, tuple[int, str]] = {}
    for line, text in cells:
        for mark in re.findall(r"[.,]", text):
            first.setdefault(mark, (line, text))
    if len(first) > 1:
        (point_line, point), (comma_line, comma) = first["."], first[","]
        raise EntryError(
            where,
            f"found {point!r} on line {point_line} and {comma!r} on line {comma_line}: "
            "decimal and thousands marks cannot be told apart",
            "one decimal mark throughout and no thousands marks",
        )
    return next(iter(first), None)


def refuse_thousands(cells: Sequence[tuple[int, str]], highest: float | None, what: str, where: str) -> None:
    """Refuse a column that may be written with thousands marks (950, then 1,000).

    Suspicious is a column whose every mark has just three digits after it while other
    cells of three digits or more have none; `highest` is the largest value that could
    be meant, if one is known.

    Raises
    ------
    EntryError
        With the first cell that could be meant either way.
    """
    cells = [(line, with_plain_minus(text)) for line, text in cells]
    marked = [(line, text) for line, text in cells if _MARK.search(text) and re.search("[.,]", text)]
    if not marked or not all(_THOUSANDS.fullmatch(text) for _, text in marked):
        return
    if not any(_PLAIN.fullmatch(text) and len(text.lstrip("-+")) >= 3 for _, text in cells):
        return
    line, text = marked[0]
    whole = re.sub("[.,]", "", text)
    if highest is not None and float(whole) > highest:
        return
    raise EntryError(
        f"{where} line {line}",
        f"found the {what} {text!r}, which could mean {whole} or {text.replace(',', '.')}",
        "no thousands marks",
        "write it without, or the decimals in full",
    )
