"""How twisted the bed is: the roll of the ways along it, by all readings together and by each kind alone.

Twist is the change of roll along the bed; wind is the change from the origin to the far end.
The answer comes from every reading in one adjustment, as `map` and `next` have it; a cross
level and two maps of the ways by level are two ways of measuring it that are held against each
other, with a straight line removed from both since two levels with a zero each know no wind.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from acquire.model.reference import CARRIAGE
from acquire.model.traverse import Traverse
from analysis.adjust.bed_map import BedMap
from analysis.adjust.combination import adjusted, combine
from analysis.adjust.nuisances import drift_told, zero_roots
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.bed_or_wear import bed_or_wear
from analysis.answers.known_roll import (
    KnownRoll,
    Ways,
    as_it_was_read,
    carriage_roll,
    known_roll,
    line_removed,
    rides_one_way,
    ways_of,
)
from analysis.answers.roll import Roll, RollPart, roll_figures, roll_part
from analysis.linear.agreement import Agreement, agreement
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.shown import KEPT_INSIDE
from analysis.observe import Observations, observe_all, state_warnings

METHODS = {"cross_level": "cross-level", "two_maps": "level"}
"""What each method is called, and what `by` calls its readings."""


@dataclass(frozen=True)
class EvenedOut(Fact):
    """The roll was read by a level across the carriage, which evens out what is shorter than it bears."""

    carriage_mm: float


@dataclass(frozen=True)
class OnlyOfCarriage(Fact):
    """The roll is the carriage's on the ways: how the ways roll themselves is not known."""

    carriage_mm: float


@dataclass(frozen=True)
class MayRoll(Fact):
    """Instruments carried along one way to read the other, taken as not rolling on it."""

    instruments: tuple[str, ...]


@dataclass(frozen=True)
class RestsOnOneZero(Fact):
    """A wind from levels along both ways whose zero they share, and whose drift nothing tells."""

    instrument: str
    traverses: tuple[int, ...]
    wind_per_drift: float
    """By how much the wind is off for each unit by which the zero moved in between."""


@dataclass(frozen=True, eq=False, repr=False)
class Twist(Roll):
    """Twist of one pair of ways: their roll by the readings that took part, and what else is known of it."""

    front: str
    rear: str
    """In the order in which they lie across the bed."""
    gauge_mm: float
    by: str
    """all | cross-level | level | indicator: which readings took part."""
    roll_of: str
    """ways | carriage: whose roll the figures are; the carriage's where only a level on it tells any."""
    carriage: RollPart | None
    """What the carriage follows: the roll over its bearing length, from its first place; None where the
    carriage or its length is not described, or a wind is not known."""
    feet: RollPart | None
    """What turning feet can take out; None where that cannot be told from wear."""
    wear: RollPart | None
    """What is left to the scraper."""
    cannot_tell: tuple[Fact, ...]
    """What of bed and wear cannot be told, what is known all the same, and what would tell."""
    methods: Mapping[str, Roll]
    """By the cross level alone and by two level maps alone, where there are these."""
    agree: bool | None
    smallest_detectable_um_per_m: float | None
    largest_difference: Mapping[str, float] | None
    traverses: tuple[int, ...]
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    judged: Agreement | None = field(metadata=KEPT_INSIDE, default=None)
    far_end: str = field(metadata=KEPT_INSIDE, default="far end")
    """What the owner calls that end."""
    joints_mm: tuple[float, ...] = field(metadata=KEPT_INSIDE, default=())
    """Where pieces of the bed meet: nothing is drawn over them."""


