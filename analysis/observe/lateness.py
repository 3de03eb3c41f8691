"""Drawn readings put back to where they were true: the lag that two directions show.

A level that settles slowly, or a port that delivers late, reads the slope of where the
instrument was a moment ago.  Drawn there and back the shape shifts both ways, which tells
the lag; where it cannot be told it makes no difference that could be seen either, and
nothing is moved.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.traverse import Stations, Traverse
from analysis.level.lag import Lag, Pass, lag_from_passes, pass_of
from analysis.level.solved_once import SolvedOnce
from analysis.linear.fact import Fact

CLEAR = 2.0
"""A lag counts where it is this many times its standard uncertainty."""

_found = SolvedOnce(lag_from_passes)
"""Every answer asks for the lag of the runs that it takes."""


@dataclass(frozen=True)
class ReadLate(Fact):
    """Readings that show where the instrument was a moment ago, and were put back there."""

    instrument: str
    lag_s: float
    expanded_s: float


def put_back(
    traverses: Sequence[Traverse], kept: Sequence[Stations]
) -> tuple[list[Stations], tuple[Fact, ...]]:
    """Stations where the readings of drawn traverses were true, and each instrument that lags.

    Parameters
    ----------
    traverses : sequence of Traverse
        Drawn along one face.
    kept : sequence of Stations
        Their usable readings.

    Returns
    -------
    list of Stations, tuple of Fact
        The first in order of station, as given where no lag is known.
    """
    moved: list[Stations] = list(kept)
    late: list[Fact] = []
    levels = [(each.instrument.name, each.instrument.base_mm) for each in traverses]
    for name, base_mm in dict.fromkeys(levels):
        mine = [k for k, level in enumerate(levels) if level == (name, base_mm) and _is_timed(kept[k])]
        lag = _lag_of([_pass(traverses[k], kept[k]) for k in mine], [traverses[k] for k in mine])
        if lag is None:
            continue
        for k in mine:
            moved[k] = earlier(kept[k], lag.time_s)
        late.append(ReadLate(name, lag.time_s, 2 * lag.standard_uncertainty_s))
    return moved, tuple(late)


def earlier(stations: Stations, lag_s: float) -> Stations:
    """The readings at the stations where the instrument was `lag_s` before, in order of station.

    Before the first reading it is taken to have stood where that was read.

    Examples
    --------
    >>> columns = [0., 5., 10.], [1., 2., 3.], [1.] * 3, [0.] * 3, [1] * 3, [1] * 3, [0., 1., 2.]
    >>> earlier(Stations(*map(np.array, columns)), 0.5).station_mm
    array([0. , 2.5, 7.5])
    """
    order = np.argsort(stations.time_s, kind="stable")
    time, place = stations.time_s[order], stations.station_mm[order]
    moved = replace(stations, station_mm=np.interp(stations.time_s - lag_s, time, place))
    order = np.argsort(moved.station_mm, kind="stable")
    columns = ("station_mm", "reading", "standard_uncertainty", "scatter", "samples", "repeat", "time_s")
    return replace(moved, **{name: getattr(moved, name)[order] for name in columns})


def _is_timed(stations: Stations) -> bool:
    return bool(np.all(np.isfinite(stations.time_s)) and np.ptp(stations.time_s) > 0)


def _pass(traverse: Traverse, stations: Stations) -> Pass | None:
    """The readings in order of time; None where there are too few."""
    order = np.argsort(stations.time_s, kind="stable")
    order = order[np.concatenate([[True], np.diff(stations.time_s[order]) > 0])]
    spread = max(float(np.median(stations.standard_uncertainty)), 1e-6)
    try:
        return pass_of(stations.time_s[order], stations.station_mm[order], stations.reading[order], spread)
    except AnalysisError:
        return None


def _lag_of(passes: Sequence[Pass | None], traverses: Sequence[Traverse]) -> Lag | None:
    """The lag that passes in both directions show clearly; else None."""
    signs = [-1 if each.setup.turned else 1 for each in traverses]
    known = [
        replace(one, slope_um_per_m=sign * one.slope_um_per_m, is_negated=sign < 0)
        for one, sign in zip(passes, signs, strict=True)
        if one is not None
    ]
    if len({each.setup.direction for each in traverses}) < 2:
        return None
    try:
        lag: Lag = _found(known)
    except AnalysisError:
        return None
    is_clear = lag.determinable and abs(lag.time_s) > CLEAR * lag.standard_uncertainty_s
    return lag if is_clear else None
