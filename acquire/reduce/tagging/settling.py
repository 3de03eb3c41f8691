"""How an instrument settles after a move: one or two time constants, the same for all dwells.

Each dwell k is read as  level_k + Σ_m amplitude_km · exp(−t/T_m),  t from its start.
Levels and amplitudes are linear and differ between dwells; the time constants belong to
the instrument and are searched for jointly over all dwells.  How many there are (none,
one, two) is decided by the Bayesian information criterion, with the number of samples
reduced by their autocorrelation, so that slow noise is not taken for settling.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.reduce.tagging.scatter import autocorrelation_time

SHORTEST_TIME_CONSTANT_S = 0.1
LONGEST_TIME_CONSTANT_S = 30.0
MOST_SAMPLES = 300
"""Of one dwell in the search; longer ones are averaged in blocks first."""


@dataclass(frozen=True, eq=False)
class DwellSamples:
    """The readings of one dwell; `time_s` from its start."""

    time_s: np.ndarray
    reading: np.ndarray


@dataclass(frozen=True, eq=False)
class Settling:
    """What the dwells together say of the instrument's settling."""

    time_constants_s: tuple[float, ...]
    """None where nothing settles visibly; the longer last."""
    time_constant_uncertainties_s: tuple[float, ...]
    correlated_samples: float
    """Samples of the stream that count as one."""
    deviation: float
    """Standard deviation of the readings about the fit."""


def basis(time_s: np.ndarray, time_constants_s: Sequence[float]) -> np.ndarray:
    """Columns 1, exp(−t/T_1), ... of the fit, one row per sample."""
    return np.column_stack([np.ones(len(time_s)), *(np.exp(-time_s / T) for T in time_constants_s)])


def fit_settling(dwells: Sequence[DwellSamples]) -> Settling:
    """Time constants of the settling, from all dwells jointly.

    Examples
    --------
    >>> t = np.arange(0, 8, 0.05)
    >>> ripple = 0.2 * np.sin(2 * np.pi * 1.7 * t)
    >>> fit = fit_settling([DwellSamples(t, 100 + a * np.exp(-t) + ripple) for a in (50, -80, 30)])
    >>> [round(T, 2) for T in fit.time_constants_s]
    [1.0]
    """
    usable = [_thinned(d) for d in dwells if len(d.time_s) >= 6]
    if not usable:
        return Settling((), (), 1.0, 0.0)
    joined = _Joined(usable)
    longest = min(LONGEST_TIME_CONSTANT_S, max(d.time_s[-1] for d in usable) / 2)
    orders: list[tuple[float, ...]] = [()]
    if longest > 2 * SHORTEST_TIME_CONSTANT_S:
        grid = np.geomspace(SHORTEST_TIME_CONSTANT_S, longest, 24)
        orders.append(_best_one(joined, grid))
        orders.append(_best_two(joined, grid))
    correlated = autocorrelation_time(joined.by_dwell(joined.residuals(orders[-1])))
    chosen = min(orders, key=lambda constants: _criterion(joined, constants, correlated))
    residuals = joined.residuals(chosen)
    variance = float(residuals @ residuals) / max(_free_samples(joined, chosen), 1)
    return Settling(
        chosen,
        _uncertainties(joined, chosen, variance * correlated),
        autocorrelation_time(joined.by_dwell(residuals)) * _thinning(dwells, joined),
        float(np.sqrt(variance)),
    )


class _Joined:
    """Dwells end to end: sums of each are one pass over all, as the search asks for hundreds of fits."""

    def __init__(self, dwells: Sequence[DwellSamples]) -> None:
        self.counts = np.array([len(d.time_s) for d in dwells])
        self.first = np.cumsum(self.counts) - self.counts
        self._time_s = np.concatenate([d.time_s for d in dwells])
        self._reading = self._centred(np.concatenate([d.reading for d in dwells]))

    def residuals(self, constants: Sequence[float]) -> np.ndarray:
        """What least squares of each dwell leave of its readings: Gram and Schmidt's, level first."""
        left, columns = self._reading, list[np.ndarray]()
        for constant in constants:
            column = self._centred(np.exp(-self._time_s / constant))
            for before in columns:
                column = self._without(column, before)
            left = self._without(left, column)
            columns.append(column)
        return left

    def sum_of_squares(self, constants: Sequence[float]) -> float:
        """Of the residuals of all dwells."""
        left = self.residuals(constants)
        return float(left @ left)

    def by_dwell(self, values: np.ndarray) -> list[np.ndarray]:
        """Values of all samples, dwell by dwell."""
        return np.split(values, self.first[1:])

    def _centred(self, values: np.ndarray) -> np.ndarray:
        return values - np.repeat(np.add.reduceat(values, self.first) / self.counts, self.counts)

    def _without(self, values: np.ndarray, column: np.ndarray) -> np.ndarray:
        """Values less what goes with the column, dwell by dwell; a column of zeros takes nothing."""
        size = np.add.reduceat(column * column, self.first)
        share = np.add.reduceat(values * column, self.first) / np.where(size > 0, size, 1.0)
        return values - np.repeat(share, self.counts) * column


