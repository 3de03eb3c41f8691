"""Tables to take to the machine: one row a station, both units, in blocks that a page does not cut."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.units import MM_PER_INCH, UM_PER_THOU, decimals_for, number_text
from analysis.answers.face_map import FaceMap
from analysis.answers.twist import Twist

ONE_BLOCK = 6
"""A table of no more rows than this stays in one piece: a long thin one leaves its picture."""
SIDE_BY_SIDE = 2
LONGEST = 30
"""Rows in one block; about half a page."""
NOT_KNOWN = "–"
THOU_PER_FOOT_PER_UM_PER_M = 0.012


@dataclass(frozen=True)
class StationTable:
    """Heads, and rows in blocks that stand side by side."""

    heads: tuple[str, ...]
    blocks: tuple[tuple[tuple[str, ...], ...], ...]

    @property
    def has_gaps(self) -> bool:
        """Whether some station is not known."""
        return any(NOT_KNOWN in row for block in self.blocks for row in block)


def in_blocks(rows: Sequence[tuple[str, ...]]) -> tuple[tuple[tuple[str, ...], ...], ...]:
    """Rows shared out over blocks of about equal length.

    Examples
    --------
    >>> [len(block) for block in in_blocks([("0",)] * 17)], [len(b) for b in in_blocks([("0",)] * 100)]
    ([9, 8], [25, 25, 25, 25])
    """
    if len(rows) <= ONE_BLOCK:
        return (tuple(rows),) if rows else ()
    count = SIDE_BY_SIDE * math.ceil(len(rows) / (SIDE_BY_SIDE * LONGEST))
    share, over = divmod(len(rows), count)
    ends = np.cumsum([share + (index < over) for index in range(count)]).tolist()
    return tuple(tuple(rows[a:b]) for a, b in zip([0, *ends], ends, strict=False))


def height_table(found: FaceMap, inch: bool) -> StationTable:
    """Station, height in both units, and its uncertainty in the owner's own."""
    rows = _rows(found.station_mm, found.height_um, 2 * found.standard_uncertainty_um, UM_PER_THOU, inch)
    return StationTable(_heads(("µm", "thou"), inch), in_blocks(rows))


def roll_table(found: Twist, inch: bool) -> StationTable:
    """Station, roll in both units, and its uncertainty in the owner's own."""
    rows = _rows(
        found.station_mm,
        found.roll_um_per_m,
        2 * found.standard_uncertainty_um_per_m,
        1 / THOU_PER_FOOT_PER_UM_PER_M,
        inch,
    )
    return StationTable(_heads(("µm/m", "thou/ft"), inch), in_blocks(rows))


def _heads(units: tuple[str, str], inch: bool) -> tuple[str, ...]:
    first, second = units[::-1] if inch else units
    return (f"station, {'in' if inch else 'mm'}", first, f"± {first}", second)


def _rows(
    station_mm: np.ndarray, value: np.ndarray, expanded: np.ndarray, per_second: float, inch: bool
) -> list[tuple[str, ...]]:
    """One precision for the whole table, so that it reads as one."""
    seen = expanded[np.isfinite(expanded) & (expanded > 0)]
    half = float(np.median(seen)) / 2 if seen.size else 0.0
    factors = (1 / per_second, 1.0) if inch else (1.0, 1 / per_second)
    decimals = [decimals_for(half * factor) for factor in factors]
    rows: list[tuple[str, ...]] = []
    for place, height, doubt in zip(station_mm.tolist(), value.tolist(), expanded.tolist(), strict=True):
        at = number_text(place / MM_PER_INCH, 2) if inch else f"{round(place, 1):g}"
        if not math.isfinite(height):
            rows.append((at, NOT_KNOWN, "", NOT_KNOWN))
            continue
        first, second = (_signed(height * f, d) for f, d in zip(factors, decimals, strict=True))
        rows.append((at, first, number_text(doubt * factors[0], decimals[0]), second))
    return rows


def _signed(value: float, decimals: int) -> str:
    return number_text(value, decimals).replace("-", "−")
