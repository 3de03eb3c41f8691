"""Readings of a level across the bed: the height of the rear way over the front one."""

import numpy as np

from acquire.model.bed import Bed, Face
from acquire.model.errors import AnalysisError
from acquire.model.reference import ON_CARRIAGE
from acquire.model.traverse import Traverse
from analysis.observe.carriers import (
    Bearing,
    carriage_bearing,
    carrier_motion,
    carrying_faces,
    face_named,
    height_of_bearing,
)
from analysis.observe.terms import Form, weighted_sum


def rolled_over(traverse: Traverse, bed: Bed) -> tuple[Face, ...]:
    """The faces that it bridges: front and rear, or those the carriage rides."""
    where, setup = f"traverse {traverse.number:03d}", traverse.setup
    if traverse.setup.is_on_carriage:
        faces = carrying_faces(bed, ON_CARRIAGE, where)
    else:
        faces = (face_named(bed, setup.front, where), face_named(bed, setup.rear, where))
    if bed.called.is_upright and traverse.instrument.gravity:
        raise AnalysisError(
            where,
            "found a level across a guide that stands: it turns about the plumb line, which no level sees",
            "a level along each face, or an indicator from one to the other",
        )
    if len(faces) != 2:
        raise AnalysisError(where, f"found {len(faces)} ways to read across", "a front and a rear one", "")
    for face in faces:
        if face.upward == 0:
            raise AnalysisError(
                where,
                f"found a level across onto {face.id}, which looks to the {face.normal}",
                "two faces that look up or down",
                "read a side face with an indicator",
            )
    return faces


def gauge_mm(traverse: Traverse, bed: Bed) -> float:
    """The gauge width as it stood when the traverse was made, else as bed.toml has it now."""
    front, rear = rolled_over(traverse, bed)
    then = traverse.setup.bed
    if front.id in then.faces and rear.id in then.faces:
        gauge = then.gauge_mm(front.id, rear.id) or bed.gauge_mm(front.id, rear.id)
    else:
        gauge = bed.gauge_mm(front.id, rear.id)
    gauge = gauge or traverse.instrument.base_mm
    if gauge is None:
        raise AnalysisError(
            f"traverse {traverse.number:03d}",
            f"found no distance across the bed between {front.id} and {rear.id}",
            "across_mm under both faces",
            "add them to bed.toml",
        )
    return gauge


def roll_forms(
    traverse: Traverse, bed: Bed, station_mm: np.ndarray, is_point: bool = False
) -> tuple[Form, ...]:
    """One form per reading, in µm/m per µm: (rear − front) / gauge.

    A foot that is long along the bed bears on its two ends. `is_point` takes it, or a carriage, as bearing
    at its middle alone, for ways of unknown shape.
    """
    front, rear = rolled_over(traverse, bed)
    per_um = (-1 if traverse.setup.turned else 1) * 1000.0 / gauge_mm(traverse, bed)
    if traverse.setup.is_on_carriage:
        return tuple(
            _carriage_roll(bed, float(x), per_um * gauge_mm(traverse, bed), is_point) for x in station_mm
        )
    bearing = Bearing(None if is_point else traverse.instrument.carrier_feet_mm, averages=True)
    return tuple(
        weighted_sum([
            (per_um * rear.upward, height_of_bearing(rear, float(x), bearing)),
            (-per_um * front.upward, height_of_bearing(front, float(x), bearing)),
        ])
        for x in station_mm
    )  # fmt: skip


def _carriage_roll(bed: Bed, at_mm: float, per_um_per_mm: float, is_point: bool) -> Form:
    faces = carrying_faces(bed, ON_CARRIAGE, "carriage")
    bearing = Bearing(None) if is_point else carriage_bearing(bed)
    motion = carrier_motion(faces, at_mm, bearing, None, "carriage")
    assert motion.roll is not None
    return weighted_sum([(per_um_per_mm, motion.roll)])


def roll_seating(traverse: Traverse, bed: Bed) -> float:
    """What seating of its two feet adds to one reading, µm/m."""
    return 2**0.5 * (traverse.instrument.seating_um or 0.0) * 1000 / abs(gauge_mm(traverse, bed))
