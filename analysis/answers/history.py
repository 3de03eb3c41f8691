"""Before and after a round of work: did it get better, by how much, and where did the metal come off?

Both surveys go into one adjustment as heights of their own.  Their readings are
independent; the scale of an instrument that was used in both, and the shape of a
straightedge, are one unknown, and cancel where they can.  The change is judged from its
least-squares line with its joint covariance, so that a lie of the bed or a zero of the
level that differs says nothing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.traverse import Traverse
from analysis.adjust.combination import BedMap, adjusted
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.bed_or_wear import BedTwist, bed_twist, feet_fit
from analysis.answers.common_state import (
    check_same_bed,
    instrument_differences,
    is_same_instrument,
    not_said,
    other_face,
    state_differences,
)
from analysis.answers.comparison import A_SCRAPING_PASS_UM
from analysis.answers.face_map import FaceMap, map_face
from analysis.answers.metal_alone import BedMoved, bed_moved, metal_rows, unscraped_faces
from analysis.answers.metal_off import Stretch, metal_off
from analysis.answers.surveys import Survey
from analysis.answers.twist import Twist, twist_of
from analysis.answers.two_maps import (
    LEAST_STATIONS,
    apart,
    common_rows,
    doubled_faces,
    own,
    rows_by_station,
    through_the_coarser_base,
)
from analysis.linear.agreement import Agreement, agreement
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import Place, remove_line
from analysis.linear.shown import Shown
from analysis.observe import Observations

BEFORE, AFTER = "before", "after"
BETTER, WORSE, CHANGED, NO_DIFFERENCE, CANNOT_TELL = (
    "better",
    "worse",
    "changed",
    "no difference",
    "cannot tell",
)
_INSIDE: Mapping[str, Any] = {"kept_inside": True}


@dataclass(frozen=True)
class ShapeThen:
    """How straight a face was at one time; as `waylog map` gives it."""

    sense: str
    straightness_um: float
    straightness_expanded_um: float
    line: str
    highest: Place
    lowest: Place
    traverses: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class MetalAlone:
    """What came off a face, the movement of the bed taken out."""

    against: tuple[str, ...]
    """The faces that were not scraped."""
    station_mm: np.ndarray
    change_um: np.ndarray
    """From the line that the least changed places lie on; below 0 where metal came off."""
    expanded_um: np.ndarray
    is_counted_from_untouched: bool
    """Whether three places at least lie on that line; if not, the change is from its least-squares line."""


@dataclass(frozen=True, eq=False, repr=False)
class FaceChange(Shown):
    """One face before and after."""

    face: str
    relative_to: str | None
    """What carried the indicator, where only the face against it is known."""
    verdict: str
    """better | worse | changed (in shape, neither straighter nor less straight) | no difference (that
    could have been seen) | cannot tell (none of any use could have been seen)."""
    before: ShapeThen
    after: ShapeThen
    station_mm: np.ndarray
    change_um: np.ndarray
    """After − before, the least-squares line removed."""
    expanded_uncertainty_um: np.ndarray
    largest_normalised_error: float
    largest_by_chance: float
    p_value: float
    smallest_detectable_um: float
    worst: Mapping[str, float]
    """Where it changed most from that line."""
    came_off: tuple[Stretch, ...]
    """Where metal came off, from the line that the least changed places lie on."""
    rose: tuple[Stretch, ...]
    metal: "MetalAlone | None"
    """The metal by itself, where faces that were not scraped tell how the bed moved."""
    smoothed_over_mm: float | None
    """Both maps were passed through this base, which one of them cannot see below."""
    profile_before: Profile = field(metadata=_INSIDE)
    profile_after: Profile = field(metadata=_INSIDE)
    """From their least-squares lines, at the common stations."""
    from_untouched: Profile = field(metadata=_INSIDE)
    """The change from the line that the least changed places lie on."""
    came_off_up_to_a_line: Profile = field(metadata=_INSIDE)
    """Metal that came off, + down, the bed's movement taken out where faces not scraped tell it."""


