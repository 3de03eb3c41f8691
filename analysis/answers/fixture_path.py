"""The path that a correction fixture runs on its pads, with its uncertainty.

On pads L apart along a face the tool, an overhang a beyond the middle of the pads, goes

    (h(x - L/2) + h(x + L/2)) / 2 + a (h(x + L/2) - h(x - L/2)) / L

up with a face that looks up, to the rear with one that looks to the rear (to the front with the other).  Only
places where both pads stand on stations that were read are told; a straight line is no error of a path.  How
the fixture rolls is not in it: one line of a face tells none.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import NORMALS
from acquire.model.errors import AnalysisError
from acquire.model.places import MISSED_MM
from analysis.adjust.combination import BedMap
from analysis.linear.reference_lines import COVERAGE_FACTOR, remove_line, straightness
from analysis.linear.shown import Shown

LEAST = 3


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


def fixture_path(bed_map: BedMap, face: str, pads_mm: float, overhang_mm: float = 0.0) -> FixturePath:
    """The path of a fixture along one face.

    Parameters
    ----------
    bed_map : BedMap
    face : str
    pads_mm : float
        From pad to pad along the bed.
    overhang_mm : float
        From the middle of the pads to the tool, + away from station 0.

    Raises
    ------
    AnalysisError
        Where pads that far apart stand on fewer than three pairs of stations, or the shape is not known.
    """
    indices = bed_map.indices(face)
    node = np.array([bed_map.nodes[i].station_mm for i in indices])
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
    profile = bed_map.combined(face, (node[first] + node[last]) / 2 + overhang_mm, rows)
    level, judged = remove_line(profile, "ends"), straightness(profile, "ends")
    return FixturePath(
        direction="up" if up else "rear",
        face=face,
        station_mm=level.station_mm,
        path_um=level.height_um,
        expanded_um=COVERAGE_FACTOR * level.standard_uncertainty_um,
        range_um=judged.range_um,
        range_expanded_um=judged.expanded_um,
    )
