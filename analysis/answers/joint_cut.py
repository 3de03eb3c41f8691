"""Faces whose targets hang together, cut together: what is measured, in what their targets are free.

Every face has a target along it, a line a + b·x and the crown that is wanted; on a vee also
sideways, where its sideways shape was measured.  Faces without wind share b, coplanar ones a
too; parallel to a datum that stays as it is, b is given.  A face looking the other way tilts the
other way.  A vee is cut on its flanks, V proud upwards and S towards the rear of what rides it:

    ridge   front V sin a1 − S cos a1,   rear V sin a2 + S cos a2    (a groove: S turned)

with the flanks' angles from the vertical.  Derived for this project.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import is_in_stretches
from analysis.adjust.bed_map import BedMap
from analysis.answers.face_map import own_shape
from analysis.answers.flanks import flank_components
from analysis.answers.least_metal import Cut, NoTargetError, least_metal
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.straight_line import line_rows


@dataclass(frozen=True)
class NothingLeavesUntouched(Fact):
    """No target leaves these stretches untouched."""

    stretches_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class TooLittleAnywhere(Fact):
    """A target needs more metal off at some place than was allowed."""

    at_most_um: float
    needed_um: float
    with_untouched: bool
    """Whether that is so because stretches stay untouched."""


@dataclass(frozen=True)
class Wishes:
    """What the finished faces are to be like."""

    parallel_to: str | None = None
    no_wind: bool = False
    """All planned faces end parallel to each other."""
    coplanar: bool = False
    """All planned faces end in one plane along the bed."""
    at_most_um: float | None = None
    """No deeper anywhere."""
    crown_um: float = 0.0
    """A parabola this high in the middle; negative: hollow."""
    untouched_mm: tuple[tuple[float, float], ...] = ()
    """Stretches where nothing may come off."""
    greatest_first: bool = False
    """Least greatest depth before least total."""


@dataclass(frozen=True, eq=False)
class Channel:
    """One measured deviation of a face in the programme: vertical or, of a vee, sideways."""

    face: str
    kind: str
    """height | side"""
    station_mm: NDArray[np.float64]
    sense: int
    """+1 where it tilts as the first face does, −1 where it looks the other way."""


@dataclass(frozen=True, eq=False)
class JointCut:
    """Faces cut together."""

    channels: tuple[Channel, ...]
    excess_um: NDArray[np.float64]
    """What stands above the targets' zero, channel after channel."""
    covariance_um2: NDArray[np.float64]
    depth_of: NDArray[np.float64]
    """How the excesses over the target make the depths, shape (depths, excesses)."""
    targets: NDArray[np.float64]
    """How the unknowns make the targets, shape (excesses, unknowns)."""
    cut: Cut

    def over_target(self, face: str) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """What of a face stands above its target along its normal, and the covariance of that."""
        mine = self._of(face, "height")
        rows = np.eye(self.excess_um.size) - self.targets @ self.cut.target_rows @ self.depth_of
        over = self.excess_um - self.targets @ self.cut.target
        return over[mine], rows[mine] @ self.covariance_um2 @ rows[mine].T

    def on_flanks(self, face: str) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """Depths normal to the front and rear flank, where sideways was measured as well."""
        if not self._of(face, "side").any():
            return None
        mine = np.flatnonzero(np.any(self.depth_of[:, self._of(face, "side")] != 0, axis=1))
        front, rear = np.split(self.cut.depth[mine], 2)
        return front, rear

    def touching(self, face: str) -> NDArray[np.intp]:
        """Stations of a face where the target touches it, on a flank at least."""
        mine = np.flatnonzero(self._of(face, "height"))
        made_of = np.argmax(self.depth_of[self.cut.touching] != 0, axis=1)
        return np.unique(made_of[np.isin(made_of, mine)] - mine[0])

    def _of(self, face: str, kind: str) -> NDArray[np.bool_]:
        return np.concatenate(
            [np.full(c.station_mm.size, (c.face, c.kind) == (face, kind)) for c in self.channels]
        )


