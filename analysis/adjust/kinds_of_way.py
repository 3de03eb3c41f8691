"""Kinds of ways that are thought of between places of known height, and how likely heights make each.

A kind is its generalised covariance G_H(d) (`between_nodes`), alone or with a texture on it. What a
polynomial leaves of heights, z = Qᵀh, is as likely as its normal density, for each kind and size.
"""

from dataclasses import dataclass

import numpy as np

KINDS = (0.02, 0.25, 0.5, 1.0, 1.5, 1.75)
"""Roughness H: from heights that have nothing to do with their neighbours' to a smooth bend."""
TEXTURES = (0.03, 0.1, 0.3)
"""Of a smooth way with a texture: size of the texture (the roughest kind) by that of the bend."""
SMOOTH = (1.5, 1.75)
"""Kinds that may carry a texture: worn, then scraped."""
LEAST_FOR_CUBIC = 6
"""Two shapes that a cubic does not take up; with fewer nodes the straight line is taken off."""
UNIT_MM = 100.0
"""Of distances in G."""
SMALL_MM = 0.5
"""Heights closer than this go together on any way: plungers and the crowned feet of levels rest on as much.
Of the roughest kind, a place 5 mm from a node differs by 0.64 of what one 100 mm away does: with 2 mm it
would be 0.49, and a fractal way of spectrum k^-1.4 was then held by 86 % of the intervals beside nodes."""


def mixes() -> np.ndarray:
    """Shares of the six kinds in each way that is thought of, each kind of size one; shape (mixes, 6)."""
    one = np.eye(len(KINDS))
    textured = [one[KINDS.index(kind)] + share**2 * one[0] for kind in SMOOTH for share in TEXTURES]
    return np.array([*one, *textured])


@dataclass(frozen=True, eq=False)
class Left:
    """What a polynomial leaves of heights, its noise, and what each kind of way makes of it.

    Of several sets of nodes at once where all arrays have a further first axis.
    """

    z: np.ndarray
    noise: np.ndarray
    shapes: np.ndarray
    """Shape (..., 6, m, m): QᵀG_H Q."""

    @classmethod
    def of(cls, node_mm: np.ndarray, height_um: np.ndarray, covariance_um2: np.ndarray) -> "Left":
        """Of a polynomial; of a cubic where there are nodes enough for one."""
        q = _complement(node_mm, 3 if node_mm.shape[-1] >= LEAST_FOR_CUBIC else 1)
        across = q.swapaxes(-1, -2)
        shapes = [across @ generalised_covariance(kind, distances(node_mm)) @ q for kind in KINDS]
        z = (across @ height_um[..., None])[..., 0]
        return cls(z, across @ covariance_um2 @ q, np.stack(shapes, axis=-3))

    def unlikelihood(self, ways: np.ndarray, s2: np.ndarray) -> np.ndarray:
        """−2 log likelihood of z ~ N(0, s² Σ ways_H QᵀG_H Q + noise); shape (..., ways, sizes)."""
        lower = np.linalg.cholesky(np.einsum("wk,...kij->...wij", ways, self.shapes))
        half = np.linalg.solve(lower, self.noise[..., None, :, :])
        whitened = np.linalg.solve(lower, half.swapaxes(-1, -2))
        own, turn = np.linalg.eigh((whitened + whitened.swapaxes(-1, -2)) / 2)
        seen = turn.swapaxes(-1, -2) @ np.linalg.solve(lower, self.z[..., None, :, None])
        variance = s2[:, None] + np.clip(own, 0.0, None)[..., None, :]
        volume = 2 * np.log(np.diagonal(lower, axis1=-2, axis2=-1)).sum(axis=-1)
        away = np.log(variance) + seen.swapaxes(-1, -2) ** 2 / variance
        return np.asarray(away.sum(axis=-1) + volume[..., None])


def generalised_covariance(kind: float, apart_mm: np.ndarray) -> np.ndarray:
    """G_H of distances, rounded off below the size of a foot."""
    square = (apart_mm**2 + SMALL_MM**2) / UNIT_MM**2
    if kind == 1.0:
        return np.asarray(square * np.log(square) / 2)
    return np.asarray(np.sign(kind - 1.0) * square**kind)


def distances(where_mm: np.ndarray) -> np.ndarray:
    """Distances from each place to each."""
    return np.abs(where_mm[..., :, None] - where_mm[..., None, :])


def _complement(node_mm: np.ndarray, degree: int) -> np.ndarray:
    """Q: orthonormal, at right angles to all polynomials up to a degree."""
    t = (node_mm - node_mm.mean(axis=-1, keepdims=True)) / np.ptp(node_mm, axis=-1)[..., None]
    powers = t[..., None] ** np.arange(degree, -1, -1)
    return np.asarray(np.linalg.qr(powers, mode="complete")[0][..., degree + 1 :])
