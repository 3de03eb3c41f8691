"""Do two results agree within their uncertainty, and could a difference have been seen at all?

The normalised error of one pair is En = (a − b)/√(Ua² + Ub²) with expanded
uncertainties U = 2u (proficiency-testing practice; the clause in ISO 13528 and
ISO/IEC 17043 from memory).  |En| ≤ 1 is the rule for a single pair; over a dozen
stations right maps break it every other time.  Two tests judge the whole here: the
chi-square with the full covariance C of the difference, and the largest |En| against
what chance exceeds.  Each is made at the level α at which chance breaks one or the
other in one comparison in a hundred: between 0.005, where the two have nothing in
common, and 0.01, where they are one test.

A difference of X at station j, a line taken off by the projection M, is found by the
largest |En| in four cases of five where X·|M_jj| = (c + 0.842)·sd_j, c the limit in
standard uncertainties, and by the chi-square where X²·bᵀC⁻b = λ, b = M e_j and λ the
noncentrality at which a chi-square of k degrees exceeds its limit in four cases of
five.  The smaller of the two would have been seen; the largest over the stations is
what can be said of all of them (derived; the power reached is 0.80 to 0.90).
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import chdtrc, chdtri, chndtrinc, ndtri

CHANCE = 0.01
"""A verdict of "disagree" on right maps: one comparison in a hundred."""
POWER = 0.8
"""In how many cases a difference that "would have been seen" is seen."""
_DRAWS = 40_000
MOST_KEPT = 50
"""Degrees of freedom for which the draws are kept for the next difference: 16 MB of them."""


@dataclass(frozen=True, eq=False)
class Agreement:
    """The verdict on a difference, and what stands behind it."""

    expanded_uncertainty: np.ndarray
    normalised_error: np.ndarray
    """En per station; NaN where the line leaves nothing to compare."""
    largest_normalised_error: float
    largest_by_chance: float
    chi_square: float
    chi_square_by_chance: float
    degrees: int
    p_value: float
    smallest_detectable: float
    """Smallest difference that would have been seen in four cases of five, at whichever one station."""
    agree: bool
    """Whether chance alone explains the difference."""


@dataclass(frozen=True, eq=False)
class _Limits:
    """What chance breaks in one comparison in a hundred, by one test or the other."""

    chi_square: float
    largest: float


def agreement(
    difference: np.ndarray, covariance: np.ndarray, station_mm: np.ndarray | None = None
) -> Agreement:
    """Judge a difference whose covariance is known in full.

    Parameters
    ----------
    difference : array, shape (n,)
    covariance : array, shape (n, n)
        Of the difference itself, shared errors already cancelled; it may be singular
        where a line was removed.
    station_mm : array, shape (n,), optional
        Where it was taken, if the least-squares line was removed from it: the line takes up
        part of a difference at one station, so that it has to be larger to be seen.

    Examples
    --------
    A single pair, 10.0023 against 10.0000 with U = 0.0020 and 0.0015:

    >>> verdict = agreement(np.array([0.0023]), np.array([[(0.0020**2 + 0.0015**2) / 4]]))
    >>> round(float(verdict.largest_normalised_error), 2), verdict.agree
    (0.92, True)
    """
    difference = np.asarray(difference, float)
    variance, direction = np.linalg.eigh((covariance + covariance.T) / 2)
    kept = variance > max(variance.max(initial=0.0) * 1e-9, 1e-300)
    direction, size = direction[:, kept], np.sqrt(variance[kept])
    standard = np.sqrt(((direction * size) ** 2).sum(axis=1))
    seen = standard > 1e-6 * standard.max(initial=0.0)
    error = np.full(len(difference), np.nan)
    error[seen] = difference[seen] / (2 * standard[seen])
    chi_square = float(((direction.T @ difference / size) ** 2).sum())
    degrees = int(kept.sum())
    p_value = float(chdtrc(degrees, chi_square)) if degrees else 1.0
    largest = float(np.abs(error[seen]).max(initial=0.0))
    limits = _limits((direction * size)[seen] / (2 * standard[seen])[:, None])
    left = _left_by_line(len(difference), station_mm)
    return Agreement(
        expanded_uncertainty=2 * standard,
        normalised_error=error,
        largest_normalised_error=largest,
        largest_by_chance=limits.largest,
        chi_square=chi_square,
        chi_square_by_chance=limits.chi_square,
        degrees=degrees,
        p_value=p_value,
        smallest_detectable=_smallest_detectable(left, standard, direction / size, limits),
        agree=chi_square <= limits.chi_square and largest <= limits.largest,
    )


def _limits(root: np.ndarray) -> _Limits:
    """Both tests at one level, which together break in one in a hundred draws from the covariance."""
    degrees = root.shape[1]
    if not degrees:
        return _Limits(0.0, 0.0)
    draws, p_value = (_draws if degrees <= MOST_KEPT else _draws.__wrapped__)(degrees)
    largest = np.abs(root @ draws).max(axis=0)
    rank = np.empty(_DRAWS)
    rank[np.argsort(-largest, kind="stable")] = (np.arange(_DRAWS) + 0.5) / _DRAWS
    less_likely = np.minimum(rank, p_value)
    level = float(np.quantile(less_likely, CHANCE))
    return _Limits(float(chdtri(degrees, level)), float(np.quantile(largest, 1 - level)))


@lru_cache(maxsize=1)
def _draws(degrees: int) -> tuple[np.ndarray, np.ndarray]:
    """Seeded deviates, shape (degrees, draws), and how likely larger sums of their squares are.

    The same for all differences of as many degrees, as those of the faces of a bed mostly are.
    """
    draws = np.random.default_rng(20_000).standard_normal((degrees, _DRAWS))
    p_value = chdtrc(degrees, (draws**2).sum(axis=0))
    draws.flags.writeable = p_value.flags.writeable = False
    return draws, p_value


def _left_by_line(count: int, station_mm: np.ndarray | None) -> np.ndarray:
    """The projection M that takes the least-squares line off, or none."""
    if station_mm is None or count < 3:
        return np.eye(count)
    line = np.column_stack([np.ones(count), np.asarray(station_mm) - np.mean(station_mm)])
    return np.eye(count) - line @ np.linalg.pinv(line)


def _smallest_detectable(
    left: np.ndarray, standard: np.ndarray, whitened: np.ndarray, limits: _Limits
) -> float:
    """What would be seen in four cases of five at the station where least is seen."""
    degrees = whitened.shape[1]
    if not degrees:
        return 0.0
    noncentrality = chndtrinc(limits.chi_square, degrees, 1 - POWER)
    share = np.abs(np.diag(left))
    with np.errstate(divide="ignore"):
        by_largest = (2 * limits.largest + ndtri(POWER)) * standard / share
        by_chi_square = np.sqrt(noncentrality / ((whitened.T @ left) ** 2).sum(axis=0))
    return float(np.minimum(by_largest, by_chi_square).max())
