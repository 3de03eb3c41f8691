"""What the rest says once some readings are set aside: each is given an error of its own to fit.

With D the whitened unit errors of those readings and R = I − A N⁻ Aᵀ (rows whitened), their errors
are e = (Dᵀ R D)⁻¹ Dᵀ v, v being the residuals; what is left is v − R D e, and chi-square falls by
Dᵀv · e. Textbook formulas of the test for several blunders at once.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from analysis.adjust.solution import Solution

MOST_SET_ASIDE = 10
HANGS_TOGETHER = 0.15
"""Correlation of two errors from which one may be taken for the other."""
LEAST_SHOWN = 1e-6
"""Share of its variance: of an error that shows less, nothing can be said."""


@dataclass(frozen=True, eq=False)
class Aside:
    """The adjustment with some readings set aside."""

    error: Mapping[int, float]
    """What each of those is off by."""
    normalised: np.ndarray
    """Normalised residuals of all others; zero of those set aside and of what nothing checks."""
    chi_square: float
    """What is left."""


@dataclass(frozen=True, eq=False)
class Greedy:
    """Readings set aside one after another, the worst first, until none stands out."""

    taken: tuple[int, ...]
    seen: tuple[np.ndarray, ...]
    """Normalised residuals from which each was taken."""
    aside: Aside | None
    """With all of them; None where none was taken, or too many to tell."""
    is_finished: bool
    """Whether none is left that stands out."""


@dataclass(frozen=True, eq=False)
class SettingAside:
    """Sets readings of one adjustment aside; the first `blocks` of its blocks are readings."""

    solution: Solution
    blocks: int

    def greedily(self, normalised: np.ndarray, level: float, trusted: frozenset[int] = frozenset()) -> Greedy:
        """Set aside the worst of those beyond `level` until none is; never one that is trusted."""
        taken: list[int] = []
        seen: list[np.ndarray] = []
        aside: Aside | None = None
        now, may_go = normalised, np.array([i not in trusted for i in range(len(normalised))], bool)
        while len(taken) < MOST_SET_ASIDE and np.max(np.abs(now[may_go]), initial=0.0) > level:
            worst = int(np.argmax(np.where(may_go, np.abs(now), 0.0)))
            taken.append(worst)
            seen.append(now)
            aside = self.without(taken)
            if aside is None:
                return Greedy(tuple(taken), tuple(seen), None, False)
            now = aside.normalised
        is_finished = bool(np.max(np.abs(now), initial=0.0) <= level)
        return Greedy(tuple(taken), tuple(seen), aside, is_finished)

    def without(self, taken: Sequence[int]) -> Aside | None:
        """All with these set aside; None where their errors cannot be told from each other."""
        chosen = sorted(taken)
        directions = [self._direction(index) for index in chosen]
        shown = [self._shown(direction) for direction in directions]
        cross = np.array([[_dot(a, b) for b in shown] for a in directions])
        pulls = np.array([_dot(direction, self.solution.leftover) for direction in directions])
        if np.linalg.matrix_rank(cross) < len(chosen):
            return None
        error, inverse = np.linalg.solve(cross, pulls), np.linalg.inv(cross)
        left = [
            part - sum(e * s[k] for e, s in zip(error, shown, strict=True))
            for k, part in enumerate(self.solution.leftover)
        ]
        normalised = self._normalised(left, shown, inverse)
        normalised[chosen] = 0.0
        return Aside(
            dict(zip(chosen, error.tolist(), strict=True)),
            normalised,
            float(sum(part @ part for part in self.solution.leftover) - pulls @ error),
        )

    def together(self, taken: Sequence[int]) -> list[tuple[int, ...]]:
        """Readings whose errors look alike, a group each."""
        directions = [self._direction(index) for index in taken]
        shown = [self._shown(direction) for direction in directions]
        cross = np.array([[_dot(a, b) for b in shown] for a in directions])
        size = np.sqrt(np.diag(cross))
        alike = np.abs(cross) > HANGS_TOGETHER * np.outer(size, size)
        return [tuple(taken[k] for k in group) for group in _connected(alike)]

    def _normalised(
        self, left: Sequence[np.ndarray], shown: Sequence[Sequence[np.ndarray]], inverse: np.ndarray
    ) -> np.ndarray:
        found = []
        for k, block in enumerate(self.solution.blocks[: self.blocks]):
            back = block.whitener.T
            mixed = back @ np.column_stack([part[k] for part in shown])
            weight = self.solution.reliability[k].weight - np.einsum("ia,ab,ib->i", mixed, inverse, mixed)
            good = weight * block.variance > LEAST_SHOWN
            found.append(np.where(good, (back @ left[k]) / np.sqrt(np.where(good, weight, 1.0)), 0.0))
        return np.concatenate(found)

    def _direction(self, index: int) -> list[np.ndarray]:
        """A unit error of one reading in whitened rows."""
        parts = [np.zeros(len(left)) for left in self.solution.leftover]
        first = np.cumsum([0, *(len(block.value) for block in self.solution.blocks[: self.blocks])])
        k = int(np.searchsorted(first, index, side="right")) - 1
        parts[k] = self.solution.blocks[k].whitener[:, [index - first[k]]].toarray().ravel()
        return parts

    def _shown(self, direction: Sequence[np.ndarray]) -> list[np.ndarray]:
        """What of an error stays in the residuals."""
        whitened = [block.whitened for block in self.solution.blocks]
        pulled = sum(rows.T @ part for rows, part in zip(whitened, direction, strict=True))
        moved = self.solution.fit.solve(np.asarray(pulled))
        return [part - rows @ moved for rows, part in zip(whitened, direction, strict=True)]


def _dot(first: Sequence[np.ndarray], second: Sequence[np.ndarray]) -> float:
    return float(sum(a @ b for a, b in zip(first, second, strict=True)))


def _connected(alike: np.ndarray) -> Iterator[tuple[int, ...]]:
    left = set(range(len(alike)))
    while left:
        group, frontier = set(), [min(left)]
        while frontier:
            one = frontier.pop()
            if one not in group:
                group.add(one)
                frontier += np.flatnonzero(alike[one]).tolist()
        left -= group
        yield tuple(sorted(group))
