"""Which heights the readings determine, found from the null space of the adjustment.

Unknowns y with readings A y = l are determined up to the null space N of A (A N = 0): a
combination c·y is estimable where c·N = 0.  A face's shape is, where every column of N
changes it by no more than a straight line; a difference of two faces, where it changes both
alike.  The height and tilt of the whole are always free and are not spoken of.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np

from analysis.adjust.nodes import Layout
from analysis.linear.profile import in_common

LEAST_OF_A_PART = 3
"""Two heights make no shape: any two lie on a line."""
ALIKE = 1e-9
"""Of the largest movement: what moves by less does not move. A curve that is free bends by less than a
millionth of itself between neighbours once there are a thousand of them."""
NEIGHBOURS = 8
MOST_FOR_ALL_PAIRS = 60
PAIRS_AT_ONCE = 500


@dataclass(frozen=True, eq=False)
class Line:
    """What the readings determine of one face (or of a vee's sideways deviation, or of an edge)."""

    kind: str
    owner: str
    station_mm: np.ndarray
    null_space: np.ndarray
    """Its rows of the null space, shape (n, k): how each undetermined direction moves each height."""
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


def lines_of(layout: Layout, null_space: np.ndarray) -> dict[tuple[str, str], Line]:
    """Every line of nodes with its rows of the null space and the parts whose shape is known."""
    size = float(np.max(np.abs(null_space), initial=0.0))
    lines = {}
    for key, line in layout.lines.items():
        mine = null_space[layout.indices(*key)]
        lines[key] = Line(*key, line.station_mm, mine, parts_known(line.station_mm, mine, ALIKE * size))
    return lines


def parts_known(station_mm: np.ndarray, null_space: np.ndarray, tolerance: float) -> tuple[np.ndarray, ...]:
    """Sets of stations whose free movements lie on one straight line along the bed."""
    left = np.arange(len(station_mm))
    parts: list[np.ndarray] = []
    while len(left) >= LEAST_OF_A_PART:
        best = _largest_part(station_mm[left], null_space[left], tolerance)
        if len(best) < LEAST_OF_A_PART:
            break
        parts.append(left[best])
        left = np.delete(left, best)
    return tuple(sorted(parts, key=len, reverse=True))


def _largest_part(x: np.ndarray, null_space: np.ndarray, tolerance: float) -> np.ndarray:
    whole = np.flatnonzero(_on_line(x, null_space, 0, len(x) - 1, tolerance))
    if len(whole) == len(x):
        return whole
    best = whole
    seen = np.zeros((0, len(x)), bool)
    for i, j in _promising(x, null_space, tolerance):
        if np.any(seen[:, i] & seen[:, j]):
            continue
        on_line = _on_line(x, null_space, i, j, tolerance)
        members = np.flatnonzero(on_line)
        seen = np.vstack([seen, on_line])
        if len(members) > len(best):
            best = members
    return best


def _promising(x: np.ndarray, null_space: np.ndarray, tolerance: float) -> Iterator[tuple[int, int]]:
    """Pairs of stations on whose line a third one moves, at the first of them or soon after."""
    pairs = np.array(list(_pairs(len(x))))
    for some in np.array_split(pairs, max(len(pairs) // PAIRS_AT_ONCE, 1)):
        i, j = some.T
        near = i[:, None] + np.arange(min(3 * NEIGHBOURS, len(x)))
        is_there = near < len(x)
        near = np.minimum(near, len(x) - 1)
        on_line = _on_line(x, null_space, i[:, None], j[:, None], tolerance, near) & is_there
        count = np.count_nonzero(on_line, axis=1) + (j >= i + 3 * NEIGHBOURS)
        yield from map(tuple, some[count >= LEAST_OF_A_PART].tolist())


def _on_line(
    x: np.ndarray,
    null_space: np.ndarray,
    i: int | np.ndarray,
    j: int | np.ndarray,
    tolerance: float,
    where: slice | np.ndarray = slice(None),
) -> np.ndarray:
    """Which stations move along the straight line through the movements of stations i and j."""
    share = (x[where] - x[i]) / (x[j] - x[i])
    reach = 1 + np.abs(share)
    straight = null_space[i] + share[..., None] * (null_space[j] - null_space[i])
    off = np.max(np.abs(null_space[where] - straight), axis=-1, initial=0.0)
    return np.asarray(off <= tolerance * reach)


def _pairs(count: int) -> Iterable[tuple[int, int]]:
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
    mine, theirs = in_common(first.station_mm, second.station_mm)
    if len(mine) < LEAST_OF_A_PART:
        return Tie(len(mine), 0, "all")
    moves = first.null_space[mine] - sense * second.null_space[theirs]
    size = ALIKE * max(
        float(np.max(np.abs(first.null_space), initial=0)),
        float(np.max(np.abs(second.null_space), initial=0)),
    )
    x = first.station_mm[mine]
    if np.all(np.abs(moves) <= 10 * size):
        return Tie(len(x), len(x), "nothing")
    parts = parts_known(x, moves, 10 * size)
    if not parts:
        return Tie(len(x), 0, "all")
    inside = moves[parts[0]]
    constant = np.all(np.abs(inside - inside[0]) <= 10 * size)
    return Tie(len(x), len(parts[0]), "constant" if constant else "line")