@dataclass(frozen=True)
class TwistChange:
    """Wind of the ways before and after, from all readings of each time."""

    front: str
    rear: str
    gauge_mm: float
    figure: str
    """bed: rms of the bed's own roll by its unworn places alone, which shimming is judged by | wind: far
    end against near end, where bed and wear cannot be told apart."""
    verdict: str
    before_um_per_m: float
    before_expanded_um_per_m: float
    after_um_per_m: float
    after_expanded_um_per_m: float
    change_um_per_m: float
    change_expanded_um_per_m: float
    """As if they shared no error; of a wind that turned over, as if they shared all of it."""
    smallest_detectable_um_per_m: float


@dataclass(frozen=True)
class TakenAsBefore(Fact):
    """Traverses of the present survey that are in the older one too."""

    traverses: tuple[int, ...]


@dataclass(frozen=True)
class InSurvey(Fact):
    """What is to be minded about one of the two surveys."""

    when: str
    what: Fact


@dataclass(frozen=True, eq=False, repr=False)
class BeforeAndAfter(Shown):
    """Two surveys of one bed, before and after work on it."""

    before: str
    after: str
    is_like_with_like: bool
    """Whether nothing is known to have differed in how the bed stood or what it was measured with."""
    differences: tuple[Fact, ...]
    """What did differ."""
    faces: tuple[FaceChange, ...]
    not_compared: Mapping[str, str]
    """Faces that cannot be held against each other, and why."""
    twist: TwistChange | None
    twist_unknown: str | None
    """Why there is no twist before and after."""
    bed_moved: BedMoved | None
    """By faces that were not scraped; None where fewer than two such were measured both times."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""


def before_and_after(
    before: Survey, after: Survey, faces: Sequence[str] = (), *, scraped: Sequence[str] = ()
) -> BeforeAndAfter:
    """Hold a survey from before the work against one from after it.

    Traverses that are in both (the present survey was begun as a copy of the older one)
    count as before.

    Parameters
    ----------
    before, after : Survey
        Of one bed, with equal names of its faces.
    faces : sequence of str
        Only these; all by default.
    scraped : sequence of str
        Faces that metal was taken off: the others tell how the bed moved meanwhile. Left out, faces that
        nothing runs on do.

    Raises
    ------
    AnalysisError
        Where the beds are not one, a face asked for is not known, or one of the surveys
        holds no measurement of its own.

    Notes
    -----
    A difference is said where chance explains it in fewer than one survey in a hundred;
    better or worse, where also the straightness differs by more than its expanded
    uncertainty.
    """
    check_same_bed(before.bed, after.bed)
    for face in (*faces, *scraped):
        if face not in before.bed.faces and face not in after.bed.faces:
            raise AnalysisError(face, "found no such face in bed.toml", ", ".join(after.bed.faces))
    after, repeated = only_new(before, after)
    pair = _Pair(before, after, tuple(scraped))
    changes, reasons = _by_face(pair, faces or tuple(dict.fromkeys([*before.bed.faces, *after.bed.faces])))
    twist, no_twist = _twist(pair)
    differences = (
        *state_differences(before.measuring, after.measuring, after.bed),
        *instrument_differences(before.measuring, after.measuring),
    )
    return BeforeAndAfter(
        before=str(before.folder),
        after=str(after.folder),
        is_like_with_like=not differences,
        differences=differences,
        faces=tuple(changes),
        not_compared=reasons,
        twist=twist,
        twist_unknown=no_twist,
        bed_moved=bed_moved(pair.joint, pair.unscraped, (BEFORE, AFTER)) if len(pair.unscraped) > 1 else None,
        warnings=_warnings(pair, repeated),
        assumptions=_taken(pair),
    )


def only_new(before: Survey, after: Survey) -> tuple[Survey, tuple[int, ...]]:
    """The survey from after without the traverses that it has from before, and their numbers.

    Raises
    ------
    AnalysisError
        Where one of the two holds no measurement of its own.
    """
    old = {_identity(each) for each in before.traverses}
    repeated = tuple(each.number for each in after.traverses if _identity(each) in old)
    new = tuple(each for each in after.traverses if _identity(each) not in old)
    kept = replace(after, traverses=new) if repeated else after
    for survey, when in ((before, "before"), (kept, "after")):
        if not survey.measuring:
            raise AnalysisError(
                str(survey.folder), f"found no traverse from {when} the work", "one at least",
                "copy the survey folder before the work, measure again after it",
            )  # fmt: skip
    return kept, repeated


def _identity(each: Traverse) -> tuple[object, ...]:
    """What two copies of one traverse have in common, also where one was derived anew, and no two others."""
    setup, stations = each.setup, each.stations
    raw = tuple(stream.raw for stream in each.streams.values())
    read = raw if any(raw) else (stations.station_mm.tobytes(), stations.reading.tobytes())
    return (setup.created_utc, setup.instrument, setup.subject, setup.direction, *read)


@dataclass(frozen=True, eq=False)
class _Pair:
    """Both surveys, each with its own map, and one map with the heights of both."""

    before: Survey
    after: Survey
    scraped: tuple[str, ...] = ()

    @cached_property
    def unscraped(self) -> tuple[str, ...]:
        """Faces that tell how the bed moved."""
        both = [face for face in self.after.bed.faces if all(face in each.faces for each in self.maps)]
        return unscraped_faces(self.after.bed, both, self.scraped)

    @cached_property
    def maps(self) -> tuple[BedMap, BedMap]:
        return self.before.map(), self.after.map()

    @cached_property
    def observations(self) -> tuple[tuple[Observations, ...], tuple[Observations, ...]]:
        """What each says, of heights, zeros and numbers of its own."""
        beyond = 1 + max((each.number for each in self.after.traverses), default=0)
        beyond += max((each.number for each in self.before.traverses), default=0)
        old = tuple(_from_before(each, beyond, self._redescribed) for each in self.before.observed)
        return old, tuple(apart(each, AFTER) for each in self.after.observed)

    @cached_property
    def _redescribed(self) -> frozenset[str]:
        """Instruments of one name that are not one instrument."""
        now = {each.setup.instrument: each.instrument for each in self.after.measuring}
        then = {each.setup.instrument: each.instrument for each in self.before.measuring}
        return frozenset(
            name for name in then if name in now and not is_same_instrument(then[name], now[name])
        )

    @cached_property
    def joint(self) -> BedMap:
        """Heights before and heights after in one adjustment."""
        bed = replace(self.after.bed, faces=doubled_faces(self.after.bed, (BEFORE, AFTER)))
        return adjusted([each for side in self.observations for each in side], bed)


def _from_before(each: Observations, beyond: int, redescribed: frozenset[str]) -> Observations:
    """Under numbers that no traverse from after has; what is no one instrument's shares nothing."""
    moved = apart(each, BEFORE)
    nuisances = tuple(
        replace(n, key=replace(n.key, of=(*n.key.of, BEFORE)))
        if n.key.kind == "height" or n.key.of[0] in redescribed
        else n
        for n in moved.nuisances
    )
    return replace(
        moved,
        traverse=each.traverse + beyond,
        with_traverses=tuple(number + beyond for number in each.with_traverses),
        zero=None if each.zero is None else each.zero + beyond,
        nuisances=nuisances,
        drawn_runs=tuple(_renumbered(run, beyond) for run in moved.drawn_runs),
        zero_drift=each.zero_drift and replace(each.zero_drift, run=each.zero_drift.run + beyond),
    )


