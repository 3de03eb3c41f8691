"""Levels drawn along a face: all its continuous slope traverses as one block of heights.

The estimator for continuous slopes says what they make of the heights at the bed's stations,
up to a height and a tilt. Both come back as unknowns: the tilt is the zero of the level,
so that two faces read with one zero can be held against each other.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.bed import Bed, Face, Instrument
from acquire.model.errors import AnalysisError
from acquire.model.places import SAME_STATION_MM
from acquire.model.traverse import Stations, Traverse
from acquire.model.units import MM_PER_M
from analysis.level.blindness import ShapeNotSeen
from analysis.level.continuous import Belief, ContinuousHeights, heights_from_continuous_slopes
from analysis.level.slopes import ContinuousRun, continuous_run, gathered
from analysis.level.solved_once import SolvedOnce
from analysis.linear.fact import Fact
from analysis.observe.carriers import face_named
from analysis.observe.differences import description_warnings
from analysis.observe.drawn_runs import DriftTimes, alone, drift_times
from analysis.observe.lateness import put_back
from analysis.observe.over_joints import (
    CrossedJoint,
    joints_crossed,
    steps_um,
    steps_variance_um2,
    with_steps,
    without_steps,
)
from analysis.observe.slope import is_placed, slope_seating, slope_sign
from analysis.observe.stations import order_of_reading, usable
from analysis.observe.terms import (
    DrawnBlock,
    Nuisance,
    Observations,
    Place,
    Unknown,
    ZeroDrift,
    interpolation_rows,
)
from analysis.observe.uncertainty import scale_nuisances, step_uncertainty

WORTH_A_WORD = 1.3
"""By how much averages must be worse than claimed to be spoken of."""
LEAST_STATIONS = 3

_solved = SolvedOnce(heights_from_continuous_slopes)
"""Every answer asks for the blocks of the survey, and most sessions for many answers."""


@dataclass(frozen=True)
class CurveNotSeen(Fact):
    """A face of which drawn levels do not see the shape between base-lag stations."""

    face: str
    why: ShapeNotSeen


@dataclass(frozen=True)
class NoisierThanClaimed(Fact):
    """A run whose readings scatter or wander more than its instrument claims."""

    traverse: int
    instrument: str
    factor: float
    """By what averages of its readings are more uncertain."""


def observe_continuous(
    traverses: Sequence[Traverse],
    bed: Bed,
    *,
    anchored: bool = False,
    zero_of: int | None = None,
    belief: Belief | None = None,
    crossed: Sequence[CrossedJoint] | None = None,
) -> Observations:
    """One block of heights from all continuous slope traverses of one face.

    Parameters
    ----------
    traverses : sequence of Traverse
        All on one face.
    anchored : bool
        Whether other readings tie the heights between stations a base apart.
    zero_of : int, optional
        Number of the traverse whose zero is to stay an unknown by name, because a
        traverse of another face shares it; the first by default.
    belief : Belief, optional
        Kind of way and noise, taken as given.
    crossed : sequence of CrossedJoint, optional
        Joints that the runs cross, their steps taken as given.
    """
    first = traverses[0]
    face = face_named(bed, first.setup.face, f"traverse {first.number:03d}")
    read = _as_read(traverses, bed, face)
    runs = [_run(*each) for each in zip(traverses, read.kept, read.signs, read.times, strict=True)]
    crossed = joints_crossed(runs, bed.joints_mm) if crossed is None else crossed
    runs = [without_steps(run, crossed) for run in runs] if crossed else runs
    station_mm = _stations_reached(runs, bed, first)
    heights: ContinuousHeights = _solved(runs, station_mm, belief=belief).tied(anchored)
    named = next((k for k, each in enumerate(traverses) if each.number == zero_of), 0)
    zero, away_m = traverses[named], (station_mm - np.mean(station_mm)) / MM_PER_M
    tilt, tilt_sd = _tilt(heights, runs, named)
    height_um = heights.height_um + tilt * away_m + steps_um(station_mm, crossed)
    covariance = heights.covariance_um2 + tilt_sd**2 * np.outer(away_m, away_m)
    covariance = covariance + np.diag(steps_variance_um2(station_mm, crossed))
    heights = _drifting_as_shown(_with_shared_errors(with_steps(heights, crossed), traverses), read)
    return Observations(
        traverse=first.number,
        with_traverses=tuple(each.number for each in traverses[1:]),
        instrument="+".join(dict.fromkeys(each.instrument.name for each in traverses)),
        quantity="heights",
        mode="continuous",
        subject=first.setup.subject,
        faces=(face.id,),
        station_mm=station_mm,
        reading=height_um,
        correction=np.zeros(len(station_mm)),
        forms=tuple({Place("height", face.id, float(x), "touched"): 1.0} for x in station_mm),
        covariance=covariance + _of_free_height(covariance),
        nuisances=tuple(_nuisances(traverses, zero.instrument, height_um, heights)),
        zero=zero.number if zero.setup.same_zero_as is None else zero.setup.same_zero_as,
        zero_instrument=zero.instrument.name,
        zero_column=read.signs[named] * away_m,
        direction=first.setup.direction,
        bow=_bow_of_drift(read, float(np.ptp(runs[0].station_mm)), station_mm),
        drawn=DrawnBlock(heights, tuple(traverses), anchored, zero_of, tuple(crossed)),
        zero_drift=_zero_drift(zero, read.kept[named], read.times[named], heights),
        drawn_runs=tuple(_by_themselves(read, bed, heights)),
        created_utc=first.setup.created_utc,
        warnings=(
            *(fact for each in traverses for fact in description_warnings(each, bed)),
            *_curve_not_seen(face.id, heights),
            *read.late,
            *_noisier(heights, traverses),
        ),
    )


@dataclass(frozen=True, eq=False)
class _AsRead:
    """What the runs of a face read, where and when."""

    traverses: Sequence[Traverse]
    kept: Sequence[Stations]
    """Where each reading was true, whatever it came late."""
    signs: Sequence[int]
    """-1 where a level shows a rise of the face as a fall: turned, or on a face that looks down."""
    times: Sequence[DriftTimes]
    late: tuple[Fact, ...]


def _as_read(traverses: Sequence[Traverse], bed: Bed, face: Face) -> _AsRead:
    usable_ones, signs = [], []
    for each in traverses:
        where = f"traverse {each.number:03d}"
        usable_ones.append(_with_seating(each, usable(each.stations, where, bed.length_mm)))
        sign = slope_sign(face, each.instrument, where, is_upright=bed.called.is_upright)
        signs.append(-sign if each.setup.turned else sign)
    kept, late = put_back(traverses, usable_ones)
    return _AsRead(traverses, kept, signs, drift_times(traverses, kept), late)


def _with_seating(traverse: Traverse, stations: Stations) -> Stations:
    """Readings of a level that was set down for each; one that was drawn has one seating, in its zero."""
    if not is_placed(traverse):
        return stations
    seating = slope_seating(traverse.instrument)
    return replace(stations, standard_uncertainty=np.hypot(stations.standard_uncertainty, seating))


def _nuisances(
    traverses: Sequence[Traverse], of_zero: Instrument, height_um: np.ndarray, heights: ContinuousHeights
) -> Iterator[Nuisance]:
    """The free height, and scales: the slope as a whole is what the instrument of the zero showed."""
    yield Nuisance(Unknown("height", (str(traverses[0].number),)), np.ones(len(height_um)))
    for each in _instruments(traverses):
        yield from scale_nuisances(each, height_um if each.name == of_zero.name else heights.height_um)


def _by_themselves(read: _AsRead, bed: Bed, heights: ContinuousHeights) -> Iterator[Observations]:
    """Each run by itself, where it tells anything so."""
    for traverse, kept, inflation in zip(read.traverses, read.kept, heights.inflation, strict=True):
        run = alone(traverse, kept, bed, inflation)
        if run is not None:
            yield run


def with_run(block: Observations, further: Traverse, bed: Bed) -> Observations:
    """The block as it would be with one drawn run more: only its covariance means anything.

    The run is taken to be as noisy as those of the same instrument in the block.
    """
    if block.drawn is None:
        raise AnalysisError(f"traverse {block.traverse}", "is not drawn", "a block from drawn runs")
    names = [each.setup.instrument for each in block.drawn.traverses]
    like = names.index(further.setup.instrument) if further.setup.instrument in names else 0
    return observe_continuous(
        [*block.drawn.traverses, further],
        bed,
        anchored=block.drawn.anchored,
        zero_of=block.drawn.zero_of,
        belief=block.drawn.heights.belief.with_run_like(like),
        crossed=block.drawn.crossed,
    )


def tied(block: Observations, anchored: bool) -> Observations:
    """The same block where other readings tie its heights, or none do: only what must be said changes."""
    if block.drawn is None or block.drawn.anchored == anchored:
        return block
    heights = block.drawn.heights.tied(anchored)
    others = tuple(each for each in block.warnings if not isinstance(each, CurveNotSeen))
    return replace(
        block,
        drawn=replace(block.drawn, heights=heights, anchored=anchored),
        warnings=(*_curve_not_seen(block.faces[0], heights), *others),
    )


def _curve_not_seen(face: str, heights: ContinuousHeights) -> tuple[Fact, ...]:
    return () if heights.not_seen is None else (CurveNotSeen(face, heights.not_seen),)


def _with_shared_errors(heights: ContinuousHeights, traverses: Sequence[Traverse]) -> ContinuousHeights:
    """The base-lag heights with all that the map's have: the scale as stated too."""
    base_lag = heights.base_lag
    if base_lag is None:
        return heights
    covariance = base_lag.covariance_um2
    from_line = base_lag.height_um - np.polyval(
        np.polyfit(base_lag.station_mm, base_lag.height_um, 1), base_lag.station_mm
    )
    for each in _instruments(each for each in traverses if each.instrument.base_mm == base_lag.base_mm):
        for shared in scale_nuisances(each, from_line):
            covariance = covariance + (shared.prior_sd or 0.0) ** 2 * np.outer(shared.column, shared.column)
    return replace(heights, base_lag=replace(base_lag, covariance_um2=covariance))


