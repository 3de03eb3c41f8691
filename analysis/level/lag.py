"""How late the readings are: a forward and a reverse traverse of the same way compared.

A reading that comes `T` late shows the slope where the instrument was `T` ago; going the
other way the shape shifts the other way.  Both passes are fitted with one smooth slope
(cubic B-spline, knots 12 mm apart), a jump of zero between passes, a steady drift (over a
short common stretch it would look like a lag), and one T.  A constant shift against the
direction of travel (backlash in the position) looks like v·T; at one speed nothing tells
the two apart, and putting the readings back by v·T is right for either.

A way whose slope rises evenly (a pure bow) only shifts by a constant, which is the jump:
there T cannot be known, and `determinable` says so.

Source: derived for this project; the uncertainty is the bound that the curvature of the
fit allows, √2·u/(2v)/√Σ(s′ − s̄′)² for two equal passes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import linalg

from acquire.model.errors import AnalysisError
from analysis.linear.banded import BandFactor, factor
from analysis.linear.even_splines import EvenSplines, SplineRows

Array = NDArray[np.float64]

KNOT_MM = 12.0
LARGEST_UNCERTAINTY_S = 0.2
SIGNAL_OVER_NOISE = 3.0
"""How far the information on T must stand out of what noise alone would show."""
GRID_S = 0.05
HARDLY_TOUCHED = 1e-9
"""Added to the splines' diagonal, in parts of its largest: one that a reading barely touches is held near
nothing, instead of being made as large as that one reading's noise would have it."""
DEPENDENT = 1e-9
"""Of zeros and drift: what is left of them besides the smooth slope, in parts of the largest, is rounding."""
TOO_EVEN, TOO_UNSURE, AT_THE_END = "too even", "too unsure", "end of range"


@dataclass(frozen=True, eq=False)
class Pass:
    """Readings of one traverse in one direction, with the position at the same instants."""

    time_s: Array
    """Time of each reading, rising, in s, shape (n,)."""
    position_mm: Array
    """Position of the middle of the base at that time, in mm, shape (n,)."""
    slope_um_per_m: Array
    """What was read then, in µm/m, shape (n,)."""
    standard_uncertainty_um_per_m: float
    """Standard uncertainty of one reading, in µm/m."""
    is_negated: bool = False
    """Whether the slopes are the negative of what was read, as of a level that was turned."""


@dataclass(frozen=True)
class Lag:
    """How late readings are, or that it cannot be known."""

    time_s: float
    """The lag, in s: readings show where the instrument was this long ago."""
    standard_uncertainty_s: float
    """Its standard uncertainty; infinite where the passes say nothing."""
    determinable: bool
    """Whether the lag is known to better than 0.2 s and may be used."""
    reason: str
    """Why not (one of the names above); empty where it is."""


def pass_of(
    time_s: ArrayLike, position_mm: ArrayLike, slope_um_per_m: ArrayLike, standard_uncertainty_um_per_m: float
) -> Pass:
    """Check the readings of one pass.

    Raises
    ------
    AnalysisError
        If lengths differ, fewer than ten readings are there, a number is not finite, time
        does not rise, or the uncertainty is not above zero.

    Examples
    --------
    >>> float(pass_of(np.arange(20), 5 * np.arange(20), np.zeros(20), 1.0).position_mm[-1])
    95.0
    """
    time, position, slope = (np.asarray(a, dtype=float) for a in (time_s, position_mm, slope_um_per_m))
    if time.ndim != 1 or not time.shape == position.shape == slope.shape or len(time) < 10:
        raise AnalysisError(
            "pass",
            f"found {time.size} times, {position.size} positions, {slope.size} slopes",
            "ten or more of each",
        )
    if not all(np.all(np.isfinite(a)) for a in (time, position, slope)) or np.any(np.diff(time) <= 0):
        raise AnalysisError(
            "pass", "a number is missing or time does not rise", "finite numbers in order of time"
        )
    if not standard_uncertainty_um_per_m > 0:
        raise AnalysisError("pass", f"found an uncertainty of {standard_uncertainty_um_per_m}", "one above 0")
    return Pass(time, position, slope, float(standard_uncertainty_um_per_m))


