"""How twisted the bed is: the roll of the ways along it, by cross level and by two maps.

Roll is how much higher the rear way is than the front one, per metre of the distance
between them.  Twist is its change along the bed; wind is the change from the origin to
the far end.  A cross level reads roll directly, up to its own zero; two maps of the
ways give it up to a straight line along the bed, unless one zero serves both.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.reference import CARRIAGE, ON_CARRIAGE
from acquire.model.traverse import Traverse
from analysis.adjust.combination import BedMap, adjusted
from analysis.linear.agreement import Agreement, agreement
from analysis.linear.profile import Profile
from analysis.linear.straight_line import line_rows
from analysis.observe import Form, Observations, observe_all, state_warnings
from analysis.observe.carriers import carriage_bearing, carrier_motion, carrying_faces

UM_PER_M = 1000.0
METHODS = {"cross_level": "roll", "two_maps": "slope"}
"""What each method is called, and the kind of reading it takes."""
_INSIDE: Mapping[str, Any] = {"kept_inside": True}
_EVENS_OUT = (
    "read by a level across the carriage: it shows how the carriage rolls, which evens out whatever is "
    "shorter than its {:g} mm; the two maps are judged as the carriage would roll on them"
)


@dataclass(frozen=True, eq=False)
class Roll:
    """Roll along the bed by one method."""

    station_mm: np.ndarray
    roll_um_per_m: np.ndarray
    """As read where only an instrument's zero is unknown; with a line removed where a line is."""
    standard_uncertainty_um_per_m: np.ndarray
    twist_um_per_m: float | None
    """Largest minus smallest roll; None where the roll is known only up to a line."""
    twist_expanded_um_per_m: float | None
    wind_um_per_m: float | None
    """Roll at the far end minus roll at the origin."""
    wind_expanded_um_per_m: float | None
    worst_over_carriage_um_per_m: float | None
    """Largest change of roll between two stations no further apart than the carriage is long."""
    known_up_to: str
    """nothing | a constant | a line."""
    covariance: np.ndarray = field(metadata=_INSIDE)
    bed_map: BedMap = field(metadata=_INSIDE)


@dataclass(frozen=True, eq=False)
class Twist:
    """Twist of one pair of ways, by every method there is."""

    front: str
    rear: str
    gauge_mm: float
    station_mm: np.ndarray
    roll_um_per_m: np.ndarray
    standard_uncertainty_um_per_m: np.ndarray
    twist_um_per_m: float | None
    twist_expanded_um_per_m: float | None
    wind_um_per_m: float | None
    wind_expanded_um_per_m: float | None
    worst_over_carriage_um_per_m: float | None
    method: str
    """The one that the figures above are of."""
    methods: Mapping[str, Roll]
    agree: bool | None
    smallest_detectable_um_per_m: float | None
    largest_difference: Mapping[str, float] | None
    traverses: tuple[int, ...]
    warnings: tuple[str, ...]
    judged: Agreement | None = field(metadata=_INSIDE, default=None)


def twist_of(
    traverses: Sequence[Traverse],
    bed: Bed,
    front: str | None = None,
    rear: str | None = None,
    *,
    made: Sequence[Observations] = (),
) -> Twist:
    """Twist of two ways from what the traverses say.

    Parameters
    ----------
    traverses : sequence of Traverse
        Of the whole survey.
    bed : Bed
    front, rear : str, optional
        Default: the ways that the carriage rides.
    made : sequence of Observations
        Of the same traverses, to save solving drawn levels again.

    Raises
    ------
    AnalysisError
        Where the pair is not known, has no distance across, or nothing tells its roll.
    """
    front, rear = _pair(bed, front, rear)
    gauge_mm = bed.gauge_mm(front, rear)
    if gauge_mm is None:
        raise AnalysisError(
            f"{front} and {rear}", "no distance across the bed", "across_mm of both faces in bed.toml"
        )
    methods, used, warnings = _by_every_method(traverses, bed, (front, rear), gauge_mm, made)
    if not methods:
        raise AnalysisError(
            f"twist of {front} and {rear}",
            "no cross level along them and no level map of both",
            "one of the two",
            f"record with `--across {front} {rear}`, or a level along each way",
        )
    best = "cross_level" if "cross_level" in methods else "two_maps"
    if best == "cross_level" and _is_read_by_carriage(traverses, bed, front, rear):
        warnings = (*warnings, _EVENS_OUT.format(bed.carriage_length_mm))
        judged, worst = _compared(_as_the_carriage_rolls(bed, methods, front))
    else:
        judged, worst = _compared(methods)
    return Twist(
        front=front,
        rear=rear,
        gauge_mm=gauge_mm,
        **_figures_of(methods[best]),
        method=best,
        methods=methods,
        agree=None if judged is None else judged.agree,
        smallest_detectable_um_per_m=None if judged is None else judged.smallest_detectable,
        largest_difference=worst,
        traverses=used,
        warnings=warnings,
        judged=judged,
    )


