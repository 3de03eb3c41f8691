"""The plan of faces out of the whole bed's map: what comes off, what blue is to be expected."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from acquire.model.bed import Face, Straightedge
from acquire.model.errors import AnalysisError
from acquire.model.places import end_where_rounded
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.blue import FILM_UM, Blue, described_edge, is_held_by_hand, predict_blues
from analysis.answers.face_map import joints_within, own_shape
from analysis.answers.joint_cut import JointCut, Wishes, cut_together
from analysis.answers.least_metal import NoTargetError
from analysis.answers.removal import Removal, depth_on_flank, guard_of, removal_of
from analysis.answers.ripples import Step, steps_found
from analysis.answers.rounds import SHARE, AfterRound, Pass, passes_of
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.shown import KEPT_INSIDE, Shown

ROUNDING_UM = 1e-6
"""What sums leave of a depth of nothing where the target touches."""


@dataclass(frozen=True)
class BeforeMetal(Fact):
    """What to mind before any metal comes off."""

    about: str
    """one survey | least metal | a pass"""


CAUTIONS = (BeforeMetal("one survey"), BeforeMetal("least metal"), BeforeMetal("a pass"))


@dataclass(frozen=True)
class Target:
    """The line that a plan must be parallel to, and what it is."""

    face: str
    line: str
    """plan: what becomes of that face; unworn | least-squares: the face as it stands."""


@dataclass(frozen=True, eq=False, repr=False)
class FacePlan(Shown):
    """What to take off one face, and what blue it would show now."""

    face: str
    traverses: tuple[int, ...]
    parallel_to: Target | None
    removal: Removal
    this_round_um: NDArray[np.float64]
    """What to take off before it is measured again."""
    passes: tuple[Pass, ...]
    """That in passes, in order of work."""
    flank_um: Mapping[str, NDArray[np.float64]] | None
    """Of a vee: depth on the front and on the rear flank, normal to it."""
    sideways_is_known: bool
    """Of a vee: whether its flanks are planned apart; if not, both as deep as the drop needs."""
    nothing_to_see: bool
    """Whether every depth is less than could be seen: time for blue."""
    blue: tuple[Blue, ...]
    steps: tuple[Step, ...]
    """Steps that noise does not explain: an undeclared joint, it may be."""
    warnings: tuple[Fact, ...]
    profile: Profile = field(metadata=KEPT_INSIDE)
    """The heights that were planned on."""
    joints_mm: tuple[float, ...] = ()
    """Where pieces of the bed meet between its stations: depths do not run over them."""


@dataclass(frozen=True, eq=False, repr=False)
class Plans(Shown):
    """Plans of one or more faces, and what to mind before any metal comes off."""

    plans: Mapping[str, FacePlan]
    total_um: float | None
    """Over all stations of all faces, of vees whose sideways shape is known over both flanks."""
    greatest_um: float | None
    infeasible: Fact | None
    """Which wishes clash; there are no plans then."""
    decided_by_greatest: bool = False
    """Whether several targets take as little metal, so that the least greatest depth decided."""
    share: float = SHARE
    wishes: Wishes = field(default_factory=Wishes)
    cautions: tuple[Fact, ...] = CAUTIONS
    assumptions: tuple[Assumption, ...] = ()
    """What the uncertainty takes for granted."""
    not_yet: Mapping[str, str] = field(default_factory=dict)
    """By face, why nothing may be scraped yet; filled in where it was asked for."""
    to_read: tuple[str, ...] = ()
    """Faces whose readings nothing checks, or that are known too coarsely: to be read once more."""
    meets: Mapping[str, bool] = field(default_factory=dict)
    """By face that the owner has a limit for, whether it meets it: then stop."""
    after: Mapping[str, AfterRound] = field(default_factory=dict)
    """By face, what the last round did; filled in where a survey from before it was named."""
    warnings: tuple[Fact, ...] = ()
    """Of the surveys themselves."""


def plan_faces(
    bed_map: BedMap,
    faces: Sequence[str],
    wishes: Wishes | None = None,
    *,
    parallel_to: str | None = None,
    guard: bool = False,
    film_um: float = FILM_UM,
    edge: str | None = None,
    share: float = SHARE,
    across_joints: bool = False,
) -> Plans:
    """Plan faces; those whose targets hang together by one linear programme.

    Parallel to a face that is itself planned, all end parallel to each other; any other is a
    datum that stays as it is, and gives the line through its unworn stretches, or the
    least-squares line where bed.toml names none.

    Parameters
    ----------
    bed_map : BedMap
    faces : sequence of str
    wishes : Wishes, optional
    parallel_to : str, optional
        As in the wishes.
    guard : bool
        For grinding or planing in one setting.
    film_um : float
    edge : str, optional
        For the predicted blue; the edge's name in bed.toml.
    share : float
        Of the depth, to cut before the next survey.
    across_joints : bool
        Whether faces may be cut over a joint that bed.toml declares.

    Raises
    ------
    AnalysisError
        Where the shape of a face is not known, or not how it tilts against the other, or a joint
        lies within it and nobody asked for it to be cut over.
    """
    wishes = wishes or Wishes(parallel_to)
    faces = tuple(dict.fromkeys(faces))
    _check(bed_map, faces, wishes)
    if not across_joints:
        _refuse_joints(bed_map, faces)
    taken = assumptions(bed_map, (*faces, *([wishes.parallel_to] if wishes.parallel_to else [])))
    is_joint = wishes.no_wind or wishes.coplanar or wishes.parallel_to in faces
    groups = [faces] if is_joint else [(face,) for face in faces]
    try:
        cuts = {group: cut_together(bed_map, group, wishes) for group in groups}
    except NoTargetError as clash:
        return Plans({}, None, None, clash.args[0], share=share, wishes=wishes, assumptions=taken)
    shown = partial(_blues, bed_map, described_edge(bed_map.bed, edge), film_um, taken)
    made = {
        face: _plan(bed_map, cut, face, wishes, guard, shown(face), share)
        for group, cut in cuts.items()
        for face in group
    }
    depths = np.concatenate([cut.cut.depth for cut in cuts.values()])
    return Plans(
        made,
        float(depths.sum()),
        float(depths.max()),
        None,
        any(cut.cut.decided_by_greatest for cut in cuts.values()),
        share,
        wishes,
        assumptions=taken,
    )


def ways_planned(
    where: str, bed_map: BedMap, ways: tuple[str, str], *, across_joints: bool
) -> Mapping[str, FacePlan]:
    """The plans of both ways of the carriage, cut without wind.

    Raises
    ------
    AnalysisError
        As `plan_faces` does, or where no plan leaves them so.
    """
    plans = plan_faces(bed_map, ways, Wishes(no_wind=True), across_joints=across_joints)
    if plans.infeasible is not None:
        both = " and ".join(ways)
        raise AnalysisError(
            where, f"no plan leaves {both} without wind", "ways that can be so cut",
            f"`waylog plan` with --no-wind on {both} says which wishes clash",
        )  # fmt: skip
    return plans.plans


def _check(bed_map: BedMap, faces: Sequence[str], wishes: Wishes) -> None:
    other = wishes.parallel_to
    for face in (*faces, *([other] if other else [])):
        bed_map.bed.described(face)
    if other is not None and set(faces) == {other}:
        raise AnalysisError(
            f"{other} parallel to itself", "no other face to plan", "a face besides it", "name one"
        )
    if (wishes.no_wind or wishes.coplanar) and len(faces) < 2:
        raise AnalysisError(faces[0], "no other face to plan", "two faces or more", "name them all")
    length = bed_map.bed.length_mm
    for stretch in wishes.untouched_mm:
        start, end = (end_where_rounded(length, each) for each in stretch)
        if not 0 <= start < end <= length:
            raise AnalysisError("untouched", f"{start:g} to {end:g} mm", f"a stretch of 0 to {length:g} mm")


def _refuse_joints(bed_map: BedMap, faces: Sequence[str]) -> None:
    """Pieces that do not meet are moved, not scraped."""
    for face in faces:
        inside = joints_within(bed_map.bed, own_shape(bed_map, face)[0])
        if inside:
            places = ", ".join(f"{mm:g}" for mm in inside)
            raise AnalysisError(
                f"plan of {face}", f"a joint of the bed at {places} mm", "pieces that meet first",
                "see `waylog joints` for what to move; then `--across-joints` plans over it",
            )  # fmt: skip


def _target(bed_map: BedMap, wishes: Wishes, face: str, planned: Sequence[str]) -> Target | None:
    other = wishes.parallel_to
    if other is None or other == face:
        return None
    as_it_stands = "unworn" if bed_map.bed.faces[other].unworn_mm else "least-squares"
    return Target(other, "plan" if other in planned else as_it_stands)


def _blues(
    bed_map: BedMap, edge: Straightedge | None, film_um: float, taken: tuple[Assumption, ...], face: str
) -> tuple[Blue, ...]:
    """What blue an edge laid on the face as it is now would leave."""
    return predict_blues(
        own_shape(bed_map, face)[0],
        edge,
        film_um=film_um,
        joints_mm=bed_map.bed.joints_mm,
        held_by_hand=is_held_by_hand(bed_map.bed, face),
        assumptions=taken,
    )


def _plan(
    bed_map: BedMap,
    joint: JointCut,
    face: str,
    wishes: Wishes,
    guard: bool,
    blue: tuple[Blue, ...],
    share: float,
) -> FacePlan:
    over, covariance = joint.over_target(face)
    station = next(c.station_mm for c in joint.channels if c.face == face)
    profile = Profile(face, station, over, covariance)
    joints = joints_within(bed_map.bed, profile)
    target = _target(bed_map, wishes, face, [c.face for c in joint.channels])
    flanks = joint.on_flanks(face)
    removal_um = over if flanks is not None else np.clip(over, 0.0, None)
    is_tied = len(joint.channels) > 1 or target is not None
    extra = guard_of(_as_measured(joint, face), removal_um, is_parallel=is_tied) if guard else 0.0
    removal = removal_of(station, removal_um, covariance, joint.touching(face), extra)
    return FacePlan(
        face=face,
        traverses=bed_map.read(face).traverses,
        parallel_to=target,
        removal=removal,
        this_round_um=share * removal.removal_um,
        passes=passes_of(station, share * removal.removal_um, joints_mm=joints),
        flank_um=_on_flanks(bed_map.bed.faces[face], removal.removal_um, flanks),
        sideways_is_known=flanks is not None,
        nothing_to_see=is_nothing_to_see(removal),
        blue=blue,
        steps=steps_found(bed_map, face),
        warnings=own_shape(bed_map, face)[1],
        profile=profile,
        joints_mm=joints,
    )


def is_nothing_to_see(removal: Removal) -> bool:
    """Whether no depth exceeds its own uncertainty; rounding where the target touches is no depth."""
    return bool(np.all(removal.removal_um <= 2 * removal.standard_uncertainty_um + ROUNDING_UM))


def _as_measured(joint: JointCut, face: str) -> Profile:
    """What was measured of a face, its target not yet taken off."""
    start = 0
    for channel in joint.channels:
        here = slice(start, start + channel.station_mm.size)
        if (channel.face, channel.kind) == (face, "height"):
            return Profile(face, channel.station_mm, joint.excess_um[here], joint.covariance_um2[here, here])
        start = here.stop
    raise KeyError(face)


def _on_flanks(
    described: Face, removal_um: NDArray, apart: tuple[NDArray, NDArray] | None
) -> dict[str, NDArray[np.float64]] | None:
    if not described.is_vee or described.flank_angles_deg is None:
        return None
    if apart is not None:
        return {"front": apart[0], "rear": apart[1]}
    front, rear = described.flank_angles_deg
    return {"front": depth_on_flank(removal_um, front), "rear": depth_on_flank(removal_um, rear)}
