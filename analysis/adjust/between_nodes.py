"""The height of a way between the places where it was measured, and how far it can be off there.

    h(x) = Σ w_k h(X_k) + e(x),    Cov(e, e′) = Σ_H σ_H² aᵀ G_H a′,    a = (+1 at x, −w at the nodes)

X_k are the nodes nearest to x whose heights the readings tell by themselves; w is the cubic
through four of them (the straight line through two, beyond the last node or where there are
fewer than six).  G_H(d) is the generalised covariance of a way of roughness H: its heights
d apart differ by d^H on average (H < 1), its slopes by d^(H−1) (H > 1).  Nothing is assumed
of the measured nodes themselves; only e has a prior.

How rough a way is, its own nodes tell.  With Q the complement of {1, x, x², x³} (of {1, x}
for straight lines) and C the covariance of the heights h that the readings gave,

    z = Qᵀh ~ N(0, s² QᵀG_H Q + QᵀCQ)

Each kind of way (six H, and smooth ones with a texture on them) is as likely as any other
beforehand, and each s in eighths of a decade as any other s.  The variance of e is the mean
over all of them by the likelihood of z: picking the likeliest one would be too sure.  A gap
whose own nodes show more, as where wear ends in a ledge, is as rough as they show (`gap_roughness`).

Across a declared joint of two bed pieces nothing runs on: each piece is judged by its own nodes, and a
place beyond the last of them, up to the joint, hangs on that piece's end alone.

Not covered by any of this: ripples shorter than two node spacings, and dips that fall
wholly between two nodes.  Neither shows in z.

Derived for this project, checked by simulation (tests/benchmarks/between_stations.py).
The kinds are the usual conditionally positive definite functions of one variable
(powers of the distance; the thin plate's d² ln d at H = 1).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.linalg

from analysis.adjust.gap_roughness import sizes_by_gap
from analysis.adjust.kinds_of_way import (
    KINDS,
    LEAST_FOR_CUBIC,
    UNIT_MM,
    Left,
    distances,
    generalised_covariance,
    mixes,
)
from analysis.observe.terms import lagrange

LEAST_NODES = 4
"""Two shapes that a straight line does not take up: with fewer the roughness cannot be judged."""
SIZES = 10.0 ** np.arange(-2.0, 1.001, 0.125)
"""Of s, in units of the size of z."""
MOST_TOGETHER = 60
"""Nodes judged in one go; longer lines are judged in pieces, whose likelihoods multiply."""
WIDEST = 1.5
"""Node spacings: a gap wider than this was left out by the readings."""
FARTHEST_BEYOND = 2.0
"""Node spacings beyond the last node up to which a height is said at all."""
LEAST_SHARE = 1e-9
"""Of the variance: what rounding needs to keep a covariance whole."""
ONE_BUMP_MM = 20.0
"""Feet of a carrier in two of its places that come down closer than this may stand on one bump of a texture
(the roughest kind): what is read then looks smoother than the way. Taken as two bumps, feet 90 mm apart
read every 100 mm held 85 % of the heights of scraped ways."""
CLOSEST = 0.4
"""Nodes nearer to each other than this share of the usual distance would magnify their noise in a cubic."""


@dataclass(frozen=True, eq=False)
class Roughness:
    """What the nodes of one line tell of the way between them."""

    node_mm: np.ndarray
    """Rising: nodes that the readings tell by themselves, none too close to the next."""
    variance_um2: np.ndarray
    """Shape (6,): σ_H² of each kind, for distances in units of 100 mm."""
    untold_mm: tuple[float, ...] = ()
    """Nodes of a map that no reading tells: they are tied as places between the others are. A node that
    some reading tells, by way of other lines at least, is measured and stays free."""
    joints_mm: tuple[float, ...] = ()
    """Where the bed pieces meet: heights on one side say nothing of the other."""
    gap_um2: np.ndarray | None = None
    """Shape (gaps, 6): as `variance_um2`, of each gap by itself, which may be a ledge or hold a kink.
    None: all gaps as the whole way."""

    @property
    def spacing_mm(self) -> float:
        """The usual distance from node to node."""
        return float(np.median(np.diff(self.node_mm)))

    def piece(self, at_mm: float) -> np.ndarray:
        """Indices of the nodes on the same piece of the bed as a place."""
        side = np.searchsorted(self.joints_mm, at_mm)
        return np.flatnonzero(np.searchsorted(self.joints_mm, self.node_mm) == side)

    def reaches(self, at_mm: float) -> bool:
        """Whether a place lies between the nodes, or not too far beyond the last of them."""
        mine, beyond = self.node_mm[self.piece(at_mm)], FARTHEST_BEYOND * self.spacing_mm + 1e-6
        return len(mine) > 1 and bool(mine[0] - beyond <= at_mm <= mine[-1] + beyond)

    def is_regular(self, at_mm: float) -> bool:
        """Whether a place lies between nodes that are as close as usual, with no hole in the readings."""
        mine = self.node_mm[self.piece(at_mm)]
        gap = int(np.searchsorted(mine, at_mm))
        if not 0 < gap < len(mine):
            return False
        return float(mine[gap] - mine[gap - 1]) <= WIDEST * self.spacing_mm

    def gap(self, at_mm: float) -> int:
        """Number of the gap that a place lies in, between nodes or between a node and a joint."""
        return int(np.searchsorted(np.sort([*self.node_mm, *self.joints_mm]), at_mm))

    def weights(self, at_mm: np.ndarray) -> np.ndarray:
        """w of each place, shape (places, nodes)."""
        rows = np.zeros((len(at_mm), len(self.node_mm)))
        for row, at in zip(rows, at_mm, strict=True):
            mine = self.piece(float(at))
            around = mine[_around(self.node_mm[mine], float(at))]
            row[around] = lagrange(self.node_mm[around], float(at))
        return rows

    def variance_at(self, at_mm: np.ndarray) -> np.ndarray:
        """σ_H² of each kind in the gap that places lie in; in several gaps, the largest of each."""
        if self.gap_um2 is None or not len(at_mm):
            return self.variance_um2
        return np.asarray(self.gap_um2[[self.gap(float(at)) for at in at_mm]].max(axis=0))

    def with_nodes(self, node_mm: np.ndarray, joints_mm: Sequence[float]) -> "Roughness":
        """The same way, told by other nodes: each gap as rough as the one that its middle lies in."""
        edges = np.sort([*node_mm, *joints_mm])
        middles = np.concatenate([edges[:1] - UNIT_MM, (edges[:-1] + edges[1:]) / 2, edges[-1:] + UNIT_MM])
        by_gap = np.array([self.variance_at(middle[None]) for middle in middles])
        return Roughness(node_mm, self.variance_um2, joints_mm=tuple(joints_mm), gap_um2=by_gap)

    def covariance(self, at_mm: np.ndarray) -> np.ndarray:
        """Covariance of e at places of one gap, µm², shape (places, places)."""
        here = replace(self, variance_um2=self.variance_at(at_mm))
        return here.covariance_of(at_mm, np.eye(len(at_mm)), -self.weights(at_mm))

    def covariance_of(self, at_mm: np.ndarray, here: np.ndarray, nodes: np.ndarray) -> np.ndarray:
        """Covariance of sums of heights at places and nodes that vanish on every straight line.

        Parameters
        ----------
        at_mm : array, shape (places,)
        here : array, shape (sums, places)
            Weights of the heights at the places.
        nodes : array, shape (sums, nodes)
            Weights of the heights at the nodes.
        """
        used = np.flatnonzero(np.any(nodes, axis=0))
        apart = distances(np.concatenate([at_mm, self.node_mm[used]]))
        along = np.hstack([here, nodes[:, used]])
        total = np.zeros_like(apart)
        for kind, variance in zip(KINDS, self.variance_um2, strict=True):
            total += variance * generalised_covariance(kind, apart)
        found = along @ total @ along.T
        found = (found + found.T) / 2
        least = LEAST_SHARE * max(float(np.max(np.diag(found), initial=0.0)), LEAST_SHARE)
        return np.asarray(found + least * np.eye(len(found)))


def well_apart(node_mm: np.ndarray, is_preferred: np.ndarray) -> np.ndarray:
    """Indices of nodes to interpolate from: of two that stand close, the preferred one.

    Examples
    --------
    >>> x = np.array([0.0, 100.0, 200.0, 300.0, 303.0, 400.0])
    >>> well_apart(x, x % 100 == 0).tolist()
    [0, 1, 2, 3, 5]
    """
    least = CLOSEST * float(np.quantile(np.diff(node_mm), 0.75)) if len(node_mm) > 1 else 0.0
    order = [*np.flatnonzero(is_preferred), *np.flatnonzero(~is_preferred)]
    kept: list[int] = []
    for index in order:
        if all(abs(node_mm[index] - node_mm[other]) >= least for other in kept):
            kept.append(int(index))
    return np.array(sorted(kept), int)


def judged(
    node_mm: np.ndarray,
    height_um: np.ndarray,
    covariance_um2: np.ndarray,
    joints_mm: Sequence[float] = (),
) -> Roughness | None:
    """How rough a way is between its nodes, by what the nodes show; None where they are too few.

    Parameters
    ----------
    node_mm : array, shape (n,)
        Rising.
    height_um : array, shape (n,)
        Up to a straight line.
    covariance_um2 : array, shape (n, n)
        Of the heights, likewise.
    joints_mm : sequence of float
        Where two pieces of the bed meet: a step there is no roughness.

    Examples
    --------
    A straight way, read to a tenth of a micrometre: what lies between is as straight.

    >>> x = np.arange(0.0, 1001.0, 100.0)
    >>> straight = judged(x, np.zeros(11), 0.01 * np.eye(11))
    >>> bool(straight.covariance(np.array([450.0]))[0, 0] ** 0.5 < 0.05)
    True

    Heights that alternate by 10 µm say nothing good of what lies between.

    >>> rough = judged(x, 10.0 * (np.arange(11) % 2), 0.01 * np.eye(11))
    >>> bool(rough.covariance(np.array([450.0]))[0, 0] ** 0.5 > 5)
    True
    """
    pieces = [
        Left.of(node_mm[p], height_um[p], covariance_um2[np.ix_(p, p)])
        for p in _judged_together(node_mm, joints_mm)
    ]
    if not pieces:
        return None
    ways, s2, likely = _averaged(pieces)
    whole = Roughness(node_mm, (likely @ s2) @ ways, joints_mm=tuple(joints_mm))
    by_gap = np.tile(whole.variance_um2, (len(node_mm) + len(joints_mm) + 1, 1))
    for side, p in _pieces(node_mm, joints_mm):
        sizes = sizes_by_gap(node_mm[p], height_um[p], covariance_um2[np.ix_(p, p)], ways, s2, likely)
        # its gaps begin behind the nodes and joints before it
        by_gap[p[0] + side : p[-1] + side + 2] = sizes @ ways
    return replace(whole, gap_um2=by_gap)


def judged_through_feet(
    station_mm: np.ndarray,
    reading_um: np.ndarray,
    covariance_um2: np.ndarray,
    feet: Sequence[tuple[np.ndarray, np.ndarray]],
) -> Roughness | None:
    """How rough the ways are that a carrier rode, by what was read from it; None where that is too little.

    Feet far apart even a way out: what is read is smoother than the way, and its own roughness no measure.

    Parameters
    ----------
    station_mm, reading_um : array, shape (n,)
    covariance_um2 : array, shape (n, n)
    feet : sequence of pairs of array
        Of each way: places, shape (k,), and how the height there weighs in each reading, shape (n, k).

    Examples
    --------
    The same readings, of a point and of feet 200 mm apart: the way is rougher then.

    >>> x, waves = np.arange(0.0, 1001.0, 100.0), np.tile([0.0, 1.0, -1.0], 4)[:11]
    >>> at = np.arange(-100.0, 1101.0, 100.0)
    >>> two = np.eye(11, 13) / 2 + np.eye(11, 13, 2) / 2
    >>> noise = 0.01 * np.eye(11)
    >>> point, carrier = (
    ...     judged_through_feet(x, waves, noise, [(where, weights)])
    ...     for where, weights in ((x, np.eye(11)), (at, two))
    ... )
    >>> bool(carrier.variance_um2.sum() > 1.5 * point.variance_um2.sum())
    True
    """
    if len(station_mm) < LEAST_NODES:
        return None
    degree = 3 if len(station_mm) >= LEAST_FOR_CUBIC else 1
    span = float(np.ptp(station_mm))
    polynomials = [weights @ np.vander((at - station_mm.mean()) / span, degree + 1) for at, weights in feet]
    q = scipy.linalg.null_space(np.hstack(polynomials).T)
    if not q.shape[1]:
        return None
    shapes = np.zeros((len(KINDS), q.shape[1], q.shape[1]))
    for at, weights in feet:
        along, apart = q.T @ weights, [distances(_bumps(at)), *[distances(at)] * (len(KINDS) - 1)]
        shapes += [
            along @ generalised_covariance(kind, mm) @ along.T for kind, mm in zip(KINDS, apart, strict=True)
        ]
    ways, s2, likely = _averaged([Left(q.T @ reading_um, q.T @ covariance_um2 @ q, shapes)])
    return Roughness(station_mm, (likely @ s2) @ ways)


def _bumps(foot_mm: np.ndarray) -> np.ndarray:
    """Where the bumps of a texture begin that feet stand on, by rising place; close ones stand on one."""
    found = foot_mm.copy()
    for k in range(1, len(found)):
        if found[k] - found[k - 1] <= ONE_BUMP_MM:
            found[k] = found[k - 1]
    return found


def _averaged(pieces: Sequence[Left]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ways that are thought of, sizes s² of each, and how likely the pieces make them together."""
    size = max(
        float(np.mean(np.concatenate([one.z**2 for one in pieces]))),
        float(np.mean(np.concatenate([np.diag(one.noise) for one in pieces]))),
    )
    # a covariance without noise, of heights on a line, still needs a scale
    s2 = max(size, LEAST_SHARE**2) * SIZES**2
    scale = np.mean(np.hstack([one.shapes.diagonal(axis1=1, axis2=2) for one in pieces]), axis=1)
    ways = mixes() / scale
    unlikely = sum(one.unlikelihood(ways, s2) for one in pieces)
    weight = np.exp(-(unlikely - np.min(unlikely)) / 2)
    return ways, s2, weight / weight.sum()