def _by_every_method(
    traverses: Sequence[Traverse],
    bed: Bed,
    ways: tuple[str, str],
    gauge_mm: float,
    made: Sequence[Observations],
) -> tuple[dict[str, Roll], tuple[int, ...], tuple[str, ...]]:
    """Roll by each method that tells it, the traverses used, and what to mind."""
    methods: dict[str, Roll] = {}
    used: set[int] = set()
    warnings: dict[str, None] = {}
    for name, quantity in METHODS.items():
        chosen = [t for t in traverses if t.setup.quantity == quantity and _tells(t, *ways)]
        found = _roll(observe_all(chosen, bed, made), bed, ways, gauge_mm) if chosen else None
        if found is not None:
            methods[name], bed_map = found
            used |= {each.number for each in chosen}
            warnings |= dict.fromkeys(bed_map.warnings)
    warnings |= dict.fromkeys(state_warnings([each for each in traverses if each.number in used]))
    return methods, tuple(sorted(used)), tuple(warnings)


def _figures_of(roll: Roll) -> dict[str, Any]:
    """What the answer and each method have in common, by name."""
    shared = {item.name for item in fields(Roll)} & {item.name for item in fields(Twist)}
    return {name: getattr(roll, name) for name in shared}


def roll_uncertainty(bed_map: BedMap, front: str, rear: str) -> float | None:
    """Standard uncertainty of the wind from end to end in µm/m; None where the map does not tell it."""
    gauge_mm = bed_map.bed.gauge_mm(front, rear)
    station, rows = _height_differences(bed_map, front, rear)
    if gauge_mm is None or len(station) < 2:
        return None
    wind = (rows[-1] - rows[0])[None] * (UM_PER_M / gauge_mm)
    if not bed_map.solution.is_known(wind).all():
        return None
    variance = float((wind @ bed_map.solution.covariance @ wind.T)[0, 0])
    return float(np.sqrt(max(bed_map.enlargement * variance, 0.0)))


def _pair(bed: Bed, front: str | None, rear: str | None) -> tuple[str, str]:
    by_default = bed.carriage_ways()
    front, rear = front or by_default[0], rear or by_default[1]
    if front is None or rear is None:
        raise AnalysisError(
            "twist",
            "bed.toml does not say which ways the carriage rides",
            'carriage = "front" and "rear" on two faces',
            "mark them, or give --front and --rear",
        )
    for face in (front, rear):
        if face not in bed.faces:
            raise AnalysisError(face, "found no such face in bed.toml", ", ".join(bed.faces))
    if front == rear:
        raise AnalysisError("twist", f"{front} twice", "two different ways")
    return front, rear


def _tells(traverse: Traverse, front: str, rear: str) -> bool:
    setup = traverse.setup
    if setup.quantity == "roll":
        return {front, rear} == {setup.front, setup.rear}
    return setup.face in (front, rear, CARRIAGE)


def _roll(
    observations: Sequence[Observations], bed: Bed, ways: tuple[str, str], gauge_mm: float
) -> tuple[Roll, BedMap] | None:
    """Roll from these readings alone, and the map they gave; None where they do not tell it."""
    bed_map = adjusted(observations, bed)
    station, rows = _height_differences(bed_map, *ways)
    if len(station) < 2:
        return None
    rows *= UM_PER_M / gauge_mm
    for known_up_to in ("nothing", "a constant"):
        wide = _with_zeros(bed_map, rows) if known_up_to == "a constant" else rows
        if wide is not None and bed_map.solution.is_known(wide).all():
            return _finished(bed, bed_map, station, wide, known_up_to), bed_map
    change = rows - rows[0]
    if bed_map.solution.is_known(change).all():
        return _finished(bed, bed_map, station, change, "a constant"), bed_map
    free_of_line = _line_removed(station, rows)
    if len(station) < 3 or not bed_map.solution.is_known(free_of_line).all():
        return None
    return _finished(bed, bed_map, station, free_of_line, "a line"), bed_map


def _is_read_by_carriage(traverses: Sequence[Traverse], bed: Bed, front: str, rear: str) -> bool:
    """Whether the cross level lay on a carriage of some length whenever it was used on these ways."""
    over = [each for each in traverses if each.setup.quantity == "roll" and _tells(each, front, rear)]
    return (
        bed.carriage_length_mm is not None and bool(over) and all(each.setup.is_on_carriage for each in over)
    )


def _as_the_carriage_rolls(bed: Bed, methods: Mapping[str, Roll], front: str) -> dict[str, Roll]:
    """The methods with two maps passed through the carriage's bearing, so that like is held against like."""
    if "two_maps" not in methods:
        return dict(methods)
    bed_map = methods["two_maps"].bed_map
    ways = carrying_faces(bed, ON_CARRIAGE, "twist")
    sign = UM_PER_M if ways[0].id == front else -UM_PER_M
    rows = {
        float(at_mm): _row(bed_map, carrier_motion(ways, at_mm, carriage_bearing(bed), None, "twist").roll)
        for at_mm in methods["cross_level"].station_mm
    }
    station = np.array([at_mm for at_mm, row in rows.items() if row is not None])
    if len(station) < 3:
        return {"cross_level": methods["cross_level"]}
    wide = sign * np.array([row for row in rows.values() if row is not None])
    return {**methods, "two_maps": _finished(bed, bed_map, station, _line_removed(station, wide), "a line")}


