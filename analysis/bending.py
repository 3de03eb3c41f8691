"""Kinds of way: how the curvature at one place goes with the curvature beside it.

Between stations one base apart only a belief about the way tells its shape, and how many
readings are averaged.  No single belief is right for all ways: one that may bend anew at
every node is too careful for a worn way, one that bends gradually misses the texture that
a scraper leaves.  Three kinds are tried and the readings choose: curvature wholly new at
every node, curvature that holds over a part of the base (a texture), and curvature that
holds over a part of the length (wear, sag).  In each it fades exponentially with distance
(a first-order autoregression) and its size is free.

Source: the usual penalty on second differences, and the same weighted by the correlation
of the curvature; derived here, checked by simulation (`tests/benchmarks/coverage.py`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from analysis.banded import Places, to_band

Array = NDArray[np.float64]

TEXTURE = 0.2
"""Share of the base over which the curvature of a textured way holds."""
GRADUAL = 0.25
"""Share of the length over which the curvature of a way that bends gradually holds."""


@dataclass(frozen=True, eq=False)
class Bending:
    """A kind of way on evenly spaced nodes, and what its shapes cost."""

    name: str
    """Words: the way bends ..."""
    cost: Array
    """D₂ᵀ(correlation of curvature)⁻¹D₂/dx³ as a band: shape h costs hᵀ·cost·h/q."""
    volume: float
    """Logarithm of the determinant of the covariance of the curvatures at q = 1."""
    stiffest: float
    """The most that a shape of unit size costs at q = 1, times dx³."""


def kinds_of_way(length_mm: float, base_mm: float, spacing_mm: float) -> dict[str, float]:
    """The kinds that are tried, each with the share of its curvature that a node keeps from the last.

    Examples
    --------
    >>> kinds = kinds_of_way(1000, 100, 2)
    >>> {name: round(kept, 3) for name, kept in kinds.items()}
    {'anew at every place': 0.0, 'with a texture': 0.905, 'gradually': 0.992}
    """
    return {
        "anew at every place": 0.0,
        "with a texture": float(np.exp(-spacing_mm / (TEXTURE * base_mm))),
        "gradually": float(np.exp(-spacing_mm / (GRADUAL * length_mm))),
    }


def cost_of_bending(nodes: int, kept: float) -> sparse.coo_array:
    """What shapes cost whose curvature keeps the share `kept` from node to node.

    Whatever is kept, a bend that is long against the stretch over which curvature holds
    costs the same: sizes (q) of different kinds can be held against each other.

    Examples
    --------
    >>> np.allclose(cost_of_bending(5, 0.0) @ [0, 0, 1, 0, 0], [1, -4, 6, -4, 1])
    True
    """
    ones = np.ones(nodes - 2)
    second = sparse.csr_array(
        sparse.diags_array([ones, -2 * ones, ones], offsets=[0, 1, 2], shape=(nodes - 2, nodes))
    )
    if kept == 0:
        return sparse.coo_array(second.T @ second)
    first = second[:1] * ((1 + kept) / (1 - kept)) ** 0.5
    change = (second[1:] - kept * second[:-1]) / (1 - kept)
    return sparse.coo_array(first.T @ first + change.T @ change)


def bendings(
    kinds: dict[str, float],
    costs: Sequence[sparse.coo_array],
    place: Places,
    rows: int,
    spacing_mm: float,
) -> tuple[Bending, ...]:
    """Each kind with its cost as a band, the nodes in the order `place`."""
    return tuple(
        Bending(
            name, to_band(cost, place, rows) / spacing_mm**3, _volume(cost.shape[0], kept), _stiffest(kept)
        )
        for (name, kept), cost in zip(kinds.items(), costs, strict=True)
    )


def _volume(nodes: int, kept: float) -> float:
    curvatures = nodes - 2
    return float((curvatures - 1) * np.log(1 - kept**2) - curvatures * np.log((1 + kept) / (1 - kept)))


def _stiffest(kept: float) -> float:
    """Of a zigzag: its second difference is 4, and all of it is change where curvature is kept."""
    return 16 * ((1 + kept) / (1 - kept)) ** 2
