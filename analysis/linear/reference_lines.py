"""Heights from a reference line, and how straight a way is: with how much doubt.

A straightness is never quoted without its line.  After a line is removed the
uncertainty is another one at every station, so the line is taken off the whole
covariance (M K Mᵀ), not off the heights alone.

Three things make the range of a measured way an awkward number, and all are dealt with
in `straightness`:

- Highest and lowest station share errors; the uncertainty of their difference comes
  from the full covariance.  From the variances alone it can be twice too large.
- The range takes the largest of many noisy differences, so it is too large on
  average.  It is reported as measured, and the mean excess, found by drawing from
  the covariance, is added to the expanded uncertainty, as is usual for an effect that
  is known but not corrected.
- A perfectly straight way still shows a range (4.4 steps' noise, for twenty steps of a
  level and the end-point line).  A range that a straight way would exceed in more
  than one survey in twenty is called straight within what could be seen, and its
  expanded uncertainty then reaches down to zero.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from acquire.model.errors import AnalysisError
from acquire.model.places import end_where_rounded
from analysis.linear.minimum_zone import MinimumZone, minimum_zone, minimum_zone_widths
from analysis.linear.pieces import is_between_pieces, straight_rows
from analysis.linear.profile import COVERAGE_FACTOR, Profile, error_draws
from analysis.linear.straight_line import KINDS, Stretches, line_rows

__all__ = [
    "KINDS",
    "MinimumZone",
    "Place",
    "Straightness",
    "WorstOver",
    "minimum_zone",
    "remove_line",
    "straightness",
    "worst_over",
]

HOLLOW, CROWNED, BOTH = "hollow", "crowned", "both"
STRAIGHT = "straight within what could be seen"
CHANCE = 0.0455
"""Share of straight ways that may exceed what is called straight: two standard deviations of a normal law."""
BOTH_SHARE = 0.2
"""A way is `both` hollow and crowned when the lesser side is at least this part of the greater."""


@dataclass(frozen=True)
class Place:
    """A station and the height there, from the reference line."""

    station_mm: float
    height_um: float


@dataclass(frozen=True)
class Straightness:
    """Straightness of a profile from one reference line."""

    line: str
    range_um: float
    """Highest minus lowest deviation, as measured."""
    expanded_um: float
    """Expanded uncertainty of the range (k = 2, mean excess of the range added)."""
    sense: str
    """`hollow`, `crowned`, `both`, or `straight within what could be seen`."""
    highest: Place
    lowest: Place


@dataclass(frozen=True)
class WorstOver:
    """The stretch of a given length that is least straight."""

    length_mm: float
    from_mm: float
    straightness_um: float
    expanded_um: float
    """Expanded uncertainty of that stretch's range; that it was picked as the worst is not in it."""


def remove_line(profile: Profile, kind: str, unworn_mm: Stretches = ()) -> Profile:
    """Remove a reference line from the heights and from their covariance.

    Parameters
    ----------
    profile : Profile
        Heights with at least two stations.
    kind : str
        ``ends``, ``least-squares``, ``minimum-zone`` or ``unworn``.
    unworn_mm : sequence of (from, to)
        Stretches that the carriage never reached; for ``unworn``.

    Raises
    ------
    AnalysisError
        If the kind is not known, or fewer than two stations determine the line.

    Notes
    -----
    The minimum-zone line is the line midway between the two that touch, a linear
    function of the three heights there; that another three might touch is not in the
    covariance.

    Examples
    --------
    >>> tilted = Profile("f", [0, 100, 200], [5, 6, 11], np.eye(3))
    >>> np.abs(remove_line(tilted, "ends").height_um).round(9)
    array([0., 2., 0.])
    """
    rows, arms = _line_and_arms(profile, kind, unworn_mm)
    left = profile.covariance_um2 - arms @ (rows @ profile.covariance_um2)
    covariance = left - (left @ rows.T) @ arms.T
    return Profile(
        profile.face,
        profile.station_mm,
        profile.height_um - arms @ (rows @ profile.height_um),
        (covariance + covariance.T) / 2,
    )