def _row(bed_map: BedMap, form: Form | None) -> np.ndarray | None:
    """A form over all unknowns; None where the map does not reach all of its places."""
    row = np.zeros(bed_map.assembly.unknowns)
    for place, share in (form or {}).items():
        weights = bed_map.assembly.layout.weights(place._replace(role="touched"))
        if not weights:
            return None
        for node, weight in weights.items():
            row[node] += share * weight
    return row


def _height_differences(bed_map: BedMap, front: str, rear: str) -> tuple[np.ndarray, np.ndarray]:
    """Stations that both ways share, and rows over all unknowns: rear minus front."""
    by_station = [
        {round(bed_map.nodes[i].station_mm, 3): i for i in bed_map.indices(face)} for face in (front, rear)
    ]
    shared = sorted(by_station[0].keys() & by_station[1].keys())
    rows = np.zeros((len(shared), bed_map.assembly.unknowns))
    for row, station in zip(rows, shared, strict=True):
        row[by_station[1][station]] += 1.0
        row[by_station[0][station]] -= 1.0
    return np.array(shared), rows


def _with_zeros(bed_map: BedMap, rows: np.ndarray) -> np.ndarray | None:
    """The roll as the instrument read it: its (mean) zero added; None where it is no cross level."""
    if any(each.quantity != "roll" for each in bed_map.observations):
        return None
    zeros = [column for key, column in bed_map.assembly.nuisances.items() if key[0] == "zero"]
    wide = rows.copy()
    wide[:, zeros] += 1.0 / len(zeros) if zeros else 0.0
    return wide


def _line_removed(station: np.ndarray, rows: np.ndarray) -> np.ndarray:
    lines = np.stack([np.ones_like(station), station - station.mean()], axis=1)
    return rows - lines @ (line_rows("least-squares", station, np.zeros_like(station)) @ rows)


def _finished(bed: Bed, bed_map: BedMap, station: np.ndarray, wide: np.ndarray, known_up_to: str) -> Roll:
    solution = bed_map.solution
    roll = wide @ solution.estimate
    covariance = bed_map.enlargement * (wide @ solution.covariance @ wide.T)
    is_line = known_up_to == "a line"
    high, low = int(roll.argmax()), int(roll.argmin())
    return Roll(
        station_mm=station,
        roll_um_per_m=roll,
        standard_uncertainty_um_per_m=np.sqrt(np.clip(np.diag(covariance), 0.0, None)),
        twist_um_per_m=None if is_line else float(roll[high] - roll[low]),
        twist_expanded_um_per_m=None if is_line else _expanded(covariance, high, low),
        wind_um_per_m=None if is_line else float(roll[-1] - roll[0]),
        wind_expanded_um_per_m=None if is_line else _expanded(covariance, -1, 0),
        worst_over_carriage_um_per_m=None if is_line else _worst_over(bed.carriage_length_mm, station, roll),
        known_up_to=known_up_to,
        covariance=covariance,
        bed_map=bed_map,
    )


def _expanded(covariance: np.ndarray, i: int, j: int) -> float:
    return float(2 * np.sqrt(max(covariance[i, i] + covariance[j, j] - 2 * covariance[i, j], 0.0)))


def _worst_over(length_mm: float | None, station: np.ndarray, roll: np.ndarray) -> float | None:
    if length_mm is None:
        return None
    near = np.abs(station[:, None] - station[None, :]) <= length_mm + 1e-6
    return float(np.max(np.where(near, np.abs(roll[:, None] - roll[None, :]), 0.0)))


def _compared(methods: Mapping[str, Roll]) -> tuple[Agreement | None, dict[str, float] | None]:
    """The two methods held against each other, a straight line removed from both."""
    if len(methods) < 2:
        return None, None
    profiles = []
    for roll in methods.values():
        profiles.append(Profile("roll", roll.station_mm, roll.roll_um_per_m, roll.covariance))
    try:
        difference = profiles[0].minus(profiles[1], cross_covariance_um2=None)
    except AnalysisError:
        return None, None
    if difference.station_mm.size < 3:
        return None, None
    level = difference.through(
        _line_removed(difference.station_mm, np.eye(difference.station_mm.size)), difference.station_mm
    )
    judged = agreement(level.height_um, level.covariance_um2)
    worst = int(np.nanargmax(np.abs(judged.normalised_error)))
    return judged, {
        "station_mm": float(level.station_mm[worst]),
        "roll_um_per_m": float(level.height_um[worst]),
    }
