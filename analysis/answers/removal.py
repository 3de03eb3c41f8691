"""What comes off one face, and how sure that is; the guard; the geometry of a vee.

The target is the straight line below all heights from which least has to be taken
(`least_metal`).  Least metal alone is no target: what the machine needs of the face
(parallel to spindle, rack and leadscrew) goes before it.

The uncertainty of each removal comes from the full covariance, the line fixed to the
stations that it touches.  That another station might be the lowest is not in it: the
line goes to the lowest heights as measured, so that noise makes it lie too low rather
than too high.

A target drawn through measured heights leaves, more often than not, some place a little
too low.  For scraping no guard is added: a low place missed costs another round, a
guard the whole length.  For grinding or planing in one setting the whole target can be
lowered by a guard: enough for 95 of 100 ways that the readings allow, the way set up so
that it lies as measured on the whole (least squares).
"""

from dataclasses import dataclass
from math import radians, sin

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from analysis.linear.profile import Profile, standard_uncertainty
from analysis.linear.shown import Shown

GUARD_COVERS = 0.95
_DRAWS = 4000
_SEED = 1


@dataclass(frozen=True, eq=False, repr=False)
class Removal(Shown):
    """What to take off at each station of one face, along its outward normal."""

    station_mm: NDArray[np.float64]
    removal_um: NDArray[np.float64]
    """Never negative; the guard is in it."""
    standard_uncertainty_um: NDArray[np.float64]
    """0 where the line touches: it is fixed there."""
    touching_mm: tuple[float, ...]
    """Stations where nothing (or the guard alone) comes off."""
    sum_um: float
    """Of all stations."""
    mean_um: float
    """Over the length of the face."""
    mean_standard_uncertainty_um: float
    guard_um: float
    """How far the whole target was lowered; 0 for scraping."""


def removal_of(
    station_mm: NDArray,
    removal_um: NDArray,
    covariance_um2: NDArray,
    touching: NDArray[np.intp],
    guard_um: float = 0.0,
) -> Removal:
    """Depths over one face, each with its uncertainty.

    Parameters
    ----------
    station_mm, removal_um : array, shape (n,)
    covariance_um2 : array, shape (n, n)
        Of the depths, the target fixed to where it touches.
    touching : array of int
        Stations where the target touches.
    guard_um : float
        By how much the whole target is lowered.
    """
    weight = lengths_stood_for(station_mm)
    return Removal(
        station_mm=station_mm,
        removal_um=removal_um + guard_um,
        standard_uncertainty_um=standard_uncertainty(covariance_um2),
        touching_mm=tuple(float(station_mm[i]) for i in touching),
        sum_um=float(np.sum(removal_um + guard_um)),
        mean_um=float(weight @ removal_um) + guard_um,
        mean_standard_uncertainty_um=max(float(weight @ covariance_um2 @ weight), 0.0) ** 0.5,
        guard_um=guard_um,
    )


def lengths_stood_for(station_mm: NDArray) -> NDArray[np.float64]:
    """Share of the whole length that each station stands for: half-way to its neighbours.

    Examples
    --------
    >>> lengths_stood_for(np.array([0.0, 100.0, 400.0]))
    array([0.125, 0.5  , 0.375])
    """
    if station_mm.size < 2:
        raise AnalysisError("removal", f"{station_mm.size} station", "two stations or more")
    half = np.diff(station_mm) / 2
    return (np.append(half, 0.0) + np.append(0.0, half)) / float(np.ptp(station_mm))


def guard_of(profile: Profile, removal_um: NDArray, *, is_parallel: bool = False) -> float:
    """By how much the target must be lowered so that, 95 times in 100, no place stays below it."""
    rng = np.random.default_rng(_SEED)
    n = profile.station_mm.size
    draws = rng.multivariate_normal(
        np.zeros(n), profile.covariance_um2, _DRAWS, check_valid="ignore", method="eigh"
    )
    x = profile.station_mm - profile.station_mm.mean()
    draws -= draws.mean(axis=1, keepdims=True)
    if not is_parallel:
        draws -= np.outer(draws @ x / (x @ x), x)
    shortfall = np.max(-(removal_um + draws), axis=1)
    return max(float(np.quantile(shortfall, GUARD_COVERS)), 0.0)


def depth_on_flank(drop: ArrayLike, flank_angle_deg: float) -> NDArray[np.float64]:
    """Depth to take off a flank, normal to it, for a drop of the whole vee.

    Parameters
    ----------
    drop : array
        How far the vee is to come down.
    flank_angle_deg : float
        Of the flank, from the vertical: half the included angle of a symmetrical vee.

    Examples
    --------
    At 90° a drop of 100 µm is 71 µm on each flank:

    >>> round(float(depth_on_flank(100, 45)))
    71
    """
    return np.asarray(drop, float) * sin(radians(flank_angle_deg))
