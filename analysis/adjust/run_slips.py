"""Was a whole run written down wrongly?  Each run is held against what the others make of it.

    d ~ N(T m, T (C_m + C_r) Tᵀ)        d: the readings as written, m: what the others make of them

T is a slip of `acquire.model.slips`: turned, order, unit, ...; C_m the covariance of m, C_r that
of the readings themselves, with the step of the digits written.  What the run has of its own (its
zero) and what the others leave free is projected out.  A drift, steady and of an ordinary size,
may lie over either where the others tell none.  A slip is named where

- the run as written is not what the others make of it: p < 0.01 over all runs;
- with the slip it is: p ≥ 0.01, and ln(L/L₀) > ln(slips · runs / 0.01);
- no other explanation comes within 3 of that (of whichever run): else it is one or the other;
- (T − T′) m differs from nothing by its own covariance (p < 0.001), T′ being the run as written
  and each rival within 15: a symmetrical hollow does not tell its sign from its order.

The gain ln(L/L₀) is that of all readings together, so that gains of different runs compare.
Runs are tried one by one, and all those of one instrument, or of one of its directions, together.
Where that explains nothing and they contradict each other beyond any noise, two runs are left out at
a time: where the others agree without one pair alone, each of it is held against these.
The rule and its numbers are derived for this project and tried by simulation
(tests/benchmarks/run_slips.py).
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import combinations

import numpy as np
from scipy.special import chdtrc

from acquire.model.bed import Bed
from acquire.model.slips import MIRRORED, Slip, are_turned_alike, gaps_left, run_slips, together
from acquire.model.traverse import Traverse
from analysis.adjust.run_against_others import (
    ALARM,
    ORDINARY_DRIFT,
    Fit,
    Others,
    Said,
    are_told_apart,
    fit_of_runs,
    p_values_without_worst,
    said_by,
)
from analysis.adjust.there_and_back import DRIFT, Return
from analysis.adjust.tying import Tied
from analysis.linear.fact import Fact
from analysis.observe import Observations, observe_all

FITS = 0.01
NO_RIVAL_WITHIN = 3.0
TOLD_APART_WITHIN = 15.0
MOST_NOISE = 3.0
"""By how much readings may be noisier than claimed; what is beyond is no noise."""
WORTH_A_LOOK = 0.05
FAR_BEYOND_DRIFT = 30.0
"""Standard uncertainties of the bow between drawn runs."""
MOST_FOR_PAIRS = 8
"""Runs of which two together are tried: 28 adjustments, where no slip of one explains anything."""
AS_WRITTEN = Slip((), "as written")

Observe = Callable[[tuple[Traverse, ...]], tuple[Observations, ...]]


@dataclass(frozen=True)
class Explanation:
    """A slip that would make runs fit the others."""

    traverses: tuple[int, ...]
    slip: str
    """What it is, in words."""
    redo_as: tuple[str, ...]
    """What `waylog redo NUMBER --as` takes, once for each, to undo it (with what was undone before)."""
    misfit: float
    """Root mean square of the runs less what the others make of them, as it would be then."""


@dataclass(frozen=True)
class RunSlip(Fact):
    """Runs that the others contradict, and what explains that."""

    instrument: str
    traverses: tuple[int, ...]
    misfit: float
    """Root mean square of the runs less what the others make of them, as written."""
    expected: float
    """What that would be of right runs."""
    unit: str
    explanations: tuple[Explanation, ...]
    """One, or several that nothing tells apart; empty: no slip that is known explains it."""


@dataclass(frozen=True)
class RunsContradict(Fact):
    """Runs that contradict each other beyond any noise, which no slip of one of them explains."""

    traverses: tuple[int, ...]
    times: float
    """By how much they scatter more than claimed."""


@dataclass(frozen=True, eq=False)
class _Tried:
    """A slip of some runs, and how well they fit then."""

    said: Said
    gain: float
    fit: Fit


@dataclass(frozen=True, eq=False)
class _Case:
    """Some runs that the others contradict, and slips that would explain it, the best first."""

    runs: tuple[Traverse, ...]
    as_written: Fit
    tried: tuple[_Tried, ...]


def find_run_slips(tied: Tied, observations: Sequence[Observations], bed: Bed) -> tuple[RunSlip, ...]:
    """Whole runs that were written down wrongly, as far as the others tell; mostly none.

    Parameters
    ----------
    tied : Tied
        The adjustment of all.
    observations : sequence of Observations
        Of all runs; drawn runs of one face come as one block.
    bed : Bed
    """
    if not _is_worth_a_look(tied):
        return ()
    runs = [run for each in observations for run in each.sources]
    explained = [case for case in _cases(_groups(runs), observations, bed) if case.tried]
    if explained:
        return (_told(explained),)
    is_beyond_noise = tied.variance_factor > MOST_NOISE**2
    return _of_two(runs, observations, bed) if is_beyond_noise and len(runs) <= MOST_FOR_PAIRS else ()


def runs_contradict(tied: Tied) -> tuple[RunsContradict, ...]:
    """That runs contradict each other beyond any noise; nothing where they do not."""
    numbers = tuple(run.number for each in tied.observations for run in each.sources)
    if tied.variance_factor <= MOST_NOISE**2 or len(numbers) < 2:
        return ()
    return (RunsContradict(numbers, tied.variance_factor**0.5),)


def _of_two(runs: Sequence[Traverse], observations: Sequence[Observations], bed: Bed) -> tuple[RunSlip, ...]:
    """Two runs without which the others agree, each with a slip of its own; where there are no other two."""

    @cache
    def observed(some: tuple[Traverse, ...]) -> tuple[Observations, ...]:
        return tuple(observe_all(some, bed))

    found: list[tuple[_Case, ...]] = []
    pairs = list(combinations(runs, 2))
    for pair in pairs:
        rest = _without(pair, observations, observed)
        written = {run.number: list(observed((run,))) for run in pair}
        against = Others.of(rest, bed, [one for some in written.values() for one in some]) if rest else None
        if against is None or not against.check_each_other:
            continue
        cases = [_case((run,), written[run.number], against, 1.0, len(pairs)) for run in pair]
        if all(case is not None and case.tried for case in cases):
            found.append(tuple(case for case in cases if case is not None))
    return tuple(_told([case]) for case in found[0]) if len(found) == 1 else ()


def doubt_of_run(run: Traverse, observations: Sequence[Observations], bed: Bed) -> RunSlip | None:
    """What is wrong with a run just made, if the others contradict it; None where nothing is.

    Parameters
    ----------
    run : Traverse
    observations : sequence of Observations
        Of the others.
    bed : Bed
    """
    others = [each for observed in observations for each in observed.sources]
    everything = [*observations, *observe_all([run], bed)]
    groups = [group for group in _groups([*others, run]) if run in group or len(others) == 1]
    cases = _cases(groups, everything, bed)
    explained = [case for case in cases if case.tried]
    if explained:
        return _told(explained, run.number)
    alone = [case for case in cases if case.runs == (run,)]
    return _told(alone) if alone else None


def _is_worth_a_look(tied: Tied) -> bool:
    """Whether any run fits worse than chance would have it, or drifts or bows far; else nothing is tried."""
    solution, assembly = tied.solution, tied.assembly
    for left, shown in zip(solution.leftover, solution.reliability, strict=True):
        checks = float(np.sum(shown.redundancy))
        if checks > 0.5 and chdtrc(checks, float(left @ left)) < WORTH_A_LOOK:
            return True
    if any(_may_be_a_slip(each) for each in assembly.returns):
        return True
    for each in assembly.observations:
        for key, column in assembly.nuisances.items():
            if key.kind == "drift" and each.drift_group == key.of[:-1]:
                over_run = abs(solution.estimate[column]) * float(np.ptp(each.order))
                if over_run > ORDINARY_DRIFT / 2 * float(np.sqrt(np.median(each.variance))):
                    return True
    return False


def _may_be_a_slip(found: Return) -> bool:
    """Whether runs there and back differ by a bow that a slip may have made.

    Trying drawn runs means to solve their block without each: only for a bow that no drift makes.
    """
    least = 1.0 if found.mode == "stepped" else FAR_BEYOND_DRIFT
    return found.is_seen and found.outcome != DRIFT and abs(found.bow_um) > least * found.bow_uncertainty_um


def _groups(runs: Sequence[Traverse]) -> list[tuple[Traverse, ...]]:
    """Each run by itself; then all of an instrument, and all of it in one direction."""
    groups: dict[tuple[int, ...], tuple[Traverse, ...]] = {}
    if len(runs) > 1:
        groups = {(run.number,): (run,) for run in runs}
    for name in dict.fromkeys(run.setup.instrument for run in runs):
        for direction in ("", "forward", "reverse"):
            some = tuple(
                run for run in runs if run.setup.instrument == name and direction in ("", run.setup.direction)
            )
            if 1 < len(some) < len(runs):
                groups.setdefault(tuple(run.number for run in some), some)
    return list(groups.values())


def _cases(
    groups: Sequence[tuple[Traverse, ...]], observations: Sequence[Observations], bed: Bed
) -> list[_Case]:
    """Runs that do not fit the others, where these fit each other.

    All scatter by what is left once the runs are out that disturb most: how much the others
    scatter that still hold a wrong run is no measure.
    """

    @cache
    def observed(runs: tuple[Traverse, ...]) -> tuple[Observations, ...]:
        """The same runs stand in several groups, and of two drawn ones each is all that the other leaves."""
        return tuple(observe_all(runs, bed))

    found = [(group, _against(group, observations, bed, observed)) for group in groups]
    judges = [(group, *pair) for group, pair in found if pair is not None]
    noise = min((against.tied.variance_factor for _, _, against in judges), default=1.0)
    if noise > MOST_NOISE**2:
        return []
    cases = [
        _case(group, written, against, noise, len(groups))
        for group, written, against in judges
        if against.fit_each_other(noise)
    ]
    return [case for case in cases if case is not None]


def _against(
    group: Sequence[Traverse], observations: Sequence[Observations], bed: Bed, observed: Observe
) -> tuple[list[Observations], Others] | None:
    """Runs by themselves, and the map of all others; None where there are none."""
    rest = _without(group, observations, observed)
    if not rest:
        return None
    written = [one for run in group for one in observed((run,))]
    return written, Others.of(rest, bed, written)


def _case(
    group: tuple[Traverse, ...], written: list[Observations], against: Others, noise: float, groups: int
) -> _Case | None:
    """Runs held against all others; None where they fit as written, or nothing tells."""
    as_written = said_by(written, AS_WRITTEN, against)
    fit = None if as_written is None else fit_of_runs(as_written, against, noise)
    if as_written is None or fit is None or fit.p_value >= ALARM / groups:
        return None
    if any(each >= FITS for each in p_values_without_worst(as_written, against, noise)):
        return None  # single readings are wrong, not the run
    said = [each for slip in _slips_of(group) if (each := said_by(written, slip, against)) is not None]
    least = float(np.log(max(len(said), 1) * groups / ALARM))
    return _Case(
        group, fit, _explanations(_tried(as_written, said, against, noise), as_written, against, least)
    )


def _tried(as_written: Said, said: Sequence[Said], against: Others, noise: float) -> list[_Tried]:
    """How much better all readings fit with each slip than as written, the best first.

    By the readings that every slip places: one that a shift puts beyond the end of the bed
    must not speak for the other slips.
    """
    shared = as_written.written
    for each in said:
        shared = np.intersect1d(shared, each.written)
    before = fit_of_runs(as_written.of(shared), against, noise)
    if before is None:
        return []
    fits = [(each, fit_of_runs(each.of(shared), against, noise)) for each in said]
    found = [
        _Tried(each, after.log_likelihood - before.log_likelihood, after)
        for each, after in fits
        if after is not None
    ]
    return sorted(found, key=lambda each: -each.gain)


def _without(
    group: Sequence[Traverse], observations: Sequence[Observations], observed: Observe
) -> list[Observations]:
    """Observations of all other runs; a block of drawn runs that loses one is solved again."""
    gone = {run.number for run in group}
    kept = [each for each in observations if not gone & {run.number for run in each.sources}]
    broken = [each for each in observations if each.drawn and gone & {run.number for run in each.sources}]
    left = tuple(run for each in broken for run in each.sources if run.number not in gone)
    return [*kept, *observed(left)] if left else kept


def _slips_of(group: Sequence[Traverse]) -> list[Slip]:
    """Slips that all runs of a group may share."""
    lists = [run_slips(run.setup, run.stations) for run in group]
    shared = set.intersection(*({slip.names for slip in each} for each in lists))
    if all(are_turned_alike(run.setup, run.stations.station_mm, gaps_left(run.events)) for run in group):
        shared = {names for names in shared if not {*names} & {*MIRRORED.names}}
    return [slip for slip in lists[0] if slip.names in shared]


def _explanations(
    tried: Sequence[_Tried], as_written: Said, against: Others, least: float
) -> tuple[_Tried, ...]:
    """The best slip and those that nothing tells from it; none where it explains too little."""
    if not tried or tried[0].gain <= least or tried[0].fit.p_value < FITS:
        return ()
    best = tried[0]
    behind = {id(each): best.gain - each.gain for each in tried}
    if best.gain <= TOLD_APART_WITHIN and not are_told_apart(best.said, as_written, against):
        return ()
    return (
        best,
        *(
            each
            for each in tried[1:]
            if behind[id(each)] <= NO_RIVAL_WITHIN
            or (behind[id(each)] <= TOLD_APART_WITHIN and not are_told_apart(best.said, each.said, against))
        ),
    )


def _told(cases: Sequence[_Case], just_made: int | None = None) -> RunSlip:
    """The best explanation, and all those, of whichever run, that nothing tells from it.

    Of such the one comes first that is of the run just made: who made it still knows how.
    """
    if not cases[0].tried:
        case, alike = cases[0], []
    else:
        is_made = {id(each): just_made in {run.number for run in each.runs} for each in cases}
        case = max(cases, key=lambda each: each.tried[0].gain + NO_RIVAL_WITHIN * is_made[id(each)])
        least = case.tried[0].gain - NO_RIVAL_WITHIN
        alike = [(case, each) for each in case.tried]
        alike += [
            (other, each)
            for other in cases
            if other is not case
            for each in other.tried
            if each.gain >= least or (each.fit.p_value >= FITS and len(other.runs) == len(case.runs))
        ]
    first = case.runs[0]
    return RunSlip(
        "+".join(dict.fromkeys(run.setup.instrument for run in case.runs)),
        tuple(run.number for run in case.runs),
        case.as_written.misfit,
        case.as_written.expected,
        "um" if first.mode == "continuous" and first.setup.foot_base_mm else first.instrument.contract_unit,
        tuple(_explained(one.runs, each) for one, each in alike),
    )


def _explained(runs: Sequence[Traverse], each: _Tried) -> Explanation:
    return Explanation(
        tuple(run.number for run in runs),
        each.said.slip.words,
        together(runs[0].setup.taken_as.split(), each.said.slip.names),
        each.fit.misfit,
    )
