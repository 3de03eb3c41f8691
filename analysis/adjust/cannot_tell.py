"""What the readings leave open about the bed, as facts: shapes, and how faces lie against each other."""

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import Bed
from analysis.adjust.estimability import ALIKE, Line, Tie, tie
from analysis.linear.fact import Fact
from analysis.observe import Observations

ONLY_ACROSS = "only levels across touch it"
REFERENCE_UNKNOWN = "its reference is itself not known"
TOO_FEW = "too few readings tie its stations"
NEVER_MET = "feet of its level never met"
NEARLY_MM = 10.0
"""Feet of two steps this near were meant to meet: nobody steps a level by a base and a little more."""
Names = tuple[str, ...]


@dataclass(frozen=True)
class ShapeUnknown(Fact):
    """A line whose shape is not known, nor its difference from any other."""

    line: str
    why: str


@dataclass(frozen=True)
class ShapesUnknown(Fact):
    """Lines of which only differences are known."""

    lines: Names
    known: int
    """At how many stations the difference of any two is known, at least."""
    stations: int
    """Of so many that these two share."""
    up_to: str
    """nothing | constant | line | all (not of every pair): what these differences leave open."""


@dataclass(frozen=True)
class InParts(Fact):
    """A line that falls into parts, as steps of half a base leave it."""

    line: str
    parts_mm: tuple[tuple[float, ...], ...]
    """The stations of each part, whose shape is known by itself."""


@dataclass(frozen=True)
class HeightsUnknown(Fact):
    """Stations of a line that belong to no part of known shape."""

    line: str
    station_mm: tuple[float, ...]


@dataclass(frozen=True)
class TiltsUntied(Fact):
    """Groups of lines between which the wind or taper is not known."""

    groups: tuple[Names, ...]


@dataclass(frozen=True)
class HeightsUntied(Fact):
    """Groups of lines of which it is not known how high they lie against each other."""

    groups: tuple[Names, ...]


@dataclass(frozen=True)
class EdgeUnknown(Fact):
    """A straightedge whose shape is not known."""

    straightedge: str


@dataclass(frozen=True)
class NotMeasured(Fact):
    """Faces that no traverse touches."""

    faces: Names


def cannot_tell(
    lines: Mapping[tuple[str, str], Line], observations: Sequence[Observations], bed: Bed
) -> tuple[Fact, ...]:
    """Everything about the bed that these readings leave open."""
    axes: dict[str, list[Line]] = {"vertical": [], "sideways": []}
    for line in lines.values():
        if line.kind != "edge":
            axes[_axis(line, bed)].append(line)
    found: list[Fact] = []
    for axis in axes.values():
        found += _unknown_shapes([line for line in axis if not line.parts], observations, bed)
        found += [fact for line in axis if line.parts and not line.is_whole for fact in _broken(line)]
        found += _lie_of_known([line for line in axis if line.parts], bed)
    edges = [line for line in lines.values() if line.kind == "edge"]
    found += [EdgeUnknown(line.name) for line in edges if not line.is_whole]
    missing = tuple(name for name in bed.faces if ("height", name) not in lines)
    return (*found, NotMeasured(missing)) if missing else tuple(found)


def why_unknown(line: Line, found: Sequence[Fact]) -> str:
    """Why the shape of a line is not known, in few words."""
    for fact in found:
        if isinstance(fact, ShapeUnknown) and fact.line == line.name:
            return f"its shape is not known: {fact.why}"
        if isinstance(fact, ShapesUnknown) and line.name in fact.lines:
            others = ", ".join(name for name in fact.lines if name != line.name)
            return f"known only against {others}"
    return "its shape is not known"


def in_parts(line: Line) -> tuple[Fact, ...]:
    """The fact that a line falls into parts; nothing where it does not."""
    if len(line.parts) < 2:
        return ()
    return (InParts(line.name, tuple(_stations(line, part) for part in line.parts)),)


def _axis(line: Line, bed: Bed) -> str:
    if line.kind == "side" or line.owner not in bed.faces:
        return "sideways"
    return "vertical" if bed.faces[line.owner].upward else "sideways"


def _direction(line: Line, bed: Bed) -> int:
    """+1 where its deviation is counted up or to the rear, −1 where down or to the front."""
    if line.kind == "side" or line.owner not in bed.faces:
        return 1
    face = bed.faces[line.owner]
    return face.upward + face.rearward


