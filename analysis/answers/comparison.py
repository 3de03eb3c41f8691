"""Two maps of the same thing held against each other.

Both sides go into one adjustment as heights of their own, sharing only what they share
in truth (an instrument's scale): the covariance of the difference is then that of the
difference.  Only estimates of the same thing are compared: an indicator carried on A
and reading B gives B − A, and is held against level(B) − level(A).
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from acquire.model.bed import Bed
from acquire.model.errors import AnalysisError
from acquire.model.places import ROUNDING_MM
from acquire.model.quantity import BY
from acquire.model.reference import CARRIAGE, Reference
from acquire.model.traverse import Setup, Traverse
from analysis.adjust.assembly import rows_for
from analysis.adjust.combination import BedMap, adjusted
from analysis.answers.assumptions import Assumption, assumptions
from analysis.answers.two_maps import (
    LEAST_STATIONS,
    apart,
    common_rows,
    doubled_faces,
    own,
    own_drift,
    rows_by_station,
    through_the_coarser_base,
)
from analysis.linear.agreement import agreement
from analysis.linear.fact import Fact
from analysis.linear.profile import Profile
from analysis.linear.reference_lines import remove_line
from analysis.linear.shown import Shown
from analysis.observe import Observations, Place, observe, observe_all, state_warnings

AS_READ = "what was read"
UM_PER_M = 1000.0
A_SCRAPING_PASS_UM = 10.0
"""A pass takes about 2 to 10 µm (common practice, no source): seeing less than that is of use anyway."""
_INSIDE: Mapping[str, Any] = {"kept_inside": True}


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(Shown):
    """The difference of two maps, and whether chance explains it."""

    a: str
    b: str
    subject: str
    """What both are estimates of."""
    station_mm: np.ndarray
    difference_um: np.ndarray
    """a − b, the least-squares line removed."""
    expanded_uncertainty_um: np.ndarray
    normalised_error: np.ndarray
    largest_normalised_error: float
    largest_by_chance: float
    rms_um: float
    chi_square: float
    degrees: int
    p_value: float
    smallest_detectable_um: float
    agree: bool | None
    """None: cannot tell, since no difference of any use could have been seen."""
    worst: Mapping[str, float]
    smoothed_over_mm: float | None
    """Both maps were passed through this base, which one of them cannot see below."""
    warnings: tuple[Fact, ...]
    assumptions: tuple[Assumption, ...]
    """What the uncertainty takes for granted."""
    profile_a: Profile = field(metadata=_INSIDE)
    profile_b: Profile = field(metadata=_INSIDE)


@dataclass(frozen=True)
class AlsoReadAlong(Fact):
    """A face that was also read along something else, which is another comparison."""

    name: str
    traverses: tuple[int, ...]
    along: str
    other: str


@dataclass(frozen=True, eq=False)
class _Side:
    """One of the two estimates: which traverses, and of what combination of faces."""

    name: str
    tag: str
    traverses: tuple[Traverse, ...]
    subject: Mapping[str, int]
    """Face to +1 or −1."""
    adapts: bool
    """FACE:level: whatever combination of level maps the other side needs."""
    observations: tuple[Observations, ...]
    warnings: tuple[Fact, ...] = ()

    @property
    def is_readings(self) -> bool:
        """Whether it is what an instrument read, carrier and all, and no map of heights."""
        ways = {edge for each in self.observations for edge in each.edges}
        reversed_edges = {name for name, _ in ways if {(name, True), (name, False)} <= ways}
        return not self.traverses[0].setup.measures.has_feet_along and not reversed_edges

    def as_read(self, each: Observations, um_per_reading: float) -> Observations:
        """The same readings, of one unknown at each station: what was read there, in µm."""
        weight = 1.0 / um_per_reading
        owner = own(AS_READ, self.tag)
        return replace(
            each,
            forms=tuple({Place("height", owner, float(x), "touched"): weight} for x in each.station_mm),
            plain_forms=None,
            faces=(owner,),
            carriers=(),
            drift_group=own_drift(each, self.tag),
        )


def compare(traverses: Sequence[Traverse], bed: Bed, a: str, b: str) -> Comparison:
    """Hold two maps of the same thing against each other.

    Parameters
    ----------
    traverses : sequence of Traverse
        Of the whole survey.
    bed : Bed
    a, b : str
        Each a traverse number, FACE:level, FACE:indicator, or FACE:GUIDE by what guided the indicator:
        straightedge, straightedge:NAME, wire, line, carriage, a face or two faces A+B.

    Raises
    ------
    AnalysisError
        Where the two are not estimates of the same thing, share a traverse, or one of
        them does not tell the shape.
    """
    sides = (_side(traverses, bed, a, "a"), _side(traverses, bed, b, "b"))
    shared = {t.number for t in sides[0].traverses} & {t.number for t in sides[1].traverses}
    if shared:
        raise AnalysisError(
            f"{a} and {b}", f"traverse {min(shared)} is in both", "two maps that share no reading"
        )
    subject = _same_thing(*sides)
    factor = _um_per_reading(bed, sides)
    bed_map = adjusted(
        [
            side.as_read(o, factor) if side.is_readings else apart(o, side.tag)
            for side in sides
            for o in side.observations
        ],
        replace(bed, faces=doubled_faces(bed, [side.tag for side in sides])),
    )
    bed_map = bed_map.reaching(_places_read(sides))
    station, first, second = _rows(bed_map, sides, subject, factor)
    if len(station) < LEAST_STATIONS:
        raise AnalysisError(
            f"{a} and {b}",
            f"{len(station)} common stations",
            "three or more",
            "measure both at the same stations",
        )
    base_mm, station, first, second = through_the_coarser_base(
        [side.observations for side in sides], station, first, second
    )
    text = _subject_text(subject)
    difference = bed_map.combined(text, station, first - second)
    profiles = [bed_map.combined(text, station, each) for each in (first, second)]
    left_out = (fact for side in sides for fact in side.warnings)
    together = [t for side in sides for t in side.traverses]
    warnings = (*left_out, *bed_map.warnings, *state_warnings(together))
    read = [each for side in sides for each in side.observations]
    return replace(
        _judged(sides, text, difference, profiles, base_mm, warnings),
        assumptions=assumptions(bed_map, subject, read=read),
    )


def _side(traverses: Sequence[Traverse], bed: Bed, name: str, tag: str) -> _Side:
    if re.fullmatch(r"\d+", name):
        chosen = tuple(t for t in traverses if t.number == int(name))
        if not chosen:
            numbers = ", ".join(str(t.number) for t in traverses) or "none"
            raise AnalysisError(f"traverse {name}", "found no such traverse", f"one of {numbers}")
        return _of(f"traverse {int(name)}", tag, chosen, bed)
    face, _, by = name.partition(":")
    if face not in bed.faces or not by:
        raise AnalysisError(
            f"'{name}'", "cannot be compared", "a traverse number, FACE:level, FACE:indicator or FACE:GUIDE",
            f"the faces are {', '.join(bed.faces)}; a guide is straightedge, wire, line, carriage or a face",
        )  # fmt: skip
    if by == "level":
        chosen = tuple(t for t in traverses if t.setup.measures.is_by(by))
        if any(t.setup.face in (face, CARRIAGE) for t in chosen):
            observed = tuple(observe_all(chosen, bed))
            return _Side(f"{face} by level", tag, chosen, {face: 1}, True, observed)
    used = [t for t in traverses if _is_by(t.setup, face, by)]
    if not used:
        ways = dict.fromkeys(_way_of(t.setup, face) for t in traverses)
        needed = "one of " + " | ".join(f"{face}:{way}" for way in ways if way)
        raise AnalysisError(name, "no traverse was taken so", needed if any(ways) else "one", "record one")
    alike = _along(used[0].setup, face)
    same = tuple(t for t in used if _along(t.setup, face) == alike)
    others = sorted({_along(t.setup, face) for t in used} - {alike})
    side = _of(f"{face} by {by}" if by in BY else f"{face} along {by}", tag, same, bed)
    taken = tuple(each.number for each in same)
    return replace(side, warnings=(AlsoReadAlong(side.name, taken, alike, others[0]),) if others else ())


def _is_by(setup: Setup, face: str, by: str) -> bool:
    """Whether that is how a traverse read the face: `indicator`, or by what guided it."""
    if not setup.measures.is_length:
        return False
    if by == "indicator":
        return setup.face == face
    along = _along(setup, face)
    return bool(along) and by in (along, Reference.parse(along).kind)


def _along(setup: Setup, face: str) -> str:
    """What an indicator was guided by, or touched while it rode the face; empty where neither is of it."""
    if setup.face == face:
        return setup.reference or setup.other or ""
    rides = setup.reference == face and setup.touched is not None and setup.touched.is_straight
    return str(setup.face) if rides else ""


def _way_of(setup: Setup, face: str) -> str:
    if setup.measures.has_feet_along:
        return "level" if setup.face in (face, CARRIAGE) else ""
    return _along(setup, face) if setup.measures.is_length else ""


def _of(name: str, tag: str, traverses: tuple[Traverse, ...], bed: Bed) -> _Side:
    observations = tuple(observe_all(traverses, bed))
    return _Side(name, tag, traverses, _subject(traverses[0], bed), False, observations)


def _um_per_reading(bed: Bed, sides: Sequence[_Side]) -> float:
    """What one unit of the readings is in µm of height difference: µm/m across the gauge, or µm."""
    for side in sides:
        setup = side.traverses[0].setup
        if setup.measures.is_across and setup.front and setup.rear:
            return abs(bed.gauge_mm(setup.front, setup.rear) or UM_PER_M) / UM_PER_M
    return 1.0


def _subject(traverse: Traverse, bed: Bed) -> dict[str, int]:
    """What combination of faces one traverse's readings are of, apart from a line."""
    setup = traverse.setup
    if setup.measures.is_across and setup.front and setup.rear:
        return {setup.rear: 1, setup.front: -1}
    if setup.measures.has_feet_along and setup.face in bed.faces:
        return {str(setup.face): 1}
    faces = [face for face in observe(traverse, bed).faces if face in bed.faces]
    if setup.face in faces and len(faces) <= 2:
        others = [face for face in faces if face != setup.face]
        if setup.measures.is_between:
            return {setup.face: 1} | dict.fromkeys(others, 1)
        sense = {o: bed.sense(setup.face, o) for o in others}
        return {setup.face: 1} | {other: -sense[other] for other in others if sense[other]}
    if setup.touched is not None and setup.touched.is_straight and len(faces) == 1:
        return {faces[0]: -1}
    raise AnalysisError(
        f"traverse {traverse.number}",
        f"is of {' and '.join(faces) or setup.subject} together",
        "a traverse of one face, or of one face against another",
        "use FACE:level or FACE:indicator, or `waylog combine`",
    )


