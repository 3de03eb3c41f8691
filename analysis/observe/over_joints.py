"""Levels drawn over a declared joint: the step there is read as each foot crosses it.

Half a base before the joint the far foot comes onto the piece beyond, and the reading rises by step / base;
half a base after it the near foot follows, and the reading falls back:

    slope read = slope of a smooth way + step / base  while the joint lies between the feet

Each jump is what two straight lines, fitted to the readings short of it and beyond it, differ by there; a
way that bends, kinks or drifts alike on both sides changes neither.  Jumps of all runs are averaged, the
step is taken out of the readings, and put back into the heights.  Readings with a foot near the joint
belong to neither piece and are left out.  What is left of a step wrongly taken out, the smooth way rounds
off within a base of the joint: there the heights are as uncertain as the step.  Derived for this project.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from acquire.model.errors import AnalysisError
from acquire.model.units import MM_PER_M
from analysis.linear.pieces import side_of
from analysis.linear.straight_line import line_free_contrasts

if TYPE_CHECKING:
    from analysis.level.continuous import ContinuousHeights
    from analysis.level.slopes import ContinuousRun

CLEAR_MM = 5.0
"""A foot so near the joint may stand on either piece: where it is, is known by rule and line only."""
WINDOW_SHARE, WIDEST_SHARE = 0.125, 0.4
"""Of the base, on either side of a jump: what a line is fitted to, and where readings are few, at most."""
LEAST_READINGS = 4
"""On either side of a jump."""
COVERAGE = 0.975


@dataclass(frozen=True)
class CrossedJoint:
    """A joint that a level was drawn over, and the step that its readings show."""

    at_mm: float
    step_um: float
    """+: the piece beyond stands proud; NaN where feet barely came over it: those readings are left out."""
    standard_uncertainty_um: float
    base_mm: float
    """The longest base that crossed it."""


def joints_crossed(runs: Sequence["ContinuousRun"], joints_mm: Sequence[float]) -> tuple[CrossedJoint, ...]:
    """The joints that feet of these runs crossed, with their steps.

    Raises
    ------
    AnalysisError
        Where the readings beside a joint are too few to tell its step.

    Examples
    --------
    >>> from analysis.level.slopes import continuous_run
    >>> x = np.arange(100.0, 501, 2)
    >>> read = np.where(np.abs(x - 300) < 100, 50.0, 0.0)
    >>> (found,) = joints_crossed([continuous_run(x, read, 1.0, base_mm=200)], (300.0,))
    >>> round(found.step_um, 6)
    10.0
    """
    crossed = [mm for mm in joints_mm if any(_is_crossed(run, mm) for run in runs)]
    return tuple(_crossed(runs, mm) for mm in crossed)


def without_steps(run: "ContinuousRun", crossed: Sequence[CrossedJoint]) -> "ContinuousRun":
    """The run as on a bed without these steps, less the readings with a foot near a joint."""
    kept = np.ones(len(run.station_mm), bool)
    slope = run.slope_um_per_m.copy()
    for joint in crossed:
        off = run.station_mm - joint.at_mm
        is_over = np.abs(off) < run.base_mm / 2
        kept &= np.abs(np.abs(off) - run.base_mm / 2) > _clear_mm(run)
        if np.isnan(joint.step_um):
            kept &= ~is_over
        else:
            slope[is_over] -= joint.step_um / run.base_mm * MM_PER_M
    return replace(run, slope_um_per_m=slope).taken(kept)


def steps_um(station_mm: NDArray, crossed: Sequence[CrossedJoint]) -> NDArray[np.float64]:
    """What the steps add to the heights."""
    height = np.zeros(len(station_mm))
    for joint in crossed:
        height += np.nan_to_num(joint.step_um) * side_of((joint.at_mm,), station_mm)
    return height


def steps_variance_um2(
    station_mm: NDArray, crossed: Sequence[CrossedJoint], within_mm: float | None = None
) -> NDArray[np.float64]:
    """What the steps leave uncertain in each height near its joint: within a base of it, or less."""
    variance = np.zeros(len(station_mm))
    for joint in crossed:
        near = np.abs(station_mm - joint.at_mm) <= (joint.base_mm if within_mm is None else within_mm)
        variance[near] += joint.standard_uncertainty_um**2
    return variance


def with_steps(heights: "ContinuousHeights", crossed: Sequence[CrossedJoint]) -> "ContinuousHeights":
    """Heights of the bed as it is, of what runs without the steps gave."""
    if not crossed:
        return heights
    x, base_lag = heights.station_mm, heights.base_lag
    contrasts = line_free_contrasts(x)
    take_line = contrasts.T @ contrasts
    widened = heights.covariance_um2 + np.diag(steps_variance_um2(x, crossed))
    if base_lag is not None:
        near = steps_variance_um2(base_lag.station_mm, crossed, base_lag.averaged_over_mm / 2 + CLEAR_MM)
        base_lag = replace(
            base_lag,
            height_um=base_lag.height_um + steps_um(base_lag.station_mm, crossed),
            covariance_um2=base_lag.covariance_um2 + np.diag(near),
        )
    return replace(
        heights,
        height_um=take_line @ (heights.height_um + steps_um(x, crossed)),
        covariance_um2=take_line @ widened @ take_line,
        base_lag=base_lag,
    )


def _clear_mm(run: "ContinuousRun") -> float:
    return CLEAR_MM + run.pad_mm / 2


def _is_crossed(run: "ContinuousRun", at_mm: float) -> bool:
    return bool(np.any(np.abs(run.station_mm - at_mm) < run.base_mm / 2))


def _crossed(runs: Sequence["ContinuousRun"], at_mm: float) -> CrossedJoint:
    over = [run for run in runs if _is_crossed(run, at_mm)]
    jumps = [jump for run in over for jump in _jumps_um(run, at_mm)]
    longest_mm = max(run.base_mm for run in over)
    if not jumps and not all(_lies_on(runs, at_mm, side) for side in (-1, 1)):
        return CrossedJoint(float(at_mm), np.nan, 0.0, longest_mm)
    if not jumps:
        raise AnalysisError(
            over[0].name,
            f"found too few readings beside the joint at {at_mm:g} mm to tell its step",
            f"{LEAST_READINGS} on either side of where a foot crosses it, within "
            f"{WIDEST_SHARE * over[0].base_mm:g} mm",
            "step the level over the joint, or draw it slower there",
        )
    step, variance = np.array(jumps).T
    count = len(jumps)
    scatter = float(np.std(step, ddof=1)) * stdtrit(count - 1, COVERAGE) / 1.96 if count > 1 else 0.0
    return CrossedJoint(
        at_mm=float(at_mm),
        step_um=float(np.mean(step)),
        standard_uncertainty_um=float(np.hypot(np.sqrt(np.mean(variance)), scatter) / np.sqrt(count)),
        base_mm=longest_mm,
    )


def _lies_on(runs: Sequence["ContinuousRun"], at_mm: float, side: int) -> bool:
    """Whether both feet ever stood on the piece on that side of a joint."""
    return any(np.any(side * (run.station_mm - at_mm) > run.base_mm / 2 + _clear_mm(run)) for run in runs)


def _window_mm(run: "ContinuousRun") -> float:
    """An eighth of the base, or more where that holds too few readings."""
    few = (LEAST_READINGS + 1) * float(np.median(np.diff(run.station_mm)))
    return min(max(WINDOW_SHARE * run.base_mm, few), WIDEST_SHARE * run.base_mm)


def _jumps_um(run: "ContinuousRun", at_mm: float) -> Iterator[tuple[float, float]]:
    """The step by each foot that crossed: value and variance."""
    for side in (-1, 1):
        off = run.station_mm - (at_mm + side * run.base_mm / 2)
        sides = [_line_at(run, sense * off, off) for sense in (-1, 1)]
        if all(found is not None for found in sides):
            (before, doubt_before), (beyond, doubt_beyond) = (found for found in sides if found is not None)
            scale = run.base_mm / MM_PER_M
            yield -side * scale * (beyond - before), scale**2 * (doubt_before + doubt_beyond)


def _line_at(run: "ContinuousRun", away_mm: NDArray, off_mm: NDArray) -> tuple[float, float] | None:
    """Where a line through the readings on one side of a jump meets it, and its variance."""
    clear = _clear_mm(run)
    mine = (away_mm > clear) & (away_mm <= clear + _window_mm(run))
    if np.count_nonzero(mine) < LEAST_READINGS:
        return None
    design = np.column_stack([np.ones(np.count_nonzero(mine)), off_mm[mine]])
    slope = run.slope_um_per_m[mine]
    line = np.linalg.lstsq(design, slope, rcond=None)[0]
    left = slope - design @ line
    stated = float(np.mean(run.standard_uncertainty_um_per_m[mine] ** 2))
    noise = max(stated, float(left @ left) / (len(left) - 2))
    return float(line[0]), noise * float(np.linalg.inv(design.T @ design)[0, 0])