def _unknown_shapes(
    unknown: Sequence[Line], observations: Sequence[Observations], bed: Bed
) -> Iterator[Fact]:
    """Lines none of whose shape is known, grouped by which are known against each other."""
    ties = {
        frozenset((a.name, b.name)): tie(a, b, _direction(a, bed) * _direction(b, bed))
        for a, b in itertools.combinations(unknown, 2)
    }
    for group in _groups(unknown, lambda a, b: ties[frozenset((a.name, b.name))].known > 0):
        if len(group) == 1:
            yield ShapeUnknown(group[0].name, _why(group[0], observations))
        else:
            inside = [ties[frozenset((a.name, b.name))] for a, b in itertools.combinations(group, 2)]
            yield _differences_known(_names(group), inside)


def _differences_known(names: Names, ties: Sequence[Tie]) -> ShapesUnknown:
    known, count = min((one.known, one.stations) for one in ties)
    worst = max((one.up_to for one in ties), key=["nothing", "constant", "line", "all"].index)
    return ShapesUnknown(names, known, count, worst)


def _why(line: Line, observations: Sequence[Observations]) -> str:
    read = [each.measures for each in observations if line.owner in each.faces]
    if all(each.is_across for each in read):
        return ONLY_ACROSS
    if all(each.is_length for each in read):
        return REFERENCE_UNKNOWN
    return NEVER_MET if _never_met(line, observations) else TOO_FEW


def _never_met(line: Line, observations: Sequence[Observations]) -> bool:
    """Whether levels alone were stepped along it, each step with two feet to itself, some nearly meeting."""
    read = [each for each in observations if line.owner in each.faces]
    steps = np.unique(np.concatenate([each.station_mm for each in read]))
    has_own_feet = len(line.station_mm) == 2 * len(steps) and all(each.is_stepped_level for each in read)
    return has_own_feet and bool(np.min(np.diff(line.station_mm)) <= NEARLY_MM)


def _broken(line: Line) -> Iterator[Fact]:
    """What is not known of a line of which only parts are."""
    yield from in_parts(line)
    inside = set(np.concatenate(line.parts).tolist())
    outside = np.array([index for index in range(len(line.station_mm)) if index not in inside], int)
    if len(outside):
        yield HeightsUnknown(line.name, _stations(line, outside))


def _stations(line: Line, index: np.ndarray) -> tuple[float, ...]:
    return tuple(line.station_mm[index].tolist())


def _lie_of_known(known: Sequence[Line], bed: Bed) -> Iterator[Fact]:
    """How lines of known shape lie against each other, where that is not known."""
    size = max((float(np.max(np.abs(line.null_space), initial=0.0)) for line in known), default=0.0)

    def lie(line: Line) -> tuple[np.ndarray, np.ndarray]:
        part = line.parts[0]
        i, j = part[0], part[-1]
        tilt = (line.null_space[j] - line.null_space[i]) * _direction(line, bed)
        tilt = tilt / (line.station_mm[j] - line.station_mm[i])
        return tilt, line.null_space[i] * _direction(line, bed) - tilt * line.station_mm[i]

    def same_tilt(a: Line, b: Line) -> bool:
        reach = max(float(np.ptp(line.station_mm)) for line in (a, b))
        return bool(np.all(np.abs(lie(a)[0] - lie(b)[0]) * reach <= 100 * ALIKE * size))

    def same_height(a: Line, b: Line) -> bool:
        return same_tilt(a, b) and bool(np.all(np.abs(lie(a)[1] - lie(b)[1]) <= 100 * ALIKE * size))

    tilts = _groups(known, same_tilt)
    if len(tilts) > 1:
        yield TiltsUntied(tuple(map(_names, tilts)))
    for group in tilts:
        heights = _groups(group, same_height)
        if len(heights) > 1:
            yield HeightsUntied(tuple(map(_names, heights)))


def _names(lines: Sequence[Line]) -> Names:
    return tuple(line.name for line in lines)


def _groups(lines: Sequence[Line], alike: Callable[[Line, Line], bool]) -> list[list[Line]]:
    groups: list[list[Line]] = []
    for line in lines:
        joined = [group for group in groups if any(alike(line, other) for other in group)]
        groups = [group for group in groups if group not in joined]
        groups.append([other for group in joined for other in group] + [line])
    return groups
