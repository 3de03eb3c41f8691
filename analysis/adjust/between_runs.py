"""What may have changed between runs and nothing tells: zeros that drifted, a bed that warmth bent.

Both are in the ±.

Runs there and back tell how an instrument drifted. Of a zero that several runs one way share nothing
does, and yet wind rests on its having stayed: it may have drifted on at a rate of its own, which bows
what a level shows of each way, and have moved between runs besides. Both are unknowns about nought, of a
size that is taken (`OVER_A_RUN`) unless runs there and back of the same instrument elsewhere show more.
An instrument that is seen to drift elsewhere is not taken as steady where it ran one way with a zero
of its own either.

A single run of an instrument of which no run there and back is known keeps the sum of its steps as it is
and its uncertainty as noise makes it: that it did not drift stands beside the answer.

Where bed.toml states by how much a zero may drift over a run (`drift_over_run`), that counts in place of
either, for single runs as for those that share a zero.

A bed whose top was warmer against its bottom in one run than in another was bent otherwise.  By how much
is known only roughly (`bend_by_temperature_um`: a bar of one depth, warm right through): where the
differences written down are not alike, the share of it that this bed follows is one more unknown, about
nought and as large as that bend.  What runs at several temperatures say of one face can tell it.
"""

from collections.abc import Mapping, Sequence
from itertools import product

import numpy as np

from acquire.model.bed import Bed
from analysis.adjust.there_and_back import bow_at
from analysis.observe import Nuisance, Observations, Unknown
from analysis.observe.differences import bend_by_temperature_um
from analysis.observe.states import warmer_by_k

OVER_A_RUN = 3.0
"""By how many times what a reading is sure to a zero is taken to drift over one run (standard uncertainty);
a choice, for nobody states it. Less would not hold levels that drift by as much."""
LEAST_COMMON = 3


def untold_drift(
    each: Observations,
    observations: Sequence[Observations],
    roots: Mapping[int, int],
    start: float,
    shown: Mapping[str, float],
) -> tuple[Nuisance, ...]:
    """What the zero of a run whose drift nothing tells may have moved by.

    That of a level along a way drifts on while it is read, which looks like a bow, and is knocked between
    runs. Of other readings it moves between runs; within them too where the instrument is seen to drift.

    Parameters
    ----------
    each : Observations
        A run of which `drift_told` knows no drift.
    observations : sequence of Observations
        All of them.
    roots : mapping
        For each run the one whose zero it has.
    start : float
        When it began after that one, in the unit of its `order`.
    shown : mapping
        `drifts_shown`, by instrument.
    """
    if each.zero is None or not each.drift_group:
        return ()
    root = roots[each.traverse]
    together = [other for other in observations if roots.get(other.traverse) == root]
    if any(other.drawn is not None for other in together):
        return ()
    stated = drift_stated(each)
    seen = max(0.0 if each.measures.is_length else shown.get(each.instrument, 0.0), stated or 0.0)
    over_run, lasted = seen, float(np.median([np.ptp(other.order) for other in together]))
    if len(together) > 1 and stated is None:
        over_run = max(over_run, OVER_A_RUN * float(np.sqrt(np.median(each.variance))))
    found, runs_since = [], max(start / lasted, 1.0) if lasted > 0.0 else 1.0
    if over_run > 0.0 and lasted > 0.0 and (seen > 0.0 or each.measures.has_feet_along):
        found, runs_since = [Nuisance(rate_key(root), each.order + start, over_run / lasted)], 1.0
    if over_run > 0.0 and each.traverse != min(other.traverse for other in together):
        found.append(Nuisance(moved_key(each.traverse), np.ones(len(each)), runs_since * over_run))
    return tuple(found)


def drift_stated(each: Observations) -> float | None:
    """By how much the zero may drift over a run, by bed.toml, in the contract's unit; None: not stated."""
    return next((source.instrument.contract_drift_over_run for source in each.sources), None)


def untold_bow(each: Observations, roots: Mapping[int, int]) -> tuple[Nuisance, ...]:
    """What a drift as large as is stated does to a drawn block whose runs went one way; none stated, none."""
    stated = drift_stated(each)
    if each.bow is None or not stated:
        return ()
    return (Nuisance(rate_key(roots.get(each.traverse, each.traverse)), each.bow.column, stated),)