def _renumbered(run: Observations, beyond: int) -> Observations:
    zero = None if run.zero is None else run.zero + beyond
    return replace(run, traverse=run.traverse + beyond, zero=zero)


def _by_face(pair: _Pair, faces: Iterable[str]) -> tuple[list[FaceChange], dict[str, str]]:
    changes, reasons = [], {}
    for face in faces:
        try:
            changes.append(_face_change(pair, face))
        except AnalysisError as why:
            reasons[face] = why.found
    return changes, reasons


def _face_change(pair: _Pair, face: str) -> FaceChange:
    old, new = _maps_of(pair, face)
    base_mm, station, first, second = _rows(pair, face, new.relative_to)
    name = face if new.relative_to is None else f"{face} − {new.relative_to}"
    change = pair.joint.combined(name, station, second - first)
    profiles = [
        remove_line(pair.joint.combined(name, station, rows), "least-squares") for rows in (first, second)
    ]
    level = remove_line(change, "least-squares")
    judged = agreement(level.height_um, level.covariance_um2, level.station_mm)
    then, now = shape_then(old), shape_then(new)
    verdict = _verdict(judged, then, now, min(float(np.ptp(each.height_um)) for each in profiles))
    has_changed = verdict not in (NO_DIFFERENCE, CANNOT_TELL)
    alone = _metal_alone(pair, face) if new.relative_to is None and base_mm is None else None
    metal = metal_off(change if alone is None else alone)
    if alone is not None:
        verdict = _verdict_by_metal(alone, profiles[0], then, verdict)
        has_changed = verdict not in (NO_DIFFERENCE, CANNOT_TELL)
    worst = int(np.argmax(np.abs(np.nan_to_num(judged.normalised_error))))
    return FaceChange(
        face=face,
        relative_to=new.relative_to,
        verdict=verdict,
        before=then,
        after=now,
        station_mm=level.station_mm,
        change_um=level.height_um,
        expanded_uncertainty_um=judged.expanded_uncertainty,
        largest_normalised_error=judged.largest_normalised_error,
        largest_by_chance=judged.largest_by_chance,
        p_value=judged.p_value,
        smallest_detectable_um=judged.smallest_detectable,
        worst={
            "station_mm": float(level.station_mm[worst]),
            "change_um": float(level.height_um[worst]),
            "expanded_um": float(judged.expanded_uncertainty[worst]),
        },
        came_off=metal.came_off if has_changed else (),
        rose=metal.rose if has_changed else (),
        metal=None
        if alone is None
        else MetalAlone(
            pair.unscraped,
            metal.change.station_mm,
            metal.change.height_um,
            2 * metal.change.standard_uncertainty_um,
            bool(np.any(metal.is_untouched)),
        ),
        smoothed_over_mm=base_mm,
        profile_before=profiles[0],
        profile_after=profiles[1],
        from_untouched=metal.change,
        came_off_up_to_a_line=_turned_over(change if alone is None else alone),
    )


