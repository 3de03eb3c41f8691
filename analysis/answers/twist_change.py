"""Twist of the ways before and after work on them, from all readings of each time."""

from dataclasses import dataclass

import numpy as np

from acquire.model.errors import AnalysisError
from analysis.answers.bed_or_wear import BedTwist, bed_twist, feet_fit
from analysis.answers.both_times import (
    BETTER,
    CHANGED,
    NO_DIFFERENCE,
    WORSE,
    BothTimes,
    at_which_time,
)
from analysis.answers.twist import Twist, twist_of
from analysis.answers.two_maps import AFTER, BEFORE
from analysis.linear.agreement import agreement


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


def twist_change(pair: BothTimes) -> TwistChange:
    """The change of twist, or a refusal that says why it cannot be judged."""
    found, missing = [], []
    for survey, when in ((pair.before, BEFORE), (pair.after, AFTER)):
        try:
            found.append(twist_of(survey.measuring, survey.bed, bed_map=survey.map()))
        except AnalysisError as why:
            missing.append((when, f"{why.where}: {why.found}"))
    if missing:
        raise AnalysisError("twist", at_which_time(missing))
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
    # a scale that both share adds up in the change of a wind that turned over; of a wind lost in its
    # own ± a scale is no part that counts
    is_turned_over = then * now < 0 and abs(then) > expanded[0] and abs(now) > expanded[1]
    joint = float(sum(expanded) if is_turned_over else np.hypot(*expanded))
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
