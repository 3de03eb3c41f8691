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
    longest = min(LONGEST_TIME_CONSTANT_S, max(d.time_s[-1] for d in usable) / 2)
    orders: list[tuple[float, ...]] = [()]
    if longest > 2 * SHORTEST_TIME_CONSTANT_S:
        grid = np.geomspace(SHORTEST_TIME_CONSTANT_S, longest, 24)
        orders.append(_best_one(usable, grid))
        orders.append(_best_two(usable, grid))
    correlated = autocorrelation_time(_residuals(usable, orders[-1]))
    chosen = min(orders, key=lambda constants: _criterion(usable, constants, correlated))
    residuals = _residuals(usable, chosen)
    free = _free_samples(usable, chosen)
    variance = sum(float(r @ r) for r in residuals) / max(free, 1)
    return Settling(
        chosen,
        _uncertainties(usable, chosen, variance * correlated),
        autocorrelation_time(residuals) * _thinning(dwells, usable),
        float(np.sqrt(variance)),
    )


def _thinned(dwell: DwellSamples) -> DwellSamples:
    block = -(-len(dwell.time_s) // MOST_SAMPLES)
    if block <= 1:
        return dwell
    whole = len(dwell.time_s) // block * block
    return DwellSamples(
        dwell.time_s[:whole].reshape(-1, block).mean(axis=1),
        dwell.reading[:whole].reshape(-1, block).mean(axis=1),
    )


def _thinning(dwells: Sequence[DwellSamples], thinned: Sequence[DwellSamples]) -> float:
    before = sum(len(d.time_s) for d in dwells if len(d.time_s) >= 6)
    return before / sum(len(d.time_s) for d in thinned)


def _residuals(dwells: Sequence[DwellSamples], constants: Sequence[float]) -> list[np.ndarray]:
    found = []
    for dwell in dwells:
        q, _ = np.linalg.qr(basis(dwell.time_s, constants))
        found.append(dwell.reading - q @ (q.T @ dwell.reading))
    return found


def _sum_of_squares(dwells: Sequence[DwellSamples], constants: Sequence[float]) -> float:
    return sum(float(r @ r) for r in _residuals(dwells, constants))


def _zoomed(centre: float, ratio: float, lowest: float, highest: float) -> np.ndarray:
    return np.clip(centre * np.geomspace(1 / ratio, ratio, 9), lowest, highest)


def _best_one(dwells: Sequence[DwellSamples], grid: np.ndarray) -> tuple[float, ...]:
    """One time constant by a grid that is narrowed four times."""
    places, ratio = grid, float(grid[1] / grid[0])
    for _ in range(5):
        best = float(min(places, key=lambda T: _sum_of_squares(dwells, (T,))))
        places, ratio = _zoomed(best, ratio, grid[0], grid[-1]), ratio**0.3
    return (best,)


def _best_two(dwells: Sequence[DwellSamples], grid: np.ndarray) -> tuple[float, ...]:
    """Two time constants, at least a factor of two apart (closer ones cannot be told from one)."""
    coarse, ratio = grid[::2], float(grid[2] / grid[0])
    pairs = [(a, b) for a, b in itertools.combinations(coarse, 2) if b >= 2 * a]
    best = min(pairs, key=lambda pair: _sum_of_squares(dwells, pair))
    for _ in range(4):
        ratio = ratio**0.5
        short, long = (np.clip(T * np.geomspace(1 / ratio, ratio, 5), grid[0], grid[-1]) for T in best)
        near = [(a, b) for a, b in itertools.product(short, long) if b >= 2 * a]
        best = min(near or [best], key=lambda pair: _sum_of_squares(dwells, pair))
    return (float(best[0]), float(best[1]))


def _free_samples(dwells: Sequence[DwellSamples], constants: Sequence[float]) -> int:
    samples = sum(len(d.time_s) for d in dwells)
    return samples - len(dwells) * (1 + len(constants)) - len(constants)


def _criterion(dwells: Sequence[DwellSamples], constants: Sequence[float], correlated: float) -> float:
    """Bayesian information criterion; smaller is better."""
    samples = sum(len(d.time_s) for d in dwells)
    independent = samples / correlated
    unknowns = len(dwells) * (1 + len(constants)) + len(constants)
    if independent <= unknowns + 1:
        return np.inf if constants else 0.0
    spread = max(_sum_of_squares(dwells, constants) / samples, 1e-18)
    return independent * float(np.log(spread)) + unknowns * float(np.log(independent))


def _uncertainties(
    dwells: Sequence[DwellSamples], constants: tuple[float, ...], variance: float
) -> tuple[float, ...]:
    """Standard uncertainties of the time constants, from the curvature of the sum of squares."""
    if not constants:
        return ()
    columns = []
    for index, constant in enumerate(constants):
        step = 0.01 * constant
        up, down = list(constants), list(constants)
        up[index], down[index] = constant + step, constant - step
        pairs = zip(_residuals(dwells, up), _residuals(dwells, down), strict=True)
        columns.append(np.concatenate([(a - b) / (2 * step) for a, b in pairs]))
    slopes = np.column_stack(columns)
    covariance = variance * np.linalg.pinv(slopes.T @ slopes)
    return tuple(float(np.sqrt(max(value, 0.0))) for value in np.diag(covariance))
