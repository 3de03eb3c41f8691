"""Readings of an indicator carried along one thing and touching another.

reading = n·(where the touched surface has gone) − n·(where the carrier has taken the
plunger) + zero, n the outward normal of the touched face: a face that comes nearer
pushes the plunger in.  On a straightedge, a wire or an optical line either side may be
the straight thing; how it lies (height and tilt) is free in each setting up.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import NORMALS, Bed, Face, Straightedge
from acquire.model.errors import AnalysisError
from acquire.model.reference import LINE, Reference
from acquire.model.traverse import Traverse
from analysis.linear.fact import Fact
from analysis.observe.carriers import (
    Bearing,
    Motion,
    carriage_bearing,
    carrier_motion,
    carrying_faces,
    face_named,
)
from analysis.observe.sag import (
    SECTION_UNCERTAINTY,
    bend_of_a_kelvin_um,
    straightedge_sag_um,
    wire_sag_um,
)
from analysis.observe.terms import Form, LineCounts, Nuisance, Place, Unknown, weighted_sum


@dataclass(frozen=True)
class SagLeftOut(Fact):
    """A straightedge whose own sag bed.toml does not tell."""

    straightedge: str


@dataclass(frozen=True, eq=False)
class OffsetModel:
    """What an offset traverse comes to, before its errors."""

    forms: tuple[Form, ...]
    plain_forms: tuple[Form, ...] | None
    """The same with the carrier as a point under the plunger, for references of unknown shape; None where
    it is one."""
    correction_um: np.ndarray
    nuisances: tuple[Nuisance, ...]
    faces: tuple[str, ...]
    carriers: tuple[str, ...]
    line_counts: LineCounts | None
    edges: tuple[tuple[str, bool], ...]
    warnings: tuple[Fact, ...]


def offset_model(traverse: Traverse, bed: Bed, station_mm: np.ndarray) -> OffsetModel:
    """Forms of an offset traverse, by what is touched and what carries."""
    setup, where = traverse.setup, f"traverse {traverse.number:03d}"
    touched, carried_by = setup.touched, setup.carried_by
    if carried_by is None:
        raise AnalysisError(
            where, "found an indicator with no reference", "what it is carried along: --reference", ""
        )
    if carried_by.is_straight:
        if touched is not None and touched.is_straight:
            raise AnalysisError(
                where, f"found {setup.face} read along {setup.reference}", "a face of the bed on one side", ""
            )
        return _carried_by_straight(carried_by, traverse, bed, station_mm)
    carriers = carrying_faces(bed, carried_by, where)
    if touched is not None and touched.is_straight:
        return _touching_straight(touched, carriers, traverse, bed, station_mm)
    return _between_faces(carriers, traverse, bed, station_mm)


def _carried_by_straight(
    carried_by: Reference, traverse: Traverse, bed: Bed, station_mm: np.ndarray
) -> OffsetModel:
    face = face_named(bed, traverse.setup.face, f"traverse {traverse.number:03d}")
    on_face: list[Form] = [{_touched(face.id, x): 1.0} for x in station_mm]
    straight = _straight(carried_by, -1.0, face.normal, traverse, bed, station_mm)
    return _joined(on_face, on_face, straight, (face.id,), (), _line_counts(-1, face.normal))


def _touching_straight(
    touched: Reference, carriers: tuple[Face, ...], traverse: Traverse, bed: Bed, station_mm: np.ndarray
) -> OffsetModel:
    normal, names = carriers[0].normal, tuple(face.id for face in carriers)
    carrier = _Carrier(traverse, bed, carriers, normal, None)
    straight = _straight(touched, 1.0, normal, traverse, bed, station_mm)
    full, plain = (
        [weighted_sum([(-1.0, form)]) for form in carrier.forms(station_mm, is_point)]
        for is_point in (False, True)
    )
    return _joined(full, plain, straight, names, names, _line_counts(1, normal))


def _between_faces(
    carriers: tuple[Face, ...], traverse: Traverse, bed: Bed, station_mm: np.ndarray
) -> OffsetModel:
    face = face_named(bed, traverse.setup.face, f"traverse {traverse.number:03d}")
    carrier = _Carrier(traverse, bed, carriers, face.normal, face)
    full, plain = (
        tuple(
            weighted_sum([(1.0, {_touched(face.id, x): 1.0}), (-1.0, form)])
            for x, form in zip(station_mm, carrier.forms(station_mm, is_point), strict=True)
        )
        for is_point in (False, True)
    )
    names = (face.id, *(carrier.id for carrier in carriers))
    return OffsetModel(
        full, None if plain == full else plain, np.zeros(len(station_mm)), (), names, names[1:], None, (), ()
    )


def _joined(
    forms: Sequence[Form],
    plain_forms: Sequence[Form],
    straight: "_Straight",
    names: tuple[str, ...],
    carriers: tuple[str, ...],
    line_counts: LineCounts,
) -> OffsetModel:
    def both(parts: Sequence[Form]) -> tuple[Form, ...]:
        return tuple(weighted_sum([(1.0, a), (1.0, b)]) for a, b in zip(parts, straight.forms, strict=True))

    return OffsetModel(
        both(forms),
        None if plain_forms == forms else both(plain_forms),
        straight.correction_um,
        straight.nuisances,
        names,
        carriers,
        line_counts,
        straight.edges,
        straight.warnings,
    )


def _line_counts(sign: int, normal: str) -> LineCounts:
    rearward, upward = NORMALS[normal]
    return sign * rearward, sign * upward


def _touched(face: str, station_mm: float) -> Place:
    return Place("height", face, float(station_mm), "touched")


@dataclass(frozen=True, eq=False)
class _Carrier:
    """What carries the plunger, and the normal along which its motion is read."""

    traverse: Traverse
    bed: Bed
    faces: tuple[Face, ...]
    normal: str
    touched: Face | None

    def forms(self, station_mm: np.ndarray, is_point: bool) -> list[Form]:
        """Its motion at the plunger, at each station."""
        return [self._form(float(x), is_point) for x in station_mm]

    def _bearing(self) -> Bearing:
        carried_by = self.traverse.setup.carried_by
        if carried_by is not None and carried_by.is_carriage:
            return carriage_bearing(self.bed)
        return Bearing(self.traverse.instrument.carrier_feet_mm, on_ends=True, averages=True)

    def _across_mm(self) -> float | None:
        if self.touched is not None and self.touched.across_mm is not None:
            return self.touched.across_mm
        if len(self.faces) == 1:
            return None
        return _middle_mm(self.faces) + self.traverse.instrument.overhang_across_mm

    def _form(self, at_mm: float, is_point: bool) -> Form:
        along_mm = 0.0 if is_point else self.traverse.instrument.overhang_along_mm or 0.0
        bearing = Bearing(None) if is_point else self._bearing()
        where = f"traverse {self.traverse.number:03d}"
        motion = carrier_motion(self.faces, at_mm - along_mm, bearing, self._across_mm(), where)
        sideways, upward = NORMALS[self.normal]
        if upward:
            return weighted_sum([(upward, _risen(motion, along_mm, self.traverse))])
        return weighted_sum([(sideways, _swayed(motion, along_mm, self.traverse))])


def _middle_mm(carriers: tuple[Face, ...]) -> float:
    places = [face.across_mm for face in carriers if face.across_mm is not None and face.upward]
    return sum(places) / len(places) if places else 0.0


def _risen(motion: Motion, along_mm: float, traverse: Traverse) -> Form:
    if motion.rise is None:
        raise _does_not_guide(traverse, "up and down")
    parts = [(1.0, motion.rise)]
    if along_mm:
        parts.append((along_mm, _known(motion.pitch, "pitch", traverse)))
    return weighted_sum(parts)


def _swayed(motion: Motion, along_mm: float, traverse: Traverse) -> Form:
    if motion.sway is None:
        raise _does_not_guide(traverse, "sideways")
    parts = [(1.0, motion.sway)]
    if along_mm:
        parts.append((along_mm, _known(motion.yaw, "yaw", traverse)))
    # a carrier on one face alone is taken not to roll: nothing measured says that it does
    if traverse.instrument.arm_height_mm and motion.roll is not None:
        parts.append((-traverse.instrument.arm_height_mm, motion.roll))
    return weighted_sum(parts)


def _known(form: Form | None, what: str, traverse: Traverse) -> Form:
    if form is None:
        raise AnalysisError(
            f"traverse {traverse.number:03d}",
            f"found a plunger ahead of its carrier, whose {what} is not known without its bearing length",
            "carrier_feet_mm (or carriage_length_mm)",
            "measure it along the bed and add it to bed.toml",
        )
    return form


def _does_not_guide(traverse: Traverse, way: str) -> AnalysisError:
    return AnalysisError(
        f"traverse {traverse.number:03d}",
        f"found {traverse.setup.face} read along {traverse.setup.reference}, which lies at right angles to "
        f"it and does not guide the instrument {way}",
        "a reference that looks the same way or the opposite way, or a vee for sideways readings",
        "choose another reference",
    )


@dataclass(frozen=True, eq=False)
class _Straight:
    forms: tuple[Form, ...]
    correction_um: np.ndarray
    nuisances: tuple[Nuisance, ...] = ()
    edges: tuple[tuple[str, bool], ...] = ()
    warnings: tuple[Fact, ...] = ()


def _straight(
    straight: Reference, sign: float, normal: str, traverse: Traverse, bed: Bed, station_mm: np.ndarray
) -> _Straight:
    """Part of a straight thing in the reading; `sign` is +1 where it is touched, −1 where it carries."""
    upward = _hangs_along(normal, bed)
    nothing: tuple[Form, ...] = tuple({} for _ in station_mm)
    where = f"traverse {traverse.number:03d}"
    if straight.kind == LINE:
        return _Straight(nothing, np.zeros(len(station_mm)))
    identity = straight.name
    if straight.kind == "wire":
        if identity not in bed.wires:
            raise AnalysisError(where, f"found wire {identity!r}", ", ".join(bed.wires) or "[wires.NAME]", "")
        if not upward:
            return _Straight(nothing, np.zeros(len(station_mm)))
        return _Straight(nothing, -sign * upward * wire_sag_um(bed.wires[identity], station_mm))
    if identity not in bed.straightedges:
        raise AnalysisError(
            where,
            f"found straightedge {identity!r}",
            ", ".join(bed.straightedges) or "[straightedges.NAME]",
            "",
        )
    return _edge(identity, sign, normal, traverse, bed, station_mm)


def _edge(
    name: str, sign: float, normal: str, traverse: Traverse, bed: Bed, station_mm: np.ndarray
) -> _Straight:
    edge, turned_over = bed.straightedges[name], traverse.setup.turned_over
    beyond = (station_mm < edge.start_mm - 0.5) | (station_mm > edge.start_mm + edge.length_mm + 0.5)
    if np.any(beyond):
        raise AnalysisError(
            f"traverse {traverse.number:03d}",
            f"found a reading at {station_mm[beyond][0]:g} mm, beyond straightedge {name}",
            f"{edge.start_mm:g} to {edge.start_mm + edge.length_mm:g} mm",
            "correct start_mm and length_mm in bed.toml",
        )
    shape = sign * (-1.0 if turned_over else 1.0)
    forms = tuple({Place("edge", name, float(x), "touched"): shape} for x in station_mm)
    edges, warmth = ((name, turned_over),), _warmth(edge, sign, normal, station_mm)
    upward = _hangs_along(normal, bed)
    if not upward:
        return _Straight(forms, np.zeros(len(station_mm)), warmth, edges)
    sag_um = straightedge_sag_um(edge, station_mm)
    if sag_um is None:
        return _Straight(forms, np.zeros(len(station_mm)), warmth, edges, (SagLeftOut(name),))
    column = -sign * upward * sag_um
    doubt = Nuisance(Unknown("sag", (name,)), column, SECTION_UNCERTAINTY)
    return _Straight(forms, column, (doubt, *warmth), edges)


def _hangs_along(normal: str, bed: Bed) -> int:
    """The upward part of a normal, along which sag counts; none on a guide that stands."""
    return 0 if bed.called.is_upright else NORMALS[normal][1]


def _warmth(edge: Straightedge, sign: float, normal: str, station_mm: np.ndarray) -> tuple[Nuisance, ...]:
    """What warmth from one side does to an edge, however it is turned: the room warms it, not the hand."""
    bend_um = bend_of_a_kelvin_um(edge, station_mm)
    if not edge.warmth_uncertainty_k or bend_um is None:
        return ()
    rearward, upward = NORMALS[normal]
    key = Unknown("warmth", (edge.id, "up" if upward else "rear"))
    return (Nuisance(key, sign * (rearward + upward) * bend_um, edge.warmth_uncertainty_k),)
