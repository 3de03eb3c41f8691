"""What the readings cannot tell, found from the directions that stay free and put into plain words.

A face's shape is known where every free direction changes it by no more than a straight
line; a difference of two faces where it changes both alike. The height and tilt of the
whole are always free and are not spoken of.
"""

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acquire.model.bed import NORMALS, Bed
from analysis.adjust.nodes import Layout
from analysis.observe import Observations

LEAST_OF_A_PART = 3
"""Two heights make no shape: any two lie on a line."""
ALIKE = 1e-9
"""Of the largest movement: what moves by less does not move. A curve that is free bends by less than a
millionth of itself between neighbours once there are a thousand of them."""
NEIGHBOURS = 8
MOST_FOR_ALL_PAIRS = 60


@dataclass(frozen=True, eq=False)
class Line:
    """What is free of one face (or of a vee's sideways deviation, or of an edge)."""

    kind: str
    owner: str
    station_mm: np.ndarray
    free: np.ndarray
    """Shape (n, k): how each free direction moves each height."""
    parts: tuple[np.ndarray, ...]
    """Indices of stations whose heights are known against each other up to a line, largest first."""

    @property
    def is_whole(self) -> bool:
        """Whether the shape is known at every station."""
        return len(self.parts) > 0 and len(self.parts[0]) == len(self.station_mm)

    @property
    def name(self) -> str:
        """What people call it."""
        return {"height": "{}", "side": "{} sideways", "edge": "straightedge {}"}[self.kind].format(
            self.owner
        )


def free_lines(layout: Layout, free: np.ndarray) -> dict[tuple[str, str], Line]:
    """Every line of nodes with its free directions and the parts whose shape is known."""
    size = float(np.max(np.abs(free), initial=0.0))
    lines = {}
    for key, line in layout.lines.items():
        mine = free[layout.indices(*key)]
        lines[key] = Line(*key, line.station_mm, mine, parts_known(line.station_mm, mine, ALIKE * size))
    return lines


def parts_known(station_mm: np.ndarray, free: np.ndarray, tolerance: float) -> tuple[np.ndarray, ...]:
    """Sets of stations whose free movements lie on one straight line along the bed."""
    left = np.arange(len(station_mm))
    parts: list[np.ndarray] = []
    while len(left) >= LEAST_OF_A_PART:
        best = _largest_part(station_mm[left], free[left], tolerance)
        if len(best) < LEAST_OF_A_PART:
            break
        parts.append(left[best])
        left = np.delete(left, best)
    return tuple(sorted(parts, key=len, reverse=True))


def _largest_part(x: np.ndarray, free: np.ndarray, tolerance: float) -> np.ndarray:
    best = np.zeros(0, int)
    seen = np.zeros((0, len(x)), bool)
    for i, j in _pairs(len(x)):
        if np.any(seen[:, i] & seen[:, j]):
            continue
        near = slice(i, min(i + 3 * NEIGHBOURS, len(x)))
        if np.count_nonzero(_on_line(x, free, i, j, tolerance, near)) + (j >= near.stop) < LEAST_OF_A_PART:
            continue
        on_line = _on_line(x, free, i, j, tolerance, slice(None))
        members = np.flatnonzero(on_line)
        seen = np.vstack([seen, on_line])
        if len(members) > len(best):
            best = members
        if len(best) == len(x):
            break
    return best


def _on_line(x: np.ndarray, free: np.ndarray, i: int, j: int, tolerance: float, where: slice) -> np.ndarray:
    """Which stations move along the straight line through the movements of stations i and j."""
    slope = (free[j] - free[i]) / (x[j] - x[i])
    reach = 1 + np.abs(x[where] - x[i]) / abs(x[j] - x[i])
    off = np.max(np.abs(free[where] - free[i] - np.outer(x[where] - x[i], slope)), axis=1, initial=0.0)
    return np.asarray(off <= tolerance * reach)


def _pairs(count: int) -> Iterable[tuple[int, int]]:
    yield 0, count - 1
    reach = count if count <= MOST_FOR_ALL_PAIRS else NEIGHBOURS
    yield from ((i, j) for i in range(count) for j in range(i + 1, min(i + reach, count)))