def _turned_over(change: Profile) -> Profile:
    return Profile(change.face, change.station_mm, -change.height_um, change.covariance_um2)


def _metal_alone(pair: _Pair, face: str) -> Profile | None:
    """The change of a face less what the bed made of it; None where nothing tells that."""
    found = metal_rows(pair.joint, pair.after.bed, face, pair.unscraped, (BEFORE, AFTER))
    if found is None:
        return None
    try:
        return pair.joint.combined(face, *found)
    except AnalysisError:
        return None


def _verdict_by_metal(metal: Profile, before: Profile, then: ShapeThen, as_it_stands: str) -> str:
    """Better where the metal that came off leaves a straighter face than it was, the bed as it lay then."""
    level = remove_line(metal, "least-squares")
    judged = agreement(level.height_um, level.covariance_um2, level.station_mm)
    if judged.agree:
        shape_um = max(float(np.ptp(before.height_um)), A_SCRAPING_PASS_UM)
        return NO_DIFFERENCE if judged.smallest_detectable <= shape_um else CANNOT_TELL
    here = np.isin(np.round(before.station_mm, 3), np.round(metal.station_mm, 3))
    there = np.isin(np.round(metal.station_mm, 3), np.round(before.station_mm, 3))
    x, h = before.station_mm[here], before.height_um[here]
    if x.size < LEAST_STATIONS:
        return as_it_stands
    spread = before.covariance_um2[np.ix_(here, here)]
    # what was measured before is in the change with the other sign: after less the bed's own movement
    left = remove_line(Profile(before.face, x, h + metal.height_um[there], spread), "least-squares")
    was = remove_line(Profile(before.face, x, h, spread), "least-squares")
    gain = float(np.ptp(was.height_um) - np.ptp(left.height_um))
    doubt = float(np.hypot(then.straightness_expanded_um, 2 * np.max(level.standard_uncertainty_um)))
    if abs(gain) <= doubt:
        return CHANGED
    return BETTER if gain > 0 else WORSE


