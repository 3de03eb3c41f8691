"""How the faces of a bed stand to each other: which is straightest, and which are parallel."""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.face_map import FaceMap
from analysis.answers.taper import taper_between
from analysis.linear.departures import TOLD_APART, departures
from analysis.linear.profile import COVERAGE_FACTOR, standard_uncertainty


@dataclass(frozen=True)
class Ranked:
    """A face in the order of how far it departs from straight."""

    face: str
    straightness_um: float
    straightness_expanded_um: float
    rms_um: float
    """From its least-squares line, noise taken off; 0 where nothing but noise is there."""
    as_good_as_next: bool
    """Whether the readings do not tell it from the next one."""


@dataclass(frozen=True)
class Parallel:
    """Whether two faces are parallel along the bed."""

    a: str
    b: str
    taper_um_per_m: float | None
    """Slope of b against a; of faces that look opposite ways, how the thickness between them grows.
    None where the readings leave it open."""
    taper_expanded_um_per_m: float | None
    look_opposite: bool

    @property
    def is_seen(self) -> bool:
        """Whether a taper exceeds its uncertainty."""
        return (
            self.taper_um_per_m is not None
            and self.taper_expanded_um_per_m is not None
            and abs(self.taper_um_per_m) > self.taper_expanded_um_per_m
        )


def ranking(bed_map: BedMap, shapes: Sequence[FaceMap]) -> tuple[Ranked, ...]:
    """Faces from the straightest on; as good as the next where chance alone could turn their order."""
    if not shapes:
        return ()
    rows = [_without_line(bed_map, each) for each in shapes]
    known = bed_map.functional(np.vstack(rows))
    heights = np.split(known.value_um, np.cumsum([len(each) for each in rows])[:-1])
    stations = [each.profile.station_mm for each in shapes]
    found = departures(stations, heights, known.covariance_um2)
    order = sorted(range(len(shapes)), key=lambda i: float(found.mean_square[i]))
    return tuple(
        Ranked(
            face=shapes[i].face,
            straightness_um=shapes[i].straightness_um[shapes[i].line],
            straightness_expanded_um=shapes[i].straightness_expanded_um,
            rms_um=float(np.sqrt(max(found.mean_square[i], 0.0))),
            as_good_as_next=after is not None and found.z(after, i) <= TOLD_APART,
        )
        for i, after in zip(order, [*order[1:], None], strict=True)
    )


def _without_line(bed_map: BedMap, shape: FaceMap) -> NDArray[np.float64]:
    """Heights of a face less their least-squares line, as rows over the nodes of the map."""
    x = shape.profile.station_mm
    wide = bed_map.over_nodes(shape.face, x)
    columns = np.column_stack([np.ones(x.size), x - x.mean()])
    return wide - columns @ (np.linalg.pinv(columns) @ wide)


def parallels(bed_map: BedMap, faces: Sequence[str]) -> tuple[Parallel, ...]:
    """Every pair of faces that look the same or the opposite way, and how they taper.

    Parameters
    ----------
    bed_map : BedMap
    faces : sequence of str
        Those whose shape is known; pairs of others stand here where readings across tell their taper.
    """
    pairs = itertools.combinations(dict.fromkeys([*faces, *bed_map.faces]), 2)
    made = [_parallel(bed_map, a, b, {a, b} <= set(faces)) for a, b in pairs if bed_map.bed.sense(a, b) != 0]
    return tuple(each for each in made if each.taper_um_per_m is not None or {each.a, each.b} <= set(faces))


def _parallel(bed_map: BedMap, a: str, b: str, are_shapes_known: bool) -> Parallel:
    opposite = bed_map.bed.sense(a, b) < 0
    if not are_shapes_known:
        size, doubt = taper_between(bed_map, a, b) or (None, None)
        return Parallel(a, b, size, doubt, opposite)
    try:
        slopes = [_slope_row(bed_map, face) for face in (a, b)]
    except AnalysisError:
        return Parallel(a, b, None, None, opposite)
    taper = bed_map.functional(slopes[1] - bed_map.bed.sense(a, b) * slopes[0])
    if not taper.is_known.all():
        return Parallel(a, b, None, None, opposite)
    expanded = COVERAGE_FACTOR * float(standard_uncertainty(taper.covariance_um2)[0])
    return Parallel(a, b, float(taper.value_um[0]), expanded, opposite)


def _slope_row(bed_map: BedMap, face: str) -> NDArray[np.float64]:
    """Slope of a face's least-squares line in µm/m, as a row over the nodes."""
    x = bed_map.profile(face).station_mm
    away = (x - x.mean()) / 1000
    return (away / (away @ away))[None, :] @ bed_map.over_nodes(face, x)
