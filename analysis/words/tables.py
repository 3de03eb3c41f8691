"""Plain tables and notes, as lines for a terminal and cells for a page."""

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.units import UM_PER_THOU, decimals_for, number_text
from analysis.words.facts import sentences
from analysis.words.known import station_cell, station_head

if TYPE_CHECKING:
    from analysis.linear.fact import Fact


class TableLine(str):
    """A line of a plain table that still knows its cells, for a page that sets its own."""

    cells: tuple[str, ...]


def table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Lines of a plain table, numbers to the right.

    Examples
    --------
    >>> table(("station", "height"), [("0 mm", "0.0 µm"), ("100 mm", "-2.5 µm")])
    ['  station   height', '     0 mm   0.0 µm', '   100 mm  -2.5 µm']
    """
    widths = [max(len(row[i]) for row in (heads, *rows)) for i in range(len(heads))]
    return [_table_line(row, widths) for row in (heads, *rows)]


def _table_line(row: Sequence[str], widths: Sequence[int]) -> TableLine:
    line = TableLine("  " + "  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)))
    line.cells = tuple(row)
    return line


def columns(
    station_mm: Sequence[float] | np.ndarray,
    value: Sequence[float] | np.ndarray,
    expanded: Sequence[float] | np.ndarray,
    *,
    inch: bool,
    units: tuple[str, str] = ("µm", "thou"),
    per_second_unit: float = UM_PER_THOU,
    what: str = "height",
) -> list[str]:
    """A table of values along the bed in both units, the owner's own first.

    One precision throughout, but where its ± would have more than two digits.

    Examples
    --------
    >>> print("\\n".join(columns([0, 100], [0.0, -41.33], [0.0, 3.0], inch=False)))
      station mm  height µm  ± µm  thou  ± thou
               0          0     0  0.00    0.00
             100        -41     3 -1.63    0.12
    """
    along, values, doubts = (np.asarray(each, float).tolist() for each in (station_mm, value, expanded))
    typical = float(np.nanmedian([u for u in doubts if u > 0] or [1.0])) / 2
    digits = [decimals_for(typical), decimals_for(typical / per_second_unit)]
    first, second = (units, digits), (units[::-1], digits[::-1])
    names, places = second if inch else first
    heads = (station_head(inch), f"{what} {names[0]}", f"± {names[0]}", names[1], f"± {names[1]}")
    rows: list[tuple[str, ...]] = []
    for station, height, doubt in zip(along, values, doubts, strict=True):
        at = station_cell(station, inch)
        if height != height:
            rows.append((at, "not known", "", "", ""))
            continue
        both = [(height, doubt), (height / per_second_unit, doubt / per_second_unit)]
        cells = [
            number_text(v, borne(d, pair[1]))
            for pair, d in zip(both[::-1] if inch else both, places, strict=True)
            for v in pair
        ]
        rows.append((at, *cells))
    return table(heads, rows)


def borne(decimals: int, expanded: float) -> int:
    """The decimals of a column, or as many as leave a ± two digits (JCGM 100:2008, 7.2.6: no more).

    Examples
    --------
    >>> borne(1, 2.04), borne(1, 9.6), borne(1, 14.0)
    (1, 1, 0)
    """
    return min(decimals, decimals_for(expanded) + 1) if expanded > 0 else decimals


def notes(found: "Iterable[Fact]") -> list[str]:
    """What is to be minded, a line each."""
    return note_lines(sentences(found))


def note_lines(words: Iterable[str]) -> list[str]:
    """Notes as lines; the same words about several instruments are said once.

    Examples
    --------
    >>> note_lines(["level: not stated", "dial: not stated", "cooled for an hour?"])
    ['  Note: level, dial: not stated', '  Note: cooled for an hour?']
    """
    about: dict[str, list[str]] = {}
    for each in dict.fromkeys(words):
        name, colon, told = each.partition(": ")
        about.setdefault(told if colon else each, []).extend([name] if colon else [])
    return [
        f"  Note: {', '.join(names)}: {told}" if names else f"  Note: {told}" for told, names in about.items()
    ]
