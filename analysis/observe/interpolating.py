"""A height between nodes: read off the cubic through the four around it."""

import numpy as np

from acquire.model.places import ROUNDING_MM


def interpolation(node_mm: np.ndarray, at_mm: float) -> dict[int, float]:
    """Weights of nodes for the height at a place: the node itself, a cubic, or a straight line outside.

    Parameters
    ----------
    node_mm : array, shape (n,)
        Rising.
    at_mm : float

    Examples
    --------
    >>> interpolation(np.array([0.0, 100.0, 200.0, 300.0]), 150.0)
    {0: -0.0625, 1: 0.5625, 2: 0.5625, 3: -0.0625}
    """
    nearest = int(np.argmin(np.abs(node_mm - at_mm)))
    if abs(node_mm[nearest] - at_mm) <= ROUNDING_MM or len(node_mm) == 1:
        return {nearest: 1.0}
    around = _around(node_mm, at_mm)
    return {int(i): float(_lagrange(node_mm[around], k, at_mm)) for k, i in enumerate(around)}


def _around(mm: np.ndarray, at_mm: float) -> np.ndarray:
    """Indices of the four places around one, or of the two nearest where it lies outside."""
    right = int(np.searchsorted(mm, at_mm))
    if right == 0 or right == len(mm):
        return np.array([0, 1]) if right == 0 else np.array([len(mm) - 2, len(mm) - 1])
    start = min(max(right - 2, 0), max(len(mm) - 4, 0))
    return np.arange(start, min(start + 4, len(mm)))


def _lagrange(mm: np.ndarray, k: int, at_mm: np.ndarray | float) -> np.ndarray:
    others = np.delete(mm, k)
    return np.prod((np.asarray(at_mm)[..., None] - others) / (mm[k] - others), axis=-1)


def interpolation_rows(node_mm: np.ndarray, at_mm: np.ndarray) -> np.ndarray:
    """The weights of `interpolation` for many places at once, shape (places, nodes).

    Examples
    --------
    >>> interpolation_rows(np.array([0.0, 100.0, 200.0, 300.0]), np.array([150.0, 200.2]))
    array([[-0.0625,  0.5625,  0.5625, -0.0625],
           [ 0.    ,  0.    ,  1.    ,  0.    ]])
    """
    rows = np.zeros((len(at_mm), len(node_mm)))
    right = np.searchsorted(node_mm, at_mm)
    nearest = np.argmin(np.abs(node_mm[None, :] - at_mm[:, None]), axis=1)
    near = (np.abs(node_mm[nearest] - at_mm) <= ROUNDING_MM) | (len(node_mm) == 1)
    rows[np.flatnonzero(near), nearest[near]] = 1.0
    for gap in np.unique(right[~near]):
        here = np.flatnonzero(~near & (right == gap))
        weights = interpolation(node_mm, float(at_mm[here[0]]))
        around = node_mm[list(weights)]
        for k, node in enumerate(weights):
            rows[here, node] = _lagrange(around, k, at_mm[here])
    return rows
