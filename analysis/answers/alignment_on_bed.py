"""Alignment with the map of the ways beside it: what the path of the carriage and of the tailstock add.

- Tailstock ways against the carriage's path, up and sideways: the slope along the bed of
  h_t − h_c, and at the height C of the axis of (s_t − φ_t C) − (s_c − φ_c C).
- A line read by an indicator on the carriage is against the path between two places; the map says how
  that stretch lies to the line along the whole path.
- Two turned collars: of their difference roll and sway are the map's, the rest is the headstock's. The
  roll is split into what the feet can take out and wear where unworn places tell it.  Without a map
  the headstock is never blamed.

Derived for this project; every uncertainty is J C Jᵀ with the joint covariance of the map.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from acquire.model.called import Called
from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_M
from analysis.adjust.bed_map import BedMap
from analysis.answers.alignment import Collars, Line, headstock_of_collars, twist_to_hide_um_per_m
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.bed_or_wear import bed_or_wear, feet_fit
from analysis.answers.carriage_path import (
    Rider,
    carriage_path,
    carriage_rider,
    centre_height_mm,
    change_between,
    middle_of_ways_mm,
    path_of,
    slope_row,
)
from analysis.answers.known_roll import known_roll, ways_of
from analysis.answers.measured import Measured
from analysis.linear.fact import Fact
from analysis.linear.shown import KEPT_INSIDE
from analysis.observe.carriers import Bearing, face_named


@dataclass(frozen=True)
class Tailstock:
    """The path of the tailstock against the path of the carriage, along the stations that both have."""

    faces: tuple[str, ...]
    from_mm: float
    to_mm: float
    centre_height_mm: float | None
    rise_um_per_m: Measured | None
    """+ the tailstock rises against the carriage as stations rise; None where not known."""
    rear_um_per_m: Measured | None
    """+ it runs to the rear as stations rise, at the height of the spindle axis."""
    rise_um: Measured | None
    """The same over the stretch."""
    rear_um: Measured | None
    missing: tuple[str, ...]
    """tilt | sideways | centre height: what the readings or bed.toml do not tell."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    away: str = field(metadata=KEPT_INSIDE, default=Called.of().away)
    """The way in which stations rise, in words."""


@dataclass(frozen=True)
class AgainstWhole:
    """A line read between two places, and the same against the line along the carriage's whole path."""

    near_mm: float
    far_mm: float
    read: Line
    """As stations rise."""
    rise_um_per_m: Measured | None
    rear_um_per_m: Measured | None
    """None where the map does not tell the path of the carriage so."""
    away: str = field(metadata=KEPT_INSIDE, default=Called.of().away)


@dataclass(frozen=True)
class CollarsOnBed:
    """Two turned collars, split."""

    near_mm: float
    far_mm: float
    centre_height_mm: float
    split: Collars
    feet_um: Measured | None
    """What of the roll's part turning the feet can take out; None where it cannot be told from wear."""
    wear_um: Measured | None
    cannot_tell: tuple[Fact, ...]
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    far_end: str = field(metadata=KEPT_INSIDE, default=Called.of().far_end)
    """What the end is called at which the spindle must be where near is the higher station."""


