"""Runs there and back of one level: what differs between them is a drift, or a bed that bent in between.

A steady drift leans each run by r per reading in the order of reading, so that one way and
the other they differ by a bow D along the bed. So do they if the bed itself bent by D
between them, and two runs whose zero is free cannot tell which: after a drift the mean of
both is the shape, after a bend each shape is D/2 from it. Three things tell:

- the zero was not touched: a drift r moves the mean of the second run by M = r·Δ, Δ the
  readings between the middles of both; a bend moves it by nothing. It is a drift where
  |M − rΔ| < 2 u(M − rΔ) and |M| > 3 u(M).
- a run in the same direction as an earlier one, with one the other way between: after a
  steady drift both have the same bow, after a bend they have not.
- anything else that knows the bow, such as another instrument: then the adjustment tells.

Where the zero did not tell, a bow is one more unknown of the readings of all runs (derived).
Of the bow between the runs a drift puts the share a into the first and 1 − a into the second,
by how long each took; after a bend the map is a·D from the one shape and (1 − a)·D from the
other.  Its standard deviation is D·√((a² + (1 − a)²)/4), for equal runs D/√8.  Between runs in
one direction, where there are such, D counts otherwise (`OF_THREE_TO_SD`).

Levels drawn along are judged as stepped ones are, each run brought to short cells of the way;
the bow is then an unknown of the heights of their block, by the share of the block's readings
that are of these runs.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np

from analysis.linear.fact import Fact
from analysis.observe import Nuisance, Observations, Unknown

if TYPE_CHECKING:
    from analysis.level.continuous import ContinuousHeights

LEAST_COMMON = 4
"""Stations that two runs must share for a bow between them to be told from their zeros."""
STANDS_OUT = 2.0
MEAN_HAS_MOVED = 3.0
BEYOND_DOUBT = 3.0
NEGLIGIBLE = 0.01
"""Of its noise: a bow smaller than this adds nothing, and as an unknown would be known beyond rounding."""
OF_THREE_TO_SD = {"stepped": 3 / 8, "continuous": 1 / 2}
"""A bed that bent by D after the first of three runs is mapped 3/4 D from what it was then.  Drawn runs are
weighted by what noise they show, and to one that is unlike the others little weight is left."""
HIDDEN_BY_NOISE = 2.0
"""In standard uncertainties of the bow between runs in one direction.  A bed that bent far is mapped at the
very edge of ± 3/4 D: without this, noise alone decides whether that holds its shape before the bend."""

DRIFT, BEND, UNTOLD, APART = "drift", "bend", "not told", "too little in common"


@dataclass(frozen=True)
class Return(Fact):
    """What runs there and back along one face differ by, and what that is."""

    instrument: str
    face: str
    traverses: tuple[int, ...]
    bow_um: float
    """By which they differ; between runs in one direction where that was told."""
    bow_uncertainty_um: float
    outcome: str
    """drift: steady, and told | bend: the bed bent, or the drift was not steady | not told | too little in
    common: the runs share too few stations to differ by a bow that could be seen."""
    bow_sd_um: float
    """What the shape is uncertain by as a bow, besides noise."""
    mode: str = "stepped"
    """stepped | continuous: how the runs were made."""
    in_common: int = LEAST_COMMON
    """How many stations the runs that share most have in common."""
    farthest_um: float = 0.0
    """How far the map is from one of the shapes if the bed bent between two runs."""
    needed: int = LEAST_COMMON
    """How many stations must be in common."""

    @property
    def is_seen(self) -> bool:
        """Whether the runs differ by more than their noise."""
        return abs(self.bow_um) > STANDS_OUT * self.bow_uncertainty_um

    @property
    def key(self) -> Unknown:
        """Of the unknown bow."""
        return Unknown("bow between runs", tuple(map(str, self.traverses)))


@dataclass(frozen=True, eq=False)
class _Run:
    """One run by its stations: mean of its visits, when, variance, and what a bow of 1 µm adds."""

    number: int
    direction: str
    station_mm: np.ndarray
    reading: np.ndarray
    when: np.ndarray
    variance: np.ndarray
    bow: np.ndarray


def single_runs(observations: Iterable[Observations]) -> list[Observations]:
    """Every run of a level by itself, stepped or drawn, and all other observations."""
    return [run for each in observations for run in (each.drawn_runs or (each,))]


def returns(
    observations: Sequence[Observations],
    starts: Mapping[int, float],
    roots: Mapping[int, int],
    imagined: frozenset[int] = frozenset(),
) -> tuple[Return, ...]:
    """What every level that went there and back along a face differs by.

    Parameters
    ----------
    observations : sequence of Observations
        Single runs.
    starts : mapping
        When each traverse began after the one whose zero it shares, in the unit of `order`.
    roots : mapping
        For each traverse the one whose zero it has.
    imagined : frozenset of int
        Numbers of runs whose readings mean nothing: they are taken to agree with the others.
    """
    groups: dict[tuple[object, ...], list[Observations]] = {}
    for each in observations:
        if each.measures.has_feet_along and len(each.faces) == 1 and each.drift_group:
            groups.setdefault((each.drift_group, each.turned, each.mode), []).append(each)
    found = []
    for group in groups.values():
        if len({each.direction for each in group}) == 2:
            one = _of_group(sorted(group, key=lambda each: each.traverse), starts, roots, imagined)
            found += [one] if one is not None else []
    return tuple(found)


def bows_between(
    found: Sequence[Return],
    observations: Sequence[Observations],
    asked: Sequence[Observations] | None = None,
) -> list[tuple[Nuisance, ...]]:
    """For each of the observations, or of those asked for, the bows that its runs leave untold."""
    unsure = [each for each in found if each.bow_sd_um > 0.0]
    runs = single_runs(observations)
    span = {each.key: span_of(run for run in runs if run.traverse in each.traverses) for each in unsure}
    return [
        tuple(
            Nuisance(one.key, share * bow_column(each, span[one.key]), one.bow_sd_um)
            for one in unsure
            if (share := _share_in(each, one)) > 0.0
        )
        for each in (observations if asked is None else asked)
    ]


def _share_in(each: Observations, found: Return) -> float:
    """How much of what observations say comes from the runs of a return: of a block only a part."""
    worth = {run.traverse: float(np.sum(1 / run.variance)) for run in single_runs((each,))}
    return sum(worth.get(number, 0.0) for number in found.traverses) / sum(worth.values())


def bow_column(each: Observations, span_mm: tuple[float, float]) -> np.ndarray:
    """What a parabola, 1 µm high in the middle and nothing at both ends of a span, adds to each reading."""
    return np.array([
        sum(weight * bow_at(place.station_mm, span_mm) for place, weight in form.items())
        for form in each.forms
    ])  # fmt: skip


def bow_at(station_mm: Any, span_mm: tuple[float, float]) -> Any:
    """A parabola, 1 in the middle of a span and 0 at its ends."""
    middle, half = sum(span_mm) / 2, (span_mm[1] - span_mm[0]) / 2
    return 1 - ((station_mm - middle) / half) ** 2


def with_untold_bows(block: Observations, found: Sequence[Return]) -> "ContinuousHeights | None":
    """What a block of drawn levels was made of, its base-lag stations as uncertain by bows as its map is."""
    heights = None if block.drawn is None else block.drawn.heights
    base_lag = None if heights is None else heights.base_lag
    if heights is None or base_lag is None:
        return heights
    covariance = base_lag.covariance_um2
    for each in found:
        runs = [run for run in block.drawn_runs if run.traverse in each.traverses]
        if each.bow_sd_um > 0.0 and base_lag.base_mm in {run.sources[0].instrument.base_mm for run in runs}:
            bow_um = each.bow_sd_um * bow_at(base_lag.station_mm, span_of(runs))
            covariance = covariance + np.outer(bow_um, bow_um)
    return replace(heights, base_lag=replace(base_lag, covariance_um2=covariance))


def span_of(runs: Iterable[Observations]) -> tuple[float, float]:
    """From the first foot to the last of some runs, in mm."""
    places = [place.station_mm for each in runs for form in each.forms for place in form]
    return min(places), max(places)


def _of_group(
    group: Sequence[Observations],
    starts: Mapping[int, float],
    roots: Mapping[int, int],
    imagined: frozenset[int],
) -> Return | None:
    span = span_of(group)
    runs = [_by_station(each, starts.get(each.traverse, 0.0), span) for each in group]
    about = (group[0].instrument, group[0].faces[0], tuple(each.traverse for each in group))
    mode = group[0].mode
    bracketed = [
        (one, other)
        for one, other in combinations(runs, 2)
        if one.direction == other.direction
        and any(one.number < r.number < other.number and r.direction != one.direction for r in runs)
    ]
    if any(other.number in imagined for _, other in bracketed):
        return Return(*about, 0.0, 0.0, DRIFT, 0.0, mode)
    real = [run for run in runs if run.number not in imagined]
    same = [bow for one, other in bracketed if (bow := _bow_between(one, other)) is not None]
    if same:
        height, doubt = max(same, key=lambda bow: abs(bow[0]) / bow[1])
        is_steady = abs(height) <= STANDS_OUT * doubt
        left = OF_THREE_TO_SD[mode] * _bend_at_most(height, doubt, is_steady)
        return Return(*about, height, doubt, DRIFT if is_steady else BEND, left, mode)
    there_and_back = [(a, b) for a, b in combinations(real, 2) if a.direction != b.direction]
    if not there_and_back:
        return None
    found = _of_two_ways(about, mode, there_and_back, roots)
    most = max(len(_common(one, other)[0]) for one, other in there_and_back)
    return found or Return(*about, 0.0, 0.0, APART, 0.0, mode, most)


def _bend_at_most(bow_um: float, noise_um: float, is_steady: bool) -> float:
    """By what the bed may have bent between runs in one direction that differ by a bow.

    A bend too small to stand out of the noise is counted all the same, and of one that does, what
    the noise hides is counted too.
    """
    if abs(bow_um) <= NEGLIGIBLE * noise_um:
        return 0.0
    return abs(bow_um) + (0.0 if is_steady else HIDDEN_BY_NOISE * noise_um)


def _of_two_ways(
    about: tuple[str, str, tuple[int, ...]],
    mode: str,
    pairs: Iterable[tuple[_Run, _Run]],
    roots: Mapping[int, int],
) -> Return | None:
    """Of runs none of which was followed by one the other way and one like itself: the largest bow."""
    found: Return | None = None
    for one, other in pairs:
        bow = _bow_between(one, other)
        if bow is not None and (found is None or abs(bow[0]) > abs(found.bow_um)):
            is_one_zero = roots.get(one.number) == roots.get(other.number)
            is_drift = is_one_zero and _mean_has_moved_as_drift(one, other)
            share = _share_of_first(one, other)
            found = Return(
                *about,
                *bow,
                DRIFT if is_drift else UNTOLD,
                0.0 if is_drift else _bow_sd(*bow, share),
                mode,
                farthest_um=abs(bow[0]) * max(share, 1 - share),
            )
    return found


def _bow_sd(bow_um: float, noise_um: float, share: float) -> float:
    """What a bow between runs leaves the shape uncertain by.

    Less the noise that made part of it where it does not stand out; where it does, the bed may
    have bent by as much more as the noise hides.

    Examples
    --------
    >>> round(_bow_sd(10.0, 0.0, 0.5) * 8**0.5, 3), round(_bow_sd(10.0, 0.0, 0.8), 2)
    (10.0, 4.12)
    """
    to_sd = ((share**2 + (1 - share) ** 2) / 4) ** 0.5
    if abs(bow_um) > BEYOND_DOUBT * noise_um:
        return to_sd * (abs(bow_um) + noise_um)
    return to_sd * max(bow_um**2 - noise_um**2, 0.0) ** 0.5


def _share_of_first(one: _Run, other: _Run) -> float:
    """How much of the bow between two runs a drift would put into the first: by how long each took."""
    mine, theirs = _common(one, other)
    alike = np.ones(len(mine))
    first, second = (
        abs(_slope_of(run.when[common], run.bow[common], alike)[0])
        for run, common in ((one, mine), (other, theirs))
    )
    return first / (first + second) if first + second > 0.0 else 0.5


def _by_station(each: Observations, start: float, span_mm: tuple[float, float]) -> _Run:
    place, index = np.unique(np.round(each.station_mm, 1), return_inverse=True)
    count = np.bincount(index)

    def mean(column: np.ndarray) -> np.ndarray:
        return np.bincount(index, column) / count

    # the variance of the first visit: what visits share does not average
    variance = np.maximum.reduceat(each.variance[np.argsort(index, kind="stable")], np.cumsum(count) - count)
    reading = mean(each.reading - each.correction)
    when, bow = mean(each.order + start), mean(bow_column(each, span_mm))
    return _Run(each.traverse, each.direction, place, reading, when, variance, bow)


def _common(one: _Run, other: _Run) -> tuple[np.ndarray, np.ndarray]:
    _, mine, theirs = np.intersect1d(one.station_mm, other.station_mm, return_indices=True)
    return mine, theirs


def _bow_between(one: _Run, other: _Run) -> tuple[float, float] | None:
    """The bow that the first run has more than the second, and its standard uncertainty (µm)."""
    mine, theirs = _common(one, other)
    if len(mine) < LEAST_COMMON:
        return None
    difference = one.reading[mine] - other.reading[theirs]
    return _slope_of(difference, one.bow[mine], one.variance[mine] + other.variance[theirs])


def _slope_of(value: np.ndarray, column: np.ndarray, variance: np.ndarray) -> tuple[float, float]:
    """Coefficient of a column beside a constant, by weighted least squares, and its uncertainty."""
    weight = 1 / variance
    centred = column - np.average(column, weights=weight)
    power = float(np.sum(weight * centred**2))
    return float(np.sum(weight * centred * value)) / power, power**-0.5


def _mean_has_moved_as_drift(one: _Run, other: _Run) -> bool:
    """Whether the mean of the later run has moved by what the drift between the runs makes it."""
    mine, theirs = _common(one, other)
    apart, variance = one.when[mine] - other.when[theirs], one.variance[mine] + other.variance[theirs]
    if np.ptp(apart) == 0.0:
        return False
    rate, doubt = _slope_of(one.reading[mine] - other.reading[theirs], apart, variance)
    moved = float(np.mean(other.reading[theirs] - one.reading[mine]))
    between, noise = -float(np.mean(apart)), float(np.sqrt(np.sum(variance))) / len(mine)
    is_as_drift = abs(moved - rate * between) < STANDS_OUT * float(np.hypot(noise, doubt * between))
    return is_as_drift and abs(moved) > MEAN_HAS_MOVED * noise
