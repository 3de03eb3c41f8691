"""How a carrier moves as the faces under it rise and fall.

A carrier is whatever a plunger or a level rides on: a stand on one face, parallels
linking two, the carriage on its ways.  Its motion at a place along the bed is five
linear forms of the heights below it: rise (up), sway (towards the rear), and the pitch
(rises away from the headstock), yaw (towards the rear away from the headstock) and roll
(rear higher) in µm per mm.  At a point `along`, `across`, `above` from its middle a
rigid carrier moves

    up    rise + pitch·along + roll·across
    rear  sway + yaw·along − roll·above
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Bed, Face
from acquire.model.errors import AnalysisError
from acquire.model.reference import Reference
from analysis.observe.terms import Form, Place, weighted_sum

NOTHING: Form = {}
SAMPLES_OF_AN_AVERAGE = 9


@dataclass(frozen=True)
class Bearing:
    """How a carrier bears on the faces along the bed."""

    length_mm: float | None
    """None: a point, which follows the face and has no pitch of its own."""
    on_ends: bool = True
    """On its two ends, or on all of its length."""
    averages: bool = False
    """Whether its middle rides at the mean of what it bears on."""


@dataclass(frozen=True)
class Motion:
    """A carrier's motion at one place along the bed; rotations are None where nothing determines them."""

    rise: Form | None
    sway: Form | None
    pitch: Form | None
    yaw: Form | None
    roll: Form | None


def face_named(bed: Bed, name: str | None, where: str) -> Face:
    """The face, or a refusal that lists those there are."""
    if name is None or name not in bed.faces:
        raise AnalysisError(
            where,
            f"found face {name!r}, which bed.toml does not have",
            ", ".join(bed.faces),
            "correct bed.toml",
        )
    return bed.faces[name]


def carrying_faces(bed: Bed, reference: Reference, where: str) -> tuple[Face, ...]:
    """The one or two faces of a reference, or those the carriage rides."""
    if reference.is_carriage:
        names = bed.ridden_ways()
        if not names:
            raise AnalysisError(
                where,
                "found no way that the carriage rides",
                'carriage = "front" or "rear" under a face',
                "add it to bed.toml",
            )
    else:
        names = list(reference.names)
    return tuple(face_named(bed, name, where) for name in names)


def _mean_and_slope(kind: str, face: Face, at_mm: float, bearing: Bearing) -> tuple[Form, Form | None]:
    """Height at the middle and slope (per mm) of one line of bearing."""

    def here(offset_mm: float) -> Place:
        return Place(kind, face.id, at_mm + offset_mm, "carried")

    middle: Form = {Place(kind, face.id, at_mm, "touched"): 1.0}
    if bearing.length_mm is None:
        return middle, None
    half_mm = bearing.length_mm / 2
    if bearing.on_ends:
        slope: Form = {here(half_mm): 0.5 / half_mm, here(-half_mm): -0.5 / half_mm}
        mean: Form = {here(half_mm): 0.5, here(-half_mm): 0.5}
    else:
        nodes, weights = np.polynomial.legendre.leggauss(SAMPLES_OF_AN_AVERAGE)
        mean = {here(half_mm * t): w / 2 for t, w in zip(nodes.tolist(), weights.tolist(), strict=True)}
        slope = {
            here(half_mm * t): 1.5 * w * t / half_mm
            for t, w in zip(nodes.tolist(), weights.tolist(), strict=True)
            if abs(t) > 1e-12
        }
    return (mean if bearing.averages else middle), slope


def height_of_bearing(face: Face, at_mm: float, bearing: Bearing) -> Form:
    """Height along its normal at which one line of bearing stands on a face."""
    return _mean_and_slope("height", face, at_mm, bearing)[0]


def _scaled(form: Form | None, factor: float) -> Form | None:
    return None if form is None else weighted_sum([(factor, form)])


def _blend(first: Form | None, second: Form | None, share: float) -> Form | None:
    if first is None or second is None:
        return None
    return weighted_sum([(1 - share, first), (share, second)])


def carrier_motion(
    faces: tuple[Face, ...], at_mm: float, bearing: Bearing, across_mm: float | None, where: str
) -> Motion:
    """Motion of a carrier on one, two or three faces, its rise taken at `across_mm`.

    Faces that look up or down (and vees) carry it; side faces and vees guide it sideways.
    """
    rise, pitch, roll = _carried([face for face in faces if face.upward], at_mm, bearing, across_mm, where)
    sway, yaw = _guided([face for face in faces if face.rearward or face.is_vee], at_mm, bearing)
    return Motion(rise, sway, pitch, yaw, roll)


def _carried(
    faces: Sequence[Face], at_mm: float, bearing: Bearing, across_mm: float | None, where: str
) -> tuple[Form | None, Form | None, Form | None]:
    """Rise, pitch and roll on faces that look up or down."""
    if len(faces) > 2:
        raise AnalysisError(
            where, f"found {len(faces)} faces under one carrier", "at most two that carry it", ""
        )
    if not faces:
        return None, None, None
    rises, pitches = zip(*(_along_normal(face, at_mm, bearing, face.upward) for face in faces), strict=True)
    if len(faces) == 1:
        return rises[0], pitches[0], None
    share, gauge_mm = _share_across(faces[0], faces[1], across_mm, where)
    roll = weighted_sum([(1 / gauge_mm, rises[1]), (-1 / gauge_mm, rises[0])])
    return _blend(rises[0], rises[1], share), _blend(pitches[0], pitches[1], share), roll


def _along_normal(
    face: Face, at_mm: float, bearing: Bearing, sense: float
) -> tuple[Form | None, Form | None]:
    mean, slope = _mean_and_slope("height", face, at_mm, bearing)
    return _scaled(mean, sense), _scaled(slope, sense)


def _guided(faces: Sequence[Face], at_mm: float, bearing: Bearing) -> tuple[Form | None, Form | None]:
    """Sway and yaw along a side face, else along a vee."""
    if not faces:
        return None, None
    guide = next((face for face in faces if not face.upward), faces[0])
    if not guide.rearward:
        return _mean_and_slope("side", guide, at_mm, bearing)
    return _along_normal(guide, at_mm, bearing, guide.rearward)


def _share_across(first: Face, second: Face, across_mm: float | None, where: str) -> tuple[float, float]:
    """How far across from the first face to the second, and the gauge between them."""
    if first.across_mm is None or second.across_mm is None or first.across_mm == second.across_mm:
        raise AnalysisError(
            where,
            f"found no distance across the bed between {first.id} and {second.id}",
            "different across_mm under both faces",
            "add them to bed.toml",
        )
    gauge_mm = second.across_mm - first.across_mm
    if across_mm is None:
        return 0.5, gauge_mm
    return (across_mm - first.across_mm) / gauge_mm, gauge_mm


def carriage_bearing(bed: Bed) -> Bearing:
    """How the carriage bears on its ways, as bed.toml describes it."""
    return Bearing(bed.carriage_length_mm, bed.carriage_bears == "ends", averages=True)
