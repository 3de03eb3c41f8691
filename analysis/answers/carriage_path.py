"""The path of the carriage on its ways, out of a map of the bed: rise, sway and roll along the bed.

Rise is upwards at one place across the bed, sway towards the rear at the height of the ways, roll
how much the rear rises over the front, in µm per mm.  At a height C above the ways the carriage is
`sway − C·roll` to the rear.  Each is a row over all unknowns of the map a station, so that whatever
is made of them keeps their joint covariance.  What guides the carriage sideways is the vee that it
rides, or a side face that is named.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import Bed, Face
from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from acquire.model.reference import ON_CARRIAGE
from analysis.adjust.bed_map import BedMap
from analysis.adjust.estimability import ALIKE, parts_known
from analysis.answers.known_roll import row_of
from analysis.observe import Form, Place
from analysis.observe.carriers import (
    Bearing,
    Motion,
    carriage_bearing,
    carrier_motion,
    carrying_faces,
    face_named,
)

A_CONSTANT, A_LINE = "a constant", "a line"
LEAST_STATIONS = 3


@dataclass(frozen=True)
class Rider:
    """What rides the bed, and where its path is wanted."""

    name: str
    faces: tuple[Face, ...]
    bearing: Bearing
    across_mm: float | None
    """Where its rise is taken; None: midway between what carries it."""
    at_mm: tuple[float, ...]
    """Places of its middle, rising."""

    def motions(self) -> list[Motion]:
        """How it moves at each of its places, as forms of the heights below it."""
        return [
            carrier_motion(self.faces, each, self.bearing, self.across_mm, self.name) for each in self.at_mm
        ]

    def bears_on(self) -> set[Place]:
        """All places that it bears on."""
        forms = [form for motion in self.motions() for form in (motion.rise, motion.sway, motion.roll)]
        return {place for form in forms for place in form or ()}


@dataclass(frozen=True, eq=False)
class Path:
    """Where something that rides the bed goes; rows over all unknowns, None where no face guides it so."""

    bed_map: BedMap
    """Reaches all places that it bears on; not the map that was handed in where some lie between nodes."""
    station_mm: NDArray[np.float64]
    rise: NDArray[np.float64] | None
    """µm per unknown, shape (n, unknowns)."""
    sway: NDArray[np.float64] | None
    roll: NDArray[np.float64] | None
    """µm per mm of arm."""
    is_interpolated: bool = False
    """Whether it bears between the places that were read; how the ways run there is in the uncertainty."""

    def sideways(self, above_mm: float) -> NDArray[np.float64] | None:
        """How far to the rear it is at this height above the ways; None where sway or roll is not guided."""
        if self.sway is None or self.roll is None:
            return None
        return np.asarray(self.sway - above_mm * self.roll)


@dataclass(frozen=True, eq=False)
class Known:
    """A combination along the bed, less what of it is not known."""

    rows: NDArray[np.float64]
    up_to: str
    """a constant | a line: taken off through the first station, or through both ends."""


def carriage_path(
    bed_map: BedMap,
    across_mm: float | None = None,
    guide: str | None = None,
    also_at_mm: Sequence[float] = (),
) -> Path:
    """The carriage's own path, its rise taken at `across_mm` (None: midway between its ways).

    Parameters
    ----------
    bed_map : BedMap
    across_mm : float, optional
        From front to rear, as across_mm in bed.toml.
    guide : str, optional
        A side face that guides it; else the vee that it rides.
    also_at_mm : sequence of float
        Places wanted besides the stations of the bed.

    Raises
    ------
    AnalysisError
        Where bed.toml does not say what carries it, or the map reaches under it at fewer than three stations.
    """
    return path_of(bed_map, carriage_rider(bed_map.bed, across_mm, guide, also_at_mm))


def carriage_rider(
    bed: Bed, across_mm: float | None, guide: str | None, also_at_mm: Sequence[float] = ()
) -> Rider:
    """The carriage as it rides its ways; the parameters are those of `carriage_path`."""
    faces = carrying_faces(bed, ON_CARRIAGE, "carriage")
    if guide is not None:
        faces = (*faces, _side_face(bed, guide))
    at_mm = tuple(np.unique([*bed.station_mm, *also_at_mm]).tolist())
    return Rider("carriage", faces, carriage_bearing(bed), across_mm, at_mm)


def path_of(bed_map: BedMap, rider: Rider) -> Path:
    """The path of what rides the bed, at the places where the map knows all that it tells of it.

    Where it bears between the places that were read, how the ways run there is in the uncertainty: the
    path's own map has these heights as unknowns.
    """
    bed_map = bed_map.reaching(rider.bears_on())
    at_mm, motions = np.array(rider.at_mm), rider.motions()
    axes = [
        _rows(bed_map, [getattr(motion, axis) for motion in motions]) for axis in ("rise", "sway", "roll")
    ]
    kept = np.ones(len(at_mm), bool)
    for i, rows in enumerate(axes):
        known = _known(bed_map, at_mm, rows)
        if known is None:
            axes[i] = None
        else:
            kept &= known
    if all(rows is None for rows in axes):
        kept[:] = False
    if np.count_nonzero(kept) < LEAST_STATIONS:
        raise AnalysisError(
            rider.name,
            f"found its path known at {np.count_nonzero(kept)} stations",
            f"{LEAST_STATIONS} at least",
            f"measure {' and '.join(face.id for face in rider.faces)} further along the bed",
        )
    columns = [bed_map.assembly.layout.column(place) for place in rider.bears_on()]
    between = any(column is not None and column >= len(bed_map.nodes) for column in columns)
    rise, sway, roll = (None if rows is None else rows[kept] for rows in axes)
    return Path(bed_map, at_mm[kept], rise, sway, roll, between)


def middle_of_ways_mm(bed: Bed) -> float | None:
    """Where the spindle axis is taken to lie across the bed: midway between the carriage's ways."""
    places = [mm for name in bed.ridden_ways() if (mm := bed.faces[name].across_mm) is not None]
    return sum(places) / len(places) if places else None


