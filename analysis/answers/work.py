"""What the shape of the ways does to a part turned between them: its diameter along its length.

The carriage drops, sways and rolls as it runs.  A roll φ (rear high) takes a tool at the height C of
the spindle axis φ·C towards the operator, and so does a sway away from the axis: with the tool on
the operator's side the radius grows by ΔR = φ·C − sway, the diameter by twice that.  The tip also
rises by δy, which counts only by its square unless it stands off centre height (e):

    ΔD = 2[√((r + ΔR)² + (e + δy)²) − √(r² + e²)]

Derived for this project.  What the turner sets by trial is not predicted: the diameter at one place,
and, where the map knows the path only up to a line, the taper (headstock and tailstock decide it).
The tool is taken over the middle of the carriage, the work as stiff, the cut as light.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from acquire.model.units import UM_PER_MM
from analysis.adjust.bed_map import BedMap
from analysis.adjust.nodes import Key
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.carriage_path import (
    A_LINE,
    Known,
    Path,
    carriage_path,
    centre_height_mm,
    known_part,
    middle_of_ways_mm,
)
from analysis.linear.fact import Fact
from analysis.linear.largest_difference import largest_difference
from analysis.linear.pieces import rows_in_pieces
from analysis.linear.profile import standard_uncertainty
from analysis.linear.shown import KEPT_INSIDE

DIAMETER_MM = 50.0
"""Of the part, where none is said; a smaller one shows a drop of the tip more."""
Cut = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Stations, and metal off there in µm: of a height downwards, of a vee sideways from the rear."""


@dataclass(frozen=True, eq=False)
class Part:
    """What one movement of the carriage alone does to the diameter, less what is set by trial."""

    diameter_um: NDArray[np.float64]
    standard_uncertainty_um: NDArray[np.float64]
    known_up_to: str
    """a constant: from its first place | a line: from the line through its ends."""


@dataclass(frozen=True, eq=False)
class TurnedPart:
    """The part that the lathe would turn as its ways are."""

    station_mm: NDArray[np.float64]
    diameter_mm: float
    tip_high_mm: float
    centre_height_mm: float
    diameter_um: NDArray[np.float64] | None
    """How much larger than where it is set; None where the sideways path, which goes twice into it, or the
    roll is not known."""
    standard_uncertainty_um: NDArray[np.float64] | None
    known_up_to: str | None
    """a constant: from its first place; a line: from the line through its ends, its taper is not told."""
    varies_um: float | None
    """Largest less smallest diameter, as predicted."""
    varies_interval_um: tuple[float, float] | None
    """Holds it in truth."""
    is_seen: bool | None
    """Whether noise alone would predict as much in fewer than one survey in twenty."""
    largest_mm: float | None
    smallest_mm: float | None
    from_roll: Part | None
    from_sideways: Part | None
    from_height: Part | None
    """By the drop of the tip, the tip at its set height where the ends of the path are."""
    missing: tuple[str, ...]
    """roll | sideways | height: what the readings do not tell."""
    is_interpolated: bool
    """Whether the carriage bears between the places that were read; how the ways run there is in the ±."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    covariance_um2: NDArray[np.float64] | None = field(metadata=KEPT_INSIDE)
    after_plan: "TurnedPart | None" = None
    """The same once the carriage's ways are cut as planned, where that was asked for."""
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())


def diameter_change_um(
    radius_mm: float, outward_um: ArrayLike, upward_um: ArrayLike, tip_high_mm: float = 0.0
) -> NDArray[np.float64]:
    """How much larger the diameter turned by a tip that moved outward and upward.

    Parameters
    ----------
    radius_mm : float
        Where the tip was set, square to its height.
    outward_um, upward_um : array
        Its movement away from the axis, and up.
    tip_high_mm : float
        Its height above the axis as set.

    Examples
    --------
    Front way worn 30 µm, rear 5, 300 mm apart: a roll of 83 µm/m takes a tip 250 mm up 20.8 µm outward.

    >>> float(diameter_change_um(25.0, 25 / 300 * 250, -30 + 25 / 300 * 120).round(3))
    41.683
    """
    r, e = radius_mm * UM_PER_MM, tip_high_mm * UM_PER_MM
    out, up = np.asarray(outward_um, float), np.asarray(upward_um, float)
    return np.asarray(2 * (np.hypot(r + out, e + up) - np.hypot(r, e)))


