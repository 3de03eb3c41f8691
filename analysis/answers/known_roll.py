"""The roll of one pair of ways out of a map of the bed: where it is known, up to what, and how well.

Roll is how much higher the rear way is than the front one, per metre of the distance between
them.  A cross level tells it up to its own zero, levels along each way up to a straight line
along the bed unless one zero serves both; what the whole of the readings leaves open of it is
found from the map, not from the kind of instrument.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.reference import ON_CARRIAGE
from acquire.model.units import MM_PER_M
from analysis.adjust.bed_map import BedMap
from analysis.adjust.combination import adjusted
from analysis.adjust.estimability import ALIKE, parts_known
from analysis.linear.fact import Fact
from analysis.linear.profile import COVERAGE_FACTOR, standard_uncertainty
from analysis.linear.straight_line import line_rows
from analysis.observe import Form, Observations, Unknown
from analysis.observe.carriers import carriage_bearing, carrier_motion, carrying_faces

LEAST_FOR_A_LINE = 3


@dataclass(frozen=True)
class PutInOrder(Fact):
    """Two ways that were named in the other order than they lie, front to rear."""

    front: str
    rear: str


@dataclass(frozen=True)
class Ways:
    """Two ways in the order in which they lie across the bed."""

    front: str
    rear: str
    gauge_mm: float
    notes: tuple[Fact, ...] = ()
    """Where they were named in the other order."""


@dataclass(frozen=True, eq=False)
class KnownRoll:
    """What a map knows of the roll: one row over its unknowns a station, in µm/m."""

    bed_map: BedMap
    station_mm: np.ndarray
    rows: np.ndarray
    known_up_to: str
    """nothing | a constant | a line | all: not judged yet."""
    is_of_carriage: bool = False
    """Whether it is how the carriage rolls on the ways, their own roll not being known."""

    @property
    def value(self) -> np.ndarray:
        """The roll, shape (n,)."""
        return np.asarray(self.rows @ self.bed_map.solution.estimate)

    @property
    def covariance(self) -> np.ndarray:
        """Its joint covariance, shape (n, n)."""
        return self.bed_map.covariance_of(self.rows)


def ways_of(bed: Bed, front: str | None = None, rear: str | None = None) -> Ways:
    """The two ways whose roll is asked for, in the order in which they lie across the bed.

    Parameters
    ----------
    bed : Bed
    front, rear : str, optional
        Default: the ways that the carriage rides. Named in the other order they are still the same two
        ways: "rear high" always means the side away from the operator, so they are put in order and it is
        noted.

    Raises
    ------
    AnalysisError
        Where a way is not known, both are one, one looks sideways, or nothing says how far apart they are.
    """
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
        if bed.described(face).upward == 0:
            raise AnalysisError(
                f"twist of {front} and {rear}", f"{face} looks to the {bed.faces[face].normal}",
                "two ways that look up or down", "name other ways",
            )  # fmt: skip
    if front == rear:
        raise AnalysisError("twist", f"{front} twice", "two different ways")
    gauge_mm = bed.gauge_mm(front, rear)
    if gauge_mm is None:
        raise AnalysisError(
            f"{front} and {rear}", "no distance across the bed", "across_mm of both faces in bed.toml"
        )
    if gauge_mm > 0:
        return Ways(front, rear, gauge_mm)
    return Ways(rear, front, -gauge_mm, (PutInOrder(rear, front),))


def known_roll(bed_map: BedMap, ways: Ways, *, by_indicators: bool = False) -> KnownRoll | None:
    """What a map knows of the roll of two ways: as much as it can, at as many stations as it can.

    An indicator carried along one way may roll on it, and nothing measures that: unless it is asked
    for (`by_indicators`) no more is taken as known than is known without it.
    Where the roll of the ways is known at fewer than two stations but a level lay across the
    carriage, it is the roll of the carriage on them.  None where nothing tells any change of it.
    """
    station, rows = _between_the_ways(bed_map, ways)
    found = _largest_known(bed_map, ways, station, rows) or _of_carriage(bed_map, ways)
    if found is None or by_indicators or not any(map(rides_one_way, bed_map.observations)):
        return found
    steady = [each for each in bed_map.as_observed if not rides_one_way(each)]
    without = known_roll(adjusted(steady, bed_map.bed), ways) if steady else None
    if without is None or without.known_up_to != "a line" or found.known_up_to == "a line":
        return None if without is None else found
    return replace(found, rows=line_removed(found.station_mm, found.rows), known_up_to="a line")


def rides_one_way(each: Observations) -> bool:
    """Whether it is an indicator whose carrier may roll on the one way that it rides."""
    return each.measures.is_carried and len(each.carriers) == 1


def wind_expanded(known: KnownRoll | None) -> float | None:
    """Expanded uncertainty of the wind (roll at the far end less roll at the origin) in µm/m, if known."""
    if known is None or known.known_up_to == "a line":
        return None
    wind = known.rows[[-1]] - known.rows[[0]]
    return COVERAGE_FACTOR * float(standard_uncertainty(known.bed_map.covariance_of(wind))[0])


def carriage_roll(bed_map: BedMap, ways: Ways, station_mm: Sequence[float]) -> KnownRoll:
    """How the carriage rolls at the stations within the map's reach, whatever of it is known."""
    faces = carrying_faces(bed_map.bed, ON_CARRIAGE, "twist")
    bearing = carriage_bearing(bed_map.bed)
    forms = {
        float(at): carrier_motion(faces, float(at), bearing, None, "twist").roll or {} for at in station_mm
    }
    reaching = bed_map.reaching(place for form in forms.values() for place in form)
    rows = {at: row_of(reaching, form) for at, form in forms.items()}
    reached = {at: row for at, row in rows.items() if row is not None}
    stacked = MM_PER_M * np.array(list(reached.values())).reshape(-1, reaching.assembly.unknowns)
    return KnownRoll(reaching, np.array(list(reached)), stacked, "all")