def centre_height_mm(bed: Bed, where: str) -> float:
    """The arm on which the carriage's roll acts on the work.

    Raises
    ------
    AnalysisError
        Where bed.toml gives no height of the spindle axis.
    """
    if bed.centre_height_mm is None:
        raise AnalysisError(
            where,
            "found no height of the spindle axis in bed.toml",
            "centre_height_mm under [bed]",
            "add it: the roll of the carriage acts on that arm",
        )
    return bed.centre_height_mm


def known_part(path: Path, rows: NDArray[np.float64] | None) -> Known | None:
    """A combination from its first station, or, where its tilt is not known, from the line through its ends.

    None where not even its bend is known.
    """
    if rows is None:
        return None
    x = path.station_mm
    share = ((x - x[0]) / (x[-1] - x[0]))[:, None]
    from_first = rows - rows[0]
    for less, up_to in ((from_first, A_CONSTANT), (from_first - share * from_first[-1], A_LINE)):
        if path.bed_map.solution.is_known(less).all():
            return Known(less, up_to)
    return None


def change_between(
    path: Path, rows: NDArray[np.float64] | None, near_mm: float, far_mm: float, *, from_line: bool
) -> NDArray[np.float64] | None:
    """How a combination changes from one place to another, one row over all unknowns; None where not known.

    `from_line` counts it from the least-squares line along the whole path: of a height the tilt of the
    whole is never known, of a roll it is wanted with it.
    """
    at = [np.flatnonzero(np.abs(path.station_mm - mm) < SAME_STATION_MM) for mm in (near_mm, far_mm)]
    if rows is None or not (at[0].size and at[1].size):
        return None
    row = rows[at[1][0]] - rows[at[0][0]]
    if from_line:
        row = row - (far_mm - near_mm) / 1000.0 * (slope_row(path.station_mm) @ rows)
    return row if path.bed_map.solution.is_known(row[None]).all() else None


def slope_row(station_mm: NDArray[np.float64]) -> NDArray[np.float64]:
    """How values along the bed make the slope of their least-squares line, µm/m per µm, shape (n,)."""
    from_middle = station_mm - station_mm.mean()
    return np.asarray(1000.0 * from_middle / (from_middle @ from_middle))


def _rows(bed_map: BedMap, forms: Sequence[Form | None]) -> NDArray[np.float64] | None:
    """Forms over all unknowns, NaN where the map does not reach all places; None where nothing guides."""
    if any(form is None for form in forms):
        return None
    unreached = np.full(bed_map.assembly.unknowns, np.nan)
    rows = [row_of(bed_map, form) for form in forms if form is not None]
    return np.array([unreached if row is None else row for row in rows])


def _known(
    bed_map: BedMap, station_mm: NDArray[np.float64], rows: NDArray[np.float64] | None
) -> NDArray[np.bool_] | None:
    """Stations at which the map knows these up to one line along the bed; None where there are too few."""
    if rows is None:
        return None
    reached = np.flatnonzero(np.isfinite(rows).all(axis=1))
    moves = rows[reached] @ bed_map.solution.null_space
    size = float(
        np.max(np.abs(rows[reached]), initial=0.0) * np.max(np.abs(bed_map.solution.null_space), initial=0.0)
    )
    parts = parts_known(station_mm[reached], moves, 10 * ALIKE * size)
    known = np.zeros(len(station_mm), bool)
    if parts:
        known[reached[parts[0]]] = True
    return known if np.count_nonzero(known) >= LEAST_STATIONS else None


def _side_face(bed: Bed, name: str) -> Face:
    face = face_named(bed, name, "carriage")
    if face.upward:
        raise AnalysisError(
            "carriage",
            f"found {name}, which looks {face.normal}, to guide it sideways",
            "a face that looks to the front or rear",
            "a vee that the carriage rides guides it by itself",
        )
    return face
