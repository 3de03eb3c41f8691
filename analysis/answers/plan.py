"""The plan of one face out of the whole bed's map: what comes off, what blue is to be expected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import Face, Straightedge
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import BedMap
from analysis.answers.blue import FILM_UM, Blue, described_edge, predict_blues
from analysis.answers.face_map import own_shape
from analysis.answers.removal import Removal, depth_on_flank, plan_removal
from analysis.linear.profile import SAME_STATION_MM, Profile
from analysis.linear.straight_line import line_rows

CAUTIONS = (
    "Never scrape from one survey: repeat it, and confirm with blue and a straightedge. "
    "Metal does not go back.",
    "Least metal alone is no target: it must keep what the machine needs, parallel to spindle, rack and "
    "leadscrew.",
    "Scraping takes about 2 to 10 µm (0.1 to 0.4 thou) a pass (common practice). Measure again long before "
    "the plan is used up.",
)
_INSIDE: Mapping[str, Any] = {"kept_inside": True}


@dataclass(frozen=True)
class Target:
    """The line that a plan must be parallel to, and what it is."""

    face: str
    line: str
    """plan: the target of that face's own plan; unworn | least-squares: the face as it stands."""


@dataclass(frozen=True, eq=False)
class FacePlan:
    """What to take off one face, and what blue it would show now."""

    face: str
    traverses: tuple[int, ...]
    parallel_to: Target | None
    removal: Removal
    flank_um: Mapping[str, NDArray[np.float64]] | None
    """Of a vee: depth on the front and on the rear flank, normal to it."""
    blue: tuple[Blue, ...]
    warnings: tuple[str, ...]
    profile: Profile = field(metadata=_INSIDE)
    """The heights that were planned on."""


@dataclass(frozen=True, eq=False)
class Plans:
    """Plans of one or more faces, and what to mind before any metal comes off."""

    plans: Mapping[str, FacePlan]
    cautions: tuple[str, ...] = CAUTIONS


def plan_faces(
    bed_map: BedMap,
    faces: Sequence[str],
    *,
    parallel_to: str | None = None,
    guard: bool = False,
    film_um: float = FILM_UM,
    edge: str | None = None,
) -> Plans:
    """Plan faces; with `parallel_to` all but that one parallel to it.

    A face that is itself among `faces` gives the line of its own plan; any other is a
    datum that stays as it is, and gives the line through its unworn stretches, or the
    least-squares line where bed.toml names none.

    Parameters
    ----------
    bed_map : BedMap
    faces : sequence of str
    parallel_to : str, optional
    guard : bool
        For grinding or planing in one setting.
    film_um : float
    edge : str, optional
        For the predicted blue; the edge's name in bed.toml.

    Raises
    ------
    AnalysisError
        Where the shape of a face is not known, or not how it tilts against the other.
    """
    if parallel_to is not None and set(faces) == {parallel_to}:
        raise AnalysisError(
            f"{parallel_to} parallel to itself", "no other face to plan", "a face besides it", "name one"
        )
    laid = described_edge(bed_map.bed, edge)
    made = {
        face: _plan(bed_map, face, _target(bed_map, parallel_to, face, faces), guard, film_um, laid)
        for face in dict.fromkeys(faces)
    }
    return Plans(made)


def _target(bed_map: BedMap, parallel_to: str | None, face: str, faces: Sequence[str]) -> Target | None:
    if parallel_to is None or parallel_to == face:
        return None
    if parallel_to not in bed_map.bed.faces:
        raise AnalysisError(parallel_to, "found no such face in bed.toml", ", ".join(bed_map.bed.faces))
    as_it_stands = "unworn" if bed_map.bed.faces[parallel_to].unworn_mm else "least-squares"
    return Target(parallel_to, "plan" if parallel_to in faces else as_it_stands)


def _plan(
    bed_map: BedMap, face: str, target: Target | None, guard: bool, film_um: float, edge: Straightedge | None
) -> FacePlan:
    own, warnings = own_shape(bed_map, face)
    profile = own if target is None else _against(bed_map, face, target)
    removal = plan_removal(profile, is_parallel=target is not None, guard=guard)
    return FacePlan(
        face=face,
        traverses=bed_map.traverses(face),
        parallel_to=target,
        removal=removal,
        flank_um=_on_flanks(bed_map.bed.faces[face], removal.removal_um),
        blue=predict_blues(own, edge, film_um),
        warnings=warnings,
        profile=profile,
    )


def _on_flanks(described: Face, removal_um: NDArray) -> dict[str, NDArray[np.float64]] | None:
    if not described.is_vee or described.flank_angles_deg is None:
        return None
    front, rear = described.flank_angles_deg
    return {"front": depth_on_flank(removal_um, front), "rear": depth_on_flank(removal_um, rear)}


def _against(bed_map: BedMap, face: str, target: Target) -> Profile:
    """Heights of a face from a line parallel to the target, up to a constant."""
    name = f"{face} parallel to {target.face}"
    sense = _same_sense(bed_map, name, face, target.face)
    own = bed_map.profile(face)
    rows = _at_nodes(bed_map, face, own, np.eye(own.station_mm.size))
    along = own.station_mm - own.station_mm[0]
    rows = rows - sense * np.outer(along, _slope_of(bed_map, target))
    steps = bed_map.functional(rows[1:] - rows[0])
    if not steps.is_known.all():
        raise AnalysisError(
            name,
            "the readings do not tell how the two tilt against each other along the bed",
            "levels with the same zero on both, a cross level at both ends, or an indicator from one to the "
            "other",
            "`waylog next` says what would tell",
        )
    n = own.station_mm.size
    covariance = np.zeros((n, n))
    covariance[1:, 1:] = steps.covariance_um2
    return Profile(name, own.station_mm, np.append(0.0, steps.value_um), covariance)


def _same_sense(bed_map: BedMap, name: str, face: str, other: str) -> int:
    sense = bed_map.bed.sense(face, other)
    if sense == 0:
        raise AnalysisError(
            name, "they lie at right angles", "faces that look alike or opposite", "choose another face"
        )
    return sense


def _slope_of(bed_map: BedMap, target: Target) -> NDArray[np.float64]:
    """How the heights at the nodes make the slope of the target, shape (nodes,)."""
    profile = bed_map.profile(target.face)
    if target.line == "plan":
        slope = plan_removal(profile).line.rows[1]
    else:
        unworn = bed_map.bed.faces[target.face].unworn_mm
        slope = line_rows(target.line, profile.station_mm, profile.height_um, unworn)[1]
    return _at_nodes(bed_map, target.face, profile, slope[None, :])[0]


def _at_nodes(bed_map: BedMap, face: str, profile: Profile, rows: NDArray) -> NDArray[np.float64]:
    """Rows over the heights of a profile as rows over all nodes of the map."""
    indices = bed_map.indices(face)
    station = np.array([bed_map.nodes[i].station_mm for i in indices])
    nearest = np.abs(station[None, :] - profile.station_mm[:, None]).argmin(axis=1)
    assert np.all(np.abs(station[nearest] - profile.station_mm) <= SAME_STATION_MM)
    wide = np.zeros((len(rows), len(bed_map.nodes)))
    wide[:, indices[nearest]] = rows
    return wide
