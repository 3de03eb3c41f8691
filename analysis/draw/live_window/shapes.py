"""The curve that the stations so far make, and that of the other direction before."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np

from acquire.model.errors import WaylogError
from acquire.model.quantity import QUANTITIES
from acquire.model.traverse import Setup
from acquire.store import files_of, read_traverse, survey_bed
from analysis.draw.live_window.state import Start, Station
from analysis.level.cumulative import STEP_TOLERANCE, profile_from_slopes, step_uncertainty_um_per_m
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line

FEWEST_FOR_LINE = 3


@dataclass(frozen=True, eq=False)
class Shape:
    """A curve along the bed with its standard uncertainty."""

    station_mm: np.ndarray
    value: np.ndarray
    """Shape (n,), in `unit`."""
    uncertainty: np.ndarray
    what: str
    """What is drawn, in words."""
    unit: str
    """um or um/m."""


def shape_of(start: Start, stations: Sequence[Station], seating_um: float = 0.0) -> Shape | None:
    """The curve that goes with the quantity; None before anything can be drawn.

    A level stepped foot to foot: heights at its feet, the line through the ends taken off;
    where a step is missing, the longest row of steps without one.  Other steps of a level
    have no plain sum, so the slopes themselves are shown.  An indicator: its readings with
    the line through the ends taken off.  A cross level or a span: less their mean.

    Parameters
    ----------
    start : Start
    stations : sequence of Station
        In any order; repeats are averaged.
    seating_um : float
        What one placing varies by; enters the uncertainty.

    Examples
    --------
    >>> steps = [Station(100, 10, 1), Station(300, -10, 1)]
    >>> shape = shape_of(Start(quantity="slope", base_mm=200), steps)
    >>> shape.station_mm.tolist(), shape.value.tolist()
    ([0.0, 200.0, 400.0], [0.0, 2.0, 0.0])
    """
    if not stations:
        return None
    x, y, u = _averaged(stations)
    measures = QUANTITIES[start.quantity]
    if start.turned and measures.is_angle:
        y = -y
    if measures.has_feet_along and start.base_mm:
        chain = _longest_chain(x, start.base_mm)
        if chain.stop - chain.start > len(x) / 2 and chain.stop - chain.start >= 2:
            return _summed(start, x[chain], y[chain], u[chain], seating_um)
    if measures.is_carried and len(x) >= FEWEST_FOR_LINE:
        return _off_its_ends(start, x, y, np.hypot(u, seating_um))
    unit = "um" if measures.is_length else "um/m"
    return Shape(x, y - y.mean(), u, f"{start.quantity} readings, less their mean", unit)


def _averaged(stations: Sequence[Station]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Stations in order, repeats at one of them averaged; their uncertainty is not: it may be shared."""
    places = np.array([s.station_mm for s in stations]).round(2)
    x, which = np.unique(places, return_inverse=True)
    count = np.bincount(which)
    y = np.bincount(which, [s.reading for s in stations]) / count
    u = np.bincount(which, [s.standard_uncertainty for s in stations]) / count
    return x, y, u


def _longest_chain(x: np.ndarray, base_mm: float) -> slice:
    """The longest row of stations that are one base apart."""
    joined = np.abs(np.diff(x) - base_mm) <= STEP_TOLERANCE * base_mm
    edges = [0, *(np.flatnonzero(~joined) + 1).tolist(), len(x)]
    rows = [slice(a, b) for a, b in pairwise(edges)]
    return max(rows, key=lambda row: row.stop - row.start)


def _summed(start: Start, x: np.ndarray, y: np.ndarray, u: np.ndarray, seating_um: float) -> Shape:
    base_mm = start.base_mm or 0.0
    steps = step_uncertainty_um_per_m(u, seating_um, base_mm)
    level = remove_line(profile_from_slopes(start.face, x, y, base_mm, steps), "ends")
    what = "height above the line through the ends"
    return Shape(level.station_mm, level.height_um, level.standard_uncertainty_um, what, "um")


