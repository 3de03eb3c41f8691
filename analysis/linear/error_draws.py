"""Draws from the errors of a result, always the same ones, so that an answer asked twice is one answer."""

import numpy as np
from numpy.typing import NDArray

DRAWS = 2000
_SEED = 1
_UNSEEN = 1e-12


def error_draws(covariance: NDArray) -> NDArray[np.float64]:
    """Errors drawn from a covariance, shape (draws, n)."""
    root = _root(covariance)
    return np.random.default_rng(_SEED).standard_normal((DRAWS, len(root))) @ root.T


def _root(covariance: NDArray) -> NDArray[np.float64]:
    """A root of the covariance that is the same in other units; what rounding left of a zero stays out.

    A line removed leaves the covariance singular: the triangular root, which is quick, then needs
    a variance too small to see on the diagonal; where that does not help the symmetric one is taken.
    """
    unseen = _UNSEEN * float(np.max(np.diag(covariance), initial=0.0))
    try:
        return np.asarray(np.linalg.cholesky(covariance + unseen * np.eye(len(covariance))), float)
    except np.linalg.LinAlgError:
        value, vector = np.linalg.eigh(covariance)
        return np.asarray((vector * np.sqrt(np.clip(value, 0, None))) @ vector.T)