def _maps_of(pair: _Pair, face: str) -> tuple[FaceMap, FaceMap]:
    """The face's shape at both times, or a refusal that says at which it is not known."""
    for survey, when in ((pair.before, BEFORE), (pair.after, AFTER)):
        if face not in survey.bed.faces:
            raise AnalysisError(face, f"not described {when}")
    otherwise = other_face(pair.before.bed.faces[face], pair.after.bed.faces[face])
    if otherwise:
        raise AnalysisError(face, otherwise)
    found, missing = [], []
    for bed_map, when in zip(pair.maps, (BEFORE, AFTER), strict=True):
        try:
            found.append(map_face(bed_map, face))
        except AnalysisError as why:
            missing.append((when, why.found))
    if missing:
        raise AnalysisError(face, _at_which_time(missing))
    old, new = found
    if old.relative_to != new.relative_to:
        known = [f"relative to {m.relative_to}" if m.relative_to else "by itself" for m in (old, new)]
        raise AnalysisError(
            face, f"known {known[0]} before and {known[1]} after, which is not the same thing"
        )
    return old, new


def _at_which_time(missing: Sequence[tuple[str, str]]) -> str:
    """What is not known and when, said once where it is the same at both times."""
    if len(missing) == 2 and missing[0][1] == missing[1][1]:
        return f"before and after, {missing[0][1]}"
    return "; ".join(f"{when}, {why}" for when, why in missing)


def shape_then(found: FaceMap) -> ShapeThen:
    """What a map says of straightness; where its curve may not be claimed, what one base apart says."""
    apart_by_a_base = found.base_lag
    if apart_by_a_base is not None and not found.curve_is_sure:
        return ShapeThen(
            apart_by_a_base.sense,
            apart_by_a_base.straightness_um,
            apart_by_a_base.straightness_expanded_um,
            apart_by_a_base.line,
            apart_by_a_base.highest,
            apart_by_a_base.lowest,
            found.traverses,
        )
    return ShapeThen(
        found.sense,
        found.straightness_um[found.line.replace("-", "_")],
        found.straightness_expanded_um,
        found.line,
        found.highest,
        found.lowest,
        found.traverses,
    )


def _rows(
    pair: _Pair, face: str, relative_to: str | None
) -> tuple[float | None, np.ndarray, np.ndarray, np.ndarray]:
    subject = {face: 1}
    if relative_to is not None:
        subject[relative_to] = -pair.after.bed.sense(face, relative_to)
    tables = [
        rows_by_station(pair.joint, {own(name, tag): sign for name, sign in subject.items()})
        for tag in (BEFORE, AFTER)
    ]
    station, first, second = common_rows(pair.joint, *tables)
    if len(station) < LEAST_STATIONS:
        raise AnalysisError(
            face, f"{len(station)} stations were measured both before and after, three or more are needed"
        )
    sides = [[each for each in survey.observed if face in each.faces] for survey in (pair.before, pair.after)]
    return through_the_coarser_base(sides, station, first, second)


def _verdict(judged: Agreement, then: ShapeThen, now: ShapeThen, shape_um: float) -> str:
    if judged.agree:
        of_use = max(shape_um, A_SCRAPING_PASS_UM)
        return NO_DIFFERENCE if judged.smallest_detectable <= of_use else CANNOT_TELL
    gain = then.straightness_um - now.straightness_um
    if abs(gain) <= float(np.hypot(then.straightness_expanded_um, now.straightness_expanded_um)):
        return CHANGED
    return BETTER if gain > 0 else WORSE


def _twist(pair: _Pair) -> tuple[TwistChange | None, str | None]:
    try:
        return _twist_change(pair), None
    except AnalysisError as why:
        return None, why.found