def _drifting_as_shown(heights: ContinuousHeights, read: _AsRead) -> ContinuousHeights:
    """Drifts with the sign that the level showed: of a rising face, turned or looking down, the other."""
    shown = {name: sign for (name, _), sign in zip(read.times, read.signs, strict=True)}
    drifts = {name: (shown[name] * rate, doubt) for name, (rate, doubt) in heights.drifts.items()}
    return replace(heights, drifts=drifts)


def _zero_drift(
    zero: Traverse, kept: Stations, times: DriftTimes, heights: ContinuousHeights
) -> ZeroDrift | None:
    """How the zero of one run goes on, where it drifts with others."""
    name, when = times
    if when is None:
        return None
    order = order_of_reading(kept, zero.setup.direction)
    per_unit = float(np.ptp(when) / np.ptp(order))
    rate, doubt = heights.drifts[name]
    return ZeroDrift(zero.number, float(np.mean(order)), rate * per_unit, doubt * per_unit)


def _instruments(traverses: Iterable[Traverse]) -> Iterable[Instrument]:
    return {each.instrument.name: each.instrument for each in traverses}.values()


def _run(traverse: Traverse, stations: Stations, sign: int, drift: DriftTimes) -> ContinuousRun:
    instrument = traverse.instrument
    drifts_with, when = drift
    least = step_uncertainty(instrument)
    run = continuous_run(
        stations.station_mm,
        sign * stations.reading,
        np.maximum(stations.standard_uncertainty, least),
        instrument.base_mm or 0.0,
        pad_mm=instrument.pad_mm or 0.0,
        name=f"traverse {traverse.number:03d}",
        drifts_with=drifts_with,
        when=when,
    )
    return gathered(run)


