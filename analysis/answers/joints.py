"""How the pieces of a bed meet: the step and the kink at each declared joint, and what would close them.

What a face shows at a joint is the step and the kink of the piece beyond it, which moves as a body
(`joint_bodies`), and its own.  Steps and kinks are estimated beside a way that is worn (`two_pieces`); a
line common to both pieces plays no part.

A kink looks like a bend that runs on across the joint.  How far a bend goes, the face shows at places
where nothing meets (`two_pieces`): with five stations on a side it hardly does, and nothing is told.
Derived.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.linalg
from numpy.typing import NDArray

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.adjust.nodes import FOOT_MM
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.channels import Channel, OneReading, hangs_on, known_channels
from analysis.answers.joint_bodies import CHANCE, Body, body_beyond, closing
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR
from analysis.linear.shown import KEPT_INSIDE, Shown
from analysis.linear.smooth_way import Sought
from analysis.linear.two_pieces import step_and_kink

LEAST_A_SIDE = 6
"""Stations on either side: three places at least on each piece at which nothing meets, to be held against."""
ENOUGH_A_SIDE = 8
"""Stations on either side from which on a kink is well told from a bend."""


@dataclass(frozen=True)
class JointUntold(Fact):
    """How the readings do not tell that a piece lies."""

    how: str
    """up | roll | rear; corner: whether what looks like a kink is wear that ends beside the joint"""


@dataclass(frozen=True)
class FewBesideJoint(Fact):
    """A face that is known at too few stations on one side of a joint to tell a step there."""

    face: str
    kind: str
    """height | side"""
    stations: int
    needed: int


@dataclass(frozen=True)
class Found:
    """One figure and how sure it is."""

    value: float
    expanded: float

    @property
    def is_seen(self) -> bool:
        """Whether it exceeds its own uncertainty."""
        return abs(self.value) > self.expanded


@dataclass(frozen=True)
class FaceAtJoint:
    """One face at one joint."""

    face: str
    kind: str
    """height: along its outward normal | side: of a vee, to the rear"""
    step_um: Found
    """+: beyond the joint it stands proud (of a vee sideways: to the rear)."""
    kink_um_per_m: Found
    """+: beyond the joint it rises away."""
    may_be_a_bend: bool
    """Whether few stations tell the kink from a bend: the ± is then wide."""
    own_step_um: Found | None
    """What is left of the step once the piece is moved as a whole; None where nothing else checks it."""
    hangs_on: OneReading | None


@dataclass(frozen=True)
class Joint:
    """One joint: how the piece beyond it lies against the piece before it."""

    at_mm: float
    faces: tuple[FaceAtJoint, ...]
    up_um: Found | None
    """Of the line at across 0; of the one face, where only one is known."""
    pitch_um_per_m: Found | None
    roll_um_per_m: Found | None
    """Rear high; None where fewer than two faces at different places across are known."""
    rear_um: Found | None
    yaw_um_per_m: Found | None
    is_one_body: bool | None
    """Whether all faces agree on these; None where nothing checks it."""
    may_be_a_bend: bool
    cannot_tell: tuple[Fact, ...]


@dataclass(frozen=True)
class PieceMove:
    """What to move at one place to close all joints before it."""

    place: str
    """Name of a foot, or of a face where no feet are described beyond the first joint."""
    is_foot: bool
    station_mm: float
    lift_um: Found | None
    """+ up."""
    rear_um: Found | None
    """+ to the rear."""


@dataclass(frozen=True, eq=False, repr=False)
class Joints(Shown):
    """Every declared joint."""

    joints: tuple[Joint, ...]
    moves: tuple[PieceMove, ...]
    not_known: Mapping[str, str]
    """Faces that take no part, and why."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    channels: tuple["Channel", ...] = field(metadata=KEPT_INSIDE, default=())


@dataclass(frozen=True, eq=False)
class _AtJoint:
    channel: Channel
    at_mm: float
    made: Sought
    may_be_a_bend: bool
    rows: NDArray[np.float64]
    """Step and kink from all heights of the channel, shape (2, n)."""

    def over_nodes(self) -> NDArray[np.float64]:
        """The same over the nodes of the map."""
        assert self.channel.rows is not None
        return self.rows @ self.channel.rows


