"""The readings of a traverse that can be used, and when each was taken."""

from dataclasses import replace

import numpy as np

from acquire.model.errors import AnalysisError
from acquire.model.places import ROUNDING_MM, is_within_reach
from acquire.model.traverse import Stations
from analysis.linear.profile import nearest_place


def usable(stations: Stations, where: str, length_mm: float) -> Stations:
    """Readings that are numbers; a station outside the bed is refused."""
    good = np.isfinite(stations.reading) & np.isfinite(stations.standard_uncertainty)
    if not np.any(good):
        raise AnalysisError(where, "found no reading", "one at least", "withdraw it or record it again")
    kept = replace(
        stations,
        **{
            name: getattr(stations, name)[good]
            for name in (
                "station_mm",
                "reading",
                "standard_uncertainty",
                "scatter",
                "samples",
                "repeat",
                "time_s",
            )
        },
        note=(),
    )
    beyond = ~np.asarray(is_within_reach(length_mm, kept.station_mm))
    if np.any(beyond):
        raise AnalysisError(
            where,
            f"found a reading at {kept.station_mm[beyond][0]:g} mm",
            f"stations within the bed, 0 to {length_mm:g} mm",
            "correct the stations or length_mm in bed.toml",
        )
    return kept


def at_their_stations(stations: Stations, bed_station_mm: np.ndarray) -> Stations:
    """The same, every place that is a station of the bed but for rounding taken as that station.

    1066.8 mm may be written as 1067.  Places so close that two would become one are left as they are.

    Examples
    --------
    >>> zero = np.zeros(3)
    >>> three = Stations(np.array([0.0, 76.0, 100.0]), zero, zero, zero, zero, np.ones(3), zero)
    >>> at_their_stations(three, np.array([0.0, 76.2, 152.4])).station_mm.tolist()
    [0.0, 76.2, 100.0]
    """
    places = np.unique(stations.station_mm)
    rising = np.sort(bed_station_mm)
    nearest = rising[nearest_place(rising, places)]
    meant = np.where(np.abs(places - nearest) <= ROUNDING_MM, nearest, places)
    if len(np.unique(meant)) < len(places):
        return stations
    return replace(stations, station_mm=meant[np.searchsorted(places, stations.station_mm)])


def is_timed(stations: Stations) -> bool:
    """Whether a clock ran while they were read."""
    return bool(len(stations) and np.all(np.isfinite(stations.time_s)) and np.ptp(stations.time_s) > 0)


def order_of_reading(stations: Stations, direction: str) -> np.ndarray:
    """When each reading was taken: s from the start of the recording, or its place in the order.

    Its time where a clock ran (`is_timed`), else its place in the order.

    Examples
    --------
    >>> import numpy as np
    >>> nan = np.full(3, np.nan)
    >>> three = Stations(np.arange(3.0), nan, nan, nan, nan, np.ones(3), nan)
    >>> order_of_reading(three, "reverse").tolist()
    [2.0, 1.0, 0.0]
    """
    if is_timed(stations):
        return stations.time_s
    along = -stations.station_mm if direction == "reverse" else stations.station_mm
    order = np.empty(len(stations))
    order[np.lexsort((along, stations.repeat))] = np.arange(len(stations), dtype=float)
    return order
