"""Heights from slopes sampled continuously over a base: what the readings and several opinions allow.

A slope over a base B is the difference of the heights of two feet.  Its plain integral is
the way smoothed over B (sign reversed between B and B/2) and is never the profile.  Here
heights at nodes a fortieth of a base apart are found by least squares under smoothness
priors (`fit`), averaged over many priors and opinions (`opinions`), the noise judged first
(`noise`).  One base leaves shapes that repeat with it to the priors; what the pieces of the
way differ by is then added to the uncertainty (`opinions`).

Ripples exactly as long as the base, its half, its third ... change no reading, whatever
their height: nothing here covers them, and `condition_mm` names them.

The line through the whole is never known.  Results therefore come with the least-squares
line through the asked-for stations taken off mean and covariance.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse

from acquire.model.errors import AnalysisError
from analysis.level.base_lag import BaseLagHeights, chain_of_runs
from analysis.level.blindness import ShapeNotSeen, blind_wavelengths_mm, refuse_too_short, shape_not_seen
from analysis.level.fit import problem_for
from analysis.level.noise import Noise, judge_noise
from analysis.level.opinions import Hypothesis, covariance_of_mean_piece, hypotheses_for, mixture
from analysis.level.slopes import ContinuousRun, height_weights, spacing_for
from analysis.level.smoothness import FewPlaces
from analysis.linear.straight_line import line_free_contrasts

Array = NDArray[np.float64]

SHARE_OF_LENGTH = 0.8
"""A second base counts where its run covers at least this much of the length."""
WITHIN_STRETCH = 6.0
"""Second difference of neighbouring nodes over the standard uncertainty of a place between them."""


@dataclass(frozen=True, eq=False)
class Belief:
    """What the readings say of the way and the noise, for judging what further readings would bring."""

    hypotheses: tuple[Hypothesis, ...]
    noise: Noise
    blind_wavelength_mm: Array
    unexplained_um2: Array
    """What the opinions differ by, and like pieces: stays while the same ripples are blind."""

    def with_run_like(self, number: int) -> "Belief":
        """The same for one run more, as noisy as run `number` (from 0) of those that it came from."""
        return replace(self, noise=self.noise.with_run_like(number))

    @property
    def few_places_share(self) -> float:
        """How much the readings speak for a way that bends in few places, 0 to 1."""
        return sum(one.weight for one in self.hypotheses if isinstance(one.kind, FewPlaces))


@dataclass(frozen=True, eq=False)
class ContinuousHeights:
    """Heights at the asked-for stations, up to a line."""

    station_mm: Array
    """The stations asked for, in mm, shape (k,)."""
    height_um: Array
    """Heights there, the least-squares line through them removed, in µm, shape (k,)."""
    covariance_um2: Array
    """Their covariance, the same line removed: of rank k − 2, in µm², shape (k, k)."""
    belief: Belief
    blind_wavelength_mm: Array
    """Ripples that none of the bases can see, down to a fifth of the longest base, in mm."""
    band_is_95_percent: bool
    """Whether the band of the curve may be called a 95 % band, blind ripples apart."""
    not_seen: ShapeNotSeen | None
    """Why it may not; else None."""
    not_seen_alone: ShapeNotSeen | None
    """Why it might not if nothing else tied the heights."""
    anchored: bool
    """Whether something else ties the heights between base-lag stations."""
    base_lag: BaseLagHeights | None
    """Heights with nothing assumed between them; None where no three stations could be chained."""
    drifts: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    """Each drift that runs share (`ContinuousRun.drifts_with`) over one unit of `when`, in µm/m, and its
    standard uncertainty."""

    @property
    def rho(self) -> tuple[float, ...]:
        """Correlation of the noise of neighbouring cells of readings, one per run."""
        return self.belief.noise.rho

    @property
    def inflation(self) -> tuple[float, ...]:
        """By what averages of readings are more uncertain than stated, one per run."""
        return self.belief.noise.inflation

    @property
    def condition_mm(self) -> tuple[float, ...]:
        """Ripples that the uncertainty does not include, in mm: none where it is tied."""
        return () if self.anchored else tuple(self.blind_wavelength_mm.tolist())

    def tied(self, anchored: bool) -> "ContinuousHeights":
        """The same where something else ties the heights between stations, or nothing does.

        Examples
        --------
        >>> from analysis.level.slopes import continuous_run
        >>> run = continuous_run(np.arange(50, 201, 2.0), np.zeros(76), 1.0, base_mm=100)
        >>> alone = heights_from_continuous_slopes([run], [0, 100, 200])
        >>> alone.band_is_95_percent, alone.tied(True).band_is_95_percent
        (False, True)
        """
        not_seen = None if anchored else self.not_seen_alone
        return replace(self, anchored=anchored, not_seen=not_seen, band_is_95_percent=not_seen is None)


def _checked_targets(runs: Sequence[ContinuousRun], station_mm: ArrayLike, spacing_mm: float) -> Array:
    """Refuse stations that no foot reached, that repeat, or that are too few for a shape."""
    station = np.asarray(station_mm, dtype=float)
    if station.ndim != 1 or len(station) < 3 or not np.all(np.isfinite(station)):
        raise AnalysisError(
            "stations", f"found {station.size}", "three or more, all finite: two only make a line"
        )
    lowest = min(run.lowest_mm for run in runs)
    highest = max(run.highest_mm for run in runs)
    beyond = station[(station < lowest - 1e-6) | (station > highest + 1e-6)]
    if len(beyond):
        raise AnalysisError(
            f"station {beyond[0]:g} mm", "no foot came there", f"{lowest:g} to {highest:g} mm", "leave it out"
        )
    if np.min(np.diff(station)) < spacing_mm * (1 - 1e-6):
        raise AnalysisError(
            "stations",
            f"two are {np.min(np.diff(station)):g} mm apart",
            f"rising, {spacing_mm:g} mm apart or more",
        )
    return station


def _whole_bases(runs: Sequence[ContinuousRun]) -> tuple[list[float], float]:
    """The bases whose runs cover nearly the whole length, and that length."""
    covered = max(run.highest_mm for run in runs) - min(run.lowest_mm for run in runs)
    whole = [run.base_mm for run in runs if run.highest_mm - run.lowest_mm >= SHARE_OF_LENGTH * covered]
    return whole or [max(run.base_mm for run in runs)], covered


def heights_from_continuous_slopes(
    runs: Sequence[ContinuousRun],
    station_mm: ArrayLike,
    *,
    belief: Belief | None = None,
) -> ContinuousHeights:
    """Heights at stations, up to a line, from one or more continuous slope runs along one face.

    Errors shared by all readings of an instrument (its scale, its base) are not in the
    covariance: heights scale with them.  Forward and reverse runs are two runs, each with
    its zero; a drift that they share is an unknown, and what it is uncertain by is counted.

    Parameters
    ----------
    runs : sequence of ContinuousRun
        All of the face, solved together; bases may differ.
    station_mm : array, shape (k,)
        Where heights are wanted: rising, within reach of the feet, three or more.
    belief : Belief, optional
        What fewer runs said of the way and the noise, taken as given: then the readings
        of further runs play no part in the covariance.

    Returns
    -------
    ContinuousHeights

    Raises
    ------
    AnalysisError
        If there is no run, a single base covered less than twice its length, a station is
        out of reach, too near the next or not finite, or the problem is too large.

    Examples
    --------
    A way hollow by a parabola, read over 100 mm feet: 18 µm deep in the middle of 600 mm.

    >>> from analysis.level.slopes import continuous_run
    >>> x = np.arange(50, 551, 2.0)
    >>> run = continuous_run(x, 0.4 * (x - 300), 0.5, base_mm=100)
    >>> found = heights_from_continuous_slopes([run], [0, 300, 600])
    >>> bool(abs(found.height_um[1] - found.height_um[0] + 18.0) < 0.1)
    True
    """
    if not runs:
        raise AnalysisError("continuous slopes", "found no run", "at least one")
    whole, covered = _whole_bases(runs)
    refuse_too_short(runs[0].name, whole, covered)
    spacing = spacing_for(runs)
    station = _checked_targets(runs, station_mm, spacing)
    blind = blind_wavelengths_mm([run.base_mm for run in runs])
    problem = problem_for(runs, spacing)
    reach = max(run.base_mm for run in runs)
    noise = judge_noise(problem, reach) if belief is None else belief.noise
    hypotheses = hypotheses_for(problem, noise, reach) if belief is None else belief.hypotheses
    target = height_weights(station, problem.node_mm)
    found = mixture(problem, noise, hypotheses, target)
    if belief is None:
        unexplained = found.spread_um2 + np.diag(_within_stretch(found.height_um, target) ** 2)
        if len(blind):
            unexplained = unexplained + covariance_of_mean_piece(
                problem.node_mm, found.height_um, blind[0], target
            )
        belief = Belief(hypotheses, noise, blind, unexplained)
    not_seen = shape_not_seen(whole, covered)
    rates = found.drift.tolist(), found.drift_uncertainty.tolist()
    drifts = dict(zip(problem.drifts, zip(*rates, strict=True), strict=True))
    contrasts = line_free_contrasts(station)
    take_line = contrasts.T @ contrasts
    covariance = take_line @ (found.covariance_um2 + _still_unexplained(belief, blind)) @ take_line
    return ContinuousHeights(
        station_mm=station,
        height_um=take_line @ found.target_um,
        covariance_um2=(covariance + covariance.T) / 2,
        belief=belief,
        blind_wavelength_mm=blind,
        band_is_95_percent=not_seen is None,
        not_seen=not_seen,
        not_seen_alone=not_seen,
        anchored=False,
        base_lag=_base_lag(runs, noise, station, drifts),
        drifts=drifts,
    )


def _within_stretch(height_um: Array, target: sparse.csr_array) -> Array:
    """Standard uncertainty of a height at a place, known as the mean over a node's stretch.

    Of a way bent over several nodes that is next to nothing; at a ledge it is a sixth of its height.
    """
    bend = np.pad(np.abs(np.diff(height_um, 2)), 1, mode="edge")
    nearby = np.maximum(bend, np.maximum(np.r_[bend[1:], 0.0], np.r_[0.0, bend[:-1]]))
    return np.max((target.toarray() != 0) * nearby, axis=1) / WITHIN_STRETCH


def _still_unexplained(belief: Belief, blind: Array) -> Array | float:
    """What the opinions differ by, unless the longest ripple that was blind no longer is."""
    if len(belief.blind_wavelength_mm) and not np.any(np.isclose(blind, belief.blind_wavelength_mm[0])):
        return 0.0
    return belief.unexplained_um2


def _base_lag(
    runs: Sequence[ContinuousRun],
    noise: Noise,
    station_mm: Array,
    drifts: Mapping[str, tuple[float, float]],
) -> BaseLagHeights | None:
    """Heights at base-lag stations, drifts taken off, with what these are uncertain by."""
    judged = [
        noise.between_readings(k, float(np.median(np.diff(run.station_mm)))) for k, run in enumerate(runs)
    ]

    def chained(slopes: Sequence[Array]) -> BaseLagHeights | None:
        steady = [replace(run, slope_um_per_m=slope) for run, slope in zip(runs, slopes, strict=True)]
        return chain_of_runs(steady, [rho for rho, _ in judged], [size for _, size in judged], station_mm)

    base_lag = chained(
        [run.slope_um_per_m - run.drifted(drifts.get(run.drifts_with, (0.0,))[0]) for run in runs]
    )
    if base_lag is None:
        return None
    covariance = base_lag.covariance_um2
    for name, (_, doubt) in drifts.items():
        bow = chained([run.drifted(doubt if run.drifts_with == name else 0.0) for run in runs])
        assert bow is not None
        covariance = covariance + np.outer(bow.height_um, bow.height_um)
    return replace(base_lag, covariance_um2=covariance)
