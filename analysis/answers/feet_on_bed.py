"""Which foot of this bed to move, which way and how much, and what will be read afterwards.

What the feet have made of the bed is fitted through its unworn places alone (`bed_or_wear`); its
shapes are taken out by `feet_moves`.  Nothing is moved for what is worn, nor where it cannot be told
from wear: metal that is jacked straight crowns the faces that nothing runs on.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from acquire.model.bed import Bed, Foot
from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_M
from analysis.adjust.bed_map import BedMap
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.bed_or_wear import FeetFit, bed_or_wear
from analysis.answers.bed_or_wear_reasons import Misfit
from analysis.answers.feet_moves import LEAST_FEET, Moves, hand_moves, seen_shapes, shape_rows
from analysis.answers.feet_response import MODEL_ERROR, STIFF, Response, stiff
from analysis.answers.known_roll import KnownRoll, Ways, known_roll, ways_of
from analysis.answers.section import feet_by_station, twist_rows
from analysis.linear.fact import Fact
from analysis.linear.shown import Shown
from analysis.observe.carriers import SAMPLES_OF_AN_AVERAGE

MOST_UM = 50.0
"""Lift of one foot in one round. Derived for a bed of 15 kN, 3 m long: on four feet the first hangs once the
twist is 56 µm at each foot, on three stiff pairs once the bend is 70 µm; this stays below both."""
MOST_BOLTED_UM = 200.0
"""A foot that is bolted down is held by more than the weight."""
STEPS_PER_TURN = 72
"""A hand sets a screw to about 5 degrees: common practice."""


@dataclass(frozen=True)
class TooFewFeet(Fact):
    """bed.toml describes too few feet to bend or twist a bed, or none."""

    count: int


@dataclass(frozen=True)
class NoPair(Fact):
    """Feet at one station that are not one at the front and one at the rear."""

    feet: tuple[str, ...]
    station_mm: float


@dataclass(frozen=True)
class StepNotStated(Fact):
    """Feet of which bed.toml says neither what a turn lifts nor what a hand can set."""

    feet: tuple[str, ...]


@dataclass(frozen=True)
class WearWouldBeJacked(Fact):
    """bed.toml names no unworn place."""


@dataclass(frozen=True)
class RollUnknown(Fact):
    """Nothing tells the roll of the ways."""

    front: str
    rear: str


@dataclass(frozen=True)
class MayBeWear(Fact):
    """What the feet have made cannot be told from wear."""

    why: tuple[Fact, ...]


@dataclass(frozen=True)
class BendUntold(Fact):
    """The unworn places do not tell the bend, so that no foot is moved for it."""


@dataclass(frozen=True)
class RollUpToALine(Fact):
    """The roll of the ways is known only up to a line."""


@dataclass(frozen=True)
class Move:
    """One foot to be moved."""

    foot: str
    turns: float | None
    """Of its screw, + lifts; None where bed.toml does not say what a turn lifts."""
    lift_um: float
    """+ up."""


@dataclass(frozen=True, eq=False)
class Predicted:
    """What a level across the ways will read once the feet are moved."""

    station_mm: np.ndarray
    roll_um_per_m: np.ndarray
    expanded_um_per_m: np.ndarray
    now_um_per_m: np.ndarray
    known_up_to: str
    """nothing | a constant: then all of it is counted from the first station."""
    roll_of: str = "ways"
    """ways | carriage: what the level lies across; the carriage where only its roll is known."""


@dataclass(frozen=True)
class Left:
    """Height of bend and twist at the feet, once the best plane is taken off."""

    rms_um: float
    expanded_um: float
    now_rms_um: float


@dataclass(frozen=True, eq=False, repr=False)
class Feet(Shown):
    """The moves of one round."""

    moves: tuple[Move, ...]
    predicted: Predicted | None
    """None where the roll of the ways is known only up to a line."""
    left: Left | None
    model: str
    """stiff bed | measured | learned: from the round before."""
    refused: Fact | None
    """Why nothing may be moved, and what is needed."""
    most_um: float
    """No foot that is not bolted is moved further in this round."""
    bolted: tuple[str, ...] = ()
    """Feet to be slackened before they are moved; their bolts hold what the weight would not."""
    is_bounded: bool = False
    """Whether that stopped the moves: more is left for the next round."""
    shapes_seen: int = 0
    """Of the feet - 3 shapes that feet can make, how many stand out of the noise."""
    step_rolls: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """By foot: the smallest lift a hand can set (µm), and the roll of its pair that this makes (µm/m)."""
    warnings: tuple[Fact, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    """What the uncertainty takes for granted."""


def feet_to_move(
    bed_map: BedMap,
    front: str | None = None,
    rear: str | None = None,
    *,
    most_um: float | None = None,
    measured: Callable[[Bed], Response] | None = None,
) -> Feet:
    """The next move of the feet from a map of the bed.

    Parameters
    ----------
    bed_map : BedMap
    front, rear : str, optional
        The ways a cross level is read on. Default: those that the carriage rides.
    most_um : float
        Largest lift of a foot, either way. Default: what the weight keeps down; more for bolted feet.
    measured : callable, optional
        Gives how this bed was read to answer its feet. Default: the model of a stiff bed.

    Raises
    ------
    AnalysisError
        Where the ways are not known.

    Notes
    -----
    Refused (`Feet.refused`): feet not described, fewer than four, not in pairs; no unworn
    place named; what the feet have made cannot be told from wear.
    """
    found = _to_move(bed_map, ways_of(bed_map.bed, front, rear), most_um, measured)
    return replace(found, assumptions=assumptions(bed_map))


def feet_if_told(bed_map: BedMap) -> Feet | None:
    """The same; None where bed.toml does not say which ways the carriage rides."""
    try:
        return feet_to_move(bed_map)
    except AnalysisError:
        return None


def _to_move(
    bed_map: BedMap, ways: Ways, most_um: float | None, measured: Callable[[Bed], Response] | None
) -> Feet:
    refused = not_these_feet(bed_map.bed) or nothing_unworn(bed_map.bed)
    known = None if refused else known_roll(bed_map, ways)
    if known is None:
        why = refused or RollUnknown(ways.front, ways.rear)
        return Feet((), None, None, STIFF, why, most_um or MOST_UM)
    split = bed_or_wear(known, ways)
    if split.feet is None or split.fit is None:
        return Feet((), None, None, STIFF, MayBeWear(split.cannot_tell), most_um or MOST_UM)
    return _moved(split.fit, known, ways, most_um, (measured or stiff)(bed_map.bed))


def _moved(fit: FeetFit, known: KnownRoll, ways: Ways, most_um: float | None, response: Response) -> Feet:
    """The moves, what is read afterwards and what is left."""
    pairs = feet_by_station(fit.bed_map.bed)
    feet = [foot for pair in pairs for foot in pair]
    step, heights = np.array([_step_um(foot) for foot in feet]), np.linalg.pinv(stiff(fit.bed_map.bed).shapes)
    shapes, covariance, told = feet_shapes(fit, pairs)
    kept, seen = np.zeros_like(shapes), 0
    kept[told], seen = seen_shapes(shapes[told], covariance, response.shapes[told])
    moves = hand_moves(heights @ kept, heights @ response.shapes, _bounds(feet, most_um), step)
    return Feet(
        moves=tuple(
            Move(foot.id, None if foot.um_per_turn is None else float(lift / foot.um_per_turn), float(lift))
            for foot, lift in zip(feet, moves.lift_um, strict=True)
            if lift
        ),
        predicted=_predicted(fit, known, response, moves),
        left=_left(heights, shapes, heights[:, told] @ covariance @ heights[:, told].T, response, moves),
        model=response.model,
        refused=None,
        most_um=most_um or MOST_UM,
        bolted=tuple(foot.id for foot in feet if foot.bolted),
        is_bounded=moves.is_bounded,
        shapes_seen=seen,
        step_rolls=_step_rolls(pairs),
        warnings=warnings_of_levelling(fit, known, ways, bool(told.all())),
    )


def _bounds(feet: Sequence[Foot], most_um: float | None) -> np.ndarray:
    """Largest lift of each foot."""
    if most_um is not None:
        return np.full(len(feet), most_um)
    return np.array([MOST_BOLTED_UM if foot.bolted else MOST_UM for foot in feet])


def feet_shapes(fit: FeetFit, pairs: Sequence[Sequence[Foot]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Twists (µm/m) and bends (µm) the feet have made, the covariance of those told, and which are.

    Shapes that the unworn places do not tell are 0.
    """
    count = len(pairs)
    twists, bends = shape_rows(fit.pairs_mm)
    functions = np.zeros((len(twists) + len(bends), len(fit.length)))
    functions[: len(twists), count : 2 * count] = MM_PER_M * twists
    functions[len(twists) :, :count] = bends
    told = fit.tells(functions)
    rows = functions @ fit.rows
    shapes = np.where(told, rows @ fit.bed_map.solution.estimate, 0.0)
    return shapes, fit.covariance(rows[told]), told