def _stations_reached(runs: Sequence[ContinuousRun], bed: Bed, first: Traverse) -> np.ndarray:
    lowest, highest = min(run.lowest_mm for run in runs), max(run.highest_mm for run in runs)
    stations = np.array(bed.station_mm)
    reached = stations[(stations >= lowest - SAME_STATION_MM) & (stations <= highest + SAME_STATION_MM)]
    if len(reached) < LEAST_STATIONS:
        raise AnalysisError(
            f"traverse {first.number:03d}",
            f"its feet reach {len(reached)} stations of the bed ({lowest:g} to {highest:g} mm)",
            f"{LEAST_STATIONS} at least",
            "go further, or describe closer stations in bed.toml",
        )
    return reached


def _tilt(heights: ContinuousHeights, runs: Sequence[ContinuousRun], named: int) -> tuple[float, float]:
    """Tilt of the face and zero of one run together (µm/m) and its standard uncertainty.

    The mean slope read, less the mean slope of the shape under the feet.
    """
    run = runs[named]
    inside = (run.station_mm - run.base_mm / 2 >= heights.station_mm[0] - SAME_STATION_MM) & (
        run.station_mm + run.base_mm / 2 <= heights.station_mm[-1] + SAME_STATION_MM
    )
    used = np.flatnonzero(inside) if np.any(inside) else np.arange(len(run.station_mm))
    near, far = (
        interpolation_rows(heights.station_mm, run.station_mm[used] + side * run.base_mm / 2)
        for side in (-1, 1)
    )
    weight = np.mean(far - near, axis=0) * MM_PER_M / run.base_mm
    spread = run.standard_uncertainty_um_per_m[used] * heights.inflation[named]
    variance = float(np.mean(spread**2)) / len(used) + float(weight @ heights.covariance_um2 @ weight)
    return float(np.mean(run.slope_um_per_m[used]) - weight @ heights.height_um), variance**0.5


def _of_free_height(covariance: np.ndarray) -> np.ndarray:
    """Any variance for the free height and tilt makes the covariance whole and changes nothing else."""
    count = len(covariance)
    lines = np.column_stack([np.ones(count), np.linspace(-1.0, 1.0, count)])
    lines = np.linalg.qr(lines)[0][:, :1]
    return float(np.mean(np.diag(covariance))) * (lines @ lines.T)


def _noisier(heights: ContinuousHeights, traverses: Sequence[Traverse]) -> tuple[Fact, ...]:
    return tuple(
        NoisierThanClaimed(each.number, each.instrument.name, float(factor))
        for each, factor in zip(traverses, heights.inflation, strict=True)
        if factor >= WORTH_A_WORD
    )


def _bow_of_drift(read: _AsRead, length_mm: float, station_mm: np.ndarray) -> Nuisance | None:
    """What a drift by 1 µm/m over the run does to the heights; None where a run back tells it."""
    first = read.traverses[0].setup
    if any(drifts_with for drifts_with, _ in read.times):
        return None
    grows = read.signs[0] / length_mm * (-1 if first.direction == "reverse" else 1)
    bow = grows * (station_mm - np.mean(station_mm)) ** 2 / 2 / MM_PER_M
    return Nuisance(Unknown("drift", (str(first.face), "drawn")), bow)