def straightness(profile: Profile, kind: str, unworn_mm: Stretches = ()) -> Straightness:
    """Judge how straight a profile is from one reference line.

    `hollow` and `crowned` are always seen from the line through the ends: a way lower
    in between is hollow.  A side counts if it exceeds what a straight way would show
    there by chance, and `both` asks that the lesser side be a fifth of the greater.

    Parameters
    ----------
    profile : Profile
        Heights at three stations or more.
    kind, unworn_mm
        The line, as in `remove_line`.

    Raises
    ------
    AnalysisError
        If there are fewer than three stations, or the line cannot be drawn.

    Examples
    --------
    A way known to a tenth of a micrometre, 8 µm low in the middle:

    >>> found = straightness(Profile("f", [0, 100, 200], [0, -8, 0], 0.01 * np.eye(3)), "ends")
    >>> found.range_um, found.sense, found.lowest.station_mm
    (8.0, 'hollow', 100.0)
    """
    if profile.station_mm.size < 3:
        raise AnalysisError(
            f"straightness of {profile.face}", f"{profile.station_mm.size} stations", "three stations or more"
        )
    level = remove_line(profile, kind, unworn_mm)
    high, low = _extremes(level, _rounding(profile))
    noise = error_draws(level.covariance_um2)
    pure = _ranges(kind, level.station_mm, noise)
    measured = float(np.ptp(level.height_um))
    seen = max(float(np.quantile(pure, 1 - CHANCE)), _rounding(profile))
    excess = max(float(np.mean(_ranges(kind, level.station_mm, level.height_um + noise))) - measured, 0.0)
    expanded = COVERAGE_FACTOR * _uncertainty_of_difference(level, high, low) + excess
    straight = measured <= seen
    return Straightness(
        line=kind,
        range_um=measured,
        expanded_um=max(expanded, measured) if straight else expanded,
        sense=STRAIGHT if straight else _sense(profile, noise),
        highest=_place(level, high),
        lowest=_place(level, low),
    )


def worst_over(profile: Profile, length_mm: float, joints_mm: Sequence[float] = ()) -> WorstOver:
    """Find the stretch of `length_mm` that is least straight from the line through its ends.

    Stretches start or end at a station; where the other end falls between two
    stations its height is taken on the straight line between them, except where a joint
    of the bed lies there: nothing is known of the way between these two, and no stretch
    ends there.  Each stretch must hold three stations or more.

    Parameters
    ----------
    profile : Profile
        Heights, with or without a line removed: each stretch has its own.
    length_mm : float
        Length of a stretch, for example a carriage or the longest work turned.
    joints_mm : sequence of float
        Where two pieces of the bed meet.

    Raises
    ------
    AnalysisError
        If no stretch of that length lies within the profile or holds three stations.

    Examples
    --------
    >>> step = Profile("f", [0, 100, 200, 300, 400], [0, 0, 0, 6, 6], np.eye(5))
    >>> worst = worst_over(step, 200)
    >>> worst.from_mm, worst.straightness_um
    (100.0, 3.0)
    """
    x = profile.station_mm
    length_mm = end_where_rounded(float(x[-1] - x[0]), length_mm)
    places = [_places(x, start, length_mm) for start in _starts(x, length_mm, joints_mm)]
    ranges = [_range_about_ends(at, np.interp(at, x, profile.height_um)) for at in places]
    worst = places[int(np.argmax(ranges))]
    found = straightness(profile.through(straight_rows(x, worst), worst), "ends")
    return WorstOver(float(length_mm), float(worst[0]), found.range_um, found.expanded_um)