def twist_of(
    traverses: Sequence[Traverse],
    bed: Bed,
    front: str | None = None,
    rear: str | None = None,
    *,
    by: str = "all",
    bed_map: BedMap | None = None,
) -> Twist:
    """Twist of two ways from what the traverses say.

    Parameters
    ----------
    traverses : sequence of Traverse
        Of the whole survey.
    bed : Bed
    front, rear : str, optional
        Default: the ways that the carriage rides. Named in the other order they are put in the bed's.
    by : str
        all | cross-level | level | indicator: which readings the figures are from.
    bed_map : BedMap, optional
        Of these readings, where a survey has it already.

    Raises
    ------
    AnalysisError
        Where the pair is not known, has no distance across, or these readings do not tell its roll.
    """
    ways = ways_of(bed, front, rear)
    bed_map = bed_map or combine(traverses, bed, by=by)
    alone = {name: each for name, kind in METHODS.items() if (each := _alone(traverses, bed, ways, kind))}
    # what one method tells by itself needs no carrier that is taken as not rolling
    is_told = any(known.known_up_to != "a line" for known in alone.values())
    found = known_roll(bed_map, ways, by_indicators=by == "indicator" or is_told)
    if found is None:
        raise _nothing_tells(ways, by)
    methods = {name: roll_figures(known, bed.carriage_length_mm) for name, known in alone.items()}
    on_carriage = _is_read_by_carriage(traverses, bed, ways)
    judged, worst = _compared(_as_the_carriage_rolls(methods, alone, ways) if on_carriage else methods)
    used = _used(traverses, ways, found.bed_map)
    split = bed_or_wear(found, ways)
    return Twist(
        **vars(roll_figures(found, bed.carriage_length_mm)),
        front=ways.front,
        rear=ways.rear,
        gauge_mm=ways.gauge_mm,
        by=by,
        roll_of="carriage" if found.is_of_carriage else "ways",
        carriage=_carriage_follows(found, ways),
        feet=split.feet,
        wear=split.wear,
        cannot_tell=split.cannot_tell,
        methods=methods,
        agree=None if judged is None else judged.agree,
        smallest_detectable_um_per_m=None if judged is None else judged.smallest_detectable,
        largest_difference=worst,
        traverses=tuple(each.number for each in used),
        warnings=(
            *_only_of_carriage(found),
            *_warnings(found.bed_map, used, ways, on_carriage),
            *_rests_on_one_zero(found, ways),
        ),
        assumptions=assumptions(found.bed_map, (ways.front, ways.rear)),
        judged=judged,
        far_end=bed.called.far_end,
        joints_mm=bed.joints_mm,
    )


def _nothing_tells(ways: Ways, by: str) -> AnalysisError:
    return AnalysisError(
        f"twist of {ways.front} and {ways.rear}",
        "no cross level along them and no level map of both; how an indicator's carrier rolls is not measured"
        if by == "all"
        else f"by {by} alone nothing tells their roll",
        "one of the two" if by == "all" else "other readings",
        f"record with `--across {ways.front} {ways.rear}`, or a level along each way",
    )


def _carriage_follows(found: KnownRoll, ways: Ways) -> RollPart | None:
    """How the carriage rolls along its travel, from the first station that both its ends reach."""
    bed = found.bed_map.bed
    if bed.carriage_length_mm is None or set(bed.carriage_ways()) != {ways.front, ways.rear}:
        return None
    half = bed.carriage_length_mm / 2
    first, last = found.station_mm[[0, -1]] + np.array([half, -half])
    inside = [mm for mm in bed.station_mm if first - SAME_STATION_MM <= mm <= last + SAME_STATION_MM]
    rolling = carriage_roll(found.bed_map, ways, inside)
    change = rolling.rows - rolling.rows[:1]
    solution = rolling.bed_map.solution
    if len(rolling.station_mm) < 2 or not solution.is_known(change).all():
        return None
    return roll_part(rolling.station_mm, change, solution.estimate, rolling.bed_map.covariance_of)


def _alone(traverses: Sequence[Traverse], bed: Bed, ways: Ways, kind: str) -> KnownRoll | None:
    """What the readings of one kind on these ways tell by themselves."""
    chosen = [t for t in traverses if t.setup.measures.is_by(kind) and _tells(t, ways)]
    return known_roll(adjusted(observe_all(chosen, bed), bed), ways) if chosen else None


def _tells(traverse: Traverse, ways: Ways) -> bool:
    setup = traverse.setup
    if setup.measures.is_across:
        return {ways.front, ways.rear} == {setup.front, setup.rear}
    return setup.face in (ways.front, ways.rear, CARRIAGE)


def _used(traverses: Sequence[Traverse], ways: Ways, bed_map: BedMap) -> list[Traverse]:
    """The traverses in the map that say something about these ways."""
    numbers = {number for face in (ways.front, ways.rear) for number in bed_map.read(face).traverses}
    return sorted((t for t in traverses if t.number in numbers), key=lambda each: each.number)