def _twist_change(pair: _Pair) -> TwistChange:
    """The change of twist, or a refusal that says why it cannot be judged."""
    found, missing = [], []
    for survey, when in ((pair.before, BEFORE), (pair.after, AFTER)):
        try:
            found.append(twist_of(survey.measuring, survey.bed, made=survey.observed))
        except AnalysisError as why:
            missing.append((when, f"{why.where}: {why.found}"))
    if missing:
        raise AnalysisError("twist", _at_which_time(missing))
    old, new = found
    if (old.front, old.rear) != (new.front, new.rear):
        raise AnalysisError("twist", "the carriage rides other ways before and after")
    if None in (old.wind_expanded_um_per_m, new.wind_expanded_um_per_m):
        raise AnalysisError("twist", "the readings do not tell the wind both before and after")
    if old.feet is not None and new.feet is not None:
        fits = [feet_fit(bed_map) for bed_map in pair.maps]
        if fits[0] is not None and fits[1] is not None:
            return _judged_bed(new, bed_twist(fits[0]), bed_twist(fits[1]))
    return _judged_twist(old, new)


def _judged_bed(ways: Twist, then: BedTwist, now: BedTwist) -> TwistChange:
    """Judged by the mean square, which noise does not bias; told as its root."""
    fell = then.square - now.square
    doubt = float(np.hypot(then.square_standard_uncertainty, now.square_standard_uncertainty))
    judged = agreement(np.array([fell]), np.array([[doubt**2]]))
    middle = max(then.square, now.square, 0.0)
    return TwistChange(
        front=ways.front,
        rear=ways.rear,
        gauge_mm=ways.gauge_mm,
        figure="bed",
        verdict=NO_DIFFERENCE if judged.agree else BETTER if fell > 0 else WORSE,
        before_um_per_m=then.rms_um_per_m,
        before_expanded_um_per_m=then.expanded_um_per_m,
        after_um_per_m=now.rms_um_per_m,
        after_expanded_um_per_m=now.expanded_um_per_m,
        change_um_per_m=now.rms_um_per_m - then.rms_um_per_m,
        change_expanded_um_per_m=float(np.hypot(then.expanded_um_per_m, now.expanded_um_per_m)),
        smallest_detectable_um_per_m=float(np.sqrt(middle + judged.smallest_detectable) - np.sqrt(middle)),
    )


def _judged_twist(old: Twist, new: Twist) -> TwistChange:
    then, now = old.wind_um_per_m or 0.0, new.wind_um_per_m or 0.0
    expanded = old.wind_expanded_um_per_m or 0.0, new.wind_expanded_um_per_m or 0.0
    # a scale that both share adds up in the change of a wind that turned over
    joint = float(sum(expanded) if then * now < 0 else np.hypot(*expanded))
    judged = agreement(np.array([now - then]), np.array([[(joint / 2) ** 2]]))
    less = abs(then) - abs(now)
    told = CHANGED if abs(less) <= joint else BETTER if less > 0 else WORSE
    return TwistChange(
        front=old.front,
        rear=old.rear,
        gauge_mm=old.gauge_mm,
        figure="wind",
        verdict=NO_DIFFERENCE if judged.agree else told,
        before_um_per_m=then,
        before_expanded_um_per_m=expanded[0],
        after_um_per_m=now,
        after_expanded_um_per_m=expanded[1],
        change_um_per_m=now - then,
        change_expanded_um_per_m=joint,
        smallest_detectable_um_per_m=judged.smallest_detectable,
    )


def _warnings(pair: _Pair, repeated: Sequence[int]) -> tuple[Fact, ...]:
    found: list[Fact] = [TakenAsBefore(tuple(repeated))] if repeated else []
    found += not_said(pair.before.measuring, pair.after.measuring)
    for bed_map, when in zip(pair.maps, (BEFORE, AFTER), strict=True):
        found += [InSurvey(when, each) for each in bed_map.warnings]
    return tuple(dict.fromkeys(found))


def _taken(pair: _Pair) -> tuple[Assumption, ...]:
    """What either survey takes for granted, and that both are read on one bed."""
    both = [each for bed_map in pair.maps for each in assumptions(bed_map)]
    names: dict[tuple[str, bool], dict[str, None]] = {}
    for each in both:
        names.setdefault((each.what, each.stated), {}).update(dict.fromkeys(each.of))
    return tuple(Assumption(what, stated, tuple(of)) for (what, stated), of in names.items())
