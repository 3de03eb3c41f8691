"""Every figure that an answer tells, beside the truth: by how many standard uncertainties it is off."""

from collections.abc import Iterator
from contextlib import suppress

import numpy as np
from scipy.interpolate import interp1d

from acquire.model.errors import AnalysisError
from analysis.adjust.combination import BedMap, combine
from analysis.answers.face_map import map_face
from analysis.answers.joints import Found, joints
from analysis.answers.roll import RollPart
from analysis.answers.standing import parallels
from analysis.answers.taper import tapers
from analysis.answers.twist import Twist, twist_of
from analysis.answers.work import turned_part
from analysis.linear.reference_lines import remove_line
from tests.told_answers.figures import GAUGE_MM, ROUNDING, UM_PER_M, Figure, carried, outside, ratio, roll_of
from tests.told_answers.inventing import ACROSS_MM, CENTRE_MM, Told, with_truth
from tests.told_answers.to_the_work import to_the_work


def figures(told: Told) -> Iterator[Figure]:
    """All that the answers tell of a survey."""
    bed_map = combine(told.runs, told.bed)
    yield from of_faces(told, bed_map)
    with suppress(AnalysisError):
        yield from _of_twist(told, twist_of(told.runs, told.bed))
    yield from _of_pairs(told, bed_map)
    with suppress(AnalysisError):
        yield from _of_work(told, bed_map)
    yield from to_the_work(told, bed_map)
    if told.joint is not None:
        with suppress(AnalysisError):
            yield from _of_joints(told, bed_map)