def _line_and_arms(
    profile: Profile, kind: str, unworn_mm: Stretches = ()
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How the heights make the line, shape (2, n), and how the line stands at the stations, (n, 2)."""
    x = profile.station_mm
    rows = line_rows(kind, x, profile.height_um, unworn_mm)
    return rows, np.stack([np.ones_like(x), x - np.mean(x)], axis=1)


def _ranges(kind: str, x: NDArray, heights: NDArray) -> NDArray[np.float64]:
    """Range of each row about its own line; rows have that line removed unless it bends with them."""
    return minimum_zone_widths(x, heights) if kind == "minimum-zone" else np.ptp(heights, axis=1)


def _extremes(level: Profile, rounding: float) -> tuple[int, int]:
    """Highest and lowest station; of equal ones, as two of a minimum zone always are, the first."""
    height = level.height_um
    high, low = height >= height.max() - rounding, height <= height.min() + rounding
    return int(high.argmax()), int(low.argmax())


def _uncertainty_of_difference(level: Profile, high: int, low: int) -> float:
    K = level.covariance_um2
    return float(np.sqrt(max(K[high, high] + K[low, low] - 2 * K[high, low], 0.0)))


def _rounding(profile: Profile) -> float:
    return 1e3 * np.finfo(float).eps * float(np.max(np.abs(profile.height_um)))


def _place(profile: Profile, i: int) -> Place:
    return Place(float(profile.station_mm[i]), float(profile.height_um[i]))


def _sense(profile: Profile, noise: NDArray) -> str:
    """Which side of the line through the ends the way lies on, beyond what chance puts there.

    `noise` are draws of its error about any line.
    """
    rows, arms = _line_and_arms(profile, "ends")
    height = profile.height_um - arms @ (rows @ profile.height_um)
    noise = noise - (arms @ (rows @ noise.T)).T
    above, below = float(height.max()), float(-height.min())
    chance_above = float(np.quantile(noise.max(axis=1), 1 - CHANCE))
    chance_below = float(np.quantile(-noise.min(axis=1), 1 - CHANCE))
    if above > chance_above and below > chance_below and min(above, below) >= BOTH_SHARE * max(above, below):
        return BOTH
    return CROWNED if above > below else HOLLOW


def _starts(x: NDArray, length_mm: float, joints_mm: Sequence[float]) -> list[float]:
    """Where stretches of that length begin: at a station or one length before one; none ends at a joint."""
    slack = 1e-6
    if not slack < length_mm <= x[-1] - x[0] + slack:
        raise AnalysisError(
            "worst over a length", f"found {length_mm:g} mm", f"a length up to {x[-1] - x[0]:g} mm"
        )
    starts = np.unique(np.round(np.concatenate([x, x - length_mm]), 6))
    starts = starts[(starts >= x[0] - slack) & (starts <= x[-1] - length_mm + slack)]
    held = [np.count_nonzero((x >= s - slack) & (x <= s + length_mm + slack)) for s in starts]
    kept = [float(s) for s, count in zip(starts, held, strict=True) if count >= 3]
    if not kept:
        raise AnalysisError(
            "worst over a length", f"no {length_mm:g} mm hold three stations", "a longer stretch"
        )
    clear = [
        start
        for start in kept
        if not any(is_between_pieces(joints_mm, x, end) for end in (start, start + length_mm))
    ]
    if not clear:
        raise AnalysisError(
            "worst over a length",
            f"every stretch of {length_mm:g} mm ends between the stations beside a joint, which nobody read",
            "a length that ends elsewhere",
            "choose another by a station or two",
        )
    return clear


def _places(x: NDArray, start: float, length_mm: float) -> NDArray[np.float64]:
    """The stations of a stretch, and its two ends."""
    inner = x[(x > start + 1e-6) & (x < start + length_mm - 1e-6)]
    return np.concatenate([[max(start, x[0])], inner, [min(start + length_mm, x[-1])]])


def _range_about_ends(x: NDArray, height: NDArray) -> float:
    middle, slope = line_rows("ends", x, height) @ height
    return float(np.ptp(height - middle - slope * (x - np.mean(x))))
