"""What the readings say about each other: residuals, outliers, slips, and what nothing checks.

For each reading: its residual v, its redundancy r (the share of an error in it that shows
in the residual), the normalised residual w = v/(σ√r), and the smallest error that would
be noticed, 4.13σ/√r (found with 80 % probability by a test that a good reading fails once
in a thousand). Formulas in their form for correlated readings; see, for instance, the
textbook treatment of reliability in geodetic networks.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from acquire.model.quantity import QUANTITIES
from acquire.model.slips import slip_of_reading
from analysis.adjust.solution import Solution
from analysis.observe import Observations

SMALLEST_DETECTABLE = 4.13
ALARM_PROBABILITY = 0.01
"""That a set of good readings raises any alarm."""
RUNNER_UP_WITHIN = 0.3
LEAST_REDUNDANCY = 0.1
MOST_SUSPECTS = 10
NOTHING = 1e-9


@dataclass(frozen=True, eq=False)
class Residuals:
    """One entry per reading, in the order of the traverses; contract units."""

    traverse: np.ndarray
    instrument: tuple[str, ...]
    quantity: tuple[str, ...]
    station_mm: np.ndarray
    reading: np.ndarray
    residual: np.ndarray
    """Reading minus what all readings together make of it."""
    standard_uncertainty: np.ndarray
    redundancy: np.ndarray
    normalised: np.ndarray
    """NaN where nothing checks the reading."""
    smallest_detectable: np.ndarray
    predicted: np.ndarray
    """What all other readings make of it; NaN where they cannot."""
    predicted_uncertainty: np.ndarray
    """Of reading minus prediction."""

    def __len__(self) -> int:
        return len(self.reading)


@dataclass(frozen=True)
class Suspect:
    """A reading that the others contradict."""

    traverse: int
    station_mm: float
    reading: float
    normalised_residual: float
    predicted: float
    """What the others make of it."""
    words: str
    runner_up: bool = False
    """It could as well be this one as the one before."""


@dataclass(frozen=True)
class Unchecked:
    """A reading that nothing checks."""

    traverse: int
    station_mm: float


def residual_table(solution: Solution, observations: Sequence[Observations]) -> Residuals:
    """Residuals and reliability of every reading."""
    columns = [_of_block(solution, index) for index in range(len(observations))]
    left, redundancy, normalised, detectable, error, error_sd = (
        np.concatenate([column[k] for column in columns]) for k in range(6)
    )
    reading = np.concatenate([each.reading for each in observations])
    return Residuals(
        np.concatenate([np.full(len(each), each.traverse) for each in observations]),
        tuple(each.instrument for each in observations for _ in range(len(each))),
        tuple(each.quantity for each in observations for _ in range(len(each))),
        np.concatenate([each.station_mm for each in observations]),
        reading,
        left,
        np.sqrt(np.concatenate([block.variance for block in solution.blocks[: len(observations)]])),
        redundancy,
        normalised,
        detectable,
        reading - error,
        error_sd,
    )


def _of_block(solution: Solution, index: int) -> tuple[np.ndarray, ...]:
    block, shown = solution.blocks[index], solution.reliability[index]
    pull = block.whitener.T @ solution.leftover[index]
    checked = shown.weight * np.mean(block.variance) > NOTHING
    root = np.sqrt(np.where(checked, shown.weight, 1.0))
    nothing = np.where(checked, 1.0, np.nan)
    return (
        solution.residuals[index],
        shown.redundancy,
        nothing * pull / root,
        np.where(checked, SMALLEST_DETECTABLE / root, np.inf),
        nothing * pull / root**2,
        nothing / root,
    )


def alarm_level(readings: int) -> float:
    """|w| that the largest of so many good readings exceeds once in a hundred sets (Bonferroni).

    Examples
    --------
    >>> round(alarm_level(1), 2), round(alarm_level(100), 2)
    (2.58, 3.89)
    """
    return float(-ndtri(ALARM_PROBABILITY / 2 / max(readings, 1)))


def unchecked(table: Residuals) -> tuple[Unchecked, ...]:
    """Readings with a redundancy below 0.1: an error in them would hardly show.

    Heights from dense runs are not among them: many samples check each other there.
    """
    return tuple(
        Unchecked(int(table.traverse[i]), float(table.station_mm[i]))
        for i in np.flatnonzero(table.redundancy < LEAST_REDUNDANCY)
        if table.quantity[i] != "heights"
    )


def find_suspects(
    solution: Solution, observations: Sequence[Observations], table: Residuals, noise: float = 1.0
) -> tuple[Suspect, ...]:
    """Readings that cannot be right, the worst first; each is set aside before the next is judged.

    Parameters
    ----------
    noise : float
        By what all readings together are noisier than claimed, so that honest noise is
        not taken for slips.
    """
    level = alarm_level(int(np.count_nonzero(np.isfinite(table.normalised)))) * noise
    w = np.where(np.isfinite(table.normalised), table.normalised, 0.0)
    found: dict[int, Suspect] = {}
    taken: list[int] = []
    while len(taken) < MOST_SUSPECTS and np.max(np.abs(w), initial=0.0) > level:
        worst = int(np.argmax(np.abs(w)))
        found[worst] = _suspect(table, worst, w[worst], noise)
        close = np.abs(w) >= abs(w[worst]) - RUNNER_UP_WITHIN
        for index in np.flatnonzero(close):
            found.setdefault(int(index), _suspect(table, int(index), w[index], noise, runner_up=True))
        taken.append(worst)
        w = _without(solution, observations, table, taken)
    return tuple(found.values())


def _suspect(table: Residuals, index: int, w: float, noise: float, runner_up: bool = False) -> Suspect:
    return Suspect(
        int(table.traverse[index]),
        float(table.station_mm[index]),
        float(table.reading[index]),
        float(w),
        float(table.predicted[index]),
        slip_words(
            table.reading[index],
            table.predicted[index],
            table.predicted_uncertainty[index] * noise,
            table.quantity[index],
        ),
        runner_up,
    )


def slip_words(reading: float, predicted: float, uncertainty: float, quantity: str) -> str:
    """What slip would explain a reading that the others contradict; empty where none does.

    Examples
    --------
    >>> slip_words(1.2, 12.1, 0.3, "slope")
    'a decimal place (ten times too small)?'
    >>> slip_words(5.0, 17.0, 0.3, "slope")
    ''
    """
    if quantity not in QUANTITIES:
        return ""
    found = slip_of_reading(reading, predicted, uncertainty, QUANTITIES[quantity])
    return f"{found}?" if found else ""


def _without(
    solution: Solution, observations: Sequence[Observations], table: Residuals, taken: Sequence[int]
) -> np.ndarray:
    """Normalised residuals with some readings set aside (each given an error of its own to fit)."""
    first = np.cumsum([0, *(len(each) for each in observations)])
    chosen = sorted(taken)
    directions = [_direction(solution, first, index) for index in chosen]
    shown = [_shown(solution, direction) for direction in directions]
    cross = np.array([[_dot(a, b) for b in shown] for a in directions])
    pulls = np.array([_dot(direction, solution.leftover) for direction in directions])
    if np.linalg.matrix_rank(cross) < len(chosen):
        return np.zeros(len(table))
    amount = np.linalg.solve(cross, pulls)
    inverse = np.linalg.inv(cross)
    left = [
        part - sum(a * s[k] for a, s in zip(amount, shown, strict=True))
        for k, part in enumerate(solution.leftover)
    ]
    w = np.zeros(len(table))
    for k, block in enumerate(solution.blocks[: len(observations)]):
        rows = slice(first[k], first[k + 1])
        back = block.whitener.T
        mixed = back @ np.column_stack([part[k] for part in shown])
        weight = solution.reliability[k].weight - np.einsum("ia,ab,ib->i", mixed, inverse, mixed)
        good = weight * block.variance > 1e-6
        w[rows] = np.where(good, (back @ left[k]) / np.sqrt(np.where(good, weight, 1.0)), 0.0)
    w[chosen] = 0.0
    return w


def _direction(solution: Solution, first: np.ndarray, index: int) -> list[np.ndarray]:
    """A unit error of one reading in whitened rows."""
    parts = [np.zeros(len(left)) for left in solution.leftover]
    k = int(np.searchsorted(first, index, side="right")) - 1
    parts[k] = solution.blocks[k].whitener[:, [index - first[k]]].toarray().ravel()
    return parts


def _shown(solution: Solution, direction: list[np.ndarray]) -> list[np.ndarray]:
    """What of an error stays in the residuals."""
    whitened = [block.whitened for block in solution.blocks]
    pulled = sum(rows.T @ part for rows, part in zip(whitened, direction, strict=True))
    moved = solution.fit.solve(np.asarray(pulled))
    return [part - rows @ moved for rows, part in zip(whitened, direction, strict=True)]


def _dot(first: Sequence[np.ndarray], second: Sequence[np.ndarray]) -> float:
    return float(sum(a @ b for a, b in zip(first, second, strict=True)))