@dataclass(frozen=True, eq=False)
class Tie:
    """What is known of one line of nodes against another at the stations they share."""

    stations: int
    known: int
    """At how many of them the difference is known, up to what `up_to` says."""
    up_to: str
    """nothing | constant | line | all (not known)."""


def tie(first: Line, second: Line, sense: int) -> Tie:
    """How far first − sense × second is known."""
    here = np.argmin(np.abs(first.station_mm[:, None] - second.station_mm[None, :]), axis=1)
    shared = np.abs(first.station_mm - second.station_mm[here]) < ALIKE
    if np.count_nonzero(shared) < LEAST_OF_A_PART:
        return Tie(int(np.count_nonzero(shared)), 0, "all")
    moves = first.free[shared] - sense * second.free[here[shared]]
    size = ALIKE * max(
        float(np.max(np.abs(first.free), initial=0)), float(np.max(np.abs(second.free), initial=0))
    )
    x = first.station_mm[shared]
    if np.all(np.abs(moves) <= 10 * size):
        return Tie(len(x), len(x), "nothing")
    parts = parts_known(x, moves, 10 * size)
    if not parts:
        return Tie(len(x), 0, "all")
    inside = moves[parts[0]]
    constant = np.all(np.abs(inside - inside[0]) <= 10 * size)
    return Tie(len(x), len(parts[0]), "constant" if constant else "line")


def cannot_tell(
    lines: Mapping[tuple[str, str], Line], observations: Sequence[Observations], bed: Bed
) -> tuple[str, ...]:
    """Everything about the bed that these readings leave open, a sentence each."""
    axes: dict[str, list[Line]] = {"vertical": [], "sideways": []}
    for line in lines.values():
        if line.kind != "edge":
            axes[_axis(line, bed)].append(line)
    words: list[str] = []
    for axis in axes.values():
        unknown = [line for line in axis if not line.parts]
        words += _unknown_shapes(unknown, observations, bed)
        words += [sentence for line in axis if line.parts and not line.is_whole for sentence in _broken(line)]
        words += _lie_of_known([line for line in axis if line.parts], bed)
    words += [
        f"the shape of {line.name} cannot be known from these readings"
        for line in lines.values()
        if line.kind == "edge" and not line.is_whole
    ]
    missing = [name for name in bed.faces if ("height", name) not in lines]
    if missing:
        words.append(f"nothing was measured on {listed(missing)}")
    return tuple(words)


def _axis(line: Line, bed: Bed) -> str:
    if line.kind == "side" or line.owner not in bed.faces:
        return "sideways"
    return "vertical" if bed.faces[line.owner].upward else "sideways"


def sense_between(first: Line, second: Line, bed: Bed) -> int:
    """+1 where both deviations count the same way, −1 where they are opposite."""
    return _direction(first, bed) * _direction(second, bed)


def _direction(line: Line, bed: Bed) -> int:
    if line.kind == "side" or line.owner not in bed.faces:
        return 1
    return sum(NORMALS[bed.faces[line.owner].normal])


def _unknown_shapes(unknown: Sequence[Line], observations: Sequence[Observations], bed: Bed) -> list[str]:
    """Sentences for lines none of whose shape is known, grouped by which are known against each other."""
    ties = {
        frozenset((a.name, b.name)): tie(a, b, sense_between(a, b, bed))
        for a, b in itertools.combinations(unknown, 2)
    }
    words = []
    for group in _groups(unknown, lambda a, b: ties[frozenset((a.name, b.name))].known > 0):
        names = listed([line.name for line in group])
        inside = [ties[frozenset((a.name, b.name))] for a, b in itertools.combinations(group, 2)]
        if len(group) == 1:
            words.append(f"the shape of {names} cannot be known: {_why(group[0], observations)}")
        elif len(group) == 2:
            both = names.replace(" and ", " nor ")
            words.append(f"the shape of neither {both} can be known, only {_how_known(inside)}")
        else:
            words.append(f"the shape of none of {names} can be known, only {_how_known(inside)}")
    return words


