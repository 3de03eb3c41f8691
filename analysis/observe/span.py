"""Readings across two faces, or over a roller in a vee: the sum of two heights."""

import numpy as np

from acquire.model.bed import Bed, Face, sense_of
from acquire.model.errors import AnalysisError
from acquire.model.traverse import Traverse
from analysis.observe.carriers import face_named
from analysis.observe.terms import Form, Place


def spanned(traverse: Traverse, bed: Bed) -> tuple[Face, ...]:
    """The two faces, or the vee alone; refused where they do not look opposite ways."""
    where, setup = f"traverse {traverse.number:03d}", traverse.setup
    face = face_named(bed, setup.face, where)
    if setup.other is None:
        if not face.is_vee or setup.inside:
            raise AnalysisError(
                where, f"found a span from {face.id} to nothing", "a second face, or a roller in a vee", ""
            )
        return (face,)
    other = face_named(bed, setup.other, where)
    if sense_of(face, other) != -1:
        raise AnalysisError(
            where,
            f"found a span across {face.id} ({face.normal}) and {other.id} ({other.normal})",
            "two faces that look opposite ways",
            "",
        )
    return face, other


def span_forms(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> tuple[Form, ...]:
    """One form per reading: the heights added, or taken off where the faces look at each other."""
    sign = -1.0 if traverse.setup.inside else 1.0
    faces = spanned(traverse, bed)
    return tuple({Place("height", face.id, float(x), "touched"): sign for face in faces} for x in station_mm)