def cut_together(bed_map: BedMap, faces: Sequence[str], wishes: Wishes) -> JointCut:
    """Plan faces whose targets hang together; a single face by itself as well.

    Raises
    ------
    AnalysisError
        Where the shape of a face is not known, or not how they lie to each other, or nothing may come off.
    NoTargetError
        Where no target fulfils the wishes; the message says which clash.
    """
    channels, excess, covariance = _measured(bed_map, faces, wishes)
    targets = _targets(channels, wishes)
    depth_of = _depth_of(bed_map, channels)
    station = np.concatenate([c.station_mm for c in channels])
    of_depth = station[np.argmax(depth_of != 0, axis=1)]
    stays = np.asarray(is_in_stretches(wishes.untouched_mm, of_depth))
    stays = np.broadcast_to(stays, of_depth.shape)
    if stays.all():
        raise AnalysisError(
            f"plan of {' and '.join(faces)}", "every place that is known is to stay untouched",
            "places where metal may come off", "name shorter stretches",
        )  # fmt: skip
    over, design = depth_of @ excess, depth_of @ targets
    most = np.inf if wishes.at_most_um is None else wishes.at_most_um
    try:
        cut = least_metal(over, design, most=most, is_untouched=stays, greatest_first=wishes.greatest_first)
    except NoTargetError:
        raise NoTargetError(_clash(over, design, stays, wishes)) from None
    return JointCut(channels, excess, covariance, depth_of, targets, cut)


def _clash(over: NDArray, design: NDArray, stays: NDArray, wishes: Wishes) -> Fact:
    """Which wishes clash, and what would be needed."""
    try:
        needed = least_metal(over, design, is_untouched=stays, greatest_first=True).depth.max()
    except NoTargetError:
        return NothingLeavesUntouched(wishes.untouched_mm)
    return TooLittleAnywhere(wishes.at_most_um or 0.0, float(needed), bool(wishes.untouched_mm))


def _measured(
    bed_map: BedMap, faces: Sequence[str], wishes: Wishes
) -> tuple[tuple[Channel, ...], NDArray, NDArray]:
    if len(faces) == 1 and wishes.parallel_to in (None, *faces):
        own = own_shape(bed_map, faces[0])[0]
        side = _sideways(bed_map, faces[0])
        if side is None:
            return (Channel(faces[0], "height", own.station_mm, 1),), *_less_crown(own, wishes)
    channels = tuple(channel for face in faces for channel in _channels(bed_map, face, faces, wishes))
    rows = np.vstack([_rows(bed_map, channel, channels, wishes) for channel in channels])
    moved = np.any(rows != 0, axis=1)
    known = bed_map.functional(rows[moved])
    if not known.is_known.all():
        raise AnalysisError(
            _name(faces, wishes),
            "the readings do not tell how the two tilt against each other along the bed"
            if not wishes.coplanar
            else "the readings do not tell how high the faces lie against each other",
            "levels with the same zero on both, a cross level at both ends, or an indicator from one to the "
            "other",
            "`waylog next` says what would tell",
        )
    excess, covariance = np.zeros(len(rows)), np.zeros((len(rows), len(rows)))
    excess[moved] = known.value_um
    covariance[np.ix_(moved, moved)] = known.covariance_um2
    return channels, excess - _crown(channels, wishes), covariance


def _name(faces: Sequence[str], wishes: Wishes) -> str:
    if wishes.parallel_to is not None:
        return f"{' and '.join(f for f in faces if f != wishes.parallel_to)} parallel to {wishes.parallel_to}"
    return " and ".join(faces)


def _less_crown(own: Profile, wishes: Wishes) -> tuple[NDArray, NDArray]:
    channel = Channel(own.face, "height", own.station_mm, 1)
    return own.height_um - _crown((channel,), wishes), own.covariance_um2


def _crown(channels: Sequence[Channel], wishes: Wishes) -> NDArray[np.float64]:
    """The crown wanted, over the length that the faces have together; none sideways."""
    station = np.concatenate([channel.station_mm for channel in channels])
    share = (station - station.min()) / np.ptp(station)
    is_height = np.concatenate([np.full(c.station_mm.size, c.kind == "height") for c in channels])
    return np.where(is_height, wishes.crown_um * 4 * share * (1 - share), 0.0)


def _channels(bed_map: BedMap, face: str, faces: Sequence[str], wishes: Wishes) -> list[Channel]:
    first = wishes.parallel_to or faces[0]
    sense = _sense(bed_map, face, first, _name(faces, wishes))
    if wishes.coplanar and sense != 1:
        raise AnalysisError(
            _name(faces, wishes),
            "they look opposite ways",
            "faces that look alike",
            "use --no-wind for these",
        )
    own = bed_map.profile(face)
    found = [Channel(face, "height", own.station_mm, sense)]
    side = _sideways(bed_map, face)
    if side is not None and np.array_equal(side.station_mm, own.station_mm):
        found.append(Channel(face, "side", side.station_mm, 1))
    return found


