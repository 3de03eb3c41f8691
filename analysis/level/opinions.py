"""What a way is like between stations that readings tie: several opinions, none of them alone.

Shapes that repeat with the base leave a level's readings unchanged, so a prior tells them.
One prior picked by likelihood is far too sure.  Three opinions are therefore held at once:

1. alike all along: stationary priors, rough to smooth, over a fifth to ten times the base,
   each variance, weighted by restricted likelihood;
2. bends in few places: six reweighted fits of curvature, weights from the curvature found;
3. the same with weights squared: fewer and sharper places.

Each keeps a share whatever the readings say; the rest goes by likelihood, tempered, less a
handicap for what was fitted to the readings beforehand.  Mean and covariance are those of
the mixture, so that what the opinions differ by is in the uncertainty.

A level sees how pieces of a way one base long differ from each other, never what is common to
all.  Where nothing repeats with the base the mean over N pieces, at each place within the base,
is off zero only by chance: by the scatter between the pieces over √N.  That scatter is seen, and
half of its variance in the mean is added to the covariance, whatever the priors make of it (the
other half is on average in what the opinions differ by).  Waves longer than about a base are no
chance and are taken off first.

Source: derived for this project, the pieces as the variance of a mean; shares and handicaps by
simulation on dips, wear, steps, scraped and fractal ways (`tests/benchmarks/coverage.py`).
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from analysis.level.evidence import Evidence, evidence_for, likeliest
from analysis.level.fit import (
    Normal,
    Problem,
    covariance_at,
    normal_for,
    refined_height_um,
    solve,
)
from analysis.level.noise import Noise
from analysis.level.smoothness import FewPlaces, Kind, Stationary

Array = NDArray[np.float64]

ORDERS = (1, 2, 3)
LENGTHS = (0.2, 0.5, 1.0, 3.0, 10.0)
"""In parts of the longest wavelength that nothing sees."""
REWEIGHTED_TIMES = 6
SHARE_OF_MEAN = 0.03
"""Where nothing bends, curvature still has this part of its mean."""
HANDICAPS = (0.0, 10.0, 25.0)
"""Taken off the log likelihood of each opinion: what was fitted beforehand looks too likely."""
TEMPER = 10.0
LEAST_SHARE = 0.1
LEAST_WEIGHT = 0.003
"""Priors of less weight are left out."""


@dataclass(frozen=True, eq=False)
class Hypothesis:
    """One prior of known variance, and its weight among all."""

    kind: Kind
    q: float
    """Its variance, in units of the noise's variance factor."""
    weight: float


@dataclass(frozen=True, eq=False)
class Mixture:
    """The heights as all hypotheses together give them."""

    height_um: Array
    """At the nodes, shape (n,)."""
    target_um: Array
    """At the asked-for stations, shape (k,)."""
    covariance_um2: Array
    """Of these, each hypothesis by itself, shape (k, k)."""
    spread_um2: Array
    """What the hypotheses differ by, likewise."""
    drift: Array
    """Each drift over one unit of `when`, in µm/m."""
    drift_uncertainty: Array
    """Standard uncertainty of each."""


def hypotheses_for(problem: Problem, noise: Noise, wavelength_mm: float) -> tuple[Hypothesis, ...]:
    """All opinions on the way, weighted."""
    normal = normal_for(problem, np.array(noise.rho))
    factor = noise.variance_factor
    alike = [
        one
        for order in ORDERS
        for share in LENGTHS
        for one in evidence_for(
            problem, normal, Stationary(order, share * wavelength_mm), wavelength_mm, lambda misfit: factor
        )
    ]
    bends = [_bends_in_few_places(problem, normal, wavelength_mm, factor, power) for power in (1.0, 2.0)]
    opinions = [alike, *([one] for one in bends if one is not None)]
    shares = _shares([_log_likelihood(each) for each in opinions])
    kept = [
        Hypothesis(one.kind, one.q, share * weight)
        for each, share in zip(opinions, shares, strict=True)
        for one, weight in zip(each, _weights(each), strict=True)
        if weight >= LEAST_WEIGHT
    ]
    total = sum(one.weight for one in kept)
    return tuple(replace(one, weight=one.weight / total) for one in kept)


def _log_likelihood(opinion: Sequence[Evidence]) -> float:
    """Of an opinion as a whole: the mean over what it tried."""
    half = np.array([-one.minus_two_log_likelihood / 2 for one in opinion])
    return float(half.max() + np.log(np.mean(np.exp(half - half.max()))))


def _weights(opinion: Sequence[Evidence]) -> Array:
    half = np.array([-one.minus_two_log_likelihood / 2 for one in opinion])
    weight = np.exp(half - half.max())
    return weight / weight.sum()


def _shares(log_likelihood: Sequence[float]) -> Array:
    """Each opinion's share: a least one for all, the rest by tempered likelihood less the handicap."""
    tempered = (np.array(log_likelihood) - HANDICAPS[: len(log_likelihood)]) / TEMPER
    share = np.exp(tempered - tempered.max())
    return LEAST_SHARE + (1 - LEAST_SHARE * len(share)) * share / share.sum()