def joints(bed_map: BedMap) -> Joints:
    """Judge every declared joint.

    Raises
    ------
    AnalysisError
        Where bed.toml declares none, or no face is known on both sides of one.
    """
    bed = bed_map.bed
    if not bed.joints_mm:
        raise AnalysisError(
            bed.name, "bed.toml declares no joint", "joints_mm = [station, ...] in [bed]",
            "declare where two pieces meet; `waylog ripples` finds steps that nobody declared",
        )  # fmt: skip
    # a drawn level reads the step as its feet cross the joint; stations a base apart would lose that
    channels, not_known = known_channels(bed_map, curves=True)
    pairs = [(mm, each) for mm in bed.joints_mm for each in channels]
    at = [_at_joint(bed, each, mm) for mm, each in pairs if _beside(bed, each, mm) >= LEAST_A_SIDE]
    missing = [mm for mm in bed.joints_mm if not any(each.at_mm == mm for each in at)]
    if missing:
        raise AnalysisError(
            f"joint at {missing[0]:g} mm",
            f"no face is known at {LEAST_A_SIDE} stations on either side of it",
            "runs that reach so far, or stations closer together",
            "; ".join(f"{face}: {why}" for face, why in not_known.items()),
        )
    value = np.concatenate([each.made.value for each in at])
    covariance = _joint_covariance(bed_map, at)
    bodies = [
        body_beyond(mm, bed, {i: e.channel for i, e in enumerate(at) if e.at_mm == mm}, value, covariance)
        for mm in bed.joints_mm
    ]
    return Joints(
        joints=tuple(
            _joint(bed_map, at, body, value, covariance, tuple(_too_few(bed, pairs, body.at_mm)))
            for body in bodies
        ),
        moves=tuple(_moves(bed, bodies, value, covariance)),
        not_known=not_known,
        warnings=tuple(bed_map.warnings),
        assumptions=assumptions(bed_map),
        channels=tuple(channels),
    )


def _here(bed: Bed, channel: Channel, at_mm: float) -> NDArray[np.bool_]:
    """Stations on the two pieces that meet at a joint, none of them on it."""
    ends = [-np.inf, *bed.joints_mm, np.inf]
    place = ends.index(at_mm)
    x = channel.station_mm
    within = (x > ends[place - 1] + FOOT_MM) & (x < ends[place + 1] - FOOT_MM)
    return np.asarray(within & (np.abs(x - at_mm) > FOOT_MM))


def _beside(bed: Bed, channel: Channel, at_mm: float) -> int:
    """How many stations there are on the side that has fewer."""
    x = channel.station_mm[_here(bed, channel, at_mm)]
    return min(int(np.count_nonzero(x < at_mm)), int(np.count_nonzero(x > at_mm)))


def _at_joint(bed: Bed, channel: Channel, at_mm: float) -> _AtJoint:
    """Step and kink from the two pieces that meet."""
    here = _here(bed, channel, at_mm)
    part = channel.covariance_um2[np.ix_(here, here)]
    made = step_and_kink(channel.station_mm[here], channel.height_um[here], part, at_mm)
    rows = np.zeros((2, channel.station_mm.size))
    rows[:, here] = made.rows
    return _AtJoint(channel, at_mm, made, _beside(bed, channel, at_mm) < ENOUGH_A_SIDE, rows)


def _joint_covariance(bed_map: BedMap, at: Sequence[_AtJoint]) -> NDArray[np.float64]:
    """Of all steps and kinks together: errors of the map they share, bends they do not."""
    whole = scipy.linalg.block_diag(*(each.made.from_bends for each in at))
    from_map = [i for i, each in enumerate(at) if each.channel.rows is not None]
    for i, each in enumerate(at):
        if each.channel.rows is None:
            here = slice(2 * i, 2 * i + 2)
            whole[here, here] += each.rows @ each.channel.covariance_um2 @ each.rows.T
    if from_map:
        rows = np.vstack([each.over_nodes() for each in at if each.channel.rows is not None])
        where = np.concatenate([[2 * i, 2 * i + 1] for i in from_map])
        # that a channel is known up to a line was judged with it, and no line changes a step or a kink:
        # asked again, of sums over many heights, rounding would call some not known
        wide = np.hstack([rows, np.zeros((len(rows), bed_map.assembly.unknowns - rows.shape[1]))])
        whole[np.ix_(where, where)] += bed_map.covariance_of(wide)
    return np.asarray(whole)


def _found(value: float, variance: float) -> Found:
    return Found(float(value), COVERAGE_FACTOR * float(np.sqrt(max(variance, 0.0))))