def rate_key(root: int) -> Unknown:
    """Of the rate at which the zero of a run may have drifted."""
    return Unknown("drift", (str(root), "of the zero, untold"))


def moved_key(run: int) -> Unknown:
    """Of what the zero of a run may have moved by before it."""
    return Unknown("drift", (str(run), "of the zero"))


def drifts_shown(observations: Sequence[Observations]) -> dict[str, float]:
    """By how much each instrument drifted over its stepped runs there and back, root of the mean square."""
    groups: dict[tuple[tuple[str, ...], bool], list[Observations]] = {}
    for each in observations:
        if each.mode == "stepped" and each.drift_group:
            groups.setdefault((each.drift_group, each.turned), []).append(each)
    squares: dict[str, list[float]] = {}
    for runs in groups.values():
        for one, other in product(runs, runs):
            if (one.direction, other.direction) == ("forward", "reverse"):
                change, doubt = _drift_over_run(one, other)
                squares.setdefault(one.instrument, []).append(max(change**2 - doubt**2, 0.0))
    return {name: float(np.sqrt(np.mean(each))) for name, each in squares.items()}


def _drift_over_run(one: Observations, other: Observations) -> tuple[float, float]:
    """What the first drifted over its run by what it differs from the other, and its uncertainty."""
    _, mine, theirs = np.intersect1d(
        np.round(one.station_mm, 1), np.round(other.station_mm, 1), return_indices=True
    )
    apart = one.order[mine] - other.order[theirs]
    if len(mine) < LEAST_COMMON or np.ptp(apart) == 0.0:
        return 0.0, 0.0
    weight = 1 / (one.variance[mine] + other.variance[theirs])
    differs = one.reading[mine] - one.correction[mine] - other.reading[theirs] + other.correction[theirs]
    centred = apart - np.average(apart, weights=weight)
    power, lasted = float(np.sum(weight * centred**2)), float(np.ptp(one.order))
    return lasted * float(np.sum(weight * centred * differs)) / power, lasted * power**-0.5


WARMTH = Unknown("bend by warmth", ())
LENGTHS_TO_A_DEPTH = 8.0
"""Of a bed whose depth is not stated: slender, so that it bends much. A choice."""
READ_ALIKE_K = 0.01
"""Differences of temperature that are written down alike."""


def bends_by_warmth(observations: Sequence[Observations], bed: Bed) -> list[tuple[Nuisance, ...]]:
    """For each of the observations what the bed's bend by warmth adds, against the mean of all.

    Parameters
    ----------
    observations : sequence of Observations
    bed : Bed
        Its length and depth, and which faces look up.
    """
    warmer = [_mean_warmer_k(each) for each in observations]
    told = [kelvin for kelvin in warmer if kelvin is not None]
    if not told or max(told) - min(told) < READ_ALIKE_K:
        return [() for _ in observations]
    depth_mm = bed.depth_mm or bed.length_mm / LENGTHS_TO_A_DEPTH
    bend_um, mean = bend_by_temperature_um(1.0, bed.length_mm, depth_mm), float(np.mean(told))
    return [
        () if kelvin is None else (Nuisance(WARMTH, (kelvin - mean) * bend_um * _hogged(each, bed), 1.0),)
        for each, kelvin in zip(observations, warmer, strict=True)
    ]


def _mean_warmer_k(each: Observations) -> float | None:
    told = [kelvin for source in each.sources if (kelvin := warmer_by_k(source)) is not None]
    return float(np.mean(told)) if told else None


def _hogged(each: Observations, bed: Bed) -> np.ndarray:
    """What a bed hogged by 1 µm over its length adds to each reading."""
    upward = {name: face.upward for name, face in bed.faces.items()}
    return np.array([
        sum(
            weight * upward.get(place.owner, 0) * bow_at(place.station_mm, (0.0, bed.length_mm))
            for place, weight in form.items()
            if place.kind == "height"
        )
        for form in each.forms
    ])  # fmt: skip