def _bends_in_few_places(
    problem: Problem, normal: Normal, wavelength_mm: float, factor: float, power: float
) -> Evidence | None:
    """Fits of curvature, each weighted by what the one before found; the last one."""
    at = problem.node_mm[1:-1]
    window = max(round(wavelength_mm / 20 / problem.spacing_mm), 1) + 1
    kind, best = FewPlaces(at, np.ones(len(at))), None
    for _ in range(REWEIGHTED_TIMES):
        near_q = best.q if best else None
        best = likeliest(problem, normal, kind, wavelength_mm, lambda misfit: factor, near_q)
        if best is None:
            return None
        curvature = np.diff(solve(problem, normal, best.prior, best.q).height_um, 2)
        kind = FewPlaces(at, _weight_of(curvature, window, power))
    return best


def _weight_of(curvature: Array, window: int, power: float) -> Array:
    """How readily a way bends at each node, 1 on average, from the curvature found about it."""
    near = np.sqrt(np.convolve(curvature**2, np.ones(window) / window, "same"))
    weight = (near + SHARE_OF_MEAN * near.mean()) ** power
    return weight / weight.mean() if weight.any() else np.ones(len(weight))


def mixture(
    problem: Problem, noise: Noise, hypotheses: Iterable[Hypothesis], target: sparse.csr_array
) -> Mixture:
    """Heights and covariance at stations, over all hypotheses."""
    normal = normal_for(problem, np.array(noise.rho))
    factor = noise.variance_factor * noise.doubt
    weight, height, covariance = [], [], np.zeros((target.shape[0],) * 2)
    drift, variance = [], []
    for one in hypotheses:
        prior, q = one.kind.on(problem.node_mm), one.q
        solution = solve(problem, normal, prior, q)
        height.append(refined_height_um(normal, prior, q, solution))
        covariance += one.weight * factor * covariance_at(solution, target)
        weight.append(one.weight)
        drift.append(solution.zero_um_per_m[problem.runs :])
        variance.append(factor * np.diag(solution.zero_covariance)[problem.runs :])
    mean = np.array(weight) @ np.array(height)
    apart = np.array([target @ (each - mean) for each in height])
    mean_drift = np.array(weight) @ np.array(drift)
    doubt = np.array(weight) @ (np.array(variance) + (np.array(drift) - mean_drift) ** 2)
    return Mixture(mean, target @ mean, covariance, (apart.T * weight) @ apart, mean_drift, np.sqrt(doubt))


WAVES_PER_PIECE = 1.5
"""Half waves along the whole that are taken off, in parts of the number of pieces."""
SHARE_ADDED = 0.5
"""Share of the variance of the mean piece that is added."""


def covariance_of_mean_piece(
    node_mm: Array, height_um: Array, piece_mm: float, target: sparse.csr_array
) -> Array:
    """Covariance at stations of what all pieces may have in common by chance.

    Parameters
    ----------
    node_mm, height_um : array, shape (n,)
        Evenly spaced nodes, a whole number to a piece, and the heights there.
    piece_mm : float
        Length of a piece: the longest wavelength that nothing sees; it must fit in twice.
    target : sparse array, shape (k, n)
        Heights at stations from those at nodes.

    Examples
    --------
    Pieces that are all alike say nothing against each other:

    >>> node = np.arange(0.0, 400.0, 5.0)
    >>> ripple = np.sin(2 * np.pi * node / 20)
    >>> bool(covariance_of_mean_piece(node, ripple, 100, sparse.eye_array(80, format="csr")).max() < 1e-2)
    True
    """
    period = round(piece_mm / (node_mm[1] - node_mm[0]))
    pieces = len(node_mm) // period
    first = (len(node_mm) - pieces * period) // 2
    rest = _without_long_waves(node_mm, height_um, piece_mm)[first : first + pieces * period]
    by_piece = rest.reshape(pieces, period)
    by_piece = (by_piece - by_piece.mean(axis=0)) / np.sqrt(pieces * (pieces - 1))
    phase = (np.arange(len(node_mm)) - first) % period
    seen = np.array([target @ each[phase] for each in by_piece])
    return SHARE_ADDED * seen.T @ seen


def _without_long_waves(node_mm: Array, height_um: Array, piece_mm: float) -> Array:
    """What is left of the heights without their line and waves along the whole."""
    length = float(node_mm[-1] - node_mm[0]) * len(node_mm) / (len(node_mm) - 1)
    part = (np.arange(len(node_mm)) + 0.5) / len(node_mm)
    waves = np.arange(1, int(WAVES_PER_PIECE * length / piece_mm) + 1)
    columns = np.column_stack([np.ones(len(part)), part - 0.5, np.cos(np.pi * np.outer(part, waves))])
    basis = np.linalg.qr(columns)[0]
    return height_um - basis @ (basis.T @ height_um)
