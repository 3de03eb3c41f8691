"""The path that a correction fixture runs on its pads, with its uncertainty.

On pads L apart along a face the tool, an overhang a beyond the middle of the pads, goes

    (h(x - L/2) + h(x + L/2)) / 2 + a (h(x + L/2) - h(x - L/2)) / L

up with a face that looks up, to the rear with one that looks to the rear (to the front with the other).  Only
places where both pads stand on stations that were read are told; a straight line is no error of a path.

Where the tool stands off the line that it rides, by c across (+ to the rear) or q above, the fixture's roll θ
(+ rear high) acts on that arm: + θ c up, - θ q to the rear.  The fixture rolls as its top and its under face
stand to each other at the pads, p apart across the bed:

    θ = (up at the top face - up at the under face) / (p_top - p_under)

which is not known where nothing ties the two, nor where one lies under the other.  Derived.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import NORMALS
from acquire.model.errors import AnalysisError
from acquire.model.places import MISSED_MM
from analysis.adjust.bed_map import BedMap
from analysis.linear.profile import COVERAGE_FACTOR, Profile
from analysis.linear.reference_lines import remove_line, straightness
from analysis.linear.shown import Shown

LEAST = 3
LEAST_APART_MM = 10.0
"""Lines closer than this across the bed hold no fixture from rolling."""


@dataclass(frozen=True, eq=False, repr=False)
class FixturePath(Shown):
    """The path in one direction, from the line through its ends."""

    direction: str
    """up | rear"""
    face: str
    station_mm: NDArray[np.float64]
    """Of the tool."""
    path_um: NDArray[np.float64]
    expanded_um: NDArray[np.float64]
    range_um: float
    range_expanded_um: float
    is_roll_in_it: bool = False


@dataclass(frozen=True)
class Arm:
    """What the roll of a fixture acts on: the faces that hold it, and how far off the tool is."""

    top: str
    under: str
    arm_mm: float
    """What one unit of roll moves the tool by: across from the top pad, or minus above the side pad."""


def fixture_path(
    bed_map: BedMap, face: str, pads_mm: float, overhang_mm: float = 0.0, arm: Arm | None = None
) -> FixturePath:
    """The path of a fixture along one face.

    Parameters
    ----------
    bed_map : BedMap
    face : str
    pads_mm : float
        From pad to pad along the bed.
    overhang_mm : float
        From the middle of the pads to the tool, + away from station 0.
    arm : Arm, optional
        Where the tool stands off the line of its pads; without it the fixture's roll is not in the path.

    Raises
    ------
    AnalysisError
        Where pads that far apart stand on fewer than three pairs of stations, the shape is not known,
        or the faces that hold the fixture from rolling do not tell its roll.
    """
    indices, node = bed_map.indices(face), bed_map.stations_mm(face)
    near = np.abs(node[None, :] - node[:, None] - pads_mm) <= MISSED_MM
    first, last = np.nonzero(near)
    if first.size < LEAST:
        raise AnalysisError(
            f"fixture on {face}", f"pads {pads_mm:g} mm apart stand on {first.size} pairs of its stations",
            "three or more: pads a whole number of station pitches apart",
        )  # fmt: skip
    across, up = NORMALS[bed_map.bed.faces[face].normal]
    share = overhang_mm / pads_mm
    rows = np.zeros((first.size, len(bed_map.nodes)))
    each = np.arange(first.size)
    rows[each, indices[first]] += (up or across) * (0.5 - share)
    rows[each, indices[last]] += (up or across) * (0.5 + share)
    middle = (node[first] + node[last]) / 2
    if arm is not None:
        rolls, told = _roll_rows(bed_map, arm, node[first], node[last])
        rows, middle = rows[told] + arm.arm_mm * rolls[told], middle[told]
    profile = _known(bed_map, face, middle + overhang_mm, rows, arm)
    level, judged = remove_line(profile, "ends"), straightness(profile, "ends")
    return FixturePath(
        direction="up" if up else "rear",
        face=face,
        station_mm=level.station_mm,
        path_um=level.height_um,
        expanded_um=COVERAGE_FACTOR * level.standard_uncertainty_um,
        range_um=judged.range_um,
        range_expanded_um=judged.expanded_um,
        is_roll_in_it=arm is not None,
    )


def _known(bed_map: BedMap, face: str, station_mm: NDArray, rows: NDArray, arm: Arm | None) -> Profile:
    """The path up to a line, all of it or none."""
    if arm is None:
        return bed_map.combined(face, station_mm, rows)
    try:
        found = bed_map.combined(face, station_mm, rows)
    except AnalysisError as why:
        raise _untold(arm, "the readings do not tell it") from why
    if found.station_mm.size < max(LEAST, station_mm.size):
        raise _untold(arm, "the readings do not tell it all along")
    return found


def _untold(arm: Arm, found: str, needed: str = "how one stands to the other") -> AnalysisError:
    return AnalysisError(
        f"roll of a fixture on {arm.top} and {arm.under}", found, needed,
        "a cross level, or a caliper and a level on both, would tell; or leave the tool's arm out",
    )  # fmt: skip


def _roll_rows(
    bed_map: BedMap, arm: Arm, first_mm: NDArray, last_mm: NDArray
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Roll of the fixture in µm per mm for pads at these stations, and where both faces were read there."""
    faces = bed_map.bed.faces
    apart = float(faces[arm.top].across_mm or 0.0) - float(faces[arm.under].across_mm or 0.0)
    if abs(apart) < LEAST_APART_MM:
        raise AnalysisError(
            f"roll of a fixture on {arm.top} and {arm.under}",
            f"they lie {abs(apart):g} mm apart across the bed and hold it from no roll",
            "faces at two places across (across_mm in bed.toml), or a tool on the line of its pads",
        )  # fmt: skip
    rows, told = np.zeros((first_mm.size, len(bed_map.nodes))), np.ones(first_mm.size, bool)
    each = np.arange(first_mm.size)
    for face, sign in ((arm.top, 1.0), (arm.under, -1.0)):
        indices, node = bed_map.indices(face), bed_map.stations_mm(face)
        for pads in (first_mm, last_mm):
            if not node.size:
                told[:] = False
                continue
            nearest = np.abs(node[None, :] - pads[:, None]).argmin(axis=1)
            told &= np.abs(node[nearest] - pads) <= MISSED_MM
            rows[each, indices[nearest]] += sign * faces[face].upward / 2 / apart
    if np.count_nonzero(told) < LEAST:
        raise _untold(arm, "not both were read where its pads stand", "both at the same stations")
    return rows, told
