"""The target that takes least metal off any number of surfaces at once: a linear programme.

Depths to come off are linear in what is measured and in what the target is free in,

    depth = excess − A p,    0 ≤ depth ≤ most (nothing comes off where a place is to stay untouched,
                                               which then has to lie at or below the target),

p the target's lines, A how they stand at each place.  Least total is asked for first, and of all
targets that take as much the one whose greatest depth is least; or the other way round.  The optimum
stands on the places that it touches; which these are is held fixed for the uncertainty, so that depths
are linear in what was measured.

scipy's dual simplex (HiGHS) solves both programmes.  Derived for this project.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

_SLACK = 1e-9
"""Of the largest excess: what the second programme may add to the optimum of the first, and what counts as
touching."""
_BINDS = 1e-7
"""Multiplier from which a place is one that the optimum stands on."""


class NoTargetError(ValueError):
    """No target fulfils what is wished."""


@dataclass(frozen=True, eq=False)
class Cut:
    """Depths to come off, and what they stand on."""

    depth: NDArray[np.float64]
    """Shape (m,); never negative."""
    target: NDArray[np.float64]
    """p, shape (k,)."""
    target_rows: NDArray[np.float64]
    """How the excesses make the target while it touches where it does, shape (k, m)."""
    rows: NDArray[np.float64]
    """How the excesses make the depths, shape (m, m)."""
    touching: NDArray[np.intp]
    """Places where nothing comes off and which the target rests on."""
    decided_by_greatest: bool
    """Whether several targets take as little, so that the least greatest depth decided between them."""


def least_metal(
    excess: ArrayLike,
    design: ArrayLike,
    *,
    most: float = np.inf,
    is_untouched: ArrayLike | None = None,
    greatest_first: bool = False,
) -> Cut:
    """Find the target that takes least metal.

    Parameters
    ----------
    excess : array, shape (m,)
        What stands above target p = 0, place by place.
    design : array, shape (m, k)
        How much higher the target stands there for each unit of p.
    most : float
        Greatest depth allowed anywhere.
    is_untouched : array of bool, shape (m,), optional
        Places where nothing may come off.
    greatest_first : bool
        Ask for the least greatest depth first, then for the least total.

    Raises
    ------
    NoTargetError
        Where no target fulfils all that.

    Examples
    --------
    Two places carry the line that takes least off these six:

    >>> x = np.arange(0, 1001, 200.0)
    >>> cut = least_metal([0, -6, -11, -9, -2, 1], np.column_stack([np.ones(6), x]))
    >>> cut.depth.round(9).tolist(), cut.touching.tolist()
    ([15.0, 7.0, 0.0, 0.0, 5.0, 6.0], [2, 3])
    """
    height, lines = np.asarray(excess, float), np.asarray(design, float)
    stays = np.zeros(height.size, bool) if is_untouched is None else np.asarray(is_untouched, bool)
    scale = float(np.max(np.abs(height), initial=0.0)) or 1.0
    size = np.max(np.abs(lines), axis=0, initial=0.0)
    size[size == 0.0] = 1.0
    programme = _Programme(height / scale, lines / size, most / scale, stays)
    first = programme.solved("greatest" if greatest_first else "total")
    second = programme.solved("total" if greatest_first else "greatest", first)
    return _cut(programme, first, second, scale, size)


@dataclass(frozen=True, eq=False)
class _Programme:
    """In units of the largest excess and the longest column; the unknowns are p and the greatest depth."""

    height: NDArray
    lines: NDArray
    most: float
    stays: NDArray

    @property
    def below(self) -> tuple[NDArray, NDArray]:
        """Rows and bounds of A p ≤ excess where metal may come off, ≥ where a place stays as it is."""
        sign = np.where(self.stays, -1.0, 1.0)
        rows = np.column_stack([self.lines * sign[:, None], np.zeros(self.height.size)])
        return rows, self.height * sign

    @property
    def deep(self) -> tuple[NDArray, NDArray]:
        """Rows and bounds of excess − A p ≤ greatest depth, where metal may come off."""
        free = ~self.stays
        rows = np.column_stack([-self.lines[free], -np.ones(np.count_nonzero(free))])
        return rows, -self.height[free]

    def cost(self, of: str) -> NDArray:
        """The part of the total, or of the greatest depth, that the unknowns decide."""
        free = np.where(self.stays, 0.0, 1.0 / self.stays.size)
        total = np.append(-(free @ self.lines), 0.0)
        return total if of == "total" else np.append(np.zeros(self.lines.shape[1]), 1.0)

    def solved(
        self, of: str, before: "tuple[str, OptimizeResult] | None" = None
    ) -> "tuple[str, OptimizeResult]":
        """The least of one of the two; of those that make the one before least, where there is one."""
        from scipy.optimize import (
            linprog,  # imported where used: it takes as long as all that other answers need
        )

        rows, bounds = (np.concatenate(pair) for pair in zip(self.below, self.deep, strict=True))
        if before is not None:
            rows = np.vstack([rows, self.cost(before[0])])
            bounds = np.append(bounds, before[1].fun + _SLACK)
        limits = [(None, None)] * self.lines.shape[1] + [
            (None, self.most if np.isfinite(self.most) else None)
        ]
        found = linprog(self.cost(of), A_ub=rows, b_ub=bounds, bounds=limits, method="highs-ds")
        if found.status == 2:
            raise NoTargetError("no target fulfils all wishes")
        if found.status != 0:
            raise ArithmeticError(f"linear programme: {found.message}")
        return of, found


def _cut(
    programme: _Programme,
    first: "tuple[str, OptimizeResult]",
    second: "tuple[str, OptimizeResult]",
    scale: float,
    size: NDArray,
) -> Cut:
    alone, both = _stands_on(programme, first[1]), _stands_on(programme, second[1])
    held, made, bound = (np.concatenate(pair) for pair in zip(alone, both, strict=True))
    inverse = np.linalg.pinv(held, rcond=1e-9)
    # what the solver leaves within its tolerance is made exact by the equations that hold
    solved = second[1].x + inverse @ (made @ programme.height + bound - held @ second[1].x)
    depth = programme.height - programme.lines @ solved[:-1]
    target_rows = (inverse @ made)[:-1]
    rows = np.eye(depth.size) - programme.lines @ target_rows
    rows[programme.stays] = 0.0
    is_on = np.abs(depth) <= _SLACK
    touching = np.flatnonzero(is_on & np.any(made != 0, axis=0))
    decided = np.linalg.matrix_rank(alone[0][:, :-1], tol=1e-9) < programme.lines.shape[1]
    return Cut(
        np.where(programme.stays | is_on, 0.0, depth) * scale,
        solved[:-1] * scale / size,
        target_rows / size[:, None],
        rows,
        touching,
        first[0] == "total" and bool(decided),
    )


def _stands_on(programme: _Programme, found: "OptimizeResult") -> tuple[NDArray, NDArray, NDArray]:
    """The equations that hold at the optimum: their rows, how the excesses stand in them, and constants."""
    multiplier = -found.ineqlin.marginals
    count = programme.height.size
    free = np.flatnonzero(~programme.stays)
    on = np.flatnonzero(multiplier[:count] > _BINDS)
    under = np.flatnonzero(multiplier[count : count + free.size] > _BINDS)
    unit, sign = np.eye(count), np.where(programme.stays, -1.0, 1.0)
    rows = [programme.below[0][on], programme.deep[0][under]]
    made = [unit[on] * sign[on, None], -unit[free[under]]]
    if at_most := bool(np.isfinite(programme.most) and found.upper.marginals[-1] < -_BINDS):
        rows.append(np.append(np.zeros(programme.lines.shape[1]), 1.0)[None, :])
        made.append(np.zeros((1, count)))
    bound = np.append(np.zeros(on.size + under.size), [programme.most] * at_most)
    return np.vstack(rows), np.vstack(made), bound