def tailstock_on_bed(
    bed_map: BedMap, faces: Sequence[str], *, base_mm: float | None = None, guide: str | None = None
) -> Tailstock:
    """Hold the tailstock's ways against the path of the carriage.

    Parameters
    ----------
    bed_map : BedMap
    faces : sequence of str
        What the tailstock rides: one or two ways, a side face if that guides it.
    base_mm : float, optional
        Bearing length of the tailstock along the bed; None: a point.
    guide : str, optional
        A side face that guides the carriage; else the vee that it rides.

    Raises
    ------
    AnalysisError
        Where a face is not in bed.toml, or a path is not known at three stations.
    """
    bed, centre = bed_map.bed, bed_map.bed.centre_height_mm
    axis = middle_of_ways_mm(bed_map.bed)
    ridden = tuple(face_named(bed, name, "tailstock") for name in faces)
    riders = (
        Rider("tailstock", ridden, Bearing(base_mm, on_ends=True, averages=True), axis, bed.station_mm),
        carriage_rider(bed, axis, guide),
    )
    bed_map = bed_map.reaching(place for rider in riders for place in rider.bears_on())
    tail, carriage = (path_of(bed_map, rider) for rider in riders)
    shared, at_tail, at_carriage = np.intersect1d(tail.station_mm, carriage.station_mm, return_indices=True)
    if shared.size < 2:
        raise AnalysisError("tailstock", f"found {shared.size} stations that both paths have", "two at least")
    length_m = float(np.ptp(shared)) / MM_PER_M
    rise = _slope_between(bed_map, shared, _at(tail.rise, at_tail), _at(carriage.rise, at_carriage))
    aside = [None if centre is None else path.sideways(centre) for path in (tail, carriage)]
    rear = _slope_between(bed_map, shared, _at(aside[0], at_tail), _at(aside[1], at_carriage))
    missing = [name for name, is_it in (("tilt", rise is None), ("centre height", centre is None)) if is_it]
    if rear is None and centre is not None:
        missing.append("sideways")
    return Tailstock(
        faces=tuple(faces),
        from_mm=float(shared[0]),
        to_mm=float(shared[-1]),
        centre_height_mm=centre,
        rise_um_per_m=rise,
        rear_um_per_m=rear,
        rise_um=_times(rise, length_m),
        rear_um=_times(rear, length_m),
        missing=tuple(missing),
        warnings=tuple(bed_map.warnings),
        assumptions=assumptions(bed_map),
        away=bed.called.away,
    )


def line_on_bed(
    bed_map: BedMap | None,
    line: Line,
    near_mm: float,
    far_mm: float,
    *,
    guide: str | None = None,
    called: Called | None = None,
) -> AgainstWhole:
    """A line read with the carriage at two stations, and the same against its whole path.

    Parameters
    ----------
    bed_map : BedMap or None
        None where nothing has been measured yet.
    line : Line
        As it runs from near to far.
    near_mm, far_mm : float
        Stations of the middle of the carriage at the place nearer to what holds the bar, and at the other:
        they fall where that end of the bed is not station 0.
    guide : str, optional
        A side face that guides the carriage; else the vee that it rides.
    called : Called, optional
        The ends of the bed.
    """
    away = (called or Called.of()).away
    if far_mm < near_mm:
        rise, rear = line.rise_um_per_m.times(-1), line.rear_um_per_m.times(-1)
        line = replace(line, rise_um_per_m=rise, rear_um_per_m=rear)
    read = AgainstWhole(near_mm, far_mm, line, None, None, away)
    if bed_map is None:
        return read
    centre = bed_map.bed.centre_height_mm
    try:
        path = carriage_path(bed_map, middle_of_ways_mm(bed_map.bed), guide, (near_mm, far_mm))
    except AnalysisError:
        return read
    bed_map, aside = path.bed_map, None if centre is None else path.sideways(centre)
    added = [change_between(path, rows, near_mm, far_mm, from_line=True) for rows in (path.rise, aside)]
    whole = [
        None if row is None else read.plus(_value(bed_map, row).times(MM_PER_M / (far_mm - near_mm)))
        for row, read in zip(added, (line.rise_um_per_m, line.rear_um_per_m), strict=True)
    ]
    return replace(read, rise_um_per_m=whole[0], rear_um_per_m=whole[1])


def collars_on_bed(
    bed_map: BedMap | None,
    taper_um: Measured,
    near_mm: float,
    far_mm: float,
    *,
    guide: str | None = None,
) -> CollarsOnBed:
    """Split the difference of two turned collars into headstock, roll (feet and wear) and sway.

    Parameters
    ----------
    bed_map : BedMap
    taper_um : Measured
        Far diameter less near diameter.
    near_mm, far_mm : float
        Stations of the middle of the carriage at the collar nearer to the spindle and at the other.
    guide : str, optional
        A side face that guides the carriage; else the vee that it rides.

    Raises
    ------
    AnalysisError
        Where there is no map, bed.toml gives no height of the spindle axis, or the map knows nothing of
        the carriage's path.
    """
    if bed_map is None:
        raise AnalysisError(
            "turned collars",
            "found no map of the ways, so that the headstock cannot be told from roll and wear",
            "levels along and across the carriage's ways, and their path sideways",
            "record these before the headstock is touched",
        )
    centre = centre_height_mm(bed_map.bed, "turned collars")
    if far_mm == near_mm:
        raise AnalysisError("turned collars", f"found {near_mm:g} mm twice", "two places")
    path = carriage_path(bed_map, middle_of_ways_mm(bed_map.bed), guide, (near_mm, far_mm))
    bed_map = path.bed_map
    roll = change_between(path, _scaled(path.roll), near_mm, far_mm, from_line=False)
    sway = change_between(path, path.sway, near_mm, far_mm, from_line=True)
    to_diameter = 2 * centre / MM_PER_M
    feet, wear, cannot_tell = (
        (None, None, ()) if roll is None else _feet_and_wear(bed_map, near_mm, far_mm, roll)
    )
    return CollarsOnBed(
        near_mm=near_mm,
        far_mm=far_mm,
        centre_height_mm=centre,
        split=_split(bed_map, taper_um, abs(far_mm - near_mm), centre, roll, sway),
        feet_um=_times(feet, to_diameter),
        wear_um=_times(wear, to_diameter),
        cannot_tell=cannot_tell,
        warnings=tuple(bed_map.warnings),
        assumptions=assumptions(bed_map),
        far_end=bed_map.bed.called.far_end,
    )


