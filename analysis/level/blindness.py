"""What a base makes of a shape: wavelengths that a slope over it cannot see, and a map averaged over it.

An instrument with its feet `B` apart reads the difference of two heights.  A shape that
repeats itself after B, B/2, B/3, ... lifts both feet alike and is not seen at all; close by,
where B/λ is within 0.05 of a whole number, what is left drowns in the noise.  Two bases
are blind together only where each of them is.

A finer map is seen through a coarser instrument so that like is compared with like.

Source: derived for this project from the difference of two heights (gain 2 sin(πB/λ)), and from the
area under straight lines between stations.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError

PRACTICALLY_BLIND = 0.05
"""How near B/λ may come to a whole number before the base counts as blind."""

BASES_WANTED = 3.0
"""How many times the longest unseen wavelength must fit into the length covered."""

LEAST_BASES = 2.0
"""Below that many pieces nothing at all is seen of what goes on between base-lag stations."""

Interval = tuple[float, float]


@dataclass(frozen=True)
class ShapeNotSeen:
    """Feet so far apart, on so short a way, that the shape between base-lag stations is an assumption."""

    bases_mm: tuple[float, ...]
    """Longest first."""
    covered_mm: float
    ripples_mm: tuple[float, ...]
    """Which no base sees, longest first."""


def _blind_intervals(base_mm: float, highest_per_mm: float) -> list[Interval]:
    """The stretches of 1/λ in which one base is blind, up to `highest_per_mm`."""
    count = int(np.floor(highest_per_mm * base_mm + PRACTICALLY_BLIND + 1e-9))
    return [
        ((k - PRACTICALLY_BLIND) / base_mm, (k + PRACTICALLY_BLIND) / base_mm) for k in range(1, count + 1)
    ]


def _overlaps(one: list[Interval], other: list[Interval]) -> list[Interval]:
    """What two lists of intervals have in common."""
    pairs = [(max(a[0], b[0]), min(a[1], b[1])) for a in one for b in other]
    return sorted(pair for pair in pairs if pair[0] < pair[1])


def blind_wavelengths_mm(bases_mm: Sequence[float], shortest_mm: float | None = None) -> NDArray[np.float64]:
    """The wavelengths that none of the bases can see, longest first.

    Parameters
    ----------
    bases_mm : sequence of float
        Distances between the feet, in mm; one or more.
    shortest_mm : float, optional
        Where to stop; a fifth of the longest base by default (they go on without end).

    Returns
    -------
    wavelength_mm : array
        The middle (in 1/λ) of each stretch in which every base is practically blind.

    Raises
    ------
    AnalysisError
        If there is no base, or one is not above zero.

    Examples
    --------
    >>> blind_wavelengths_mm([400]).round(1)
    array([400. , 200. , 133.3, 100. ,  80. ])
    >>> blind_wavelengths_mm([200, 100])
    array([100.,  50.])
    """
    if not len(bases_mm) or min(bases_mm) <= 0:
        raise AnalysisError("base_mm", f"found {list(bases_mm)}", "one or more lengths above 0 mm")
    highest = 1.0 / (shortest_mm or max(bases_mm) / 5)
    shared = _blind_intervals(bases_mm[0], highest)
    for base in bases_mm[1:]:
        shared = _overlaps(shared, _blind_intervals(base, highest))
    return np.array([2.0 / (low + high) for low, high in shared])


def shape_not_seen(bases_mm: Sequence[float], covered_mm: float) -> ShapeNotSeen | None:
    """What must be said beside a curve drawn between stations; None where nothing must.

    The curve's band may be called a 95 % band where the longest wavelength that nothing
    sees fits three times into the length covered: with one base that is three bases.

    Parameters
    ----------
    bases_mm : sequence of float
        Distances between the feet, in mm.
    covered_mm : float
        Length of way that the feet covered, in mm.

    Examples
    --------
    >>> shape_not_seen([400], 1500), shape_not_seen([600, 400], 1500)
    (None, None)
    >>> found = shape_not_seen([200, 400], 500)
    >>> found.bases_mm, [round(each) for each in found.ripples_mm]
    ((400, 200), [200, 100])
    """
    blind = blind_wavelengths_mm(bases_mm)
    if not len(blind) or covered_mm >= BASES_WANTED * blind[0]:
        return None
    return ShapeNotSeen(tuple(sorted(set(bases_mm), reverse=True)), covered_mm, tuple(blind.tolist()))


def refuse_too_short(where: str, bases_mm: Sequence[float], covered_mm: float) -> None:
    """Refuse a way of less than two of the longest wavelengths that nothing sees.

    Examples
    --------
    >>> refuse_too_short("traverse 001", [400], 800)
    >>> refuse_too_short("traverse 001", [400, 260], 790)
    """
    blind = blind_wavelengths_mm(bases_mm)
    if len(blind) and covered_mm < LEAST_BASES * blind[0] - 1e-6:
        raise AnalysisError(
            where,
            f"covers {covered_mm:.0f} mm with feet {max(bases_mm):g} mm apart",
            f"{LEAST_BASES * blind[0]:g} mm at least",
            "step it by its base, or set its feet closer and draw it again",
        )


Array = NDArray[np.float64]


def moving_average_weights(station_mm: ArrayLike, base_mm: float, at_mm: ArrayLike) -> Array:
    """Weights that average heights, joined by straight lines, over one base around each place.

    Parameters
    ----------
    station_mm : array, shape (k,)
        Rising stations of the finer map, in mm.
    base_mm : float
        Length to average over, in mm.
    at_mm : array, shape (n,)
        Middles; each at least half a base inside the map.

    Returns
    -------
    weights : array, shape (n, k)
        Each row adds up to one.

    Raises
    ------
    AnalysisError
        If stations do not rise, the base is not above zero, or a middle is too near an end.

    Examples
    --------
    >>> moving_average_weights([0, 100, 200], 200, [100])
    array([[0.25, 0.5 , 0.25]])
    """
    station, at = np.asarray(station_mm, dtype=float), np.asarray(at_mm, dtype=float)
    if len(station) < 2 or not np.all(np.diff(station) > 0) or not base_mm > 0:
        raise AnalysisError(
            "smoothing by a base",
            f"{len(station)} stations, base {base_mm:g} mm",
            "rising stations, a base above 0",
        )
    outside = at[(at - base_mm / 2 < station[0] - 1e-9) | (at + base_mm / 2 > station[-1] + 1e-9)]
    if len(outside):
        raise AnalysisError(
            f"station {outside[0]:g} mm",
            f"is less than half of {base_mm:g} mm from an end of the map",
            f"{station[0] + base_mm / 2:g} to {station[-1] - base_mm / 2:g} mm",
        )
    integral = _integral_weights(station, at + base_mm / 2) - _integral_weights(station, at - base_mm / 2)
    return integral / base_mm


def _integral_weights(station: Array, upto: Array) -> Array:
    """Weights that give the area under the heights from the first station up to each place."""
    step = np.diff(station)
    part = np.clip((upto[:, None] - station[:-1]) / step, 0.0, 1.0)
    weights = np.zeros((len(upto), len(station)))
    weights[:, :-1] += step * (part - part**2 / 2)
    weights[:, 1:] += step * part**2 / 2
    return weights
