"""Readings that come in steps: runs that repeat to the digit do not average the step away.

Where the noise is small against the step, every run along the same face reads the same,
and is off by the same. k equal readings of one instrument at one place, in k runs, share
step²/12. Each is given k times that share, so that their mean keeps it whole; no further
unknown is needed. Readings that differ by a step or more are rounded independently.
"""

from collections.abc import Sequence
from typing import TypeAlias

import numpy as np
from scipy import sparse

from analysis.observe import Observations
from analysis.observe.uncertainty import shared_at_stations, visits

Covariance: TypeAlias = np.ndarray | sparse.spmatrix
_Key = tuple[object, ...]


def covariances_with_steps(observations: Sequence[Observations]) -> list[Covariance]:
    """Covariance of each traverse's readings, with what equal readings of other traverses share with it.

    Parameters
    ----------
    observations : sequence of Observations

    Returns
    -------
    list of array
        In the same order, each (m,) or (m, m) as it was.
    """
    runs: dict[_Key, set[int]] = {}
    for each in observations:
        for key in _keys(each):
            runs.setdefault(key, set()).add(each.traverse)
    return [_widened(each, np.array([len(runs[key]) - 1.0 for key in _keys(each)])) for each in observations]


def least_factor(each: Observations) -> float:
    """The least that the variance of these readings can be multiplied by: their steps stay.

    Readings that repeat to the digit look as if the instrument had no noise at all.
    """
    return each.step_variance / float(np.min(each.variance)) if each.step_variance else 0.0


def _keys(each: Observations) -> list[_Key]:
    """What readings that are off by the same have in common."""
    if not each.step_variance:
        return []
    manner = (each.instrument, each.faces, each.quantity, each.turned, each.edges)
    size = each.step_variance**0.5
    return [
        (*manner, round(float(station), 1), round(float(reading) / size, 3))
        for station, reading in zip(each.station_mm, each.reading, strict=True)
    ]


def _widened(each: Observations, others: np.ndarray) -> Covariance:
    if not np.any(others):
        return each.covariance
    shared = others * each.step_variance
    if each.covariance.ndim == 1:
        return each.covariance + shared
    return each.covariance + shared_at_stations(visits(each.station_mm), shared)
