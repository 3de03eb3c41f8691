"""What plan, saddle, feet and alignment tell, beside the truth."""

from collections.abc import Iterator
from contextlib import suppress

import numpy as np

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import BedMap
from analysis.answers.alignment_on_bed import collars_on_bed, tailstock_on_bed
from analysis.answers.feet_on_bed import feet_to_move
from analysis.answers.feet_response import MODEL_ERROR, stiff
from analysis.answers.joint_cut import Wishes
from analysis.answers.measured import Measured
from analysis.answers.plan import FacePlan, plan_faces
from analysis.answers.saddle import saddle_drop
from analysis.answers.section import feet_by_station, pairs_mm
from analysis.linear.reference_lines import remove_line
from tests.told_answers.figures import GAUGE_MM, UM_PER_M, Figure, carried, ratio, roll_of
from tests.told_answers.inventing import ACROSS_MM, CENTRE_MM, Told, with_truth

APRON_MM = -150.0


def to_the_work(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    """All of them; what is refused or not known is left out."""
    for face in bed_map.faces:
        with suppress(AnalysisError):
            yield from _of_plan(told, bed_map, face)
    for of_one in (_of_saddle, _of_feet, _of_tailstock, _of_collars):
        with suppress(AnalysisError):
            yield from of_one(told, bed_map)


def _of_plan(told: Told, bed_map: BedMap, face: str) -> Iterator[Figure]:
    """Depths against the truth over the line through the true heights where the target touches."""
    plan = plan_faces(bed_map, [face], across_joints=True).plans[face]
    removal, x = plan.removal, plan.removal.station_mm
    if plan.sideways_is_known or len(removal.touching_mm) != 2:
        return
    height = told.heights[face](x)
    touching = np.isin(x, removal.touching_mm)
    target = np.polyval(np.polyfit(x[touching], height[touching], 1), x)
    yield (
        "plan depth",
        ratio(removal.removal_um, height - target, 2 * removal.standard_uncertainty_um)[~touching],
    )
    yield _mean_depth(plan, height - target)


def _mean_depth(plan: FacePlan, depth: np.ndarray) -> Figure:
    half = np.diff(plan.removal.station_mm) / 2
    weight = (np.append(half, 0.0) + np.append(0.0, half)) / half.sum() / 2
    told = plan.removal
    return "plan mean depth", ratio(told.mean_um, weight @ depth, 2 * told.mean_standard_uncertainty_um)


def _of_saddle(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    """How far the cut ways lie below the lines through their true unworn stretches, and that at the apron."""
    found = saddle_drop(bed_map, APRON_MM, across_joints=True)
    plans = plan_faces(bed_map, ("front", "vee"), Wishes(no_wind=True), across_joints=True).plans
    drops = []
    for way in ("front", "vee"):
        x, cut = plans[way].removal.station_mm, plans[way].removal.removal_um
        stations = bed_map.profile(way).station_mm
        truth = remove_line(
            with_truth(bed_map.profile(way), told.heights[way](stations)),
            "unworn",
            told.bed.faces[way].unworn_mm,
        )
        at = np.searchsorted(np.round(stations, 3), np.round(x, 3))
        drop = cut - truth.height_um[at]
        drops.append(drop[np.isin(np.round(x, 3), np.round(found.station_mm, 3))])
    sure = 2 * found.standard_uncertainty_um
    yield "saddle drop front", ratio(found.front_um, drops[0], sure)
    yield "saddle drop rear", ratio(found.rear_um, drops[1], sure)
    at_apron = drops[0] + (drops[1] - drops[0]) * (APRON_MM - ACROSS_MM["front"]) / GAUGE_MM
    sure = 2 * found.at_apron_standard_uncertainty_um
    yield "saddle drop apron", ratio(found.at_apron_um, at_apron, sure)


def _of_feet(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    """What a level across will read once the feet are moved: the bed answers otherwise than a stiff one."""
    found = feet_to_move(bed_map, "front", "vee")
    if found.predicted is None or not found.moves:
        return
    x, lift = found.predicted.station_mm, {each.foot: each.lift_um for each in found.moves}
    feet = [foot.id for pair in feet_by_station(told.bed) for foot in pair]
    answers = 1 + MODEL_ERROR * np.random.default_rng(len(told.runs)).normal()
    rolls = answers * stiff(told.bed).roll @ [lift.get(foot, 0.0) for foot in feet]
    after = roll_of(told, x) + np.interp(x, pairs_mm(told.bed), rolls)
    after = after - after[0] if found.predicted.known_up_to == "a constant" else after
    sure = found.predicted.expanded_um_per_m > 1e-6
    yield (
        "roll after feet",
        ratio(found.predicted.roll_um_per_m, after, found.predicted.expanded_um_per_m)[sure],
    )


def _of_tailstock(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    found = tailstock_on_bed(bed_map, ("tail",))
    x, apart = np.array(told.bed.station_mm), told.bed.carriage_length_mm
    x = x[(x >= found.from_mm) & (x <= found.to_mm)]
    rise = (carried(told, "front", x, apart) + carried(told, "vee", x, apart)) / 2
    if found.rise_um_per_m is not None:
        slope = np.polyfit(x / UM_PER_M, told.heights["tail"](x) - rise, 1)[0]
        yield "tailstock rise", _measured(found.rise_um_per_m, slope)


def _of_collars(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    near, far = 0.3 * told.bed.length_mm, 0.7 * told.bed.length_mm
    found = collars_on_bed(bed_map, Measured(0.0, 1.0), near, far)
    at = np.array([near, far])
    roll = roll_of(told, at, told.bed.carriage_length_mm)
    to_diameter = 2 * CENTRE_MM / UM_PER_M
    if found.split.from_roll_um is not None:
        yield "collars, roll", _measured(found.split.from_roll_um, to_diameter * (roll[1] - roll[0]))
    if found.feet_um is not None and told.twist is not None:
        by_feet = UM_PER_M * told.twist(at)
        feet = by_feet[1] - by_feet[0]
        yield "collars, feet", _measured(found.feet_um, to_diameter * feet)
        if found.wear_um is not None:
            yield "collars, wear", _measured(found.wear_um, to_diameter * (roll[1] - roll[0] - feet))


def _measured(found: Measured, truth: float) -> np.ndarray:
    return ratio(found.value, truth, 2 * found.standard_uncertainty)
