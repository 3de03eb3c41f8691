"""The places along the bed where a traverse is meant to be read, and which one a dwell stood at."""

import numpy as np

SNAP_MM = 2.0
"""How far from a place an instrument set to a scribed line by hand may stand and still be meant for it."""


def places_of(
    station_mm: np.ndarray,
    base_mm: float | None = None,
    direction: str = "forward",
    length_mm: float | None = None,
) -> np.ndarray:
    """Where the instrument is read, in the order of the traverse.

    Stations of the bed for whatever reads at one place; for a level stepped foot to foot
    (`base_mm`) the middles of its steps, from the first station as far as they fit on the
    bed (`length_mm`; without it: up to the last station).

    Examples
    --------
    >>> places_of(np.array([0, 100, 200, 300.0]), base_mm=100)
    array([ 50., 150., 250.])
    >>> places_of(np.array([0, 100, 200.0]), direction="reverse")
    array([200., 100.,   0.])
    """
    station_mm = np.asarray(station_mm, float)
    if base_mm:
        end_mm = station_mm[-1] if length_mm is None else max(length_mm, station_mm[-1])
        steps = int((end_mm - station_mm[0]) / base_mm + 1e-9)
        station_mm = station_mm[0] + base_mm * (np.arange(steps) + 0.5)
    return station_mm[::-1].copy() if direction == "reverse" else station_mm


def candidate_places(
    station_mm: np.ndarray, base_mm: float | None = None, length_mm: float | None = None
) -> np.ndarray:
    """Every place a dwell may have been meant for: also a level with a foot on any station."""
    if not base_mm:
        return np.asarray(station_mm, float)
    station_mm = np.asarray(station_mm, float)
    by_foot = np.concatenate([station_mm + base_mm / 2, station_mm - base_mm / 2])
    every = np.concatenate([places_of(station_mm, base_mm, length_mm=length_mm), by_foot])
    inside = (every >= station_mm[0]) & (every <= max(length_mm or 0.0, station_mm[-1]))
    return np.unique(np.round(every[inside], 6))


def snap_reach_mm(place_mm: np.ndarray) -> float:
    """How far from a place a stop may be and still be meant for it: 2 mm, or a tenth of their pitch."""
    pitch_mm = float(np.min(np.diff(place_mm))) if len(place_mm) > 1 else np.inf
    return min(SNAP_MM, pitch_mm / 10)


def snapped(position_mm: np.ndarray, place_mm: np.ndarray) -> np.ndarray:
    """The place each position was meant for; itself where none is within the tolerance.

    The tolerance is 2 mm, or a tenth of the closest places' distance if that is less.

    Examples
    --------
    >>> snapped(np.array([99.2, 130.0]), np.array([0, 100, 200.0]))
    array([100., 130.])
    """
    position_mm, place_mm = np.asarray(position_mm, float), np.asarray(place_mm, float)
    if len(place_mm) == 0 or len(position_mm) == 0:
        return position_mm
    nearest = place_mm[np.argmin(np.abs(position_mm[:, None] - place_mm[None, :]), axis=1)]
    return np.where(np.abs(nearest - position_mm) <= snap_reach_mm(place_mm), nearest, position_mm)
