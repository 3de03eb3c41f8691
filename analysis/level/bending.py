"""Kinds of way: how the curvature at one place goes with the curvature beside it.

Between stations one base apart only a belief about the way tells its shape, and how many
readings are averaged.  No single belief is right for all ways: one that may bend anew at
every node is too careful for a worn way, one that bends gradually misses the texture that
a scraper leaves.  Three kinds are tried and the readings choose: curvature wholly new at
every node, curvature that holds over a part of the base (a texture), and curvature that
changes gradually over several bases (wear, sag).  Its size is free in each.

Curvature holds by keeping a share of itself from node to node (a first-order
autoregression); where it changes gradually that is done twice over, so that its rate of
change holds as well.

Source: the usual penalty on second differences, and the same weighted by the correlation
of the curvature; derived here, checked by simulation (`tests/benchmarks/coverage.py`).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Array = NDArray[np.float64]

TEXTURE = 0.2
"""Share of the base over which the curvature of a textured way holds."""
GRADUAL = 3.0
"""Over how many bases the curvature of a way that bends gradually holds."""


@dataclass(frozen=True)
class Kind:
    """A kind of way."""

    name: str
    """In words: the way is taken as ..."""
    holds_mm: float = 0.0
    """Over what length its curvature holds."""
    times: int = 0
    """What is kept from node to node: 0 nothing, 1 curvature, 2 its rate of change as well."""

    def kept(self, spacing_mm: float) -> float:
        """Share of its curvature that a node keeps from the last one.

        Examples
        --------
        >>> Kind("so", 100.0, 1).kept(10.0).__round__(4), Kind("so").kept(10.0)
        (0.9048, 0.0)
        """
        return float(np.exp(-spacing_mm * self.times**0.5 / self.holds_mm)) if self.times else 0.0


ANEW = Kind("rough throughout")


def textured(base_mm: float) -> Kind:
    """Curvature holds over a fifth of the base."""
    return Kind("textured", TEXTURE * base_mm, 1)


def gradual(base_mm: float) -> Kind:
    """Curvature changes gradually over three bases."""
    return Kind("smoothly worn", GRADUAL * base_mm, 2)


@dataclass(frozen=True, eq=False)
class Bending:
    """A kind of way on evenly spaced nodes, and what its shapes cost."""

    kind: Kind
    root: sparse.csr_array
    """Independent changes of curvature, each over its standard deviation at q = 1."""
    volume: float
    """Logarithm of the determinant of the covariance of the second differences at q = 1."""
    stiffest: float
    """The most that a shape of unit size costs at q = 1."""

    @property
    def cost(self) -> sparse.coo_array:
        """D₂ᵀ(correlation of curvature)⁻¹D₂/dx³: shape h costs hᵀ·cost·h/q."""
        return sparse.coo_array(self.root.T @ self.root)


def bending(kind: Kind, nodes: int, spacing_mm: float) -> Bending:
    """What shapes of that kind cost on so many nodes.

    Whatever is kept, a bend that is long against the stretch over which curvature holds
    costs the same: sizes (q) of different kinds can be held against each other.

    Examples
    --------
    >>> np.allclose(bending(ANEW, 5, 1.0).cost @ [0, 0, 1, 0, 0], [1, -4, 6, -4, 1])
    True
    """
    kept, times, curvatures = kind.kept(spacing_mm), kind.times, nodes - 2
    ones = np.ones(curvatures)
    second = sparse.csr_array(
        sparse.diags_array([ones, -2 * ones, ones], offsets=[0, 1, 2], shape=(curvatures, nodes))
    )
    change = second
    for _ in range(times):
        change = (change[1:] - kept * change[:-1]) / (1 - kept)
    start = _start(kept, times)
    first = sparse.csr_array(np.linalg.inv(np.linalg.cholesky(start))) @ second[:times]
    volume = np.linalg.slogdet(start)[1] + 2 * times * (curvatures - times) * np.log(1 - kept)
    return Bending(
        kind,
        sparse.csr_array(sparse.vstack([first, change]) / spacing_mm**1.5),
        float(volume + 3 * curvatures * np.log(spacing_mm)),
        # of a zigzag: its second difference is 4, and all of it is change
        16 * ((1 + kept) / (1 - kept)) ** (2 * times) / spacing_mm**3,
    )


def _start(kept: float, times: int) -> Array:
    """Covariance of the first curvatures, such that all others have the same."""
    if times == 0:
        return np.zeros((0, 0))
    if times == 1:
        return np.array([[(1 - kept) / (1 + kept)]])
    variance = (1 - kept) * (1 + kept**2) / (1 + kept) ** 3
    return variance * np.array([[1.0, 2 * kept / (1 + kept**2)], [2 * kept / (1 + kept**2), 1.0]])