def _judged_together(node_mm: np.ndarray, joints_mm: Sequence[float]) -> Iterator[np.ndarray]:
    """Indices of nodes that are judged in one go: of one piece of the bed, and not too many."""
    for _, mine in _pieces(node_mm, joints_mm):
        yield from np.array_split(mine, -(-len(mine) // MOST_TOGETHER))


def _pieces(node_mm: np.ndarray, joints_mm: Sequence[float]) -> Iterator[tuple[int, np.ndarray]]:
    """Number of each piece of the bed that has nodes enough to be judged, and their indices."""
    side = np.searchsorted(joints_mm, node_mm)
    for each in np.unique(side):
        mine = np.flatnonzero(side == each)
        if len(mine) >= LEAST_NODES:
            yield int(each), mine


def _around(node_mm: np.ndarray, at_mm: float) -> np.ndarray:
    """Indices of the four nodes about a place, or of two where they are few or it lies beyond them."""
    right = int(np.searchsorted(node_mm, at_mm))
    is_inside = 0 < right < len(node_mm)
    if not (is_inside and len(node_mm) >= LEAST_FOR_CUBIC):
        start = min(max(right - 1, 0), len(node_mm) - 2)
        return np.array([start, start + 1])
    start = min(max(right - 2, 0), len(node_mm) - 4)
    return np.arange(start, start + 4)