def as_it_was_read(known: KnownRoll) -> KnownRoll:
    """The roll of the ways, with how they bend under a carriage that was taken as a point put back."""
    rows = known.rows.copy()
    for row, at_mm in zip(rows, known.station_mm, strict=True):
        bends = known.bed_map.assembly.bends_at(float(at_mm))
        row[bends] += 1.0 / max(len(bends), 1)
    return replace(known, rows=line_removed(known.station_mm, rows), known_up_to="a line")


def row_of(bed_map: BedMap, form: Form) -> np.ndarray | None:
    """A form over all unknowns; None where the map does not reach all of its places."""
    row = np.zeros(bed_map.assembly.unknowns)
    for place, share in form.items():
        column = bed_map.assembly.layout.column(place)
        if column is None:
            return None
        row[column] += share
    return row


def line_removed(station_mm: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """The rows less their least-squares line along the bed."""
    lines = np.stack([np.ones_like(station_mm), station_mm - station_mm.mean()], axis=1)
    flat = np.zeros_like(station_mm)
    return np.asarray(rows - lines @ (line_rows("least-squares", station_mm, flat) @ rows))


def _between_the_ways(bed_map: BedMap, ways: Ways) -> tuple[np.ndarray, np.ndarray]:
    """Stations that both ways share, and rows over all unknowns: rear over front, upwards, in µm/m."""
    by_station = [
        {round(bed_map.nodes[i].station_mm, 3): i for i in bed_map.indices(face)}
        for face in (ways.front, ways.rear)
    ]
    shared = _shown(bed_map, ways, sorted(by_station[0].keys() & by_station[1].keys()))
    rows = np.zeros((len(shared), bed_map.assembly.unknowns))
    up = [bed_map.bed.faces[face].upward for face in (ways.front, ways.rear)]
    for row, station in zip(rows, shared, strict=True):
        row[by_station[1][station]] += up[1]
        row[by_station[0][station]] -= up[0]
    return np.array(shared), rows * (MM_PER_M / ways.gauge_mm)


def _shown(bed_map: BedMap, ways: Ways, shared: list[float]) -> list[float]:
    """Feet where levels alone were stepped along both, else the stations of the bed."""
    touching = [each for each in bed_map.observations if {ways.front, ways.rear} & set(each.faces)]
    if all(each.is_stepped_level for each in touching):
        return shared
    stations = {round(mm, 3) for mm in bed_map.bed.station_mm}
    at_station = [mm for mm in shared if mm in stations]
    return at_station if len(at_station) >= LEAST_FOR_A_LINE else shared


def _largest_known(bed_map: BedMap, ways: Ways, station_mm: np.ndarray, rows: np.ndarray) -> KnownRoll | None:
    free = bed_map.solution.null_space
    moves = rows @ free
    tolerance = 10 * ALIKE * MM_PER_M / ways.gauge_mm * float(np.max(np.abs(free), initial=0.0))
    alike, on_a_line = _alike(moves, tolerance), parts_known(station_mm, moves, tolerance)
    most = on_a_line[0] if on_a_line else np.zeros(0, int)
    if len(alike) >= 2 and 2 * len(alike) >= len(most):
        here, kept = station_mm[alike], rows[alike]
        if bed_map.solution.is_known(kept).all():
            return KnownRoll(bed_map, here, kept, "nothing")
        read = _with_zeros(bed_map, ways, kept)
        if read is not None and bed_map.solution.is_known(read).all():
            return KnownRoll(bed_map, here, read, "a constant")
        return KnownRoll(bed_map, here, kept - kept[0], "a constant")
    if len(most) < LEAST_FOR_A_LINE:
        return None
    return KnownRoll(bed_map, station_mm[most], line_removed(station_mm[most], rows[most]), "a line")


def _alike(moves: np.ndarray, tolerance: float) -> np.ndarray:
    """The largest set of rows that every free direction moves by the same amount."""
    best = np.zeros(0, int)
    for each in moves:
        same = np.flatnonzero(np.max(np.abs(moves - each), axis=1, initial=0.0) <= tolerance)
        if len(same) > len(best):
            best = same
        if 2 * len(best) >= len(moves):
            break
    return best


def _with_zeros(bed_map: BedMap, ways: Ways, rows: np.ndarray) -> np.ndarray | None:
    """The roll as cross levels read it: their mean zero added; None where none was used."""
    roots = {
        bed_map.assembly.nuisances[Unknown("zero", (str(number),))]
        for each in bed_map.observations
        if _is_across(each, ways)
        for number in (each.traverse, each.zero)
        if Unknown("zero", (str(number),)) in bed_map.assembly.nuisances
    }
    if not roots:
        return None
    wide = rows.copy()
    wide[:, sorted(roots)] += 1.0 / len(roots)
    return wide


def _is_across(each: Observations, ways: Ways) -> bool:
    return each.measures.is_across and {ways.front, ways.rear} == set(each.faces)


def _of_carriage(bed_map: BedMap, ways: Ways) -> KnownRoll | None:
    """How the carriage rolls where a level across it was read, the ways' own roll not being known."""
    across = [
        each
        for each in bed_map.observations
        if _is_across(each, ways) and all(source.setup.is_on_carriage for source in each.sources)
    ]
    station = sorted({float(mm) for each in across for mm in each.station_mm})
    if len(station) < 2 or set(bed_map.bed.carriage_ways()) != {ways.front, ways.rear}:
        return None
    rolling = carriage_roll(bed_map, ways, station)
    found = _largest_known(rolling.bed_map, ways, rolling.station_mm, rolling.rows)
    return None if found is None else replace(found, is_of_carriage=True)
