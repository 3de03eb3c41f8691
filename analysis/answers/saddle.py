"""How far the saddle comes down once the ways are planned, and what that asks of apron, rack and screw.

Counted from the unworn line of each way, front d_f and rear d_r over a gauge G:

    drop at p across = d_f + (d_r - d_f)(p - p_f)/G,    roll = (d_f - d_r)/G (+ rear high)

A rack that the pinion comes down on loses 2 tan α of the drop as play (α the pressure angle).  Lining the
saddle brings it back: of sheet and bond thickness what is milled off the saddle is

    mill off = sheet + bond - scrape - drop            (drop · sin a on a flank at a to the vertical)

A shim under the saddle's apron face lowers the apron further.  Derived; pressure angles are the gear's own.
"""

from dataclasses import dataclass, field, replace
from math import radians, sin, tan

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import Face
from acquire.model.errors import AnalysisError
from acquire.model.units import UM_PER_MM
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.face_map import own_shape, reaches_unworn
from analysis.answers.known_roll import Ways, ways_of
from analysis.answers.plan import ways_planned
from analysis.answers.removal import Removal
from analysis.linear.profile import Profile, in_common
from analysis.linear.reference_lines import remove_line
from analysis.linear.shown import KEPT_INSIDE


@dataclass(frozen=True)
class Lining:
    """What lines the saddle, in mm."""

    sheet_mm: float
    bond_mm: float = 0.0
    scrape_mm: float = 0.0
    """Allowance to scrape it in."""


@dataclass(frozen=True)
class MillOff:
    """What comes off one face of the saddle before it is lined, in mm, square to the face."""

    way: str
    flank: str
    """flat | front | rear"""
    mill_off_mm: float


@dataclass(frozen=True, eq=False)
class SaddleDrop:
    """The drop along the bed once both ways are planned."""

    front: str
    rear: str
    station_mm: NDArray[np.float64]
    front_um: NDArray[np.float64]
    rear_um: NDArray[np.float64]
    standard_uncertainty_um: NDArray[np.float64]
    """Of the greater of the two."""
    roll_um_per_m: NDArray[np.float64]
    """+ rear high."""
    apron_mm: float
    at_apron_um: NDArray[np.float64]
    pressure_angle_deg: float
    at_apron_standard_uncertainty_um: NDArray[np.float64]
    """Of the drop at the apron, whatever the two ways' errors have in common: an apron in front of both
    ways carries those of their difference as well."""
    rack_play_um: float
    """At the greatest drop of the apron."""
    lining: Lining | None
    mill_off: tuple[MillOff, ...]
    """At the mean drop of each way."""
    assumptions: tuple[Assumption, ...] = field(default=())
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())
    """Where pieces of the bed meet: nothing is drawn over them."""


def rack_play(drop_um: float, pressure_angle_deg: float = 20.0) -> float:
    """Play that a rack and pinion have less of, or more, for a change of their distance.

    Examples
    --------
    >>> round(rack_play(250))
    182
    """
    return 2 * tan(radians(pressure_angle_deg)) * drop_um


def mill_off(lining: Lining, drop_mm: float, flank_angle_deg: float = 90.0) -> float:
    """What to mill off a face of the saddle, square to it.

    Examples
    --------
    >>> sheet = Lining(1.5, 0.1, 0.1)
    >>> round(mill_off(sheet, 0.25), 3), round(mill_off(sheet, 0.25, 45), 3)
    (1.25, 1.323)
    """
    return lining.sheet_mm + lining.bond_mm - lining.scrape_mm - drop_mm * sin(radians(flank_angle_deg))