def _same_thing(a: _Side, b: _Side) -> Mapping[str, int]:
    """The one combination of faces that both are estimates of, or a refusal that says why not."""
    for one, other in ((a, b), (b, a)):
        if one.adapts and one.subject.keys() <= other.subject.keys():
            return other.subject
    if dict(a.subject) == dict(b.subject):
        return a.subject
    raise AnalysisError(
        f"{a.name} and {b.name}",
        f"the first is of {_subject_text(a.subject)}, the second of {_subject_text(b.subject)}",
        "two estimates of the same thing",
        "an indicator carried on A and reading B gives B − A: hold it against B:level",
    )


def _subject_text(subject: Mapping[str, int]) -> str:
    words = " ".join(f"{'+' if sign > 0 else '−'} {face}" for face, sign in subject.items())
    return words.removeprefix("+ ")


def _rows(
    bed_map: BedMap, sides: tuple[_Side, _Side], subject: Mapping[str, int], um_per_reading: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Common stations, and each side's combination of heights there."""
    readings = [side for side in sides if side.is_readings]
    tables = []
    for side in sides:
        if side.is_readings:
            tables.append(rows_by_station(bed_map, {own(AS_READ, side.tag): 1}))
        elif readings:
            tables.append(_through_the_carrier(bed_map, side, readings[0], um_per_reading))
        else:
            tables.append(
                rows_by_station(bed_map, {own(face, side.tag): sign for face, sign in subject.items()})
            )
    return common_rows(bed_map, tables[0], tables[1])


def _through_the_carrier(
    bed_map: BedMap, maps: _Side, readings: _Side, um_per_reading: float
) -> dict[float, np.ndarray]:
    """What the other instrument would have read on these maps, in µm, by its carrier's feet and arms."""
    read = _read_on(maps, readings)
    rows, expressible = rows_for(bed_map.assembly, read)
    heights = rows[:, : bed_map.assembly.layout.heights].toarray() * um_per_reading
    return {
        round(float(station), 3): row
        for station, row, form, can in zip(read.station_mm, heights, read.forms, expressible, strict=True)
        if can and all(_is_told(bed_map, place) for place in form if place.kind != "edge")
    }


def _places_read(sides: tuple[_Side, _Side]) -> Iterator[Place]:
    """The heights of one side's maps that the readings of the other depend on."""
    for maps, readings in (sides, sides[::-1]):
        if readings.is_readings and not maps.is_readings:
            yield from (place for form in _read_on(maps, readings).forms for place in form)


def _read_on(maps: _Side, readings: _Side) -> Observations:
    """What the instrument read, of the heights that the maps have."""
    return apart(readings.observations[0], maps.tag)


def _is_told(bed_map: BedMap, place: Place) -> bool:
    """Whether a height is a node, or lies between nodes no further apart than the bed's stations.

    Across a wider gap, such as a level's base, a dip may lie between the nodes and show in neither.
    """
    line = bed_map.assembly.layout.lines.get((place.kind, place.owner))
    if line is None:
        return False
    away = line.station_mm - place.station_mm
    if np.abs(away).min() <= ROUNDING_MM:
        return True
    pitch_mm = float(np.median(np.diff(bed_map.bed.station_mm)))
    below, above = away[away < 0], away[away > 0]
    return len(below) > 0 and len(above) > 0 and float(above.min() - below.max()) <= pitch_mm + ROUNDING_MM


def _judged(
    sides: Sequence[_Side],
    subject: str,
    difference: Profile,
    profiles: Sequence[Profile],
    base_mm: float | None,
    warnings: tuple[Fact, ...],
) -> Comparison:
    level = remove_line(difference, "least-squares")
    verdict = agreement(level.height_um, level.covariance_um2, level.station_mm)
    worst = int(np.nanargmax(np.abs(verdict.normalised_error))) if verdict.degrees else 0
    # the noisier map's range is mostly noise: what there is to see is in the other
    shape = min(float(np.ptp(remove_line(each, "least-squares").height_um)) for each in profiles)
    of_use = max(shape, A_SCRAPING_PASS_UM)
    can_tell = verdict.smallest_detectable <= of_use or not verdict.agree
    return Comparison(
        a=sides[0].name,
        b=sides[1].name,
        subject=subject,
        station_mm=level.station_mm,
        difference_um=level.height_um,
        expanded_uncertainty_um=verdict.expanded_uncertainty,
        normalised_error=verdict.normalised_error,
        largest_normalised_error=verdict.largest_normalised_error,
        largest_by_chance=verdict.largest_by_chance,
        rms_um=float(np.sqrt(np.mean(level.height_um**2))),
        chi_square=verdict.chi_square,
        degrees=verdict.degrees,
        p_value=verdict.p_value,
        smallest_detectable_um=verdict.smallest_detectable,
        agree=verdict.agree if can_tell else None,
        worst={"station_mm": float(level.station_mm[worst]), "difference_um": float(level.height_um[worst])},
        smoothed_over_mm=base_mm,
        warnings=warnings,
        assumptions=(),
        profile_a=remove_line(profiles[0], "least-squares"),
        profile_b=remove_line(profiles[1], "least-squares"),
    )
