"""The owner's own limits, judged: meets, does not meet, cannot tell.

No limit is built in: those of bed.toml, [limits], are held against what was measured.  The rule is
that of ISO 14253-1 (from memory; its text was not at hand): with a figure y, its standard uncertainty
u and the limit T,

    y + g ≤ T  meets,   y − g > T  does not meet,   else cannot tell,

g = 1.645 u where one verdict in twenty may be wrong at worst (as its edition of 2017 has it), or 2 u.
A range is the largest of many noisy differences and so is too large; it is judged by the interval
that holds the true one (`largest_difference`), not by y ± g.  Where g exceeds a third of T the survey is
too coarse for that limit, and u = T/10 is what would do.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from acquire.model.bed import Limits
from acquire.model.errors import AnalysisError
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.face_map import own_shape, reaches_unworn
from analysis.answers.known_roll import known_roll, ways_of, wind_expanded
from analysis.linear.fact import Fact
from analysis.linear.largest_difference import largest_difference
from analysis.linear.reference_lines import remove_line

MEETS, DOES_NOT_MEET, CANNOT_TELL = "meets", "does not meet", "cannot tell"
RULES: Mapping[str, float] = {"1.645u": 1.645, "2u": 2.0}
RULE = "1.645u"
COARSE = 3.0
"""A guard above T divided by this leaves too little of the limit."""
ENOUGH = 10.0
"""u = T divided by this does."""


@dataclass(frozen=True)
class Judged:
    """One limit and what the survey says of it."""

    what: str
    """straightness_um | twist_um_per_m | wind_um_per_m"""
    of: str
    limit: float
    value: float | None
    """As measured; None where it is not known."""
    low: float | None
    high: float | None
    """What the verdict is drawn from: the true value lies between them by the rule."""
    verdict: str
    rule: str
    line: str | None = None
    """The reference line of a straightness."""
    coarse_needs: float | None = None
    """The standard uncertainty that would do, where this one is too coarse for the limit."""
    why_not_known: str | None = None


@dataclass(frozen=True)
class Verdicts:
    """All limits of bed.toml."""

    judged: tuple[Judged, ...]
    rule: str
    warnings: tuple[Fact, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    """What the uncertainty takes for granted."""


def verdict(low: float, high: float, limit: float) -> str:
    """What an interval says of a limit.

    Examples
    --------
    Limit 20, u 2.5, guard 1.645 u:

    >>> [verdict(y - 1.645 * 2.5, y + 1.645 * 2.5, 20) for y in (14, 16, 17, 25)]
    ['meets', 'cannot tell', 'cannot tell', 'does not meet']
    """
    if high <= limit:
        return MEETS
    return DOES_NOT_MEET if low > limit else CANNOT_TELL


def judge_value(value: float, standard_uncertainty: float, limit: float, rule: str = RULE) -> Judged:
    """A single figure, its size without sign, against a limit.

    Raises
    ------
    AnalysisError
        If there is no such rule, or the limit is not above 0.
    """
    guard = _factor(rule) * standard_uncertainty
    size = abs(value)
    return _judged(size, max(size - guard, 0.0), size + guard, limit, rule)


def judge_range(value: np.ndarray, covariance: np.ndarray, limit: float, rule: str = RULE) -> Judged:
    """The range of several figures against a limit, by the interval that holds the true range.

    Parameters
    ----------
    value : array, shape (n,)
    covariance : array, shape (n, n)
    limit : float
    rule : str
        1.645u | 2u. The interval ends too low or too high once in forty each; that serves both.

    Examples
    --------
    Noise of 1 at thirty places ranges over 4 and more, on a way without any error:

    >>> noise = np.random.default_rng(1).normal(0, 1, 30)
    >>> judged = judge_range(noise, np.eye(30), limit=3.0)
    >>> judged.value > 3, judged.low, judged.verdict
    (True, 0.0, 'cannot tell')
    """
    _factor(rule)
    found = largest_difference(np.asarray(value, float), covariance)
    return _judged(found.value, found.interval[0], found.interval[1], limit, rule)


def judge_limits(bed_map: BedMap, limits: Limits, rule: str = RULE) -> Verdicts:
    """Every limit of bed.toml against the map.

    Raises
    ------
    AnalysisError
        If bed.toml holds no limit, or there is no such rule.
    """
    _factor(rule)
    if not (limits.straightness_um or limits.twist_um_per_m or limits.wind_um_per_m):
        raise AnalysisError(
            bed_map.bed.name,
            "found no limits in bed.toml",
            "[limits] with straightness_um, twist_um_per_m or wind_um_per_m",
            "enter those that apply to the machine: none are built in",
        )
    wanted: list[tuple[str, str, float, Callable[[], Judged]]] = [
        ("straightness_um", face, limit, partial(_straightness, bed_map, face, limit, rule))
        for face, limit in limits.straightness_um.items()
    ]
    if limits.twist_um_per_m is not None:
        twist = limits.twist_um_per_m
        wanted.append(("twist_um_per_m", "bed", twist, partial(_twist, bed_map, twist, rule)))
    if limits.wind_um_per_m is not None:
        wind = limits.wind_um_per_m
        wanted.append(("wind_um_per_m", "bed", wind, partial(_wind, bed_map, wind, rule)))
    judged = [_judged_or_not_known(*each, rule) for each in wanted]
    return Verdicts(tuple(judged), rule, tuple(bed_map.warnings), assumptions(bed_map))


def meets_limits(bed_map: BedMap, faces: Sequence[str]) -> dict[str, bool]:
    """Of the faces that the owner has a limit of straightness for, whether each meets it."""
    limits = bed_map.bed.limits.straightness_um
    return {
        face: _straightness(bed_map, face, limits[face], RULE).verdict == MEETS
        for face in faces
        if face in limits
    }


def _judged_or_not_known(what: str, of: str, limit: float, judge: Callable[[], Judged], rule: str) -> Judged:
    try:
        found = judge()
    except AnalysisError as why:
        return Judged(what, of, limit, None, None, None, CANNOT_TELL, rule, why_not_known=why.found)
    return replace(found, what=what, of=found.of or of)


def _judged(value: float, low: float, high: float, limit: float, rule: str) -> Judged:
    if not limit > 0:
        raise AnalysisError("limit", f"{limit:g}", "above 0")
    guard = max(value - low, high - value)
    coarse = limit / ENOUGH if guard > limit / COARSE else None
    return Judged("", "", limit, value, low, high, verdict(low, high, limit), rule, coarse_needs=coarse)


def _factor(rule: str) -> float:
    if rule not in RULES:
        raise AnalysisError("rule of decision", f"found {rule!r}", " | ".join(RULES))
    return RULES[rule]


def _straightness(bed_map: BedMap, face: str, limit: float, rule: str) -> Judged:
    profile, _ = own_shape(bed_map, face)
    described = bed_map.bed.faces[face]
    line = "unworn" if reaches_unworn(profile, described) else "ends"
    level = remove_line(profile, line, described.unworn_mm)
    return replace(judge_range(level.height_um, level.covariance_um2, limit, rule), of=face, line=line)


def _twist(bed_map: BedMap, limit: float, rule: str) -> Judged:
    ways = ways_of(bed_map.bed)
    known = known_roll(bed_map, ways)
    if known is None or known.known_up_to == "a line":
        raise AnalysisError("twist", "the roll along the bed is not known, or only how it bends")
    judged = judge_range(known.value, known.covariance, limit, rule)
    if known.is_of_carriage and judged.verdict != DOES_NOT_MEET:  # the ways roll as much or more
        raise _evened_out("twist")
    return replace(judged, of=f"{ways.front} and {ways.rear}")


def _wind(bed_map: BedMap, limit: float, rule: str) -> Judged:
    ways = ways_of(bed_map.bed)
    known = known_roll(bed_map, ways)
    expanded = wind_expanded(known)
    if known is None or expanded is None:
        raise AnalysisError("wind", "the roll along the bed is not known, or only how it bends")
    if known.is_of_carriage:
        raise _evened_out("wind")
    wind = float(known.value[-1] - known.value[0])
    return replace(judge_value(wind, expanded / 2, limit, rule), of=f"{ways.front} and {ways.rear}")


def _evened_out(what: str) -> AnalysisError:
    return AnalysisError(what, "only the carriage's roll is known, which evens out the ways' own")
