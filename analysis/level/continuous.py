"""Heights from slopes sampled densely over a base: the smoothest way that the readings allow.

A slope over a base B is the difference of the heights of two feet.  Its plain integral is
the way smoothed over B (sign reversed between B and B/2) and is never the profile.  Here
the heights h at nodes one or two millimetres apart are those that make

    ‖(d − A h − zero) / σ‖² + ‖D₂h‖² / (q·dx³)

least: d = B·slope, σ = B × its uncertainty, D₂ the second differences, `q` (µm²/mm³) how
strongly the way is taken to bend, found by marginal likelihood with height, tilt and the
zeros of all traverses wholly unknown.  So is the kind of way: the second term may be
weighted so that curvature holds over a stretch (`bending`).  Where neighbouring readings
share their noise σ grows accordingly (`noise`).

The line through the whole is never known.  Results therefore come with the least-squares
line through the asked-for stations taken off mean and covariance.

Sources: the estimator is the usual smoothing by penalised second differences with its
parameter found by restricted maximum likelihood; checked here against numbers derived
for this project and against simulated ways.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.errors import AnalysisError
from analysis.level.bending import ANEW, Kind
from analysis.level.blindness import blind_wavelengths_mm, shape_warning
from analysis.level.fit import (
    Problem,
    Solution,
    covariance_at,
    leverage,
    likeliest,
    normal_for,
    problem_for,
    problems_for,
    refined,
    solve,
    spacing_of,
    standardised_residuals,
)
from analysis.level.noise import Noise, as_stated, judge_noise
from analysis.level.one_base_apart import StationHeights, chain_of_runs
from analysis.level.slopes import DenseTraverse, height_weights, spacing_for

Array = NDArray[np.float64]

SHARE_OF_LENGTH = 0.8
"""A second base counts where its traverse covers at least this much of the length."""


@dataclass(frozen=True)
class Belief:
    """What the readings made likeliest, for judging what further readings would bring."""

    kind: Kind
    q_um2_per_mm3: float
    """How strongly the way bends: variance of its curvature per mm of way, over long stretches."""
    noise: Noise

    def with_run_like(self, number: int) -> "Belief":
        """The same for one run more, as noisy as run `number` (from 0) of those that it came from."""
        found = self.noise
        return replace(
            self,
            noise=Noise(*((*each, each[number]) for each in (found.rho, found.inflation, found.size))),
        )


@dataclass(frozen=True, eq=False)
class DenseHeights:
    """Heights at the asked-for stations, up to a line, and what became of each sample."""

    station_mm: Array
    """The stations asked for, in mm, shape (k,)."""
    height_um: Array
    """Heights there, the least-squares line through them removed, in µm, shape (k,)."""
    covariance_um2: Array
    """Their covariance, the same line removed: of rank k − 2, in µm², shape (k, k)."""
    belief: Belief
    """The kind of way, how strongly it bends, and the noise that the readings made likeliest."""
    blind_wavelength_mm: Array
    """Ripples that none of the bases can see, down to a fifth of the longest base, in mm."""
    band_is_95_percent: bool
    """Whether the band of the curve may be called a 95 % band."""
    warning: str
    """What must be said where it may not; else empty."""
    warning_alone: str
    """What would have to be said if nothing else tied the heights."""
    residual_um_per_m: tuple[Array, ...]
    """Reading minus what the heights give, in µm/m, one array per traverse in order of station."""
    redundancy: tuple[Array, ...]
    """Share of an error in a sample that shows in its residual (0 to 1), likewise."""
    normalised_residual: tuple[Array, ...]
    """Residual over its own standard uncertainty, likewise: for tests for outliers."""
    chi_square: float
    """Sum of squares of residual over stated uncertainty."""
    degrees_of_freedom: float
    """What chi-square should be near: samples less what the heights and zeros took up."""
    node_spacing_mm: float
    """Distance between the nodes used."""
    one_base_apart: StationHeights | None
    """Heights with nothing assumed between them; None where no three stations could be chained."""

    @property
    def taken_as(self) -> str:
        """What kind of way the readings made likeliest, in words."""
        return self.belief.kind.name

    @property
    def q_um2_per_mm3(self) -> float:
        """How strongly the way bends."""
        return self.belief.q_um2_per_mm3

    @property
    def rho(self) -> tuple[float, ...]:
        """Correlation of neighbouring samples' noise, one per traverse."""
        return self.belief.noise.rho

    @property
    def inflation(self) -> tuple[float, ...]:
        """By what the stated uncertainties were multiplied on account of noise, one per traverse."""
        return self.belief.noise.inflation

    def tied(self, anchored: bool) -> "DenseHeights":
        """The same where something else ties the heights between stations, or nothing does.

        Examples
        --------
        >>> from analysis.level.slopes import dense_traverse
        >>> run = dense_traverse(np.arange(50, 251, 2.0), np.zeros(101), 1.0, base_mm=100)
        >>> alone = heights_from_dense_slopes([run], [0, 100, 200, 300])
        >>> alone.band_is_95_percent, alone.tied(True).band_is_95_percent
        (False, True)
        """
        warning = "" if anchored else self.warning_alone
        return replace(self, warning=warning, band_is_95_percent=not warning)


