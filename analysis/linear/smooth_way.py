"""A way that is smooth but for what is sought on it: generalised least squares with its bends as noise.

    h = X b + S c + w + e,    Cov(e) = C,    Cov(w) = q K

X: a polynomial; S: what is sought (steps, kinks, waves); e: the errors of the map; w: the bends of a
worn way, a twice integrated white noise (the prior of the cubic smoothing spline),

    K(x, x') = m² (3 M - m) / 6,   m and M the lesser and the greater of x and x', in units of 100 mm

How much it bends, q, is found for every S by maximum likelihood on a grid that holds 0: with q = 0 all
comes down to a polynomial and C.  Found anew for every S, so that a step is not taken for bends.
Heights may be known up to a line alone: C then needs to mean something for sums that no line moves.
Derived; simulated in `tests/benchmarks/steps_and_ripples.py`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
from numpy.typing import ArrayLike, NDArray

UNIT_MM = 100.0
SIZES = np.concatenate([[0.0], 10.0 ** np.arange(-4.0, 5.01, 0.75)])
"""Of q, in units that make bends as large as noise from one station to the next."""
SMALLEST_SHARE = 1e-2
"""Values of q less likely than this play no part."""
LEAST_SHARE = 1e-9
"""Of the variance: what rounding needs to keep a covariance whole."""


@dataclass(frozen=True, eq=False)
class Whitened:
    """Everything for one q, multiplied by the inverse root of C + q K and freed of the polynomial."""

    size: float
    """q, in µm² per (100 mm)³."""
    heights: NDArray[np.float64]
    """Shape (n, draws)."""
    root: NDArray[np.float64]
    """Lower triangular."""
    plain: NDArray[np.float64]
    """Orthonormal columns of the whitened polynomial."""
    log_determinant: float

    def of(self, columns: NDArray) -> NDArray[np.float64]:
        """Columns, shape (n, k), whitened and freed likewise."""
        white = scipy.linalg.solve_triangular(self.root, columns, lower=True)
        return np.asarray(white - self.plain @ (self.plain.T @ white))


def polynomial(station_mm: NDArray, degree: int) -> NDArray[np.float64]:
    """Columns 1, x, ... of a polynomial, shape (n, degree + 1), scaled to the span."""
    middle, half = (station_mm[0] + station_mm[-1]) / 2, (station_mm[-1] - station_mm[0]) / 2
    return np.vander((station_mm - middle) / half, degree + 1, increasing=True)


def bending_covariance(station_mm: NDArray) -> NDArray[np.float64]:
    """K, shape (n, n), counted from the first station.

    Examples
    --------
    >>> bending_covariance(np.array([0.0, 100.0, 200.0]))[1:, 1:].round(3).tolist()
    [[0.333, 0.833], [0.833, 2.667]]
    """
    x = (station_mm - station_mm[0]) / UNIT_MM
    least, most = np.minimum.outer(x, x), np.maximum.outer(x, x)
    return np.asarray(least**2 * (3 * most - least) / 6)


def sizes(station_mm: NDArray, covariance: NDArray) -> NDArray[np.float64]:
    """Values of q to try: from none to a way whose bends hide every error of the map."""
    x = station_mm
    rows = np.zeros((x.size - 2, x.size))
    for i, row in enumerate(rows):
        share = (x[i + 1] - x[i]) / (x[i + 2] - x[i])
        row[i : i + 3] = [share - 1, 1.0, -share]
    noise = np.einsum("ij,jk,ik->i", rows, covariance, rows)
    bend = np.einsum("ij,jk,ik->i", rows, bending_covariance(x), rows)
    return SIZES * max(float(np.median(noise / bend)), LEAST_SHARE)


def whitened(
    station_mm: NDArray,
    covariance: NDArray,
    heights: NDArray,
    plain: NDArray,
    q: Sequence[float],
    besides: NDArray | None = None,
) -> Iterator[Whitened]:
    """For each q in turn.

    Parameters
    ----------
    station_mm : array, shape (n,)
    covariance : array, shape (n, n)
        C, of heights that may be known up to the columns of `plain` alone.
    heights : array, shape (n, draws)
    plain : array, shape (n, p)
        What is free: a polynomial, declared joints.
    q : sequence of float
    besides : array, shape (n, n), optional
        A further covariance; what is added for a line is as large with it as without it, so that
        likelihoods compare.
    """
    bends = bending_covariance(station_mm)
    size = max(float(np.mean(np.diag(covariance))), LEAST_SHARE)
    line = polynomial(station_mm, 1)
    # adding a line with itself changes no estimate and lets C be factored where a line is free
    known = covariance + size * (line @ line.T + LEAST_SHARE * np.eye(station_mm.size))
    known = known if besides is None else known + besides
    for each in q:
        root = scipy.linalg.cholesky(known + each * bends, lower=True)
        free, _ = np.linalg.qr(scipy.linalg.solve_triangular(root, plain, lower=True))
        log_determinant = 2 * float(np.sum(np.log(np.diag(root))))
        white = scipy.linalg.solve_triangular(root, heights, lower=True)
        yield Whitened(each, white - free @ (free.T @ white), root, free, log_determinant)


@dataclass(frozen=True, eq=False)
class Sought:
    """What was sought, estimated beside the bends of the way."""

    value: NDArray[np.float64]
    rows: NDArray[np.float64]
    """What of each height went into each value, shape (k, n)."""
    from_bends: NDArray[np.float64]
    """Part of the covariance that is the bends', shape (k, k); rows C rowsᵀ is the errors' part."""
    q: float
    """How much the way bends, µm² per (100 mm)³; a mean where several were weighed."""

    def covariance(self, of_heights: NDArray) -> NDArray[np.float64]:
        """Of the values, the heights having this covariance."""
        return np.asarray(self.rows @ of_heights @ self.rows.T + self.from_bends)


def estimate_on_smooth_way(
    station_mm: NDArray,
    height_um: NDArray,
    covariance: NDArray,
    sought: NDArray,
    *,
    degree: int = 1,
    q: float | None = None,
) -> Sought:
    """Estimate the columns that are sought, beside a polynomial and the bends of the way.

    Parameters
    ----------
    station_mm, height_um : array, shape (n,)
    covariance : array, shape (n, n)
    sought : array, shape (n, k)
    degree : int
        Of the polynomial.
    q : float, optional
        How much the way bends; the likeliest if left out.
    """
    plain = polynomial(station_mm, degree)
    if q is None:
        tried = sizes(station_mm, covariance)
        share = size_shares(station_mm, covariance, height_um, np.hstack([plain, sought]), tried)
        q = float(tried[int(np.argmax(share))])
    white = next(whitened(station_mm, covariance, height_um[:, None], plain, [q]))
    rows = np.linalg.pinv(white.of(sought)) @ white.of(np.eye(station_mm.size))
    bends = q * (rows @ bending_covariance(station_mm) @ rows.T)
    return Sought(rows @ height_um, rows, bends, q)


def estimate_over_sizes(
    station_mm: NDArray,
    height_um: NDArray,
    covariance: NDArray,
    sought: NDArray,
    *,
    degree: int = 2,
    expected: float | None = None,
) -> Sought:
    """The same with every q weighed by how likely it is; how far the estimates differ counts as bends.

    With `expected` the last column may be none at all: it looks like bends (a kink, like the corner of what
    is worn), and beside whatever it takes up a way of corners passes for one that hardly bends.  q is then
    weighed beside it, about as large as expected (standard deviation), and without it, both alike
    beforehand.
    """
    tried, plain = sizes(station_mm, covariance), polynomial(station_mm, degree)
    if expected is None:
        share = size_shares(station_mm, covariance, height_um, np.hstack([plain, sought]), tried)
    else:
        free, last = np.hstack([plain, sought[:, :-1]]), expected * sought[:, -1:]
        cost = np.array([
            _costs(station_mm, covariance, height_um, free, tried, besides)
            for besides in (None, last @ last.T)
        ])  # fmt: skip
        share = _shares(cost).sum(axis=0)
    kept = share > SMALLEST_SHARE
    share = share[kept] / share[kept].sum()
    found = [
        estimate_on_smooth_way(station_mm, height_um, covariance, sought, degree=degree, q=float(each))
        for each in tried[kept]
    ]
    rows = np.tensordot(share, [each.rows for each in found], axes=1)
    value = rows @ height_um
    apart = [np.outer(each.value - value, each.value - value) for each in found]
    bends = np.tensordot(share, [f.from_bends + a for f, a in zip(found, apart, strict=True)], axes=1)
    return Sought(value, rows, bends, float(share @ tried[kept]))


def size_shares(
    station_mm: NDArray, covariance: NDArray, height_um: NDArray, free: NDArray, q: ArrayLike
) -> NDArray[np.float64]:
    """How likely each q is beside the columns `free`, all alike beforehand; they sum to 1."""
    return _shares(_costs(station_mm, covariance, height_um, free, q))


def _costs(
    station_mm: NDArray,
    covariance: NDArray,
    height_um: NDArray,
    free: NDArray,
    q: ArrayLike,
    besides: NDArray | None = None,
) -> NDArray[np.float64]:
    """Minus twice the log of the likelihood of each q."""
    tried = whitened(station_mm, covariance, height_um[:, None], free, np.asarray(q).tolist(), besides)
    return np.array([each.log_determinant + float(np.sum(each.heights**2)) for each in tried])


def _shares(cost: NDArray) -> NDArray[np.float64]:
    share = np.exp(-(cost - cost.min()) / 2)
    return np.asarray(share / share.sum())
