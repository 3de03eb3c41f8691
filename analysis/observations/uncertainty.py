"""What the readings of one traverse are uncertain by, split into what averages and what does not.

- scatter: seen in the samples of one visit; new at every visit.
- the instrument's stated uncertainty: new at every station, the same for all visits of
  one station within a traverse (repeating does not reduce it).
- seating: new at every placing.
- scale and base: one unknown for all readings of an instrument, known within what is stated.
"""

import math

import numpy as np

from acquire.bed import Instrument
from acquire.traverse_file import Stations
from analysis.observations.terms import Nuisance

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
    >>> import numpy as np
    >>> columns = [0., 0.], [1., 2.], [.5, .5], [.3, .3], [1, 1], [1, 2], [0., 9.]
    >>> two = Stations(*map(np.array, columns))
    >>> reading_covariance(two, 0.0, 0.0).round(2).tolist()
    [[0.25, 0.16], [0.16, 0.25]]
    """
    total, scatter = stations.standard_uncertainty**2, stations.scatter**2
    shared = np.maximum(total - scatter, 0.0)
    variance = np.maximum(shared + scatter, floor**2) + seating**2
    same = np.abs(stations.station_mm[:, None] - stations.station_mm[None, :]) <= SAME_STATION_MM
    if np.count_nonzero(same) == len(stations) or not np.any(shared > 0):
        return variance
    covariance = np.where(same, np.sqrt(shared[:, None] * shared[None, :]), 0.0)
    np.fill_diagonal(covariance, variance)
    return covariance


def least_uncertainty(instrument: Instrument) -> float:
    """One step of the display spread evenly, or next to nothing where no step is stated."""
    if instrument.resolution:
        return instrument.resolution * instrument.contract_per_reading / math.sqrt(12)
    return FLOOR_IN_CONTRACT_UNITS


def scale_nuisances(instrument: Instrument, reading: np.ndarray) -> tuple[Nuisance, ...]:
    """The scale (and base) error that all readings of an instrument share; none where none is stated.

    It acts on the reading less its mean: what a common part of it does goes into the zero.
    """
    relative = instrument.scale_uncertainty
    if instrument.base_mm and instrument.base_uncertainty_mm:
        relative = math.hypot(relative, instrument.base_uncertainty_mm / instrument.base_mm)
    if relative == 0.0:
        return ()
    return (Nuisance(("scale", instrument.name), reading - np.mean(reading), relative),)