def _warnings(bed_map: BedMap, used: Sequence[Traverse], ways: Ways, on_carriage: bool) -> tuple[Fact, ...]:
    own = [
        fact
        for each in bed_map.observations
        if {ways.front, ways.rear} & set(each.faces)
        for fact in each.warnings
    ]
    rides = [each.instrument for each in bed_map.observations if rides_one_way(each) and _joins(each, ways)]
    rolls = [MayRoll(tuple(dict.fromkeys(rides)))] if rides else []
    evens_out = [EvenedOut(bed_map.bed.carriage_length_mm or 0.0)] if on_carriage else []
    return tuple(
        dict.fromkeys([*ways.notes, *bed_map.warnings, *own, *state_warnings(used), *rolls, *evens_out])
    )


def _only_of_carriage(found: KnownRoll) -> Iterator[OnlyOfCarriage]:
    """How the ways roll is not known, and may be more than the figures say."""
    if found.is_of_carriage:
        yield OnlyOfCarriage(found.bed_map.bed.carriage_length_mm or 0.0)


def _rests_on_one_zero(found: KnownRoll, ways: Ways) -> Iterator[RestsOnOneZero]:
    """Levels along both ways, one way only and with one zero, where no level across tells the wind too."""
    made = found.bed_map.observations
    if found.known_up_to == "a line" or any(each.measures.is_across for each in made):
        return
    roots = zero_roots(made)
    mine = [
        each
        for each in made
        if each.is_stepped_level
        and {ways.front, ways.rear} & set(each.faces)
        and drift_told(each, made, roots) is None
    ]
    for root in dict.fromkeys(roots.get(each.traverse) for each in mine):
        sharing = [each for each in mine if roots.get(each.traverse) == root]
        if len({each.faces for each in sharing}) > 1:
            numbers = tuple(each.traverse for each in sharing)
            per_drift = float(np.ptp(found.station_mm)) / ways.gauge_mm
            yield RestsOnOneZero(sharing[0].zero_instrument, numbers, per_drift)


def _joins(each: Observations, ways: Ways) -> bool:
    """Whether it reads one of the ways from the other."""
    return {ways.front, ways.rear} <= set(each.faces)


def _is_read_by_carriage(traverses: Sequence[Traverse], bed: Bed, ways: Ways) -> bool:
    """Whether the cross level lay on a carriage of some length whenever it was used on these ways."""
    over = [each for each in traverses if each.setup.measures.is_across and _tells(each, ways)]
    return bed.carriage_length_mm is not None and bool(over) and all(t.setup.is_on_carriage for t in over)


def _as_the_carriage_rolls(
    methods: Mapping[str, Roll], alone: Mapping[str, KnownRoll], ways: Ways
) -> dict[str, Roll]:
    """The methods with two maps passed through the carriage's bearing, so that like is held against like."""
    if len(methods) < 2:
        return dict(methods)
    rolling = carriage_roll(alone["two_maps"].bed_map, ways, methods["cross_level"].station_mm.tolist())
    if len(rolling.station_mm) < 3:
        return {"cross_level": methods["cross_level"]}
    rows = line_removed(rolling.station_mm, rolling.rows)
    bent = KnownRoll(rolling.bed_map, rolling.station_mm, rows, "a line")
    read = as_it_was_read(alone["cross_level"])
    return {"cross_level": roll_figures(read, None), "two_maps": roll_figures(bent, None)}


def _compared(methods: Mapping[str, Roll]) -> tuple[Agreement | None, dict[str, float] | None]:
    """The two methods held against each other, a straight line removed from both."""
    if len(methods) < 2:
        return None, None
    profiles = [
        Profile("roll", roll.station_mm, roll.roll_um_per_m, roll.covariance) for roll in methods.values()
    ]
    try:
        difference = profiles[0].minus(profiles[1], cross_covariance_um2=None)
    except AnalysisError:
        return None, None
    if difference.station_mm.size < 3:
        return None, None
    level = difference.through(
        line_removed(difference.station_mm, np.eye(difference.station_mm.size)), difference.station_mm
    )
    judged = agreement(level.height_um, level.covariance_um2, level.station_mm)
    worst = int(np.nanargmax(np.abs(judged.normalised_error)))
    return judged, {
        "station_mm": float(level.station_mm[worst]),
        "roll_um_per_m": float(level.height_um[worst]),
    }