def line_free_contrasts(station_mm: ArrayLike) -> Array:
    """Orthonormal combinations of heights at `station_mm` that a line added to them does not change.

    Their transpose times themselves takes the least-squares line off.

    Parameters
    ----------
    station_mm : array, shape (k,)
        At least three different stations.

    Returns
    -------
    matrix : array, shape (k − 2, k)

    Examples
    --------
    Three heights have one: how far the middle is off the chord.

    >>> matrix = line_free_contrasts([0, 100, 200])
    >>> (matrix / matrix[0, 0]).round(9)
    array([[ 1., -2.,  1.]])
    """
    station = np.asarray(station_mm, dtype=float)
    centred = station - station.mean()
    lines = np.stack([np.ones_like(centred), centred / np.abs(centred).max()], axis=1)
    return np.linalg.qr(lines, mode="complete")[0][:, 2:].T


def _checked_targets(traverses: Sequence[DenseTraverse], station_mm: ArrayLike, spacing_mm: float) -> Array:
    """Refuse stations that no foot reached, that repeat, or that are too few for a shape."""
    station = np.asarray(station_mm, dtype=float)
    if station.ndim != 1 or len(station) < 3 or not np.all(np.isfinite(station)):
        raise AnalysisError(
            "stations", f"found {station.size}", "three or more, all finite: two only make a line"
        )
    lowest = min(run.lowest_mm for run in traverses)
    highest = max(run.highest_mm for run in traverses)
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


def _warning(traverses: Sequence[DenseTraverse]) -> str:
    """What must be said of the curve; a base counts where its traverse covers nearly the whole length."""
    lowest = min(run.lowest_mm for run in traverses)
    covered = max(run.highest_mm for run in traverses) - lowest
    whole = [run.base_mm for run in traverses if run.highest_mm - run.lowest_mm >= SHARE_OF_LENGTH * covered]
    return shape_warning(whole or [max(run.base_mm for run in traverses)], covered)


def heights_from_dense_slopes(
    traverses: Sequence[DenseTraverse],
    station_mm: ArrayLike,
    *,
    anchored: bool = False,
    q_um2_per_mm3: float | None = None,
    belief: Belief | None = None,
    node_spacing_mm: float | None = None,
) -> DenseHeights:
    """Heights at stations, up to a line, from one or more dense slope traverses of one face.

    Errors shared by all samples of an instrument (its scale, its base) are not in the
    covariance: heights scale with them.  Samples of one traverse that repeat a station
    are taken one by one; forward and reverse runs are two traverses, each with its zero.

    Parameters
    ----------
    traverses : sequence of DenseTraverse
        All dense traverses of the face, solved together; bases may differ.
    station_mm : array, shape (k,)
        Where heights are wanted: rising, within reach of the feet, three or more.
    anchored : bool
        Whether something else (an indicator run, a straightedge) ties the heights between
        stations one base apart, so that the band may be called a 95 % band.
    q_um2_per_mm3 : float, optional
        A fixed bending strength of a way that bends anew at every place, for checking numbers
        only: uncertainties are then taken as stated. Otherwise all of these are judged.
    belief : Belief, optional
        What fewer readings made likeliest, taken as given: then the readings of further
        runs play no part in the covariance.
    node_spacing_mm : float, optional
        Distance between nodes; one to two millimetres by default.

    Returns
    -------
    DenseHeights

    Raises
    ------
    AnalysisError
        If there is no traverse, a station is out of reach, too near the next or not
        finite, or the problem is too large.

    Examples
    --------
    A way hollow by a parabola, read over 100 mm feet: 18 µm deep in the middle of 600 mm.

    >>> from analysis.level.slopes import dense_traverse
    >>> x = np.arange(50, 551, 2.0)
    >>> run = dense_traverse(x, 0.4 * (x - 300), 0.5, base_mm=100)
    >>> found = heights_from_dense_slopes([run], [0, 300, 600])
    >>> bool(abs(found.height_um[1] - found.height_um[0] + 18.0) < 0.05)
    True
    """
    if not traverses:
        raise AnalysisError("dense slopes", "found no traverse", "at least one")
    spacing = node_spacing_mm or spacing_for(traverses)
    station = _checked_targets(traverses, station_mm, spacing)
    if q_um2_per_mm3:
        belief = Belief(ANEW, q_um2_per_mm3, as_stated(len(traverses)))
    if belief is None:
        problem, solution, noise = _likeliest(traverses, spacing)
    else:
        noise = belief.noise
        problem = problem_for(traverses, spacing_of(belief.kind, traverses, spacing), (belief.kind,))
        solution = solve(problem, normal_for(problem, _sigma(problem, noise)), belief.q_um2_per_mm3)
    return _heights(traverses, station, problem, solution, noise).tied(anchored)