def _thinned(dwell: DwellSamples) -> DwellSamples:
    block = -(-len(dwell.time_s) // MOST_SAMPLES)
    if block <= 1:
        return dwell
    whole = len(dwell.time_s) // block * block
    return DwellSamples(
        dwell.time_s[:whole].reshape(-1, block).mean(axis=1),
        dwell.reading[:whole].reshape(-1, block).mean(axis=1),
    )


def _thinning(dwells: Sequence[DwellSamples], thinned: _Joined) -> float:
    before = sum(len(d.time_s) for d in dwells if len(d.time_s) >= 6)
    return before / int(thinned.counts.sum())


def _zoomed(centre: float, ratio: float, lowest: float, highest: float) -> np.ndarray:
    return np.clip(centre * np.geomspace(1 / ratio, ratio, 9), lowest, highest)


def _best_one(dwells: _Joined, grid: np.ndarray) -> tuple[float, ...]:
    """One time constant by a grid that is narrowed four times."""
    places, ratio = grid, float(grid[1] / grid[0])
    for _ in range(5):
        best = float(min(places, key=lambda T: dwells.sum_of_squares((T,))))
        places, ratio = _zoomed(best, ratio, grid[0], grid[-1]), ratio**0.3
    return (best,)


def _best_two(dwells: _Joined, grid: np.ndarray) -> tuple[float, ...]:
    """Two time constants, at least a factor of two apart (closer ones cannot be told from one)."""
    coarse, ratio = grid[::2], float(grid[2] / grid[0])
    pairs = [(a, b) for a, b in itertools.combinations(coarse, 2) if b >= 2 * a]
    best = min(pairs, key=dwells.sum_of_squares)
    for _ in range(4):
        ratio = ratio**0.5
        short, long = (np.clip(T * np.geomspace(1 / ratio, ratio, 5), grid[0], grid[-1]) for T in best)
        near = [(a, b) for a, b in itertools.product(short, long) if b >= 2 * a]
        best = min(near or [best], key=dwells.sum_of_squares)
    return (float(best[0]), float(best[1]))


def _free_samples(dwells: _Joined, constants: Sequence[float]) -> int:
    return int(dwells.counts.sum()) - _unknowns(dwells, constants)


def _unknowns(dwells: _Joined, constants: Sequence[float]) -> int:
    return len(dwells.counts) * (1 + len(constants)) + len(constants)


def _criterion(dwells: _Joined, constants: Sequence[float], correlated: float) -> float:
    """Bayesian information criterion; smaller is better."""
    samples = int(dwells.counts.sum())
    independent = samples / correlated
    unknowns = _unknowns(dwells, constants)
    if independent <= unknowns + 1:
        return np.inf if constants else 0.0
    spread = max(dwells.sum_of_squares(constants) / samples, 1e-18)
    return independent * float(np.log(spread)) + unknowns * float(np.log(independent))


def _uncertainties(dwells: _Joined, constants: tuple[float, ...], variance: float) -> tuple[float, ...]:
    """Standard uncertainties of the time constants, from the curvature of the sum of squares."""
    if not constants:
        return ()
    columns = []
    for index, constant in enumerate(constants):
        step = 0.01 * constant
        up, down = list(constants), list(constants)
        up[index], down[index] = constant + step, constant - step
        columns.append((dwells.residuals(up) - dwells.residuals(down)) / (2 * step))
    slopes = np.column_stack(columns)
    covariance = variance * np.linalg.pinv(slopes.T @ slopes)
    return tuple(float(np.sqrt(max(value, 0.0))) for value in np.diag(covariance))