@dataclass(frozen=True, eq=False)
class _Setup:
    """What does not change with the lag; readings divided by their uncertainty."""

    passes: Sequence[Pass]
    velocity: list[Array]
    kept: list[NDArray[np.bool_]]
    splines: EvenSplines
    run_of: NDArray[np.intp]
    weight: Array
    reading: Array
    jump: Array
    """A column for the zero of each pass but the first, then one for the drift."""


@dataclass(frozen=True, eq=False)
class _Fit:
    """One smooth slope and the jumps between passes, at one lag."""

    position_mm: Array
    velocity_mm_per_s: Array
    rows: SplineRows
    """What each spline does to each reading."""
    jump: Array
    factored: BandFactor
    """Of the splines' normal matrix."""
    side: Array
    """(Normal matrix)⁻¹ × its columns for the jumps."""
    jump_inverse: Array
    reading: Array

    @cached_property
    def unknown(self) -> Array:
        """Of each spline."""
        return self._solved(self.reading)[0]

    @cached_property
    def residual(self) -> Array:
        """What is left of each reading."""
        return self.left_over(self.reading)

    @property
    def misfit(self) -> float:
        """Sum of the squares of what is left."""
        return float(self.residual @ self.residual)

    @property
    def inverse(self) -> Array:
        """What makes the unknowns of splines and jumps out of the pull of readings on them."""
        splines = self.factored.solve(np.eye(self.rows.splines))
        tied = self.side @ self.jump_inverse
        return np.block([[splines + tied @ self.side.T, -tied], [-tied.T, self.jump_inverse]])

    def left_over(self, column: Array) -> Array:
        """What the smooth slope and the jumps cannot take up of a column."""
        unknown, jumps = self._solved(column)
        return np.asarray(column - self.rows @ unknown - self.jump @ jumps, dtype=np.float64)

    def _solved(self, column: Array) -> tuple[Array, Array]:
        pull = self.rows.transposed_times(column)
        jumps = self.jump_inverse @ (self.jump.T @ column - self.side.T @ pull)
        return self.factored.solve(pull) - self.side @ jumps, jumps


def lag_from_passes(passes: Sequence[Pass], *, range_s: tuple[float, float] = (-1.0, 4.0)) -> Lag:
    """The lag from passes in both directions over the same stretch.

    Parameters
    ----------
    passes : sequence of Pass
        At least one forward and one reverse.
    range_s : tuple of float
        Where to look for the lag; readings whose position that long before is not known
        are left out.

    Returns
    -------
    Lag

    Raises
    ------
    AnalysisError
        If all passes go one way, do not overlap, or are too short for the range.

    Examples
    --------
    >>> t = np.arange(0, 120, 0.1)
    >>> slope = lambda x: 50 * np.sin(x / 40)
    >>> there = pass_of(t, 5 * t, slope(5 * (t - 0.4)), 1.0)
    >>> back = pass_of(t, 600 - 5 * t, slope(600 - 5 * (t - 0.4)), 1.0)
    >>> round(lag_from_passes([there, back]).time_s, 3)
    0.4
    """
    directions = {np.sign(p.position_mm[-1] - p.position_mm[0]) for p in passes}
    if not {1.0, -1.0} <= directions:
        raise AnalysisError("lag", "found passes in one direction only", "one forward and one reverse")
    setup = _setup(passes, range_s)
    coarse = np.arange(range_s[0], range_s[1] + 1e-9, 4 * GRID_S)
    misfits = _misfits(setup, coarse)
    fine = np.clip(coarse[np.argmin(misfits)] + GRID_S * np.arange(-3, 4), *range_s)
    lag_s, fit = _refined(setup, float(fine[np.argmin(_misfits(setup, fine))]))
    if not _stands_out(coarse, misfits, _noise_factor(setup, fit)):
        return _unknown(lag_s, TOO_EVEN)
    return _judged(setup, fit, lag_s, range_s)


