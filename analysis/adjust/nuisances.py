"""What readings depend on besides heights: zeros, scales and drifts; and which runs they link to a face."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from acquire.model.units import MM_PER_M
from analysis.adjust.between_runs import drifts_shown, moved_key, untold_bow, untold_drift
from analysis.adjust.nodes import Key
from analysis.adjust.there_and_back import DRIFT, Return, single_runs
from analysis.linear.fact import Fact
from analysis.observe import Nuisance, Observations, Unknown

_ScaleOfZero = tuple[Unknown, int | None]


@dataclass(frozen=True)
class ZeroNotHeld(Fact):
    """A run one way only whose zero was shared, and may have drifted: it is taken as another one."""

    instrument: str
    traverse: int
    faces: tuple[str, ...]
    others: tuple[int, ...]
    """Those that share it."""


def zero_roots(observations: Sequence[Observations]) -> dict[int, int]:
    """For each traverse the one whose zero it has in the end, by following `same_zero_as`."""
    every = (*single_runs(observations), *observations)  # a block's own zero is that of one of its runs
    shares = {each.traverse: each.zero for each in every if each.zero is not None}
    instrument = {each.traverse: each.zero_instrument for each in every}
    roots = {}
    for number in shares:
        root, seen = number, {number}
        while (after := shares.get(root, root)) not in seen and instrument.get(after, instrument[number]) == (
            instrument[number]
        ):
            root = after
            seen.add(root)
        roots[number] = root
    return roots


def own_nuisances(each: Observations, roots: Mapping[int, int]) -> tuple[Nuisance, ...]:
    """Its zero; where a line was read, how high that lies is in its zero, and it may be tilted.

    A line that lies higher counts the other way round for a face that looks down, and not at all for one
    that looks sideways, so that runs which share a zero share such a zero only where they look the same way.
    """
    if each.zero is None:
        return ()
    root = str(roots[each.traverse])
    if each.line_counts is None:
        return (Nuisance(Unknown("zero", (root,)), _zero_column(each)),)
    rearward, upward = each.line_counts
    way, counts = ("up", upward) if upward else ("rear", rearward)
    zero = Nuisance(Unknown("zero", (root, way, str(counts))), _zero_column(each))
    return zero, Nuisance(Unknown("lie", (root, way)), counts * each.station_mm / MM_PER_M)


def _zero_column(each: Observations) -> np.ndarray:
    return np.ones(len(each)) if each.zero_column is None else each.zero_column


def scale_from_zero(
    observations: Sequence[Observations],
    parts: list[tuple[Nuisance, ...]],
    roots: Mapping[int, int],
) -> list[tuple[Nuisance, ...]]:
    """Let a scale error act on readings less the mean of all that share their zero.

    The zero is free, so what is common to them does not matter, but a column of large
    readings would hardly differ from that of the zero; what readings of one zero differ
    by between faces is scaled with the rest.
    """
    means = scale_means(observations, roots)
    return [
        tuple(from_mean(nuisance, means, roots.get(each.traverse)) for nuisance in part)
        for each, part in zip(observations, parts, strict=True)
    ]


def scale_means(observations: Sequence[Observations], roots: Mapping[int, int]) -> dict[_ScaleOfZero, float]:
    """Mean of what each scale acts on, over all readings that share a zero."""
    columns: dict[_ScaleOfZero, list[float]] = {}
    for each in observations:
        for nuisance in each.nuisances:
            if nuisance.key.kind == "scale":
                key = (nuisance.key, roots.get(each.traverse))
                columns.setdefault(key, []).extend(nuisance.column.tolist())
    return {key: float(np.mean(column)) for key, column in columns.items()}


def from_mean(nuisance: Nuisance, means: Mapping[_ScaleOfZero, float], root: int | None) -> Nuisance:
    if nuisance.key.kind != "scale":
        return nuisance
    return replace(nuisance, column=nuisance.column - means.get((nuisance.key, root), 0.0))


def drifts_told(observations: Sequence[Observations]) -> set[tuple[tuple[str, ...], bool]]:
    """Groups whose drift shows: run both ways without turning the instrument."""
    directions: dict[tuple[tuple[str, ...], bool], set[str]] = {}
    for each in observations:
        if each.drift_group:
            directions.setdefault((each.drift_group, each.turned), set()).add(each.direction)
    return {key for key, ways in directions.items() if {"forward", "reverse"} <= ways}


def with_drift(
    observations: Sequence[Observations],
    parts: list[tuple[Nuisance, ...]],
    roots: Mapping[int, int],
) -> list[tuple[Nuisance, ...]]:
    told = drifts_told(observations)
    start, shown = when_started(observations, roots), drifts_shown(observations)
    result = []
    for each, own in zip(observations, parts, strict=True):
        part = own
        key = drift_told(each, observations, roots)
        if key is not None:
            part = (*own, Nuisance(key, each.order + start[each.traverse]))
        elif each.bow is not None and _bow_is_told(each, observations, told):
            part = (*own, each.bow)
        else:
            untold = untold_drift(each, observations, roots, start[each.traverse], shown)
            part = (*own, *untold, *untold_bow(each, roots))
        result.append(part)
    return result


def _bow_is_told(
    drawn: Observations, observations: Sequence[Observations], told: set[tuple[tuple[str, ...], bool]]
) -> bool:
    """Whether a level stepped there and back over the same face tells its bow from a drift."""
    return any(
        each.measures.has_feet_along and each.faces == drawn.faces and (each.drift_group, each.turned) in told
        for each in observations
    )


def when_started(observations: Sequence[Observations], roots: Mapping[int, int]) -> dict[int, float]:
    """When each traverse began after the one whose zero it shares (drift goes on in between).

    Seconds between recordings stand beside seconds within them only; where no clock ran (an
    import bears the time of importing) the count of readings goes on.
    """
    by_number = {each.traverse: each for each in single_runs(observations)}
    starts: dict[int, float] = {}
    ends: dict[int, float] = {}
    for number in sorted(by_number):
        each, root = by_number[number], roots.get(number, number)
        first = by_number.get(root)
        both_timed = first is not None and first.is_timed and each.is_timed
        started = _seconds_between(first, each) if first is not None and both_timed else None
        starts[number] = started if started is not None else ends.get(root, 0.0)
        last = float(np.max(each.order)) if len(each.order) else 0.0
        step = last / (len(each) - 1) if len(each) > 1 else 1.0
        ends[root] = starts[number] + last + step
    return starts


def _seconds_between(first: Observations, second: Observations) -> float | None:
    try:
        began = datetime.fromisoformat(first.created_utc)
        return (datetime.fromisoformat(second.created_utc) - began).total_seconds()
    except (ValueError, TypeError):
        return None


def drift_told(
    each: Observations, observations: Sequence[Observations], roots: Mapping[int, int]
) -> Unknown | None:
    """The drift of a stepped run where readings tell it; None where they do not.

    Its own, where it was run both ways; else that of the first runs both ways that share its zero:
    an instrument that drifts there, left as it was set, goes on drifting.
    """
    told = drifts_told(observations)
    if (each.drift_group, each.turned) in told:
        return drift_key(each)
    if each.mode != "stepped" or not each.drift_group or each.zero is None:
        return None
    sharing = [
        other
        for other in observations
        if other.mode == "stepped"
        and (other.drift_group, other.turned) in told
        and other.zero is not None
        and roots.get(other.traverse) == roots.get(each.traverse)
    ]
    return drift_key(min(sharing, key=lambda other: other.traverse)) if sharing else None


def drift_key(each: Observations) -> Unknown:
    return Unknown("drift", (*each.drift_group, "turned" if each.turned else ""))


def with_moved_zeros(
    observations: Sequence[Observations],
    starts: Mapping[int, float],
    roots: Mapping[int, int],
    found: Sequence[Return],
) -> tuple[Observations, ...]:
    """The same, with what zeros shared by drawn blocks had moved by as corrections and unknowns.

    A block of drawn levels has one zero, that of one of its runs at the middle of its time. Where
    other readings share it, it has moved by rate × time in between (Δ, from the start of the run
    that the zero began with). The rate is known from runs there and back of the block itself, to
    within its uncertainty, which is then one more unknown. Where these may tell of a bent bed
    instead (`there_and_back`), the zero may not have moved at all: half of rate × Δ is taken off,
    and the other half counted.

    Where a block was drawn one way only, nothing tells how far its zero moved between it and what
    shares it: it is then taken as another zero, and what that leaves open is open (`ZeroNotHeld`).
    So it is for stepped runs one way only that share a zero with drawn ones, and where stepped and
    drawn runs share one and no clock ran: a reading of the one takes longer than of the other.

    Parameters
    ----------
    observations : sequence of Observations
    starts : mapping
        When each run began after the one whose zero it shares, in the unit of `order`.
    roots : mapping
        For each run the one whose zero it has.
    found : sequence of Return
        What runs there and back differ by.
    """
    is_drift = {number for each in found if each.outcome == DRIFT for number in each.traverses}
    told = drifts_told(observations)
    users: dict[int | None, list[Observations]] = {}
    for each in observations:
        for root in dict.fromkeys(roots.get(run.traverse) for run in single_runs((each,))):
            users.setdefault(root, []).append(each)

    def moved(each: Observations) -> Observations:
        root = roots.get(each.traverse if each.zero_drift is None else each.zero_drift.run)
        together = users.get(root, []) if each.zero is not None else []
        if len(together) < 2 or all(other.drawn is None for other in together):
            return each
        if each.zero_drift is not None and _are_timed_alike(together):
            return _moved(each, starts, is_drift)
        return each if (each.drift_group, each.turned) in told else _not_held(each, together)

    return tuple(moved(each) for each in observations)


def _are_timed_alike(together: Sequence[Observations]) -> bool:
    """Whether stepped and drawn runs that share a zero all had a clock."""
    is_clocked = all(run.is_timed for run in single_runs(together))
    return is_clocked or all(each.drawn is not None for each in together)


def _not_held(each: Observations, together: Sequence[Observations]) -> Observations:
    others = tuple(other.traverse for other in together if other is not each)
    said = ZeroNotHeld(each.zero_instrument, each.traverse, each.faces, others)
    return replace(
        each,
        nuisances=(*each.nuisances, Nuisance(moved_key(each.traverse), _zero_column(each))),
        warnings=(*each.warnings, said),
    )


def _moved(each: Observations, starts: Mapping[int, float], is_drift: set[int]) -> Observations:
    zero = each.zero_drift
    assert zero is not None and each.zero_column is not None
    column = (starts[zero.run] + zero.at) * each.zero_column
    is_sure = zero.run in is_drift
    rate = zero.rate if is_sure else zero.rate / 2
    doubt = float(np.hypot(zero.standard_uncertainty, 0.0 if is_sure else rate))
    unknown = Nuisance(moved_key(zero.run), column, doubt)
    return replace(
        each,
        correction=each.correction + rate * column,
        nuisances=(*each.nuisances, unknown),
        zero_drift=None,
    )


def linked_traverses(observations: Sequence[Observations], face: str) -> frozenset[int]:
    """Numbers of all runs that a change in could change what is known of a face.

    Two runs are linked by a line of heights that both read (of a face, a straightedge, a carrier's
    path) or by one zero.  All others are a problem of their own: their readings and this face's stand
    in no equation together.
    """
    roots = zero_roots(observations)
    tied = [_lines(each) | _zero(roots, each) for each in observations]
    reached: set[Key] = {("height", face), ("side", face)}
    while not all(each <= reached or reached.isdisjoint(each) for each in tied):
        reached.update(*(each for each in tied if not reached.isdisjoint(each)))
    return frozenset(
        number
        for each, own in zip(observations, tied, strict=True)
        if own <= reached
        for number in (each.traverse, *each.with_traverses)
    )


def _lines(observations: Observations) -> set[Key]:
    return {(place.kind, place.owner) for form in observations.forms for place in form}


def _zero(roots: Mapping[int, int], observations: Observations) -> set[Key]:
    root = roots.get(observations.traverse)
    return set() if root is None else {("zero", str(root))}


def bears_on(fact: Fact, traverses: frozenset[int]) -> bool:
    """Whether a fact is about one of these runs, or about no run in particular."""
    named = getattr(fact, "traverses", None) or (getattr(fact, "traverse", None),)
    return named == (None,) or not traverses.isdisjoint(named)