def _split(
    bed_map: BedMap,
    taper_um: Measured,
    distance_mm: float,
    centre_mm: float,
    roll: NDArray[np.float64] | None,
    sway: NDArray[np.float64] | None,
) -> Collars:
    headstock = hidden_by = None
    if roll is not None and sway is not None:
        rows = np.stack([roll, sway])
        joint = np.zeros((3, 3))
        joint[0, 0] = taper_um.standard_uncertainty**2
        joint[1:, 1:] = bed_map.covariance_of(rows)
        change = rows @ bed_map.solution.estimate
        headstock = headstock_of_collars(
            taper_um.value, distance_mm, centre_mm, float(change[0]), float(change[1]), joint
        )
        hidden_by = twist_to_hide_um_per_m(headstock.value, distance_mm, centre_mm)
    return Collars(
        taper_um,
        None if roll is None else _times(_value(bed_map, roll), 2 * centre_mm / MM_PER_M),
        None if sway is None else _times(_value(bed_map, sway), -2.0),
        headstock,
        hidden_by,
    )


def _feet_and_wear(
    bed_map: BedMap, near_mm: float, far_mm: float, roll: NDArray[np.float64]
) -> tuple[Measured | None, Measured | None, tuple[Fact, ...]]:
    """The change of roll by the feet and by wear, in µm/m; or why they cannot be told apart."""
    ways = ways_of(bed_map.bed)
    known = known_roll(bed_map, ways)
    if known is None:
        return None, None, ()
    split = bed_or_wear(known, ways)
    # the roll of a carriage may be known on a map of its own, which reaches further places
    fit = split.fit if split.fit is None or split.fit.bed_map is bed_map else feet_fit(bed_map)
    if split.feet is None or fit is None:
        return None, None, split.cannot_tell
    by_feet = fit.roll(np.array([near_mm, far_mm]))
    if not fit.tells(by_feet).all():
        return None, None, split.cannot_tell
    rows = np.stack([by_feet[1] @ fit.rows, roll - by_feet[1] @ fit.rows])
    value, covariance = rows @ bed_map.solution.estimate, fit.covariance(rows)
    feet, wear = map(Measured.of, value, np.diag(covariance))
    return feet, wear, split.cannot_tell


def _slope_between(
    bed_map: BedMap,
    station_mm: NDArray[np.float64],
    one: NDArray[np.float64] | None,
    other: NDArray[np.float64] | None,
) -> Measured | None:
    """Slope of the least-squares line of one less other, µm/m; None where the map does not tell it."""
    if one is None or other is None:
        return None
    row = slope_row(station_mm) @ (one - other)
    return _value(bed_map, row) if bed_map.solution.is_known(row[None]).all() else None


def _value(bed_map: BedMap, row: NDArray[np.float64]) -> Measured:
    return Measured.of(row @ bed_map.solution.estimate, bed_map.covariance_of(row[None])[0, 0])


def _at(rows: NDArray[np.float64] | None, index: NDArray[np.intp]) -> NDArray[np.float64] | None:
    return None if rows is None else rows[index]


def _scaled(roll: NDArray[np.float64] | None) -> NDArray[np.float64] | None:
    return None if roll is None else MM_PER_M * roll


def _times(figure: Measured | None, factor: float) -> Measured | None:
    return None if figure is None else figure.times(factor)
