"""What lifting an instrument and putting it back changes, and its zero by turning it end for end.

Every placing of a foot differs by some tenths of a micrometre (dirt, burrs, oil).  No
record of a standing instrument shows it; it is measured by placing it again and again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.errors import AcquireError
from acquire.reduce.tagging.dwells import DEPARTURE_S, Dwell, dwells_by_reading
from acquire.reduce.tagging.settled import SettledStation, settled_stations

NEEDED_S = 4.0
"""A placing has stood still so long before it counts."""
SAME_PLACE_UM = 100.0
"""At a foot: what is further off than this stands somewhere else (a bench, the hand)."""
LIFTED_UM = 4.0
"""At a foot: between two placings it must have been so far off, silent, or out of range."""
FEWEST_PLACINGS = 4
DRIFT_BY_CHANCE = 0.001
"""A trend over the placings that chance makes so seldom is drift, not seating."""
DETECTION_HZ = 25.0
"""Looking for placings needs no more readings a second than this."""


@dataclass(frozen=True)
class Seating:
    """The scatter of an instrument over its placings."""

    placings: int
    scatter: float
    """Standard deviation of the placings, in the contract's unit (µm/m or µm)."""
    seating_um: float
    """What one foot (or carrier) varies by."""
    uncertainty_um: float
    """Of `seating_um`, by the number of placings."""
    drift: float
    """Change from the first placing to the last that was taken off; 0 where none showed."""


@dataclass(frozen=True)
class Reversal:
    """An instrument read at one place, turned end for end, and turned back."""

    zero: float
    """What it reads on a level face, in the contract's unit."""
    slope: float
    """The slope of the place itself, positive as the instrument first stood."""
    closing: float
    """Last reading minus first, both the same way round: how far the zero can be trusted."""


def feet_um_per_reading(instrument: Instrument, gauge_mm: float | None = None) -> float:
    """What a change of reading by one (contract's unit) is at one foot, in µm.

    A slope or roll is the difference of two feet over their distance, so a foot varies by
    base/√2 of it; an offset or span is the foot (carrier, anvil) itself.

    Raises
    ------
    AcquireError
        If the distance between the feet is not known, or the instrument has no feet.

    Examples
    --------
    A level on 200 mm whose placings scatter by 3.5 µm/m has feet that seat to 0.5 µm:

    >>> level = Instrument("level", "slope", "um/m", base_mm=200)
    >>> round(3.5355 * feet_um_per_reading(level), 3)
    0.5
    """
    if instrument.measures.is_length:
        return 1.0
    if not instrument.measures.is_angle:
        raise AcquireError(
            instrument.name, f"is a {instrument.quantity} instrument", "one that is placed on a face"
        )
    base_mm = instrument.step_mm or gauge_mm or instrument.base_mm
    if not base_mm:
        raise AcquireError(
            instrument.name,
            "found no distance between its feet",
            "--across FRONT REAR, or base_mm in bed.toml",
        )
    return base_mm / 1000 / float(np.sqrt(2))


def seating_of(reading: Sequence[float], um_per_reading: float) -> Seating:
    """The seating from the readings of several placings at one place.

    Parameters
    ----------
    reading : sequence of float
        One for each placing, in the contract's unit.
    um_per_reading : float
        As `feet_um_per_reading`.

    Raises
    ------
    AcquireError
        If there are fewer than four placings.

    Examples
    --------
    >>> found = seating_of([10, 13, 11, 14, 9, 12, 15, 10, 11, 15], 0.2 / 2**0.5)
    >>> found.placings, round(found.scatter, 2), round(found.seating_um, 2), found.drift
    (10, 2.16, 0.31, 0.0)
    """
    y = np.asarray(reading, float)
    count = len(y)
    if count < FEWEST_PLACINGS:
        raise AcquireError(
            "seating",
            f"found {count} placing{'' if count == 1 else 's'}",
            f"{FEWEST_PLACINGS} at least, ten are better",
        )
    turn = np.arange(count) - (count - 1) / 2
    trend = float(turn @ y) / float(turn @ turn)
    about_line = y - y.mean() - trend * turn
    spread = float(np.sqrt(about_line @ about_line / (count - 2)))
    drifts = abs(trend) * float(np.sqrt(turn @ turn)) > spread * _chance_limit(count - 2)
    scatter, freedom = (spread, count - 2) if drifts else (float(np.std(y, ddof=1)), count - 1)
    return Seating(
        count,
        scatter,
        scatter * um_per_reading,
        scatter * um_per_reading / float(np.sqrt(2 * freedom)),
        trend * (count - 1) if drifts else 0.0,
    )