def _how_known(ties: Sequence[Tie]) -> str:
    what = "their difference" if len(ties) == 1 else "the difference of any two"
    known, count = min((one.known, one.stations) for one in ties)
    where = "at every station" if known == count else f"at {known} of {count} stations"
    worst = max((one.up_to for one in ties), key=["nothing", "constant", "line", "all"].index)
    up_to = {
        "nothing": "",
        "constant": ", up to the zeros of the runs",
        "line": ", up to a straight line",
        "all": ", and not of every pair",
    }[worst]
    return f"{what} {where}{up_to}"


def _why(line: Line, observations: Sequence[Observations]) -> str:
    touching = [each for each in observations if line.owner in each.faces]
    kinds = {each.quantity for each in touching}
    if kinds <= {"roll"}:
        return "a level across tells only how one way lies against another"
    if kinds <= {"offset", "span"}:
        return "what the indicator was carried along or read against is itself not known"
    return "too few readings tie its stations together"


def in_parts(line: Line) -> tuple[str, ...]:
    """The sentence for a face that falls into parts, as steps of half a base leave it; else nothing."""
    if len(line.parts) < 2:
        return ()
    shown = " and ".join(f"({_few(line.station_mm[part])})" for part in line.parts)
    return (
        f"{line.name} falls into {len(line.parts)} parts that nothing ties together, {shown}: the shape "
        "of each is known, not how one lies against the other; closer steps are then no better than "
        "steps of a whole base",
    )


def _broken(line: Line) -> list[str]:
    """Sentences for a face of which only parts are known."""
    words = list(in_parts(line))
    inside = set(np.concatenate(line.parts).tolist())
    outside = [index for index in range(len(line.station_mm)) if index not in inside]
    if outside:
        words.append(f"the height of {line.name} at {_few(line.station_mm[outside])} mm cannot be known")
    return words


def _lie_of_known(known: Sequence[Line], bed: Bed) -> list[str]:
    """Sentences on how faces of known shape lie against each other."""
    size = max((float(np.max(np.abs(line.free), initial=0.0)) for line in known), default=0.0)

    def lie(line: Line) -> tuple[np.ndarray, np.ndarray]:
        part = line.parts[0]
        i, j = part[0], part[-1]
        tilt = (line.free[j] - line.free[i]) * _direction(line, bed)
        tilt = tilt / (line.station_mm[j] - line.station_mm[i])
        return tilt, line.free[i] * _direction(line, bed) - tilt * line.station_mm[i]

    def same_tilt(a: Line, b: Line) -> bool:
        reach = max(float(np.ptp(line.station_mm)) for line in (a, b))
        return bool(np.all(np.abs(lie(a)[0] - lie(b)[0]) * reach <= 100 * ALIKE * size))

    def same_height(a: Line, b: Line) -> bool:
        return same_tilt(a, b) and bool(np.all(np.abs(lie(a)[1] - lie(b)[1]) <= 100 * ALIKE * size))

    words = []
    tilts = _groups(known, same_tilt)
    if len(tilts) > 1:
        names = _against([listed([line.name for line in group]) for group in tilts])
        words.append(
            f"the wind or taper between {names} cannot be told: nothing ties the tilt of one to the tilt of "
            "the other (a level across, or one zero for both, would)"
        )
    for group in tilts:
        heights = _groups(group, same_height)
        if len(heights) > 1:
            names = _against([listed([line.name for line in part]) for part in heights])
            words.append(
                f"how high {names} lie against each other is not known, only how that changes along the bed"
            )
    return words


def _against(names: Sequence[str]) -> str:
    return listed([f"({name})" if " and " in name else name for name in names])


def _groups(lines: Sequence[Line], alike: Callable[[Line, Line], bool]) -> list[list[Line]]:
    groups: list[list[Line]] = []
    for line in lines:
        joined = [group for group in groups if any(alike(line, other) for other in group)]
        groups = [group for group in groups if group not in joined]
        groups.append([other for group in joined for other in group] + [line])
    return groups


def _few(station_mm: np.ndarray) -> str:
    shown = [f"{mm:g}" for mm in station_mm]
    return ", ".join(shown) if len(shown) <= 6 else ", ".join((*shown[:3], "…", shown[-1]))


def listed(names: Sequence[str]) -> str:
    """Names as people list them.

    Examples
    --------
    >>> listed(["a", "b", "c"])
    'a, b and c'
    """
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
