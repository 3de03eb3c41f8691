"""Do two results agree within their uncertainty, and could a difference have been seen at all?

The normalised error of one pair is En = (a − b)/√(Ua² + Ub²) with expanded
uncertainties U = 2u (proficiency-testing practice; the clause in ISO 13528 and
ISO/IEC 17043 from memory).  |En| ≤ 1 is the rule for a single pair; over a dozen
stations right maps break it every other time, so the largest |En| is held against
what chance exceeds in one such comparison in a hundred, and one chi-square with the
full covariance of the difference judges the whole.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

CHANCE = 0.01
"""A verdict of "disagree" on right maps: one comparison in a hundred."""
SEEN_FOUR_TIMES_IN_FIVE = 2.576 + 0.842
"""Standard uncertainties at which a test at one in a hundred catches a difference in 80 % of cases."""
_DRAWS = 20_000


@dataclass(frozen=True, eq=False)
class Agreement:
    """The verdict on a difference, and what stands behind it."""

    expanded_uncertainty: np.ndarray
    normalised_error: np.ndarray
    """En per station; NaN where the line leaves nothing to compare."""
    largest_normalised_error: float
    largest_by_chance: float
    chi_square: float
    degrees: int
    p_value: float
    smallest_detectable: float
    """Smallest difference at one station that would have been seen four times in five."""
    agree: bool
    """Whether chance alone explains the difference."""


def agreement(difference: np.ndarray, covariance: np.ndarray) -> Agreement:
    """Judge a difference whose covariance is known in full.

    Parameters
    ----------
    difference : array, shape (n,)
    covariance : array, shape (n, n)
        Of the difference itself, shared errors already cancelled; it may be singular
        where a line was removed.

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
    root = direction[:, kept] * np.sqrt(variance[kept])
    standard = np.sqrt((root**2).sum(axis=1))
    seen = standard > 1e-6 * standard.max(initial=0.0)
    error = np.full(len(difference), np.nan)
    error[seen] = difference[seen] / (2 * standard[seen])
    chi_square = float((((direction[:, kept].T @ difference) ** 2) / variance[kept]).sum())
    degrees = int(kept.sum())
    p_value = float(chdtrc(degrees, chi_square)) if degrees else 1.0
    largest = float(np.abs(error[seen]).max(initial=0.0))
    limit = _largest_by_chance(root[seen] / (2 * standard[seen])[:, None]) if degrees else 0.0
    return Agreement(
        expanded_uncertainty=2 * standard,
        normalised_error=error,
        largest_normalised_error=largest,
        largest_by_chance=limit,
        chi_square=chi_square,
        degrees=degrees,
        p_value=p_value,
        smallest_detectable=float(SEEN_FOUR_TIMES_IN_FIVE * standard.max(initial=0.0)),
        agree=p_value >= CHANCE and largest <= limit,
    )


def _largest_by_chance(root: np.ndarray) -> float:
    """What the largest |En| exceeds in one in a hundred draws from the covariance itself."""
    draws = np.random.default_rng(20_000).standard_normal((root.shape[1], _DRAWS))
    return float(np.quantile(np.abs(root @ draws).max(axis=0), 1 - CHANCE))
