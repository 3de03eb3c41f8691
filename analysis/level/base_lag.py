"""What continuous slopes say without any assumption: heights at base-lag stations.

The mean slope over a short window, times the base, is exactly the difference of the mean
heights over that window at the two feet.  Chained foot to foot this needs no belief about
the shape between; noise adds up along the chain.

Source: derived for this project from what a slope over a base is.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from acquire.model.errors import AnalysisError
from analysis.level.slopes import ContinuousRun

Array = NDArray[np.float64]

WINDOW_SHARE = 0.1
"""Usual length of the window, as a share of the base."""
NEARLY_AS_FAR = 0.8
"""Runs that cover this share of what the farthest covers take part; of such bases the shortest is used."""
LEAST_STATIONS = 3
SLACK_MM = 0.5
"""How far from the first or the last sample a chain may start or end: half a bin of a drawn traverse."""


@dataclass(frozen=True, eq=False)
class BaseLagHeights:
    """Heights at stations a base apart, tilt and zero left in; nothing assumed between them."""

    station_mm: Array
    """The stations, in mm, shape (k,)."""
    height_um: Array
    """Heights there, in µm, shape (k,); the first of a chain is zero by definition."""
    covariance_um2: Array
    """Their covariance, in µm², shape (k, k)."""
    averaged_over_mm: float
    """Each height is the mean over this length of way."""
    base_mm: float
    """How far apart the stations are."""


def base_lag_stations(
    traverse: ContinuousRun, *, rho: float, first_mm: float | None = None
) -> BaseLagHeights:
    """Heights at stations exactly one base apart, from the mean slope near the middle of each step.

    Parameters
    ----------
    traverse : ContinuousRun
        One continuous run; feet that stand on pads average over those too.
    rho : float
        Correlation of neighbouring samples' noise, 0 to below 1: it decides what a mean is
        worth (`Noise.between_readings` has it).
    first_mm : float, optional
        The first station; by default the chain is in the middle of what was covered.

    Returns
    -------
    BaseLagHeights

    Raises
    ------
    AnalysisError
        If no whole step fits, or a window has no samples on both sides of its middle.

    Examples
    --------
    >>> from analysis.level.slopes import continuous_run
    >>> x = np.arange(90, 511, 2.0)
    >>> run = continuous_run(x, 0.2 * (x - 300), 1.0, base_mm=200)
    >>> base_lag_stations(run, rho=0.0).height_um.round(9)
    array([ 0., -8., -8.,  0.])
    """
    if not 0 <= rho < 1:
        raise AnalysisError(traverse.name, f"found a correlation of {rho:g}", "0 or more, below 1")
    window = _window(traverse)
    station = _chain(traverse, window, first_mm)
    middles = station[:-1] + traverse.base_mm / 2
    slope, variance = np.array([_window_mean(traverse, middle, window, rho) for middle in middles]).T
    base_m = traverse.base_mm / 1000
    height = np.r_[0.0, np.cumsum(base_m * slope)]
    total = np.r_[0.0, np.cumsum(base_m**2 * variance)]
    return BaseLagHeights(station, height, np.minimum.outer(total, total), window, traverse.base_mm)


def chain_of_runs(
    traverses: Sequence[ContinuousRun], rho: Sequence[float], size: Sequence[float], near_mm: ArrayLike = ()
) -> BaseLagHeights | None:
    """Heights at base-lag stations from all runs over one base, averaged.

    Of several bases the shortest that covers nearly as much as any is used: it has the most
    stations. Each run counts by the noise of its own chain, the same at all stations, so that
    the zeros of the runs stay a tilt of the whole.

    Parameters
    ----------
    traverses : sequence of ContinuousRun
        Of one face.
    rho, size : sequence of float
        For each traverse: correlation of neighbouring samples' noise, and by what its stated
        uncertainty is to be multiplied.
    near_mm : array
        Stations of the bed; the chain starts at one of them where it can.

    Returns
    -------
    BaseLagHeights or None
        None where fewer than three stations one base apart were covered, or a hole in the
        samples breaks every chain.

    Examples
    --------
    >>> from analysis.level.slopes import continuous_run
    >>> x = np.arange(100, 501, 2.0)
    >>> runs = [continuous_run(x, 0.2 * (x - 300) + zero, 1.0, base_mm=200) for zero in (0, 40)]
    >>> chain_of_runs(runs, (0, 0), (1, 1), [0, 100]).station_mm
    array([  0., 200., 400., 600.])
    """
    kept = _over_one_base(traverses)
    runs = [
        replace(run, standard_uncertainty_um_per_m=run.standard_uncertainty_um_per_m * size[k])
        for k, run in enumerate(traverses)
        if k in kept
    ]
    for first_mm in _first_stations(runs, np.asarray(near_mm, dtype=float)):
        try:
            chains = [
                base_lag_stations(run, rho=rho[k], first_mm=first_mm)
                for k, run in zip(kept, runs, strict=True)
            ]
        except AnalysisError:
            continue
        count = min(len(chain.station_mm) for chain in chains)
        return _mean_chain(chains, count) if count >= LEAST_STATIONS else None
    return None


def _over_one_base(traverses: Sequence[ContinuousRun]) -> list[int]:
    """Which runs to chain: those over the shortest base that covers nearly as much as any."""
    covered = [float(np.ptp(run.station_mm)) + run.base_mm for run in traverses]
    far = [k for k, each in enumerate(covered) if each >= NEARLY_AS_FAR * max(covered)]
    shortest = min(traverses[k].base_mm for k in far)
    return [k for k in far if traverses[k].base_mm == shortest]


def _first_stations(runs: Sequence[ContinuousRun], near_mm: Array) -> list[float]:
    """Where a chain through all runs may start, the best first; as many steps as there are from each."""
    base = runs[0].base_mm
    lowest = max(float(run.station_mm[0]) for run in runs) - base / 2 - SLACK_MM
    highest = min(float(run.station_mm[-1]) for run in runs) + base / 2 + SLACK_MM
    spare = highest - lowest - base * np.floor((highest - lowest) / base + 1e-9)
    middle = lowest + spare / 2
    named = near_mm[(near_mm >= lowest - 1e-9) & (near_mm <= lowest + spare + 1e-9)]
    return [*named[np.argsort(np.abs(named - middle))].tolist(), middle]


def _mean_chain(chains: Sequence[BaseLagHeights], count: int) -> BaseLagHeights:
    """The weighted mean of chains over the same stations."""
    weight = np.array([1 / chain.covariance_um2[count - 1, count - 1] for chain in chains])
    weight /= weight.sum()
    return replace(
        chains[0],
        station_mm=chains[0].station_mm[:count],
        height_um=sum(w * chain.height_um[:count] for w, chain in zip(weight, chains, strict=True)),
        covariance_um2=sum(
            w**2 * chain.covariance_um2[:count, :count] for w, chain in zip(weight, chains, strict=True)
        ),
        averaged_over_mm=max(chain.averaged_over_mm for chain in chains),
    )


def _window(traverse: ContinuousRun) -> float:
    """A tenth of the base, or two and a half times the usual distance between samples if that is more."""
    spacing = float(np.median(np.diff(traverse.station_mm)))
    window = max(WINDOW_SHARE * traverse.base_mm, 2.5 * spacing)
    if window > traverse.base_mm:
        raise AnalysisError(
            traverse.name, f"found a window of {window:g} mm", f"at most {traverse.base_mm:g} mm"
        )
    return window


def _chain(traverse: ContinuousRun, window_mm: float, first_mm: float | None) -> Array:
    """Stations one base apart whose middles keep half a window from the ends of the samples."""
    base = traverse.base_mm
    half = window_mm / 2
    lowest = float(traverse.station_mm[0]) + half - base / 2
    highest = float(traverse.station_mm[-1]) - half + base / 2
    fits = int(np.floor((highest - lowest) / base + 1e-9))
    if first_mm is None:
        first_mm = lowest + ((highest - lowest) - fits * base) / 2
    steps = int(np.floor((highest + half + SLACK_MM - first_mm) / base + 1e-9))
    if steps < 1 or first_mm < lowest - half - SLACK_MM - 1e-9:
        raise AnalysisError(
            traverse.name,
            f"no step of {base:g} mm starts at {first_mm:g} mm",
            f"a first station between {lowest:g} and {highest - base:g} mm",
        )
    return first_mm + base * np.arange(steps + 1, dtype=np.float64)


def _window_mean(
    traverse: ContinuousRun, middle_mm: float, window_mm: float, rho: float
) -> tuple[float, float]:
    """Slope at the middle of a window, from a straight line through its samples, and its variance."""
    near = np.abs(traverse.station_mm - middle_mm) <= window_mm / 2 + 1e-9
    off = traverse.station_mm[near] - middle_mm
    if not len(off) or off.min() > SLACK_MM + 1e-9 or off.max() < -SLACK_MM - 1e-9:
        raise AnalysisError(
            f"{traverse.name}, {middle_mm:g} mm",
            f"found {len(off)} samples within {window_mm / 2:g} mm, none on one side",
            "samples on both sides",
            "run that stretch again, or start the chain elsewhere",
        )
    centred = off - off.mean()
    square = float(centred @ centred)
    weight = 1 / len(off) - (off.mean() * centred / square if square > 0 else np.zeros(len(off)))
    return float(weight @ traverse.slope_um_per_m[near]), _variance(
        weight * traverse.standard_uncertainty_um_per_m[near], rho
    )


def _variance(scaled: Array, rho: float) -> float:
    """Variance of a weighted sum of samples whose correlation falls by `rho` at each step: wᵀRw.

    v = Rw's lower half obeys v[i] = w[i] + rho·v[i−1]; the sum is 2wᵀv − wᵀw.
    """
    steps = np.stack([np.ones(len(scaled)), np.full(len(scaled), -rho)])
    before = linalg.solve_banded((1, 0), steps, scaled)
    return float(2 * scaled @ before - scaled @ scaled)