def _chance_limit(freedom: int) -> float:
    """What a trend over its uncertainty stays below but for `DRIFT_BY_CHANCE` of cases."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 1 - DRIFT_BY_CHANCE / 2))


def reversal_of(as_it_was: float, turned: float, turned_back: float) -> Reversal:
    """Zero and slope from three readings at one place: as it was, turned end for end, turned back.

    Turned, it reads −slope + zero.  The mean of first and last cancels a steady drift.

    Examples
    --------
    >>> reversal_of(17.0, -9.0, 18.0)
    Reversal(zero=4.25, slope=13.25, closing=1.0)
    """
    same_way = (as_it_was + turned_back) / 2
    return Reversal((same_way + turned) / 2, (same_way - turned) / 2, turned_back - as_it_was)


def placings(
    time_s: np.ndarray,
    reading: np.ndarray,
    bad_time_s: Sequence[float] = (),
    *,
    um_per_reading: float,
    resolution: float = 0.0,
    needed_s: float = NEEDED_S,
    same_place_um: float = SAME_PLACE_UM,
) -> list[Dwell]:
    """Each stretch in which the instrument stood at its place, in order; the last may go on.

    Parameters
    ----------
    time_s, reading : array, shape (n,)
        Good readings so far, in the contract's unit.
    bad_time_s : sequence of float
        When it sent an overflow or what was out of range: it was lifted then.
    um_per_reading : float
        As `feet_um_per_reading`.
    resolution : float
        Step it shows, in the contract's unit.
    needed_s : float
        How long it must have stood still.
    same_place_um : float
        At a foot: what is further off than this from where it stood most is left out.

    Notes
    -----
    Quiet stretches far from where it stood most (more than 100 µm at a foot) are it lying
    somewhere else.  Two stretches between which it never left by more than 4 µm at a
    foot, and was neither silent nor out of range, are one placing that was knocked.
    """
    if len(time_s) < 8:
        return []
    quiet = dwells_by_reading(*_thinned(time_s, reading), resolution)
    level = np.array([_level(time_s, reading, dwell) for dwell in quiet])
    long_enough = np.array([dwell.length_s >= needed_s for dwell in quiet], bool)
    if not long_enough.any():
        return []
    home = float(np.median(level[long_enough]))
    kept: list[Dwell] = []
    for dwell, at in zip(quiet, level, strict=True):
        if abs(at - home) * um_per_reading > same_place_um or dwell.length_s < min(needed_s, 1.0):
            continue
        if kept and not _was_lifted(time_s, reading, bad_time_s, kept[-1], dwell, um_per_reading):
            kept[-1] = dwell if dwell.length_s >= min(needed_s, kept[-1].length_s) else kept[-1]
        else:
            kept.append(dwell)
    return [dwell for dwell in kept if dwell.length_s >= needed_s]


def settled_readings(
    time_s: np.ndarray, reading: np.ndarray, found: Sequence[Dwell]
) -> tuple[SettledStation, ...]:
    """The settled reading of each placing, settling fitted over all of them; the departures left off."""
    shortened = [replace(dwell, end_s=dwell.end_s - DEPARTURE_S) for dwell in found]
    return settled_stations(time_s, reading, shortened).stations


def _thinned(time_s: np.ndarray, reading: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means of successive readings, so that a fast stream is looked through quickly."""
    rate_hz = (len(time_s) - 1) / max(float(time_s[-1] - time_s[0]), 1e-9)
    block = max(1, int(rate_hz / DETECTION_HZ))
    whole = len(time_s) // block * block
    return tuple(values[:whole].reshape(-1, block).mean(axis=1) for values in (time_s, reading))


def _level(time_s: np.ndarray, reading: np.ndarray, dwell: Dwell) -> float:
    first, last = np.searchsorted(time_s, [dwell.start_s, dwell.end_s + 1e-9])
    return float(np.median(reading[first:last])) if last > first else float("nan")


def _was_lifted(
    time_s: np.ndarray,
    reading: np.ndarray,
    bad_time_s: Sequence[float],
    before: Dwell,
    after: Dwell,
    um_per_reading: float,
) -> bool:
    if any(before.end_s - 1.0 <= bad_s <= after.start_s + 1.0 for bad_s in bad_time_s):
        return True
    first, last = np.searchsorted(time_s, [before.end_s - 1.0, after.start_s + 1.0])
    if last - first < 2 or float(np.diff(time_s[first:last]).max()) > 1.0:
        return True
    levels = [_level(time_s, reading, dwell) for dwell in (before, after)]
    away = np.minimum(*(np.abs(reading[first:last] - level) for level in levels))
    return float(away.max()) * um_per_reading > LIFTED_UM