def _setup(passes: Sequence[Pass], range_s: tuple[float, float]) -> _Setup:
    kept = [_inside(one, range_s) for one in passes]
    run_of = np.repeat(np.arange(len(passes)), [int(keep.sum()) for keep in kept])
    weight = 1 / np.array([one.standard_uncertainty_um_per_m for one in passes])[run_of]
    reading = np.concatenate([one.slope_um_per_m[keep] for one, keep in zip(passes, kept, strict=True)])
    zeros = run_of[:, None] == np.arange(1, len(passes))
    since = [(one.time_s - one.time_s[0])[keep] for one, keep in zip(passes, kept, strict=True)]
    shown = np.where([one.is_negated for one in passes], -1.0, 1.0)[run_of]
    drift = shown * np.concatenate(since) / max(each[-1] for each in since)
    jump = np.column_stack([zeros, drift]) * weight[:, None]
    velocity = [np.gradient(one.position_mm, one.time_s) for one in passes]
    splines = _splines(passes, kept, range_s)
    return _Setup(passes, velocity, kept, splines, run_of, weight, reading * weight, jump)


def _inside(one: Pass, range_s: tuple[float, float]) -> NDArray[np.bool_]:
    """Readings whose position is known at every lag in the range."""
    time = one.time_s
    kept = (time - max(range_s[1], 0.0) >= time[0]) & (time - min(range_s[0], 0.0) <= time[-1])
    if kept.sum() < 10:
        raise AnalysisError(
            "lag",
            f"a pass lasts only {time[-1] - time[0]:.1f} s",
            f"longer than {range_s[1] - range_s[0]:g} s",
        )
    return kept


def _shifted(one: Pass, kept: NDArray[np.bool_], lag_s: float) -> Array:
    """Where the instrument was when each reading's value was true."""
    return np.interp(one.time_s[kept] - lag_s, one.time_s, one.position_mm)


def _splines(
    passes: Sequence[Pass], kept: list[NDArray[np.bool_]], range_s: tuple[float, float]
) -> EvenSplines:
    """Splines over everything that any lag in the range can reach."""
    ends = [_shifted(one, keep, lag) for one, keep in zip(passes, kept, strict=True) for lag in range_s]
    lowest, highest = min(e.min() for e in ends) - KNOT_MM, max(e.max() for e in ends) + KNOT_MM
    overlap = min(e.max() for e in ends) - max(e.min() for e in ends)
    if overlap < 4 * KNOT_MM:
        raise AnalysisError(
            "lag", f"the passes share {max(overlap, 0):.0f} mm", f"{4 * KNOT_MM:.0f} mm or more"
        )
    return EvenSplines(lowest, KNOT_MM, int(np.ceil((highest - lowest) / KNOT_MM)))


def _fit(setup: _Setup, lag_s: float) -> _Fit:
    """Fit one smooth slope and the jumps at a given lag."""
    then = zip(setup.passes, setup.kept, setup.velocity, strict=True)
    velocity = [np.interp(one.time_s[keep] - lag_s, one.time_s, each) for one, keep, each in then]
    position = _positions(setup, lag_s)
    rows = setup.splines.values(position).times_rows(setup.weight)
    band = rows.squared()
    band[0] += HARDLY_TOUCHED * band[0].max()
    factored = factor(band, np.arange(rows.splines))
    tied = rows.transposed_times(setup.jump)
    side = factored.solve(tied)
    inverse = linalg.pinvh(setup.jump.T @ setup.jump - tied.T @ side, rtol=DEPENDENT)
    return _Fit(position, np.concatenate(velocity), rows, setup.jump, factored, side, inverse, setup.reading)


def _positions(setup: _Setup, lag_s: float) -> Array:
    """Where each reading was true."""
    return np.concatenate(
        [_shifted(one, keep, lag_s) for one, keep in zip(setup.passes, setup.kept, strict=True)]
    )


def _movement(setup: _Setup, fit: _Fit) -> Array:
    """How far each position moves per second of lag, over its uncertainty."""
    return -fit.velocity_mm_per_s * setup.weight


def _sensitivity(setup: _Setup, fit: _Fit) -> Array:
    """What the lag does to the readings that nothing else in the fit can do."""
    return fit.left_over(_movement(setup, fit) * (setup.splines.slopes(fit.position_mm) @ fit.unknown))