def _predicted(fit: FeetFit, known: KnownRoll, response: Response, moves: Moves) -> Predicted | None:
    """The roll as it was read and what the moves add, both from the first station if no zero is known."""
    if known.known_up_to == "a line":
        return None
    rows, under = known.rows, _twist_under(fit, known)
    if known.known_up_to == "a constant":
        rows, under = rows - rows[0], under - under[0]
    now, change = rows @ known.bed_map.solution.estimate, under @ response.roll @ moves.lift_um
    variance = np.clip(np.diag(known.bed_map.covariance_of(rows)), 0.0, None)
    variance = variance + response.roll_variance(under, moves.lift_um)
    roll_of = "carriage" if known.is_of_carriage else "ways"
    return Predicted(known.station_mm, now + change, 2 * np.sqrt(variance), now, known.known_up_to, roll_of)


def _twist_under(fit: FeetFit, known: KnownRoll) -> np.ndarray:
    """The roll that is read, by the rolls of the pairs: a carriage's is the mean under what it bears on."""
    if not known.is_of_carriage:
        return twist_rows(fit.pairs_mm, known.station_mm)
    bed = fit.bed_map.bed
    ends = 2 if bed.carriage_bears == "ends" else SAMPLES_OF_AN_AVERAGE
    half = (bed.carriage_length_mm or 0.0) / 2
    spread = [twist_rows(fit.pairs_mm, known.station_mm + off) for off in np.linspace(-half, half, ends)]
    return np.asarray(np.mean(spread, axis=0))