def saddle_drop(
    bed_map: BedMap,
    apron_mm: float | None = None,
    *,
    pressure_angle_deg: float = 20.0,
    lining: Lining | None = None,
    across_joints: bool = False,
) -> SaddleDrop:
    """The drop of the saddle once the carriage's ways are cut as planned.

    Parameters
    ----------
    bed_map : BedMap
    apron_mm : float
        Where the apron's pinion or half nuts are, across.
    pressure_angle_deg : float
        Of the rack.
    lining : Lining, optional
    across_joints : bool
        As in `plan_faces`.

    Raises
    ------
    AnalysisError
        Where the ways are not described, a way names no unworn stretch to count from, or there is no plan.
    """
    apron_mm = _apron_across(bed_map, apron_mm)
    ways = ways_of(bed_map.bed)
    drops = _planned_drops(bed_map, ways, across_joints)
    front, rear = _where_both_are_known(drops[ways.front], drops[ways.rear])
    share = (apron_mm - float(bed_map.bed.faces[ways.front].across_mm or 0.0)) / ways.gauge_mm
    at_apron = front.height_um + (rear.height_um - front.height_um) * share
    of_front, of_rear = front.standard_uncertainty_um, rear.standard_uncertainty_um
    return SaddleDrop(
        front=ways.front,
        rear=ways.rear,
        station_mm=front.station_mm,
        front_um=front.height_um,
        rear_um=rear.height_um,
        standard_uncertainty_um=np.maximum(of_front, of_rear),
        roll_um_per_m=(front.height_um - rear.height_um) / ways.gauge_mm * UM_PER_MM,
        apron_mm=apron_mm,
        at_apron_um=at_apron,
        pressure_angle_deg=pressure_angle_deg,
        at_apron_standard_uncertainty_um=abs(1 - share) * of_front + abs(share) * of_rear,
        rack_play_um=rack_play(float(at_apron.max()), pressure_angle_deg),
        lining=lining,
        mill_off=() if lining is None else tuple(_mill_offs(bed_map, drops, lining)),
        assumptions=assumptions(bed_map, (ways.front, ways.rear)),
        joints_mm=bed_map.bed.joints_mm,
    )


def _apron_across(bed_map: BedMap, apron_mm: float | None) -> float:
    """Where the apron is, as asked for or as bed.toml says."""
    apron_mm = bed_map.bed.apron_mm if apron_mm is None else apron_mm
    if apron_mm is None:
        raise AnalysisError(
            bed_map.bed.name,
            "where across the bed the apron is was not said",
            "apron_mm under [bed], or --apron",
        )
    return apron_mm


def _planned_drops(bed_map: BedMap, ways: Ways, across_joints: bool) -> dict[str, Profile]:
    """How far each way comes down once both are cut without wind."""
    for way in (ways.front, ways.rear):
        if not reaches_unworn(own_shape(bed_map, way)[0], bed_map.bed.faces[way]):
            raise AnalysisError(
                way, "no unworn stretch of it was measured, so that its drop has nothing to be counted from",
                "unworn_mm in bed.toml with two stations at least", "name one, and measure there",
            )  # fmt: skip
    plans = ways_planned("saddle", bed_map, (ways.front, ways.rear), across_joints=across_joints)
    return {way: _drop(bed_map, way, plan.removal) for way, plan in plans.items()}


def _where_both_are_known(front: Profile, rear: Profile) -> tuple[Profile, Profile]:
    if not in_common(front.station_mm, rear.station_mm)[0].size:
        raise AnalysisError(
            "saddle", f"no station at which both {front.face} and {rear.face} are known", "one at least",
            "read both at the same places",
        )  # fmt: skip
    return front.at_those_of(rear.station_mm), rear.at_those_of(front.station_mm)


def _drop(bed_map: BedMap, way: str, removal: Removal) -> Profile:
    """How far the planned way lies below its unworn line; the uncertainty is that line's and the heights'."""
    described = bed_map.bed.faces[way]
    level = remove_line(own_shape(bed_map, way)[0], "unworn", described.unworn_mm)
    level = level.at_those_of(removal.station_mm)
    return replace(level, height_um=removal.removal_um - level.height_um)


def _mill_offs(bed_map: BedMap, drops: dict[str, Profile], lining: Lining) -> list[MillOff]:
    found = []
    for way, drop in drops.items():
        mean_mm = float(drop.height_um.mean()) / UM_PER_MM
        for flank, angle in _flanks(bed_map.bed.faces[way]):
            found.append(MillOff(way, flank, mill_off(lining, mean_mm, angle)))
    return found


def _flanks(described: Face) -> list[tuple[str, float]]:
    if described.is_vee and described.flank_angles_deg is not None:
        return list(zip(("front", "rear"), described.flank_angles_deg, strict=True))
    return [("flat", 90.0)]
