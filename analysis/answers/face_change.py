"""One face before and after work on it: straighter or not, and where the metal came off.

The change is judged from its least-squares line with its joint covariance, so that a lie
of the bed or a zero of the level that differs says nothing.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_PLACE_MM
from analysis.answers.both_times import (
    BETTER,
    CANNOT_TELL,
    CHANGED,
    NO_DIFFERENCE,
    WORSE,
    BothTimes,
    at_which_time,
)
from analysis.answers.common_state import other_face
from analysis.answers.comparison import A_SCRAPING_PASS_UM
from analysis.answers.face_map import FaceMap, map_face
from analysis.answers.metal_alone import metal_rows
from analysis.answers.metal_off import MetalOff, Stretch, metal_off
from analysis.answers.two_maps import (
    AFTER,
    BEFORE,
    LEAST_STATIONS,
    common_rows,
    own,
    rows_by_station,
    through_the_coarser_base,
)
from analysis.linear.agreement import Agreement, agreement
from analysis.linear.profile import Profile, in_common
from analysis.linear.reference_lines import Place, remove_line
from analysis.linear.shown import KEPT_INSIDE, Shown


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
    """Where more metal came off than on the line through the places that changed least."""
    rose: tuple[Stretch, ...]
    counted_from_mm: tuple[tuple[float, float], ...]
    """Those places, first to last station of each stretch; empty where the change is from its least-squares
    line. What came off there, evenly or as a taper, does not show."""
    metal: "MetalAlone | None"
    """The metal by itself, where faces that were not scraped tell how the bed moved."""
    smoothed_over_mm: float | None
    """Both maps were passed through this base, which one of them cannot see below."""
    profile_before: Profile = field(metadata=KEPT_INSIDE)
    profile_after: Profile = field(metadata=KEPT_INSIDE)
    """From their least-squares lines, at the common stations."""
    from_untouched: Profile = field(metadata=KEPT_INSIDE)
    """The change from the line that the least changed places lie on."""
    came_off_up_to_a_line: Profile = field(metadata=KEPT_INSIDE)
    """Metal that came off, + down, the bed's movement taken out where faces not scraped tell it."""
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())
    """Where pieces of the bed meet: nothing is drawn over them."""


def face_change(pair: BothTimes, face: str) -> FaceChange:
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
    alone = _metal_alone(pair, face) if new.relative_to is None and base_mm is None else None
    if alone is not None:
        verdict = _verdict_by_metal(alone, profiles[0], then, verdict)
    has_changed = verdict not in (NO_DIFFERENCE, CANNOT_TELL)
    metal = metal_off(change if alone is None else alone)
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
        worst=_worst(level, judged),
        came_off=metal.came_off if has_changed else (),
        rose=metal.rose if has_changed else (),
        counted_from_mm=metal.counted_from_mm if has_changed else (),
        metal=None if alone is None else _told_by(pair.unscraped, metal),
        smoothed_over_mm=base_mm,
        profile_before=profiles[0],
        profile_after=profiles[1],
        from_untouched=metal.change,
        came_off_up_to_a_line=_turned_over(change if alone is None else alone),
        joints_mm=pair.after.bed.joints_mm,
    )


def _worst(level: Profile, judged: Agreement) -> dict[str, float]:
    """Where it changed most, in its own uncertainty."""
    at = int(np.argmax(np.abs(np.nan_to_num(judged.normalised_error))))
    return {
        "station_mm": float(level.station_mm[at]),
        "change_um": float(level.height_um[at]),
        "expanded_um": float(judged.expanded_uncertainty[at]),
    }


def _told_by(unscraped: tuple[str, ...], metal: MetalOff) -> MetalAlone:
    change = metal.change
    return MetalAlone(
        against=unscraped,
        station_mm=change.station_mm,
        change_um=change.height_um,
        expanded_um=2 * change.standard_uncertainty_um,
        is_counted_from_untouched=bool(np.any(metal.is_untouched)),
    )


def _turned_over(change: Profile) -> Profile:
    return Profile(change.face, change.station_mm, -change.height_um, change.covariance_um2)


def _metal_alone(pair: BothTimes, face: str) -> Profile | None:
    """The change of a face less what the bed made of it; None where nothing tells that."""
    found = metal_rows(pair.joint, pair.after.bed, face, pair.unscraped)
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
    here, there = in_common(before.station_mm, metal.station_mm, SAME_PLACE_MM)
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


def _maps_of(pair: BothTimes, face: str) -> tuple[FaceMap, FaceMap]:
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
        raise AnalysisError(face, at_which_time(missing))
    old, new = found
    if old.relative_to != new.relative_to:
        known = [f"relative to {m.relative_to}" if m.relative_to else "by itself" for m in (old, new)]
        raise AnalysisError(
            face, f"known {known[0]} before and {known[1]} after, which is not the same thing"
        )
    return old, new


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
    pair: BothTimes, face: str, relative_to: str | None
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
