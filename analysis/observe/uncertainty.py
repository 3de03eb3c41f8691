"""What the readings of one traverse are uncertain by, split into what averages and what does not.

- scatter: seen in the samples of one visit; new at every visit.
- the instrument's stated uncertainty: new at every station, the same for all visits of
  one station within a traverse (repeating does not reduce it). It is never less than the
  share of the step that readings come in, step²/12: a reading that repeats to the digit
  says nothing about where within the step the truth lies.
- seating: new at every placing.

Stations of one traverse are rounded independently: a way whose slopes all lie within one
step is held by 90 % of the intervals, any other by 92 to 97 % (derived by simulation).
- scale and base: one unknown for all readings of an instrument, known within what is stated.
"""

import math

import numpy as np
from scipy import sparse

from acquire.model.bed import Instrument
from acquire.model.places import ROUNDING_MM
from acquire.model.traverse import Stations
from analysis.observe.terms import Nuisance, Unknown

FLOOR_IN_CONTRACT_UNITS = 1e-3
"""What a reading is taken as uncertain by where nothing at all is stated."""
FINEST_STEP = 1e-4
BY_LUCK = 0.01
SAME_DIGITS = 9
"""Readings that agree to so many digits of the largest are one: conversions leave rounding behind these."""
_STEPS = np.array([float(f"{lead}e{power}") for power in range(-4, 4) for lead in (1, 2, 5)])


def reading_covariance(stations: Stations, seating: float, step: float) -> np.ndarray | sparse.csr_matrix:
    """Covariance of the readings, (m,) where they are independent, else sparse (m, m).

    Parameters
    ----------
    stations : Stations
    seating : float
        Standard uncertainty of one placing, in the unit of the reading.
    step : float
        What readings are uncertain by because they come in steps (`step_uncertainty`): all
        readings of one station share it, so that no number of repeats averages it away.

    Examples
    --------
    Two visits of one station, 0.1 apart: each has its own scatter, both share the rest.

    >>> columns = [0., 0.], [1., 1.1], [.5, .5], [.3, .3], [1, 1], [1, 2], [0., 9.]
    >>> two = Stations(*map(np.array, columns))
    >>> reading_covariance(two, 0.0, 0.0).toarray().round(2).tolist()
    [[0.25, 0.16], [0.16, 0.25]]
    """
    total, scatter = stations.standard_uncertainty**2, stations.scatter**2
    shared = np.maximum(total - scatter, step**2)
    visit = visits(stations.station_mm)
    own = scatter + seating**2
    is_single = np.bincount(visit)[visit] == 1
    if np.all(is_single):
        return own + shared
    repeated = max(_scatter_of_repeats(stations.reading, visit) ** 2, step**2)
    # what repeats differ by is seen, even where each reading by itself shows no scatter
    own = np.where(is_single, own, np.maximum(own, repeated))
    return sparse.csr_matrix(shared_at_stations(visit, shared) + sparse.diags(own))


def shared_at_stations(visit: np.ndarray, variance: np.ndarray) -> sparse.csr_matrix:
    """Covariance of errors that all readings of one station have in common, sparse (m, m).

    Parameters
    ----------
    visit : integer array, shape (m,)
        Number of the station of each reading (`visits`).
    variance : array, shape (m,)

    Examples
    --------
    >>> shared_at_stations(np.array([0, 1, 0]), np.ones(3)).toarray().tolist()
    [[1.0, 0.0, 1.0], [0.0, 1.0, 0.0], [1.0, 0.0, 1.0]]
    """
    by_station = sparse.csr_matrix((np.sqrt(variance), (visit, np.arange(len(visit)))))
    return sparse.csr_matrix(by_station.T @ by_station)


def visits(station_mm: np.ndarray) -> np.ndarray:
    """For each reading the number of the station that it was taken at.

    Examples
    --------
    >>> visits(np.array([0.0, 100.2, 99.9, 200.0])).tolist()
    [0, 1, 1, 2]
    """
    order = np.argsort(station_mm, kind="stable")
    number = np.concatenate([[0], np.cumsum(np.diff(station_mm[order]) > ROUNDING_MM)])
    result = np.empty(len(station_mm), int)
    result[order] = number
    return result