def _spurious(setup: _Setup, fit: _Fit) -> tuple[float, float]:
    """The information on the lag that noise alone would show, and its standard deviation."""
    tangent = setup.splines.slopes(fit.position_mm).times_rows(_movement(setup, fit))
    tied = fit.rows.transposed_times(fit.jump)
    normal = np.block([[fit.rows.against(fit.rows), tied], [tied.T, fit.jump.T @ fit.jump]])
    across = np.vstack([fit.rows.against(tangent), tangent.transposed_times(fit.jump).T])
    inverse = fit.inverse
    taken_up = inverse @ across
    left = tangent.against(tangent) - 2 * across.T @ taken_up + taken_up.T @ normal @ taken_up
    form = left @ (inverse @ normal @ inverse)[: len(left), : len(left)]
    return float(np.trace(form)), float(np.sqrt(2 * np.sum(form * form.T)))


def _misfits(setup: _Setup, lags: Array) -> Array:
    """What is left at each lag."""
    return np.array([_fit(setup, lag).misfit for lag in lags.tolist()])


def _stands_out(lags: Array, misfits: Array, factor: float) -> bool:
    """Whether only lags near the best fit nearly as well: three times the allowed uncertainty either way."""
    alike = lags[misfits <= misfits.min() + 9 * factor]
    return bool(np.ptp(alike) <= 6 * LARGEST_UNCERTAINTY_S)


def _refined(setup: _Setup, lag_s: float) -> tuple[float, _Fit]:
    """Newton steps on the least squares until they no longer help."""
    fit = _fit(setup, lag_s)
    for _ in range(30):
        pull = _sensitivity(setup, fit)
        if not np.any(pull):
            break
        step = float(np.clip(pull @ fit.residual / (pull @ pull), -2 * GRID_S, 2 * GRID_S))
        nearer = _halved(setup, lag_s, step, fit.misfit)
        if nearer is None:
            break
        lag_s, fit = nearer
        if abs(step) < 1e-6:
            break
    return lag_s, fit


def _halved(setup: _Setup, lag_s: float, step: float, misfit: float) -> tuple[float, _Fit] | None:
    """The first of the step, its half, its quarter, its eighth that lessens the misfit."""
    first, last = setup.splines.first + KNOT_MM / 2, setup.splines.last - KNOT_MM / 2
    for times in (1.0, 0.5, 0.25, 0.125):
        moved = lag_s + times * step
        where = _positions(setup, moved)
        if where.min() < first or where.max() > last:
            continue
        fit = _fit(setup, moved)
        if fit.misfit < misfit:
            return moved, fit
    return None


def _noise_factor(setup: _Setup, fit: _Fit) -> float:
    """Square of what the stated uncertainty must be multiplied by: residuals larger than stated, or alike."""
    unknowns = fit.rows.splines + fit.jump.shape[1]
    size = fit.misfit / max(len(fit.residual) - unknowns, 1)
    parts = [fit.residual[setup.run_of == k] for k in range(len(setup.passes))]
    shared = sum(float(part[1:] @ part[:-1]) for part in parts) / max(fit.misfit, 1e-300)
    rho = min(max(shared, 0.0), 0.98)
    return max(size, 1.0) + size * 2 * rho / (1 - rho)


def _judged(setup: _Setup, fit: _Fit, lag_s: float, range_s: tuple[float, float]) -> Lag:
    """Put an uncertainty beside the lag, and say whether it can be known at all.

    Noise makes the fitted slope wavy, which looks like information; what it would give by
    itself is taken off, and what is left must stand out of its scatter.
    """
    noise = _noise_factor(setup, fit)
    pull = _sensitivity(setup, fit)
    spurious, spread = _spurious(setup, fit)
    seen = float(pull @ pull)
    if seen <= (spurious + SIGNAL_OVER_NOISE * spread) * noise:
        return _unknown(lag_s, TOO_EVEN)
    sd = (noise / (seen - spurious * noise)) ** 0.5
    return _refuse_vague(Lag(lag_s, sd, True, ""), range_s)


def _unknown(time_s: float, reason: str) -> Lag:
    return Lag(time_s, float("inf"), False, reason)


def _refuse_vague(lag: Lag, range_s: tuple[float, float]) -> Lag:
    """Mark a lag that is too uncertain, or at the end of where it was looked for."""
    if lag.standard_uncertainty_s >= LARGEST_UNCERTAINTY_S:
        return replace(lag, determinable=False, reason=TOO_UNSURE)
    if not range_s[0] < lag.time_s < range_s[1]:
        return replace(lag, determinable=False, reason=AT_THE_END)
    return lag
