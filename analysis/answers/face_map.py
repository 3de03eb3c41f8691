"""One face's shape as an answer: heights from a line, how straight, how sure, what to mind."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from acquire.model.bed import Bed, Face
from acquire.model.errors import AnalysisError
from acquire.model.places import is_in_stretches
from analysis.adjust.bed_map import BedMap
from analysis.adjust.cannot_tell import in_parts
from analysis.adjust.drift import Drift, drifts, only_one_way
from analysis.adjust.face_readings import FaceReadings
from analysis.adjust.nuisances import bears_on, linked_traverses
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.feet import untied_feet
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR, Profile
from analysis.linear.reference_lines import (
    STRAIGHT,
    Place,
    Straightness,
    WorstOver,
    remove_line,
    straightness,
    worst_over,
)
from analysis.linear.shown import KEPT_INSIDE, Shown

if TYPE_CHECKING:
    from analysis.level.base_lag import BaseLagHeights

LINES = ("ends", "least-squares", "minimum-zone", "unworn")


@dataclass(frozen=True)
class UnwornMissed(Fact):
    """Fewer than two known heights lie in the unworn stretches of a face, so its ends are the reference."""

    face: str


@dataclass(frozen=True)
class UnwornTooUnsure(Fact):
    """The line through the unworn stretches of a face shows no shape, so its ends are the reference."""

    face: str


@dataclass(frozen=True)
class RunOneWay(Fact):
    """An instrument that ran along a face in one direction only."""

    instrument: str
    face: str


@dataclass(frozen=True)
class JointWithin(Fact):
    """A declared joint between two stations of a face: nothing is said of heights between these."""

    face: str
    joint_mm: float
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class DrawnOverJoint(Fact):
    """A level drawn over a declared joint: the step was read as its feet crossed."""

    face: str
    joint_mm: float
    step_um: float
    """NaN where its feet barely came over: those readings were left out."""
    expanded_um: float
    within_mm: float
    """So far from the joint the heights are as uncertain as the step."""


@dataclass(frozen=True, eq=False, repr=False)
class BaseLag(Shown):
    """Heights at stations one base of a drawn level apart, nothing assumed between them."""

    station_mm: np.ndarray
    height_um: np.ndarray
    """After the line is removed."""
    standard_uncertainty_um: np.ndarray
    straightness_um: float
    straightness_expanded_um: float
    sense: str
    base_mm: float
    line: str
    """As asked for; through the ends where that cannot be drawn through these stations."""
    highest: Place = field(metadata=KEPT_INSIDE)
    lowest: Place = field(metadata=KEPT_INSIDE)


@dataclass(frozen=True, eq=False, repr=False)
class FaceMap(Shown):
    """The shape of one face, or of one face relative to what carried the indicator."""

    face: str
    relative_to: str | None
    """What carried the indicator, where the face's own shape cannot be known without it."""
    by: str
    traverses: tuple[int, ...]
    is_checked: bool
    """Whether an error in some reading would show."""
    mode: str
    line: str
    station_mm: np.ndarray
    height_um: np.ndarray
    """After the line is removed; NaN where it is not known."""
    standard_uncertainty_um: np.ndarray
    straightness_um: Mapping[str, float]
    straightness_expanded_um: float
    sense: str
    highest: Place
    lowest: Place
    blind_wavelengths_mm: tuple[float, ...]
    resolved_mm: float | None
    """The widest distance between neighbouring heights that are known: ripples shorter than twice that, and
    dips wholly between two of them, show in no reading. None for drawn levels, which are blind elsewhere."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    worst_over: WorstOver | None
    base_lag: BaseLag | None
    """Beside the curve from a drawn level; None where there is none."""
    few_places_share: float | None
    """How much the readings of a drawn level speak for a way that bends in few places, 0 to 1."""
    ripples_not_included_mm: tuple[float, ...]
    """Ripples that leave the readings of a drawn level unchanged: the uncertainty does not include them."""
    joints_mm: tuple[float, ...]
    """Where pieces of the bed meet between its stations: how it runs there from one station to the next, and
    where the step is within the pitch, is not known."""
    drift: tuple[Drift, ...]
    """What each instrument drifted over a run, where runs there and back tell it."""
    profile: Profile = field(metadata=KEPT_INSIDE)
    """The known heights before any line was removed."""
    curve_is_sure: bool = field(metadata=KEPT_INSIDE)
    """Whether the curve may be quoted with its uncertainty; if not, only what is one base apart."""


def map_face(
    bed_map: BedMap, face: str, *, by: str = "all", line: str | None = None, over_mm: float | None = None
) -> FaceMap:
    """The shape of one face out of a bed map.

    Parameters
    ----------
    bed_map : BedMap
        Of the readings that are to take part (`by` only says which they were).
    face : str
    line : str, optional
        ends | least-squares | minimum-zone | unworn: taken off the heights. Left out, the one that
        `judged_straightness` chooses.
    over_mm : float, optional
        Also find the least straight stretch of this length.

    Raises
    ------
    AnalysisError
        Where the face is not known, nothing was measured on it, or its shape cannot be told.
    """
    described = bed_map.bed.described(face)
    if line == "unworn" and not described.unworn_mm:
        raise AnalysisError(
            face, "no unworn stretch is named", "unworn_mm in bed.toml", "name one, or choose another line"
        )
    read, touched_mm = bed_map.read(face), bed_map.stations_mm(face)
    profile, relative_to = _known_shape(bed_map, face, read)
    is_own = relative_to is None
    is_default = line is None and is_own and bool(described.unworn_mm)
    found = judged_straightness(profile, described, line if is_own else line or "ends")
    line = found.line
    level = remove_line(profile, line, described.unworn_mm)
    station, height, uncertainty = _with_gaps(level, touched_mm if is_own else None, bed_map.bed)
    drawn = read.drawn if is_own else None
    apart = None if drawn is None else _base_lag(drawn.base_lag, line, described)
    return FaceMap(
        face=face,
        relative_to=relative_to,
        by=by,
        traverses=read.traverses,
        is_checked=bed_map.is_checked(face),
        mode=read.mode,
        line=line,
        station_mm=station,
        height_um=height,
        standard_uncertainty_um=uncertainty,
        straightness_um=_straightness_by_line(profile, described),
        straightness_expanded_um=found.expanded_um,
        sense=found.sense,
        highest=found.highest,
        lowest=found.lowest,
        blind_wavelengths_mm=read.blind_wavelengths_mm,
        resolved_mm=None if drawn is not None else float(np.max(np.diff(profile.station_mm))),
        warnings=(
            *(_why_not_unworn(profile, described, line) if is_default else ()),
            *_at_joints(bed_map.bed, face, read, profile),
            *_warnings(bed_map, face, read),
        ),
        assumptions=assumptions(bed_map, {face} if relative_to is None else {face, relative_to}),
        worst_over=None if over_mm is None else worst_over(profile, over_mm, joints_mm=bed_map.bed.joints_mm),
        base_lag=apart,
        few_places_share=None if drawn is None else drawn.belief.few_places_share,
        ripples_not_included_mm=() if drawn is None else drawn.condition_mm,
        joints_mm=joints_within(bed_map.bed, profile),
        drift=drifts(bed_map, face),
        profile=profile,
        curve_is_sure=drawn is None or drawn.band_is_95_percent,
    )


def joints_within(bed: Bed, profile: Profile) -> tuple[float, ...]:
    """Declared joints between the first and the last height of a face."""
    first, last = profile.station_mm[[0, -1]]
    return tuple(mm for mm in bed.joints_mm if first <= mm < last)


def _at_joints(bed: Bed, face: str, read: FaceReadings, profile: Profile) -> Iterator[Fact]:
    """What is unknown where pieces of the bed meet."""
    for mm in joints_within(bed, profile):
        after = int(np.searchsorted(profile.station_mm, mm, side="right"))
        yield JointWithin(face, mm, *map(float, profile.station_mm[after - 1 : after + 1]))
    for joint in read.crossed:
        doubt_um = COVERAGE_FACTOR * joint.standard_uncertainty_um
        yield DrawnOverJoint(face, joint.at_mm, joint.step_um, doubt_um, joint.base_mm)


def _why_not_unworn(profile: Profile, described: Face, line: str) -> tuple[Fact, ...]:
    """What to mind where heights are not from the unworn stretches that bed.toml names."""
    if line == "unworn":
        return ()
    found = UnwornTooUnsure if reaches_unworn(profile, described) else UnwornMissed
    return (found(described.id),)


def judged_straightness(profile: Profile, described: Face, line: str | None = None) -> Straightness:
    """How straight a face is: the one figure of `map`, and what `next` promises of it.

    Unless another line is asked for, it is the one through the unworn stretches once bed.toml names
    them and two heights in them are known, since from these wear is read; else the one through the ends.
    It is the latter as well where the former is so uncertain that a shape which the ends show is lost in it.

    Parameters
    ----------
    profile : Profile
        Heights of the face, up to a line.
    described : Face
    line : str, optional
        As in `map_face`.
    """
    if line is not None or not reaches_unworn(profile, described):
        return straightness(profile, line or "ends", described.unworn_mm)
    from_unworn = straightness(profile, "unworn", described.unworn_mm)
    if from_unworn.sense != STRAIGHT:
        return from_unworn
    from_ends = straightness(profile, "ends")
    return from_unworn if from_ends.sense == STRAIGHT else from_ends


def own_shape(bed_map: BedMap, face: str) -> tuple[Profile, tuple[Fact, ...]]:
    """The face's own heights to work by, up to a line, and what to mind of them.

    The curve of a drawn level where it may be quoted with its uncertainty; else stations
    one base apart, with nothing assumed between them.

    Raises
    ------
    AnalysisError
        Where the face is not known, nothing was measured on it, or its own shape cannot be told.
    """
    bed_map.bed.described(face)
    profile, read = bed_map.profile(face), bed_map.read(face)
    drawn = read.drawn
    base_lag = None if drawn is None or drawn.band_is_95_percent else drawn.base_lag
    if base_lag is not None:
        profile = Profile(face, base_lag.station_mm, base_lag.height_um, base_lag.covariance_um2)
    return profile, _warnings(bed_map, face, read)


def _base_lag(base_lag: "BaseLagHeights | None", line: str, described: Face) -> BaseLag | None:
    """The stations one base apart from their own line, and how straight they are."""
    if base_lag is None:
        return None
    profile = Profile(described.id, base_lag.station_mm, base_lag.height_um, base_lag.covariance_um2)
    kind = line if line != "unworn" or reaches_unworn(profile, described) else "ends"
    level = remove_line(profile, kind, described.unworn_mm)
    found = straightness(profile, kind, described.unworn_mm)
    return BaseLag(
        station_mm=level.station_mm,
        height_um=level.height_um,
        standard_uncertainty_um=level.standard_uncertainty_um,
        straightness_um=found.range_um,
        straightness_expanded_um=found.expanded_um,
        sense=found.sense,
        base_mm=base_lag.base_mm,
        line=kind,
        highest=found.highest,
        lowest=found.lowest,
    )


def _known_shape(bed_map: BedMap, face: str, read: FaceReadings) -> tuple[Profile, str | None]:
    """The face's own shape; where that is not known, its shape relative to what carried the indicator."""
    try:
        return bed_map.profile(face), None
    except AnalysisError as why:
        relative = _relative_shape(bed_map, face, read)
        if relative is None:
            raise why
        return relative


