"""Readings of a level or the like along the bed: differences of heights one base apart."""

from collections.abc import Iterable

import numpy as np

from acquire.model.bed import Bed, Face, Instrument
from acquire.model.errors import AnalysisError
from acquire.model.reference import ON_CARRIAGE
from acquire.model.traverse import Traverse
from acquire.model.units import MM_PER_M
from analysis.observe.carriers import carriage_bearing, carrier_motion, carrying_faces, face_named
from analysis.observe.terms import Form, Place, weighted_sum


def slope_sign(face: Face, instrument: Instrument, where: str, *, is_upright: bool = False) -> int:
    """Whether a rising face reads as rising; refused where the instrument cannot see it.

    On a guide that stands a level (a frame level, held by its upright edge) reads how far the far end leans
    out, to where the face looks: the slope of its heights itself, whichever way it looks.

    Examples
    --------
    >>> slope_sign(Face("way", "down"), Instrument("level", "slope", "um/m"), "traverse 1")
    -1
    >>> slope_sign(Face("guide", "front"), Instrument("level", "slope", "um/m"), "1", is_upright=True)
    1
    """
    if is_upright:
        return 1
    upward = face.upward
    if instrument.gravity and upward == 0:
        raise AnalysisError(
            where,
            f"found a level on {face.id}, which looks to the {face.normal}",
            "a face that looks up or down: a level cannot see sideways",
            "use an indicator, a wire or an optical line there (on a guide that stands, stands = upright)",
        )
    return upward if instrument.gravity else 1


def slope_forms(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> tuple[Form, ...]:
    """One form per reading, in µm/m per µm."""
    where = f"traverse {traverse.number:03d}"
    instrument = traverse.instrument
    turn = -1 if traverse.setup.turned else 1
    if traverse.setup.is_on_carriage:
        return tuple(
            weighted_sum([(turn * MM_PER_M, _carriage_pitch(bed, float(x), where))]) for x in station_mm
        )
    face = face_named(bed, traverse.setup.face, where)
    sign = turn * slope_sign(face, instrument, where, is_upright=bed.called.is_upright)
    base_mm = instrument.base_mm
    if not base_mm:
        raise AnalysisError(where, f"found no base of {instrument.name}", "base_mm", "add it to bed.toml")
    weight = sign * MM_PER_M / base_mm
    return tuple(_step(face.id, float(x), base_mm / 2, weight) for x in station_mm)


def _step(face: str, middle_mm: float, half_mm: float, weight: float) -> Form:
    return {
        Place("height", face, round(middle_mm + half_mm, 6), "foot"): weight,
        Place("height", face, round(middle_mm - half_mm, 6), "foot"): -weight,
    }


def _carriage_pitch(bed: Bed, at_mm: float, where: str) -> Form:
    bearing = carriage_bearing(bed)
    motion = carrier_motion(carrying_faces(bed, ON_CARRIAGE, where), at_mm, bearing, None, where)
    if motion.pitch is None:
        raise AnalysisError(
            where,
            "found a level on the carriage, whose bearing length is not known",
            "carriage_length_mm in [bed]",
            "measure it along the bed and add it",
        )
    return motion.pitch


def slope_seating(instrument: Instrument) -> float:
    """What seating of its two feet adds to one reading, µm/m.

    Examples
    --------
    >>> round(slope_seating(Instrument("level", "slope", "um/m", base_mm=200.0, seating_um=0.5)), 2)
    3.54
    """
    return 2**0.5 * (instrument.seating_um or 0.0) * 1000 / (instrument.base_mm or 1000.0)


DRAWN_SHARE = 0.1
"""Of the base: a level that is read closer than this moves on meanwhile; farther apart it is placed anew."""


def is_placed(traverse: Traverse) -> bool:
    """Whether a level was set down for each reading, as a stepped one is, be it closer than half its base."""
    if traverse.mode == "stepped":
        return True
    places, base_mm = np.unique(traverse.stations.station_mm), traverse.instrument.step_mm
    if traverse.setup.mode_asked or not base_mm or len(places) < 2:
        return False
    return bool(np.median(np.diff(places)) >= DRAWN_SHARE * base_mm)


def stood_on(traverse: Traverse, bed: Bed) -> Iterable[str]:
    """The faces that a slope traverse says something about."""
    if traverse.setup.is_on_carriage:
        return [face.id for face in carrying_faces(bed, ON_CARRIAGE, f"traverse {traverse.number:03d}")]
    return [traverse.setup.face or ""]