def _left(
    heights: np.ndarray, shapes: np.ndarray, covariance: np.ndarray, response: Response, moves: Moves
) -> Left:
    """Root mean square over the feet; its uncertainty from the map and from how the bed answers."""
    change, twists = response.shapes @ moves.lift_um, len(response.roll) - 1
    rows = heights[:, :twists] @ np.diff(np.eye(twists + 1), axis=0)
    erring = response.roll_variance(rows, moves.lift_um)
    erring = erring + (MODEL_ERROR * heights[:, twists:] @ change[twists:]) ** 2
    variance = float(np.mean(np.diag(covariance) + erring))
    rms, now = (float(np.sqrt(np.mean((heights @ each) ** 2))) for each in (shapes + change, shapes))
    return Left(rms, 2 * float(np.sqrt(variance)), now)


def _step_um(foot: Foot) -> float:
    """The smallest lift that a hand can set there."""
    if foot.hand_step_um is not None:
        return foot.hand_step_um
    return float(foot.um_per_turn or 0.0) / STEPS_PER_TURN


def _step_rolls(pairs: Sequence[Sequence[Foot]]) -> dict[str, tuple[float, float]]:
    return {
        foot.id: (_step_um(foot), MM_PER_M * _step_um(foot) / (pair[1].across_mm - pair[0].across_mm))
        for pair in pairs
        for foot in pair
    }


def not_these_feet(bed: Bed) -> Fact | None:
    """Why feet that stand like this take nothing out; None where they can."""
    if len(bed.feet) < LEAST_FEET:
        return TooFewFeet(len(bed.feet))
    for group in feet_by_station(bed):
        if len(group) != 2 or group[0].across_mm == group[1].across_mm:
            return NoPair(tuple(foot.id for foot in group), group[0].station_mm)
    silent = tuple(foot.id for foot in bed.feet.values() if not _step_um(foot))
    return StepNotStated(silent) if silent else None


def nothing_unworn(bed: Bed) -> Fact | None:
    """Where no place is named unworn, levelling would jack out wear as well."""
    if any(face.unworn_mm or not face.runs for face in bed.faces.values()):
        return None
    return WearWouldBeJacked()


def warnings_of_levelling(fit: FeetFit, known: KnownRoll, ways: Ways, is_all_told: bool) -> tuple[Fact, ...]:
    """What to know before the feet are turned."""
    found = list(ways.notes)
    if fit.factor > 1:
        found.append(Misfit(len(fit.pairs_mm), fit.misfit_um))
    if not is_all_told:
        found.append(BendUntold())
    if known.known_up_to == "a line":
        found.append(RollUpToALine())
    return (*found, *fit.bed_map.warnings)