def diameter_slopes(
    radius_mm: float, outward_um: ArrayLike, upward_um: ArrayLike, tip_high_mm: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How the diameter goes with the tip's outward and its upward movement, µm per µm."""
    r = radius_mm * UM_PER_MM + np.asarray(outward_um, float)
    e = tip_high_mm * UM_PER_MM + np.asarray(upward_um, float)
    distance = np.hypot(r, e)
    return 2 * r / distance, 2 * e / distance


def turned_part(
    bed_map: BedMap,
    *,
    diameter_mm: float = DIAMETER_MM,
    tip_high_mm: float = 0.0,
    axis_across_mm: float | None = None,
    guide: str | None = None,
    stretch_mm: tuple[float, float] | None = None,
    cut: Mapping[Key, Cut] | None = None,
) -> TurnedPart:
    """Predict the diameter along a part turned on this bed.

    Parameters
    ----------
    bed_map : BedMap
    diameter_mm : float
        Of the part.
    tip_high_mm : float
        Height of the tool's tip above centre height, as set.
    axis_across_mm : float, optional
        Where the spindle axis lies across the bed; None: midway between the carriage's ways.
    guide : str, optional
        A side face that guides the carriage; else the vee that it rides.
    stretch_mm : (from, to), optional
        Stations between which it turns; else all that the map reaches.
    cut : mapping of (kind, face) to (stations, µm), optional
        Metal taken off first (`metal_planned`), straight from station to station.

    Raises
    ------
    AnalysisError
        Where bed.toml does not say what carries the carriage or how high the spindle is, the part is no
        part, or the map reaches too little of the stretch.
    """
    centre_mm = centre_height_mm(bed_map.bed, "turned part")
    if not diameter_mm > 0 or 2 * abs(tip_high_mm) >= diameter_mm:
        raise AnalysisError(
            "turned part", f"found Ø{diameter_mm:g} mm, tip {tip_high_mm:g} mm high", "a tip within the part"
        )
    axis_mm = middle_of_ways_mm(bed_map.bed) if axis_across_mm is None else axis_across_mm
    tip_mm = None if axis_mm is None else axis_mm - diameter_mm / 2
    path = _within(carriage_path(bed_map, tip_mm, guide), stretch_mm)
    tool = _Tool(path, centre_mm, diameter_mm / 2, tip_high_mm, cut or {})
    return _predicted(tool, bed_map)


def _within(path: Path, stretch_mm: tuple[float, float] | None) -> Path:
    if stretch_mm is None:
        return path
    inside = (path.station_mm >= stretch_mm[0] - SAME_STATION_MM) & (
        path.station_mm <= stretch_mm[1] + SAME_STATION_MM
    )
    if np.count_nonzero(inside) < 3:
        raise AnalysisError(
            "turned part",
            f"found {np.count_nonzero(inside)} stations between {stretch_mm[0]:g} and {stretch_mm[1]:g} mm "
            "that the map reaches",
            f"three at least, of {path.station_mm[0]:g} to {path.station_mm[-1]:g} mm",
        )
    rise, sway, roll = (None if rows is None else rows[inside] for rows in (path.rise, path.sway, path.roll))
    return Path(path.bed_map, path.station_mm[inside], rise, sway, roll, path.is_interpolated)


@dataclass(frozen=True, eq=False)
class _Tool:
    """A tool on the carriage."""

    path: Path
    centre_mm: float
    radius_mm: float
    tip_high_mm: float
    cut: Mapping[Key, Cut]

    @cached_property
    def heights(self) -> NDArray[np.float64]:
        """All unknowns of the map, the metal that is cut first taken off."""
        layout = self.path.bed_map.assembly.layout
        found = np.array(self.path.bed_map.solution.estimate, float)
        for key, (station_mm, off_um) in self.cut.items():
            for at, column in layout.unknowns_of(key):
                joints = self.path.bed_map.bed.joints_mm
                found[column] -= float((rows_in_pieces(station_mm, [at], joints) @ off_um)[0])
        return found

    def part(self, outward: Known | None, upward: Known | None) -> tuple[Part, NDArray[np.float64]]:
        """What these movements do together, and the joint covariance of it."""
        nothing = np.zeros((len(self.path.station_mm), self.path.bed_map.assembly.unknowns))
        rows = [nothing if known is None else known.rows for known in (outward, upward)]
        out, up = (row @ self.heights for row in rows)
        by_out, by_up = diameter_slopes(self.radius_mm, out, up, self.tip_high_mm)
        covariance = self.path.bed_map.covariance_of(by_out[:, None] * rows[0] + by_up[:, None] * rows[1])
        found = Part(
            diameter_change_um(self.radius_mm, out, up, self.tip_high_mm),
            standard_uncertainty(covariance),
            A_LINE if outward is None else outward.up_to,
        )
        return found, covariance


def _predicted(tool: _Tool, bed_map: BedMap) -> TurnedPart:
    path = tool.path
    roll = known_part(path, None if path.roll is None else tool.centre_mm * path.roll)
    sideways = known_part(path, None if path.sway is None else -path.sway)
    across = path.sideways(tool.centre_mm)
    outward = known_part(path, None if across is None else -across)
    upward = _from_ends(path)
    told = {"roll": roll, "sideways": sideways, "height": upward}
    missing = tuple(name for name, known in told.items() if known is None)
    whole = tool.part(outward, upward) if outward is not None and upward is not None else None
    return TurnedPart(
        station_mm=path.station_mm,
        diameter_mm=2 * tool.radius_mm,
        tip_high_mm=tool.tip_high_mm,
        centre_height_mm=tool.centre_mm,
        **_figures(path, whole),
        from_roll=None if roll is None else tool.part(roll, None)[0],
        from_sideways=None if sideways is None else tool.part(sideways, None)[0],
        from_height=None if upward is None else tool.part(None, upward)[0],
        missing=missing,
        is_interpolated=path.is_interpolated,
        warnings=bed_map.warnings,
        assumptions=assumptions(bed_map),
        joints_mm=bed_map.bed.joints_mm,
    )


def _from_ends(path: Path) -> Known | None:
    """The rise of the tip from the line through the ends of its path, where it is set to its height."""
    if path.rise is None:
        return None
    x = path.station_mm
    share = ((x - x[0]) / (x[-1] - x[0]))[:, None]
    rows = path.rise - path.rise[0] - share * (path.rise[-1] - path.rise[0])
    return Known(rows, A_LINE) if path.bed_map.solution.is_known(rows).all() else None


def _figures(path: Path, whole: tuple[Part, NDArray[np.float64]] | None) -> dict[str, Any]:
    names = ("diameter_um", "standard_uncertainty_um", "known_up_to", "varies_um", "varies_interval_um",
             "is_seen", "largest_mm", "smallest_mm", "covariance_um2")  # fmt: skip
    if whole is None:
        return dict.fromkeys(names)
    part, covariance = whole
    largest = largest_difference(part.diameter_um, covariance)
    values = (
        part.diameter_um, part.standard_uncertainty_um, part.known_up_to, largest.value, largest.interval,
        largest.is_seen, float(path.station_mm[largest.highest]), float(path.station_mm[largest.lowest]),
        covariance,
    )  # fmt: skip
    return dict(zip(names, values, strict=True))