def _scatter_of_repeats(reading: np.ndarray, visit: np.ndarray) -> float:
    """Standard deviation of the readings within their stations, all stations together."""
    count = np.bincount(visit)
    left = reading - (np.bincount(visit, reading) / count)[visit]
    return float(np.sqrt(left @ left / (len(reading) - len(count))))


def step_uncertainty(
    instrument: Instrument, reading: np.ndarray | None = None, unit: str | None = None
) -> float:
    """One step of the readings spread evenly, step/√12; next to nothing where there is no step.

    The step is that of the display, or a coarser one that the readings themselves show: who
    writes down whole divisions has rounded to them, whatever the instrument could tell.

    Parameters
    ----------
    instrument : Instrument
    reading : array, optional
        In the contract's unit.
    unit : str, optional
        That they were written in, where it is not the instrument's own.

    Examples
    --------
    >>> vial = Instrument("vial", "slope", "mm/m", per_division=0.02, resolution=0.1)
    >>> round(step_uncertainty(vial), 3), round(step_uncertainty(vial, 20.0 * np.arange(9)), 3)
    (0.577, 5.774)
    """
    step = (instrument.resolution or 0.0) * instrument.contract_per_reading
    if reading is not None:
        zero = instrument.to_contract(0.0, unit)
        size = abs(instrument.to_contract(1.0, unit) - zero)
        step = max(step, size * step_shown((reading - zero) / size, step / size))
    return step / math.sqrt(12) if step else FLOOR_IN_CONTRACT_UNITS


def step_shown(reading: np.ndarray, resolution: float = 0.0) -> float:
    """The coarsest step, 1, 2 or 5 times a power of ten, that readings keep to other than by luck.

    Parameters
    ----------
    reading : array
        As written.
    resolution : float, optional
        Of the display, in the same unit; without it the finest step looked for is a ten-thousandth.

    Returns
    -------
    float
        0 where they keep to none coarser than the display's. Readings that keep to a finer step
        would all fall on the coarser one once in (coarser/finer)^n for n different values; that
        has to be less than one in a hundred.

    Examples
    --------
    >>> step_shown(np.array([12.0, 8, 3, -1, -6, -4, 0, 2, 5, 9]), 0.1)
    1.0
    >>> step_shown(np.array([12.0, 8, 3]), 0.5)
    0.0
    """
    size = float(np.max(np.abs(reading), initial=0.0)) or 1.0
    different = size * np.unique(np.round(reading / size, SAME_DIGITS))
    finest = resolution or FINEST_STEP
    kept_to = _STEPS[(finest * (1 + 1e-9) < _STEPS) & _are_multiples(different, _STEPS)]
    for step in reversed(kept_to.tolist()):
        finer = max(finest, float(np.max(_STEPS[step > _STEPS], initial=0.0)))
        if (finer / step) ** len(different) < BY_LUCK:
            return step
    return 0.0


def _are_multiples(reading: np.ndarray, step: np.ndarray) -> np.ndarray:
    """Of which steps readings are multiples, to rounding: of the step, or of what they differ by."""
    away = reading - step[:, None] * np.round(reading / step[:, None])
    within = 1e-6 * np.minimum(step, float(np.ptp(reading)) or np.inf)
    return np.all(np.abs(away) < within[:, None], axis=1)


def scale_nuisances(instrument: Instrument, reading: np.ndarray) -> tuple[Nuisance, ...]:
    """The scale (and base) error that all readings of an instrument share; none where none is stated.

    It acts on the readings; what all that share a zero have in common goes into the zero.
    """
    relative = instrument.scale_uncertainty or 0.0
    if instrument.base_mm and instrument.base_uncertainty_mm:
        relative = math.hypot(relative, instrument.base_uncertainty_mm / instrument.base_mm)
    if relative == 0.0:
        return ()
    return (Nuisance(Unknown("scale", (instrument.name,)), np.array(reading, float), relative),)
