"""Faces in pieces: nothing runs from one bed piece over a joint to the next; each keeps its own end.

A place on a joint belongs to the piece before it, as everywhere.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from acquire.model.places import SAME_STATION_MM


def side_of(joints_mm: Sequence[float], at_mm: ArrayLike) -> NDArray[np.intp]:
    """Number of the piece that each place lies on, from 0.

    Examples
    --------
    >>> side_of((650.0,), [600, 650, 700]).tolist()
    [0, 0, 1]
    """
    return np.asarray(np.searchsorted(np.sort(np.asarray(joints_mm, float)), np.asarray(at_mm, float)))


def straight_rows(station_mm: ArrayLike, at_mm: ArrayLike) -> NDArray[np.float64]:
    """Straight from station to station, held beyond the ends: rows for the values there, (places, stations).

    Examples
    --------
    >>> straight_rows([0, 1000], [250.0, 1200.0])
    array([[0.75, 0.25],
           [0.  , 1.  ]])
    """
    x = np.asarray(station_mm, float)
    return np.stack([np.interp(np.asarray(at_mm, float), x, unit) for unit in np.eye(x.size)], axis=1)


def rows_in_pieces(
    station_mm: ArrayLike, at_mm: ArrayLike, joints_mm: Sequence[float]
) -> NDArray[np.float64]:
    """Straight from station to station of one piece, and held beyond its ends: shape (places, stations).

    A place on a piece without a station is not known: NaN.

    Examples
    --------
    >>> (rows_in_pieces([0, 100, 200, 300], [150, 240, 260], (250.0,)) @ [0, 10, 20, 50]).tolist()
    [15.0, 20.0, 50.0]
    """
    x, at = np.asarray(station_mm, float), np.asarray(at_mm, float)
    rows = np.zeros((at.size, x.size))
    mine, theirs = side_of(joints_mm, x), side_of(joints_mm, at)
    for side in np.unique(theirs):
        nodes, places = np.flatnonzero(mine == side), np.flatnonzero(theirs == side)
        if not nodes.size:
            rows[places] = np.nan
            continue
        rows[np.ix_(places, nodes)] = straight_rows(x[nodes], at[places])
    return rows


def is_between_pieces(joints_mm: Sequence[float], station_mm: ArrayLike, at_mm: float) -> bool:
    """Whether a place lies between the two stations beside a joint, where how a face runs is not known.

    Examples
    --------
    >>> [is_between_pieces((650.0,), [500, 600, 700], mm) for mm in (550, 600, 620, 650, 690, 700)]
    [False, False, True, True, True, False]
    """
    x = np.asarray(station_mm, float)
    if np.abs(x - at_mm).min() <= SAME_STATION_MM:
        return False
    beyond = int(np.searchsorted(x, at_mm))
    return bool(np.ptp(side_of(joints_mm, x[max(beyond - 1, 0) : beyond + 1])))


def with_gaps_at(
    joints_mm: ArrayLike, station_mm: NDArray, *columns: NDArray
) -> tuple[NDArray[np.float64], ...]:
    """Stations and columns to be drawn, with a NaN between pieces so that no line runs over a joint.

    Examples
    --------
    >>> x, y = with_gaps_at((150.0,), np.array([0.0, 100, 200]), np.array([1.0, 2, 3]))
    >>> x.tolist(), y.tolist()
    ([0.0, 100.0, 150.0, 200.0], [1.0, 2.0, nan, 3.0])
    """
    x = np.asarray(station_mm, float)
    inside = [mm for mm in np.sort(np.asarray(joints_mm, float)) if x.size and x[0] <= mm < x[-1]]
    at = np.searchsorted(x, inside, side="right")
    return (np.insert(x, at, inside), *(np.insert(np.asarray(y, float), at, np.nan) for y in columns))
