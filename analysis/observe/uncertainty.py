"""What the readings of one traverse are uncertain by, split into what averages and what does not.

- scatter: seen in the samples of one visit; new at every visit.
- the instrument's stated uncertainty: new at every station, the same for all visits of
  one station within a traverse (repeating does not reduce it).
- seating: new at every placing.
- scale and base: one unknown for all readings of an instrument, known within what is stated.
"""

import math

import numpy as np

from acquire.model.bed import Instrument
from acquire.model.traverse import Stations
from analysis.observe.terms import Nuisance

SAME_STATION_MM = 0.5
FLOOR_IN_CONTRACT_UNITS = 1e-3
"""What a reading is taken as uncertain by where nothing at all is stated."""


def reading_covariance(stations: Stations, seating: float, floor: float) -> np.ndarray:
    """Covariance of the readings, (m,) where they are independent, else (m, m).

    Parameters
    ----------
    stations : Stations
    seating : float
        Standard uncertainty of one placing, in the unit of the reading.
    floor : float
        The least standard uncertainty of one reading.

    Examples
    --------
    Two visits of one station, 0.1 apart: each has its own scatter, both share the rest.

    >>> columns = [0., 0.], [1., 1.1], [.5, .5], [.3, .3], [1, 1], [1, 2], [0., 9.]
    >>> two = Stations(*map(np.array, columns))
    >>> reading_covariance(two, 0.0, 0.0).round(2).tolist()
    [[0.25, 0.16], [0.16, 0.25]]
    """
    total, scatter = stations.standard_uncertainty**2, stations.scatter**2
    shared = np.maximum(total - scatter, 0.0)
    visit = visits(stations.station_mm)
    own = scatter + seating**2
    is_single = np.bincount(visit)[visit] == 1
    if np.all(is_single):
        return np.maximum(own + shared, floor**2)
    repeated = max(_scatter_of_repeats(stations.reading, visit) ** 2, floor**2)
    # what repeats differ by is seen, even where each reading by itself shows no scatter
    own = np.where(is_single, own, np.maximum(own, repeated))
    covariance = np.where(visit[:, None] == visit[None, :], np.sqrt(np.outer(shared, shared)), 0.0)
    covariance[np.diag_indices(len(visit))] = np.maximum(own + shared, floor**2)
    return covariance


def visits(station_mm: np.ndarray) -> np.ndarray:
    """For each reading the number of the station that it was taken at.

    Examples
    --------
    >>> visits(np.array([0.0, 100.2, 99.9, 200.0])).tolist()
    [0, 1, 1, 2]
    """
    order = np.argsort(station_mm, kind="stable")
    number = np.concatenate([[0], np.cumsum(np.diff(station_mm[order]) > SAME_STATION_MM)])
    result = np.empty(len(station_mm), int)
    result[order] = number
    return result


def _scatter_of_repeats(reading: np.ndarray, visit: np.ndarray) -> float:
    """Standard deviation of the readings within their stations, all stations together."""
    count = np.bincount(visit)
    left = reading - (np.bincount(visit, reading) / count)[visit]
    return float(np.sqrt(left @ left / (len(reading) - len(count))))


def least_uncertainty(instrument: Instrument) -> float:
    """One step of the display spread evenly, or next to nothing where no step is stated."""
    if instrument.resolution:
        return instrument.resolution * instrument.contract_per_reading / math.sqrt(12)
    return FLOOR_IN_CONTRACT_UNITS


def scale_nuisances(instrument: Instrument, reading: np.ndarray) -> tuple[Nuisance, ...]:
    """The scale (and base) error that all readings of an instrument share; none where none is stated.

    It acts on the readings; what all that share a zero have in common goes into the zero.
    """
    relative = instrument.scale_uncertainty
    if instrument.base_mm and instrument.base_uncertainty_mm:
        relative = math.hypot(relative, instrument.base_uncertainty_mm / instrument.base_mm)
    if relative == 0.0:
        return ()
    return (Nuisance(("scale", instrument.name), np.array(reading, float), relative),)