def _joint(
    bed_map: BedMap,
    at: Sequence[_AtJoint],
    body: Body,
    value: NDArray,
    covariance: NDArray,
    too_few: tuple[Fact, ...],
) -> Joint:
    spread = body.factor * np.diag(body.rows @ covariance @ body.rows.T)
    told = {name: _found(*pair) for name, *pair in zip(body.names, body.value, spread, strict=True)}
    faces = tuple(
        _face_at_joint(bed_map, at[i], value[2 * i : 2 * i + 2], np.diag(covariance)[2 * i : 2 * i + 2],
                       None if not body.degrees else (body.left[2 * k], body.left_covariance[2 * k, 2 * k]))
        for k, i in enumerate(body.members)
    )  # fmt: skip
    return Joint(
        at_mm=body.at_mm,
        faces=faces,
        up_um=told.get("up"),
        pitch_um_per_m=told.get("pitch"),
        roll_um_per_m=told.get("roll"),
        rear_um=told.get("rear"),
        yaw_um_per_m=told.get("yaw"),
        is_one_body=None if not body.degrees else body.p_value >= CHANCE,
        may_be_a_bend=any(each.may_be_a_bend for each in faces),
        cannot_tell=(*what_is_untold(told), *_may_be_wear(faces), *too_few),
    )


def what_is_untold(told: Mapping[str, Found]) -> Iterator[Fact]:
    """The motions of the piece beyond a joint that nothing tells."""
    if "up" not in told:
        yield JointUntold("up")
    elif "roll" not in told:
        yield JointUntold("roll")
    if "rear" not in told:
        yield JointUntold("rear")


def _may_be_wear(faces: Sequence[FaceAtJoint]) -> Iterator[Fact]:
    if any(face.kink_um_per_m.is_seen for face in faces):
        yield JointUntold("corner")


def _too_few(bed: Bed, pairs: Sequence[tuple[float, Channel]], at_mm: float) -> Iterator[Fact]:
    for mm, channel in pairs:
        if mm == at_mm and 0 < (stations := _beside(bed, channel, mm)) < LEAST_A_SIDE:
            yield FewBesideJoint(channel.face, channel.kind, stations, LEAST_A_SIDE)


def _face_at_joint(
    bed_map: BedMap,
    at: _AtJoint,
    value: NDArray,
    variance: NDArray,
    own: tuple[float, float] | None,
) -> FaceAtJoint:
    # an own step of a face that alone tells a motion is 0 by making: nothing checks it
    is_checked = own is not None and own[1] > 1e-9 * variance[0]
    return FaceAtJoint(
        face=at.channel.face,
        kind=at.channel.kind,
        step_um=_found(value[0], variance[0]),
        kink_um_per_m=_found(value[1], variance[1]),
        may_be_a_bend=at.may_be_a_bend,
        own_step_um=_found(*own) if own is not None and is_checked else None,
        hangs_on=hangs_on(bed_map, at.channel, at.rows[0]),
    )


def _moves(bed: Bed, bodies: Sequence[Body], value: NDArray, covariance: NDArray) -> list[PieceMove]:
    """What closes all joints, at the feet beyond the first one or at the ends of each piece."""
    found = []
    for place, is_foot, mm, across in _places(bed):
        before = [body for body in bodies if body.at_mm <= mm]
        factor = max(body.factor for body in before)
        sums = (closing(before, mm, across, *names) for names in (("up", "pitch", "roll"), ("rear", "yaw")))
        told = [
            None if row is None else _found(float(row @ value), factor * float(row @ covariance @ row))
            for row in sums
        ]
        found.append(PieceMove(place, is_foot, mm, *told))
    return found


def _places(bed: Bed) -> list[tuple[str, bool, float, float]]:
    """Name, whether it is a foot, station and place across of what can be moved."""
    first = bed.joints_mm[0]
    feet = [(f.id, True, f.station_mm, f.across_mm) for f in bed.feet.values() if f.station_mm > first]
    if feet:
        return sorted(feet, key=lambda each: each[2:])
    ways = [(face, bed.faces[face].across_mm) for face in bed.ridden_ways()]
    told = [(face, across) for face, across in ways if across is not None] or [("across 0", 0.0)]
    return [(face, False, mm, across) for mm in (*bed.joints_mm, bed.length_mm) for face, across in told]
