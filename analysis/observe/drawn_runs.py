"""The runs that a block of drawn levels is made of: which drift together, and what each says by itself.

A level drawn there and back, standing the same way round on the same feet, passes each place
twice at different times: its drift is an unknown of the block (`drift_times`).  Whether that
is a drift or a bed that bent in between, `adjust/there_and_back` judges from the runs as they
were read; for that each is brought to short cells of the way, the same for all runs (`alone`).
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from acquire.model.bed import Bed
from acquire.model.traverse import Stations, Traverse
from analysis.observe.slope import slope_forms
from analysis.observe.stations import is_timed, order_of_reading
from analysis.observe.terms import Observations

CELLS_PER_BASE = 8
LEAST_FILLED = 0.5
"""Of the readings that a cell should have: with fewer it lies in a hole of the readings."""
DriftTimes = tuple[str, np.ndarray | None]
"""What a run drifts with, and when each of its readings was taken."""


def drift_times(traverses: Sequence[Traverse], kept: Sequence[Stations]) -> list[DriftTimes]:
    """For each run what it drifts with, and when each reading was taken, in lengths of the usual run.

    Empty and None for runs of a level that was not drawn back, or was turned for the return.
    """
    found: list[DriftTimes] = [("", None)] * len(traverses)
    for name, mine in _groups(traverses).items():
        times = _times([traverses[k] for k in mine], [kept[k] for k in mine])
        usual = float(np.median([np.ptp(each) for each in times]))
        for k, each in zip(mine, times, strict=True):
            found[k] = name, (each - np.mean(each)) / usual
    return found


def _groups(traverses: Sequence[Traverse]) -> dict[str, list[int]]:
    """Runs of one level on the same feet, the same way round, in both directions."""
    groups: dict[str, list[int]] = {}
    for k, each in enumerate(traverses):
        groups.setdefault(group_of(each), []).append(k)
    return {
        name: mine for name, mine in groups.items() if len({traverses[k].setup.direction for k in mine}) == 2
    }


def group_of(traverse: Traverse) -> str:
    """Names what a drawn run may drift with.

    Both runs of a return have the same name.
    """
    turned = " turned" if traverse.setup.turned else ""
    return f"{traverse.instrument.name} on {traverse.instrument.base_mm:g} mm{turned}"


def _times(traverses: Sequence[Traverse], kept: Sequence[Stations]) -> list[np.ndarray]:
    """Seconds from each start where a clock ran with all runs, else shares of the run."""
    if all(is_timed(each) for each in kept):
        return [each.time_s for each in kept]
    bare = [
        order_of_reading(replace(each, time_s=np.full(len(each), np.nan)), run.setup.direction)
        for run, each in zip(traverses, kept, strict=True)
    ]
    return [each / max(len(each) - 1, 1) for each in bare]


def alone(traverse: Traverse, stations: Stations, bed: Bed, inflation: float) -> Observations | None:
    """One drawn run as observations of its own: mean slopes over cells an eighth of a base long.

    None where it is too short for that.

    Parameters
    ----------
    traverse : Traverse
    stations : Stations
        Its usable readings, by station, put back where they were true.
    bed : Bed
    inflation : float
        By what means of its readings are more uncertain than stated.
    """
    setup, instrument = traverse.setup, traverse.instrument
    step_mm = float(np.median(np.diff(stations.station_mm)))
    cell_mm = max((instrument.base_mm or 0.0) / CELLS_PER_BASE, step_mm)
    edge_mm = cell_mm * np.arange(
        np.ceil(stations.station_mm[0] / cell_mm), np.floor(stations.station_mm[-1] / cell_mm) + 1
    )
    if len(edge_mm) < 2:
        return None
    count = np.histogram(stations.station_mm, edge_mm)[0]
    filled = count >= LEAST_FILLED * cell_mm / max(step_mm, 1e-9)
    middle_mm = ((edge_mm[1:] + edge_mm[:-1]) / 2)[filled]
    when = order_of_reading(stations, setup.direction)
    if not len(middle_mm):
        return None
    variance = float(np.mean(stations.standard_uncertainty**2)) * inflation**2
    return Observations(
        traverse=traverse.number,
        instrument=instrument.name,
        quantity="slope",
        mode="continuous",
        subject=setup.subject,
        faces=(setup.face or "",),
        station_mm=middle_mm,
        reading=_means(stations.station_mm, stations.reading, edge_mm)[filled],
        correction=np.zeros(len(middle_mm)),
        forms=slope_forms(traverse, bed, middle_mm),
        covariance=variance / np.maximum(count[filled], 1),
        nuisances=(),
        zero=traverse.number if setup.same_zero_as is None else setup.same_zero_as,
        zero_instrument=instrument.name,
        direction=setup.direction,
        order=_means(stations.station_mm, when, edge_mm)[filled],
        is_timed=is_timed(stations),
        drift_group=(instrument.name, f"drawn on {instrument.base_mm:g} mm", setup.subject),
        turned=setup.turned,
        source=traverse,
        created_utc=setup.created_utc,
    )


def _means(at_mm: np.ndarray, value: np.ndarray, edge_mm: np.ndarray) -> np.ndarray:
    """Means between edges of what runs straight from sample to sample.

    Examples
    --------
    >>> _means(np.array([0.0, 1.0, 4.0]), np.array([0.0, 1.0, 4.0]), np.array([0.0, 2.0, 4.0]))
    array([1., 3.])
    """
    fine = np.union1d(at_mm, edge_mm)
    at_fine = np.interp(fine, at_mm, value)
    whole = np.r_[0.0, np.cumsum((at_fine[1:] + at_fine[:-1]) / 2 * np.diff(fine))]
    return np.diff(np.interp(edge_mm, fine, whole)) / np.diff(edge_mm)