def _likeliest(traverses: Sequence[DenseTraverse], spacing_mm: float) -> tuple[Problem, Solution, Noise]:
    """The noise first, then the likeliest kind of way and how strongly it bends."""
    noise = judge_noise(problems_for(traverses, _spacing_for_noise(traverses), paired=True))
    found = [
        (each, likeliest(each, normal_for(each, _sigma(each, noise))))
        for each in problems_for(traverses, spacing_mm)
    ]
    return *min(found, key=lambda one: one[1].unlikeliness), noise


def _sigma(problem: Problem, noise: Noise) -> Array:
    return problem.sigma_um * np.array(noise.inflation)[problem.run_of]


def _spacing_for_noise(traverses: Sequence[DenseTraverse]) -> float:
    """Several bases do not fold into a narrow band: noise is then judged on nodes twice as far apart."""
    return spacing_for(traverses) * (1 if len({run.base_mm for run in traverses}) == 1 else 2)


def _heights(
    traverses: Sequence[DenseTraverse],
    station: Array,
    problem: Problem,
    solution: Solution,
    noise: Noise,
) -> DenseHeights:
    """Bring the solution to the stations, take the line off, and judge every sample."""
    contrasts = line_free_contrasts(station)
    take_line = contrasts.T @ contrasts
    target = height_weights(station, problem.node_mm)
    covariance = take_line @ covariance_at(solution, target) @ take_line
    inflation = np.array(noise.inflation)[problem.run_of]
    solution = refined(problem, _sigma(problem, noise), solution)
    residual = standardised_residuals(problem, solution)
    redundancy = np.clip(1 - leverage(problem, solution, _sigma(problem, noise)), 0.0, 1.0)
    normalised = residual / (inflation * np.sqrt(np.maximum(redundancy, 1e-12)))
    base_m = np.array([run.base_mm for run in traverses])[problem.run_of] / 1000
    cuts = np.cumsum([len(run.station_mm) for run in traverses])[:-1]
    warning = _warning(traverses)
    return DenseHeights(
        station_mm=station,
        height_um=take_line @ (target @ solution.height_um),
        covariance_um2=(covariance + covariance.T) / 2,
        belief=Belief(solution.bending.kind, solution.q, noise),
        blind_wavelength_mm=blind_wavelengths_mm([run.base_mm for run in traverses]),
        band_is_95_percent=not warning,
        warning=warning,
        warning_alone=warning,
        residual_um_per_m=tuple(np.split(residual * problem.sigma_um / base_m, cuts)),
        redundancy=tuple(np.split(redundancy, cuts)),
        normalised_residual=tuple(np.split(normalised, cuts)),
        chi_square=float(residual @ residual),
        degrees_of_freedom=float(redundancy.sum()),
        node_spacing_mm=problem.spacing_mm,
        one_base_apart=chain_of_runs(traverses, noise.rho, noise.size, station),
    )
