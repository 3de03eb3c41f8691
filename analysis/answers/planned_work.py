"""The turned part before the plan and after it."""

from collections.abc import Mapping
from dataclasses import replace
from math import cos, radians, sin
from typing import Any

import numpy as np

from acquire.model.bed import Face
from analysis.adjust.bed_map import BedMap
from analysis.adjust.nodes import Key
from analysis.answers.known_roll import ways_of
from analysis.answers.plan import FacePlan, ways_planned
from analysis.answers.work import Cut, TurnedPart, turned_part


def before_and_after_plan(bed_map: BedMap, *, across_joints: bool = False, **part: Any) -> TurnedPart:
    """The part as the ways are, and once those of the carriage are cut as planned, without wind.

    Parameters
    ----------
    bed_map : BedMap
    across_joints : bool
        As in `plan_faces`.
    **part
        As in `turned_part`.

    Raises
    ------
    AnalysisError
        As `turned_part` and `ways_planned` do.
    """
    ways = ways_of(bed_map.bed)
    now = turned_part(bed_map, **part)
    both = (ways.front, ways.rear)
    plans = ways_planned("part after the plan", bed_map, both, across_joints=across_joints)
    cut: dict[Key, Cut] = {}
    for face, plan in plans.items():
        cut |= metal_planned(bed_map.bed.faces[face], plan)
    return replace(now, after_plan=turned_part(bed_map, cut=cut, **part))


def metal_planned(described: Face, plan: FacePlan) -> Mapping[Key, Cut]:
    """What a plan takes off the heights of a face, and off a vee sideways where its flanks are planned apart.

    Depths e1 on the front flank and e2 on the rear one, at a1 and a2 from the vertical, let a vee down by
    (e1 cos a2 + e2 cos a1)/sin(a1 + a2) and move it by (e2 sin a1 - e1 sin a2)/sin(a1 + a2) from the rear on
    a ridge, to it in a groove.
    """
    station, key = plan.removal.station_mm, ("height", described.id)
    if plan.flank_um is None or not plan.sideways_is_known or described.flank_angles_deg is None:
        return {key: (station, plan.removal.removal_um)}
    a1, a2 = (radians(each) for each in described.flank_angles_deg)
    front, rear = (np.asarray(plan.flank_um[side]) for side in ("front", "rear"))
    down = (front * cos(a2) + rear * cos(a1)) / sin(a1 + a2)
    aside = (rear * sin(a1) - front * sin(a2)) / sin(a1 + a2)
    sense = -1.0 if described.form == "groove" else 1.0
    return {key: (station, down), ("side", described.id): (station, sense * aside)}