def _relative_shape(bed_map: BedMap, face: str, read: FaceReadings) -> tuple[Profile, str] | None:
    for observations in read.observations:
        if not observations.measures.is_carried or observations.subject != face:
            continue
        for carrier in observations.faces:
            if carrier == face:
                continue
            try:
                return bed_map.difference(face, carrier), carrier
            except AnalysisError:
                continue
    return None


def _with_gaps(
    level: Profile, touched_mm: np.ndarray | None, bed: Bed
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The known heights, and NaN at the other stations that were touched, where these are the face's own."""
    if touched_mm is None:
        return level.station_mm, level.height_um, level.standard_uncertainty_um
    touched = np.sort(touched_mm)
    if set(level.station_mm) <= set(bed.station_mm):
        touched = np.intersect1d(touched, bed.station_mm)
    at = np.searchsorted(touched, level.station_mm)
    height, uncertainty = np.full(touched.size, np.nan), np.full(touched.size, np.nan)
    height[at], uncertainty[at] = level.height_um, level.standard_uncertainty_um
    return touched, height, uncertainty


def _straightness_by_line(profile: Profile, described: Face) -> dict[str, float]:
    kinds = {"ends": "ends", "least_squares": "least-squares", "minimum_zone": "minimum-zone"}
    if reaches_unworn(profile, described):
        kinds["unworn"] = "unworn"
    return {
        name: float(np.ptp(remove_line(profile, kind, described.unworn_mm).height_um))
        for name, kind in kinds.items()
    }


def reaches_unworn(profile: Profile, described: Face) -> bool:
    """Whether a line can be drawn through the unworn stretches: two known heights in them."""
    return int(np.count_nonzero(is_in_stretches(described.unworn_mm, profile.station_mm))) >= 2


def _warnings(bed_map: BedMap, face: str, read: FaceReadings) -> tuple[Fact, ...]:
    one_way = [RunOneWay(name, face) for name in only_one_way(bed_map, face)]
    line = bed_map.lines.get(("height", face))
    parts = () if line is None else in_parts(line)
    linked = linked_traverses(bed_map.observations, face)
    bearing = [fact for fact in bed_map.warnings if bears_on(fact, linked)]
    return tuple(dict.fromkeys([*parts, *untied_feet(bed_map, face), *bearing, *read.warnings, *one_way]))