def _off_its_ends(start: Start, x: np.ndarray, y: np.ndarray, u: np.ndarray) -> Shape:
    level = remove_line(Profile(start.face, x, y, np.diag(u**2)), "ends")
    what = "height against its carrier, from the line through the ends"
    return Shape(x, level.height_um, level.standard_uncertainty_um, what, "um")


def beside(before: Shape, shape: Shape) -> Shape | None:
    """The earlier curve brought to where the present one lies, so that the eye compares form alone.

    Heights: on the line through the ends of the present curve; readings: on its mean.
    None where the two do not reach over the same stretch or are not the same thing.

    Examples
    --------
    >>> def curve(x, y):
    ...     return Shape(np.array(x, float), np.array(y, float), np.zeros(len(x)), "height", "um")
    >>> beside(curve([0, 100, 200], [5, 8, 9]), curve([0, 100, 200], [0, 1, 0])).value.tolist()
    [0.0, 1.0, 0.0]
    """
    lowest = max(before.station_mm[0], shape.station_mm[0])
    highest = min(before.station_mm[-1], shape.station_mm[-1])
    if before.unit != shape.unit or highest <= lowest:
        return None
    ends = np.array([lowest, highest])
    off = np.interp(ends, before.station_mm, before.value) - np.interp(ends, shape.station_mm, shape.value)
    if shape.unit == "um":
        line = off[0] + (off[1] - off[0]) * (before.station_mm - lowest) / (highest - lowest)
        return replace(before, value=before.value - line)
    common = shape.station_mm[(shape.station_mm >= lowest) & (shape.station_mm <= highest)]
    there = np.interp(common, before.station_mm, before.value)
    here = np.interp(common, shape.station_mm, shape.value)
    return replace(before, value=before.value - np.mean(there - here))


def seating_of(start: Start) -> float:
    """What one placing varies by as `bed.toml` says; 0 where it says nothing or cannot be read."""
    try:
        instrument = survey_bed(start.survey).instruments.get(start.instrument)
    except (WaylogError, OSError):
        return 0.0
    return (instrument.seating_um or 0.0) if instrument is not None else 0.0


def joints_of(start: Start) -> tuple[float, ...]:
    """Where pieces of the bed meet as `bed.toml` says; none where it says nothing or cannot be read."""
    try:
        return survey_bed(start.survey).joints_mm
    except (WaylogError, OSError):
        return ()


def other_direction(start: Start, seating_um: float = 0.0) -> Shape | None:
    """The newest earlier traverse of the same thing with the same instrument the other way.

    None where there is none; a file that cannot be read is passed over.
    """
    try:
        files = files_of(start.survey)
    except (WaylogError, OSError):
        return None
    for number in sorted((n for n in files if n < start.number), reverse=True):
        found = _read_if_other_way(files[number], start, seating_um)
        if found is not None:
            return found
    return None


def _read_if_other_way(path: Path, start: Start, seating_um: float) -> Shape | None:
    try:
        traverse = read_traverse(path, raw=False)
    except (WaylogError, OSError):
        return None
    setup, rows = traverse.setup, traverse.stations
    if not _is_other_way(setup, start):
        return None
    columns = (rows.station_mm, rows.reading, rows.standard_uncertainty)
    stations = [Station(float(x), float(y), float(u)) for x, y, u in zip(*columns, strict=True)]
    before = Start(
        face=start.face,
        quantity=start.quantity,
        base_mm=setup.described.base_mm,
        turned=setup.turned,
    )
    return shape_of(before, [s for s in stations if np.isfinite(s.reading)], seating_um)


def _is_other_way(setup: Setup, start: Start) -> bool:
    same = (setup.subject, setup.instrument, setup.quantity)
    return same == (start.face, start.instrument, start.quantity) and setup.direction != start.direction
