"""Tables to take to the machine: a row a station, one unit, in blocks that a page does not cut."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.units import (
    MM_PER_INCH,
    decimals_for,
    length_text,
    number_text,
)
from analysis.answers.face_map import FaceMap
from analysis.answers.plan import FacePlan
from analysis.answers.twist import Twist
from analysis.words.known import height_unit, slope_unit
from analysis.words.plan import depth_text, doubt_text, fine_um, flank_depths, units

ONE_BLOCK = 6
"""A table of no more rows than this stays in one piece: a long thin one leaves its picture."""
SIDE_BY_SIDE = 2
LONGEST = 30
"""Rows in one block; about half a page."""
ORDINALS = {2: "second", 3: "third", 4: "fourth", 5: "fifth", 6: "sixth"}


@dataclass(frozen=True)
class StationTable:
    """Heads, and rows in blocks that stand side by side."""

    heads: tuple[str, ...]
    blocks: tuple[tuple[tuple[str, ...], ...], ...]


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


def face_table(
    found: FaceMap, inch: bool, plan: FacePlan | None = None, *, may_be_scraped: bool = False
) -> StationTable:
    """Stations that are known, height and ±; beside them what is to come off, in the same unit.

    What to take off this round is left out where nothing may be scraped yet.
    """
    unit, per = height_unit(inch)
    known = np.isfinite(found.height_um)
    station_mm = found.station_mm[known]
    rows = _rows(
        station_mm, found.height_um[known] / per, 2 * found.standard_uncertainty_um[known] / per, inch
    )
    heads: tuple[str, ...] = (_station(inch), f"height {unit}", "±")
    if plan is not None:
        heads = (*heads, *_plan_heads(plan, may_be_scraped))
        beside = _plan_cells(plan, inch, may_be_scraped)
        rows = [
            (*row, *beside.get(_key(mm), ("",) * (len(heads) - 3)))
            for row, mm in zip(rows, station_mm.tolist(), strict=True)
        ]
    return StationTable(heads, in_blocks(rows))


def roll_table(found: Twist, inch: bool) -> StationTable:
    """Station, roll and ± in the unit of the picture."""
    unit, per = slope_unit(inch)
    rows = _rows(
        found.station_mm, found.roll_um_per_m / per, 2 * found.standard_uncertainty_um_per_m / per, inch
    )
    return StationTable((_station(inch), f"roll {unit}", "±"), in_blocks(rows))


def reach_words(found: FaceMap, inch: bool) -> list[str]:
    """Which stations are known, in one line; nothing where all are."""
    known = np.flatnonzero(np.isfinite(found.height_um))
    count = len(found.station_mm)
    if len(known) in (0, count):
        return []
    steps = np.diff(known)
    if len(steps) and np.all(steps == steps[0]) and steps[0] > 1:
        apart = length_text(float(found.station_mm[known[1]] - found.station_mm[known[0]]), inch)
        every = ORDINALS.get(int(steps[0]), f"{steps[0]}th")
        return [f"{apart[:1].upper()}{apart[1:]} steps: every {every} station."]
    first, last = (length_text(float(found.station_mm[i]), inch) for i in (known[0], known[-1]))
    return [f"Known at {len(known)} of {count} stations, {first} to {last}."]


def _plan_heads(plan: FacePlan, may_be_scraped: bool) -> tuple[str, ...]:
    round_ = ("this round",) if may_be_scraped else ()
    return ("take off", "±", *round_, *flank_depths(plan))


def _plan_cells(plan: FacePlan, inch: bool, may_be_scraped: bool) -> dict[float, tuple[str, ...]]:
    """By station: depth, ±, this round, and each flank of a vee."""
    (unit, _), fine, removal = units(inch), fine_um(plan), plan.removal
    cells = {}
    for i, mm in enumerate(removal.station_mm.tolist()):
        columns = [plan.this_round_um] if may_be_scraped else []
        depths = [each[i] for each in (*columns, *flank_depths(plan).values())]
        cells[_key(mm)] = (
            depth_text(float(removal.removal_um[i]), unit, fine),
            doubt_text(2 * float(removal.standard_uncertainty_um[i]), unit, fine),
            *(depth_text(float(each), unit, fine) for each in depths),
        )
    return cells


def _key(mm: float) -> float:
    return round(mm, 3)


def _station(inch: bool) -> str:
    return f"station {'in' if inch else 'mm'}"


def _rows(
    station_mm: np.ndarray, value: np.ndarray, expanded: np.ndarray, inch: bool
) -> list[tuple[str, ...]]:
    """One precision for the whole table, so that it reads as one; a ± is never rounded to nothing."""
    seen = expanded[np.isfinite(expanded) & (expanded > 0)]
    decimals = decimals_for(float(np.median(seen)) / 2 if seen.size else 0.0)
    step = 10.0**-decimals
    rows: list[tuple[str, ...]] = []
    for mm, height, doubt in zip(station_mm.tolist(), value.tolist(), expanded.tolist(), strict=True):
        at = f"{round(mm / MM_PER_INCH, 2):g}" if inch else f"{round(mm, 1):g}"
        sure = max(doubt, step) if doubt > 0 else 0.0
        rows.append((at, _signed(height, decimals), number_text(sure, decimals)))
    return rows


def _signed(value: float, decimals: int) -> str:
    return number_text(value, decimals).replace("-", "−")