def of_faces(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    """Heights and straightness alone."""
    for face in bed_map.faces:
        with suppress(AnalysisError):
            yield from _of_face(told, bed_map, face)


def _of_face(told: Told, bed_map: BedMap, face: str) -> Iterator[Figure]:
    profile = bed_map.profile(face)
    truth = with_truth(profile, told.heights[face](profile.station_mm))
    level, true = (remove_line(each, "least-squares") for each in (profile, truth))
    yield "height", ratio(level.height_um, true.height_um, 2 * level.standard_uncertainty_um)
    found = map_face(bed_map, face)
    if found.relative_to is None and found.station_mm.size == profile.station_mm.size:
        named = found.line.replace("-", "_")
        range_um = np.ptp(remove_line(truth, found.line, told.bed.faces[face].unworn_mm).height_um)
        yield "straightness", ratio(found.straightness_um[named], range_um, found.straightness_expanded_um)


def _of_twist(told: Told, found: Twist) -> Iterator[Figure]:
    x = found.station_mm
    roll = roll_of(told, x, told.bed.carriage_length_mm if found.roll_of == "carriage" else 0.0)
    if found.wind_um_per_m is not None:
        yield "wind", ratio(found.wind_um_per_m, roll[-1] - roll[0], found.wind_expanded_um_per_m)
        yield "twist interval", outside(found.twist_interval_um_per_m, float(np.ptp(roll)))
    if found.worst_over_carriage_interval_um_per_m is not None:
        near = np.abs(x[:, None] - x[None, :]) <= told.bed.carriage_length_mm + 0.5
        worst = float(np.max(np.abs(roll[:, None] - roll[None, :])[near]))
        yield "worst over carriage", outside(found.worst_over_carriage_interval_um_per_m, worst)
    if found.carriage is not None:
        yield from _of_part(
            "carriage's roll",
            found.carriage,
            roll_of(told, found.carriage.station_mm, told.bed.carriage_length_mm),
        )
    if found.feet is not None and told.twist is not None:
        yield from _of_part("feet take out", found.feet, UM_PER_M * told.twist(found.feet.station_mm))
    if found.wear is not None and told.twist is not None:
        at = found.wear.station_mm
        yield from _of_part("left to the scraper", found.wear, roll_of(told, at) - UM_PER_M * told.twist(at))


def _of_part(name: str, part: RollPart, truth: np.ndarray) -> Iterator[Figure]:
    yield f"{name}, wind", ratio(part.wind_um_per_m, truth[-1] - truth[0], part.wind_expanded_um_per_m)


def _of_pairs(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    names = [face for face in bed_map.faces if face != "guide"]
    for i, a in enumerate(names):
        for b in names[i + 1 :]:
            with suppress(AnalysisError):
                (found,) = tapers(bed_map, (a, b)).pairs
                x = found.profile.station_mm
                truth = told.heights[b](x) - told.bed.sense(a, b) * told.heights[a](x)
                slope, _ = np.polyfit(x / UM_PER_M, truth, 1)
                yield "taper", ratio(found.taper_um_per_m, slope, found.taper_expanded_um_per_m)
                true = remove_line(with_truth(found.profile, truth), "least-squares")
                yield (
                    "departure",
                    ratio(found.departure_um, true.height_um, 2 * found.standard_uncertainty_um),
                )
    known = [face for face in names if bed_map.lines[("height", face)].is_whole]
    for each in parallels(bed_map, known):
        if each.taper_um_per_m is not None and {each.a, each.b} <= set(known):
            a, b = (_slope(told, bed_map, face) for face in (each.a, each.b))
            truth = b - told.bed.sense(each.a, each.b) * a
            yield "parallel", ratio(each.taper_um_per_m, truth, each.taper_expanded_um_per_m)


def _slope(told: Told, bed_map: BedMap, face: str) -> float:
    x = bed_map.profile(face).station_mm
    return float(np.polyfit(x / UM_PER_M, told.heights[face](x), 1)[0])


def _of_work(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    """Diameter of a part of 50 mm by plain geometry: radius and height of the tip as the carriage runs."""
    found = turned_part(bed_map, diameter_mm=50.0)
    if found.diameter_um is None:
        return
    x, apart = found.station_mm, told.bed.carriage_length_mm
    front, rear = (carried(told, name, x, apart) for name in ("front", "vee"))
    sway = (told.side(x - apart / 2) + told.side(x + apart / 2)) / 2
    roll, across = (rear - front) / GAUGE_MM, (ACROSS_MM["front"] + ACROSS_MM["vee"]) / 2 - 25.0
    outward = roll * CENTRE_MM - sway
    upward = front + roll * (across - ACROSS_MM["front"])
    ends = interp1d(x[[0, -1]], upward[[0, -1]])
    outward = outward - (
        outward[0] if found.known_up_to == "a constant" else interp1d(x[[0, -1]], outward[[0, -1]])(x)
    )
    diameter = 2000 * (np.hypot(25 + outward / 1000, (upward - ends(x)) / 1000) - 25)
    inner = found.standard_uncertainty_um > ROUNDING
    yield "work", ratio(found.diameter_um, diameter, 2 * found.standard_uncertainty_um)[inner]
    yield "work varies", outside(found.varies_interval_um, float(np.ptp(diameter)))


def _of_joints(told: Told, bed_map: BedMap) -> Iterator[Figure]:
    assert told.joint is not None
    _, step, pitch, roll = told.joint
    (found,) = joints(bed_map).joints
    is_one = found.roll_um_per_m is not None
    whole = {"up": (found.up_um, step), "pitch": (found.pitch_um_per_m, UM_PER_M * pitch)}
    whole["roll"] = (found.roll_um_per_m, UM_PER_M * roll)
    for name, (figure, truth) in whole.items():
        if isinstance(figure, Found) and (is_one or name == "pitch"):
            yield f"joint {name}", ratio(figure.value, truth, figure.expanded)
    for face in found.faces:
        if face.kind == "height":
            up = told.bed.faces[face.face].upward
            of_face = up * (step + roll * ACROSS_MM[face.face])
            yield "joint step", ratio(face.step_um.value, of_face, face.step_um.expanded)
            yield (
                "joint kink",
                ratio(face.kink_um_per_m.value, up * UM_PER_M * pitch, face.kink_um_per_m.expanded),
            )