def _sideways(bed_map: BedMap, face: str) -> Profile | None:
    """The sideways shape of a vee whose flanks are described; None where it was not measured."""
    described = bed_map.bed.faces[face]
    if not described.is_vee or described.flank_angles_deg is None or described.form is None:
        return None
    try:
        return bed_map.profile(face, "side")
    except AnalysisError:
        return None


def _sense(bed_map: BedMap, face: str, other: str, name: str) -> int:
    sense = bed_map.bed.sense(face, other)
    if sense == 0:
        raise AnalysisError(
            name, "they lie at right angles", "faces that look alike or opposite", "choose another face"
        )
    return sense


def _rows(
    bed_map: BedMap, channel: Channel, channels: Sequence[Channel], wishes: Wishes
) -> NDArray[np.float64]:
    """A channel's heights over the nodes, less all that its target is free to take up anyway."""
    rows = bed_map.over_nodes(channel.face, channel.station_mm, channel.kind)
    along = channel.station_mm - channel.station_mm[0]
    if channel.kind == "side":
        return rows - rows[0] - np.outer(along / along[-1], rows[-1] - rows[0])
    first = channels[0]
    if wishes.parallel_to is not None and wishes.parallel_to not in {c.face for c in channels}:
        return rows - rows[0] - channel.sense * np.outer(along, _slope_of(bed_map, wishes.parallel_to))
    ends = bed_map.over_nodes(first.face, first.station_mm[[0, -1]], first.kind)
    slope = (ends[1] - ends[0]) / np.ptp(first.station_mm) * first.sense
    if wishes.coplanar:
        return rows - ends[0] - np.outer(channel.station_mm - first.station_mm[0], slope)
    return rows - rows[0] - channel.sense * np.outer(along, slope)


def _slope_of(bed_map: BedMap, face: str) -> NDArray[np.float64]:
    """How the heights at the nodes make the slope of a datum that stays as it is."""
    profile = bed_map.profile(face)
    unworn = bed_map.bed.faces[face].unworn_mm
    line = "unworn" if unworn else "least-squares"
    slope = line_rows(line, profile.station_mm, profile.height_um, unworn)[1]
    return slope @ bed_map.over_nodes(face, profile.station_mm)


def _targets(channels: Sequence[Channel], wishes: Wishes) -> NDArray[np.float64]:
    """In what the targets are free: constants and slopes, shared or not."""
    count = sum(channel.station_mm.size for channel in channels)
    columns: dict[tuple[str, str], NDArray] = {}
    inside = {channel.face for channel in channels}
    given = wishes.parallel_to is not None and wishes.parallel_to not in inside
    tied = wishes.no_wind or wishes.coplanar or wishes.parallel_to in inside
    start = 0
    for channel in channels:
        here = slice(start, start + channel.station_mm.size)
        start = here.stop
        alone = f"{channel.face} {channel.kind}"
        is_tied = channel.kind == "height"
        constant = ("a", "all" if wishes.coplanar and is_tied else alone)
        columns.setdefault(constant, np.zeros(count))[here] = 1.0
        if not (given and is_tied):
            slope = ("b", "all" if tied and is_tied else alone)
            sense = channel.sense if tied and is_tied else 1
            columns.setdefault(slope, np.zeros(count))[here] = sense * channel.station_mm
    return np.column_stack(list(columns.values()))


def _depth_of(bed_map: BedMap, channels: Sequence[Channel]) -> NDArray[np.float64]:
    """Flats are cut along their normal, a vee measured sideways on its flanks."""
    count = sum(channel.station_mm.size for channel in channels)
    starts = dict(
        zip(
            [(c.face, c.kind) for c in channels],
            np.cumsum([0, *(c.station_mm.size for c in channels)])[:-1].tolist(),
            strict=True,
        )
    )
    rows = []
    for channel in channels:
        if channel.kind == "side":
            continue
        mine = np.arange(channel.station_mm.size) + starts[(channel.face, "height")]
        side = starts.get((channel.face, "side"))
        if side is None:
            rows.append(np.eye(count)[mine])
            continue
        aside = np.arange(channel.station_mm.size) + side
        for up, rearwards in flank_components(bed_map.bed.faces[channel.face]):
            rows.append(up * np.eye(count)[mine] + rearwards * np.eye(count)[aside])
    return np.vstack(rows)
