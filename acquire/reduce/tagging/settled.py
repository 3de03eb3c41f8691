"""The settled reading of each dwell of a move, stop, read traverse.

A plain mean of a dwell is wrong by micrometres per metre after a quick move: the level
is still coming to rest.  Here the settling is fitted over all dwells together, each
dwell is waited out until what is left of it is negligible, and the mean of the rest is
taken; where too little is left, the fitted end value with its uncertainty.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from acquire.reduce.tagging.dwells import Dwell
from acquire.reduce.tagging.scatter import standard_error
from acquire.reduce.tagging.settling import DwellSamples, Settling, basis, fit_settling

ARRIVAL_S = 0.25
"""Left off at the start: the braking of the move tilts the level, which is no settling."""
NEGLIGIBLE = 0.1
"""What may be left of the settling when the mean begins, in the unit of the readings (µm/m)."""
SHORTEST_MEAN_S = 1.0


@dataclass(frozen=True)
class SettledStation:
    """One station as read."""

    dwell: Dwell
    reading: float
    scatter: float
    """Standard error of the reading as the samples show it."""
    samples: int
    is_creeping: bool
    """Still moving, by more than its uncertainty, when the dwell ended."""

    @property
    def time_s(self) -> float:
        """Middle of the dwell."""
        return (self.dwell.start_s + self.dwell.end_s) / 2


@dataclass(frozen=True, eq=False)
class SettledStations:
    """All stations of a traverse in order of time, and the settling found."""

    stations: tuple[SettledStation, ...]
    settling: Settling


def settled_stations(
    time_s: np.ndarray,
    reading: np.ndarray,
    dwells: Sequence[Dwell],
    *,
    negligible: float = NEGLIGIBLE,
    floor: float = 0.0,
) -> SettledStations:
    """The settled reading of each dwell.

    Parameters
    ----------
    time_s, reading : array, shape (n,)
        The good readings of the instrument, rising in time.
    dwells : sequence of Dwell
        Where it stood still, departures already dropped (`worth_keeping`).
    negligible : float
        How much of the settling may be left when the mean begins, in the reading's unit.
    floor : float
        The instrument's own uncertainty of one station; only decides whether creeping
        is worth a word.

    Returns
    -------
    SettledStations
        One station per dwell that holds at least three readings.

    Examples
    --------
    >>> t = np.arange(0, 10, 0.05)
    >>> y = 40 + 90 * np.exp(-t / 0.8) + np.random.default_rng(3).normal(0, 0.05, t.size)
    >>> found = settled_stations(t, y, [Dwell(0.0, 9.7)]).stations[0]
    >>> round(found.reading), round(float(y.mean()))
    (40, 47)
    """
    held = [(dwell, _samples_in(time_s, reading, dwell)) for dwell in dwells]
    held = [(dwell, samples) for dwell, samples in held if len(samples.time_s) >= 3]
    settling = fit_settling([samples for _, samples in held])
    stations = tuple(_station(dwell, samples, settling, negligible, floor) for dwell, samples in held)
    return SettledStations(stations, settling)


def _samples_in(time_s: np.ndarray, reading: np.ndarray, dwell: Dwell) -> DwellSamples:
    arrival = min(ARRIVAL_S, dwell.length_s / 4)
    first, last = np.searchsorted(time_s, [dwell.start_s + arrival, dwell.end_s + 1e-9])
    return DwellSamples(time_s[first:last] - dwell.start_s, reading[first:last])


def _station(
    dwell: Dwell, samples: DwellSamples, settling: Settling, negligible: float, floor: float
) -> SettledStation:
    coefficients = _coefficients(samples, settling)
    begin = _settled_from(samples, coefficients, settling, negligible)
    rest = samples.reading[samples.time_s >= begin]
    if len(rest) >= 3 and samples.time_s[-1] - begin >= SHORTEST_MEAN_S - 1e-9:
        # The dwell's own spread, but not below the pooled one by more than chance: a short
        # rest of slow noise looks quieter than it is.
        deviation = max(float(np.std(rest, ddof=1)), settling.deviation)
        value = float(rest.mean())
        scatter = standard_error(rest, settling.correlated_samples, deviation)
    else:
        value, scatter = _end_value(samples, coefficients, settling)
        rest = samples.reading
    creeping = _is_creeping(samples, settling, max(floor, negligible))
    return SettledStation(dwell, value, scatter, len(rest), creeping)


def _coefficients(samples: DwellSamples, settling: Settling) -> np.ndarray:
    columns = basis(samples.time_s, settling.time_constants_s)
    return np.linalg.lstsq(columns, samples.reading, rcond=None)[0]


def _settled_from(
    samples: DwellSamples, coefficients: np.ndarray, settling: Settling, negligible: float
) -> float:
    """Time in the dwell after which the fitted transient stays below `negligible`."""
    if not settling.time_constants_s:
        return float(samples.time_s[0])
    size = basis(samples.time_s, settling.time_constants_s)[:, 1:] @ np.abs(coefficients[1:])
    above = np.flatnonzero(size >= negligible)
    if len(above) == 0:
        return float(samples.time_s[0])
    return float(samples.time_s[above[-1] + 1]) if above[-1] + 1 < len(size) else np.inf


def _end_value(samples: DwellSamples, coefficients: np.ndarray, settling: Settling) -> tuple[float, float]:
    """Fitted end value, with its sensitivity to the samples and to the time constants."""
    columns = basis(samples.time_s, settling.time_constants_s)
    inverse = np.linalg.pinv(columns.T @ columns)
    variance = settling.deviation**2 * settling.correlated_samples * float(inverse[0, 0])
    for index, uncertainty in enumerate(settling.time_constant_uncertainties_s):
        constants = list(settling.time_constants_s)
        step = 0.01 * constants[index]
        constants[index] += step
        moved = np.linalg.lstsq(basis(samples.time_s, constants), samples.reading, rcond=None)[0]
        variance += ((moved[0] - coefficients[0]) / step * uncertainty) ** 2
    return float(coefficients[0]), float(np.sqrt(variance))


def _is_creeping(samples: DwellSamples, settling: Settling, noticed: float) -> bool:
    """Whether the last third of the dwell rises or falls by more than `noticed` and than chance."""
    length = len(samples.time_s)
    last = slice(length - max(3, length // 3), length)
    t, y = samples.time_s[last], samples.reading[last]
    if len(t) < 3 or t[-1] <= t[0]:
        return False
    slope = float(np.polyfit(t - t.mean(), y, 1)[0])
    spread = settling.deviation * np.sqrt(settling.correlated_samples / float(((t - t.mean()) ** 2).sum()))
    rise, chance = abs(slope) * float(t[-1] - t[0]), 3 * float(spread) * float(t[-1] - t[0])
    return rise > max(noticed, chance)
