"""Places along the bed: whether one can be stood at, and whether two are the same.

Whoever records, types, imports or maps asks here, so that what one of them keeps no other refuses.
"""

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np

Places = TypeVar("Places", float, "np.ndarray")

SLACK_MM = 2.0
"""A foot set flush with the end of the bed by hand, or a scale's zero, may be out by this."""
SAME_PLACE_MM = 0.01
"""Two numbers closer than this are one place, written or converted with other digits."""


def is_within_reach(length_mm: float, at_mm: Places) -> "bool | np.ndarray":
    """Whether a foot there bears on a bed of that length, give or take the slack."""
    return (at_mm >= -SLACK_MM) & (at_mm <= length_mm + SLACK_MM)


def is_on_bed(length_mm: float, station_mm: Places, base_mm: float | None = None) -> "bool | np.ndarray":
    """Whether what is read at a place stands on the bed, with both feet where it has two.

    The place itself lies on the bed; a foot may hang over its end by the slack.

    Parameters
    ----------
    length_mm : float
        Of the bed, from station 0.
    station_mm : float or array
        Where it is read; of a slope the middle of the base.
    base_mm : float, optional
        Distance between its feet.

    Examples
    --------
    >>> is_on_bed(1000.0, 99.0, base_mm=200.0), is_on_bed(1000.0, 97.0, base_mm=200.0)
    (True, False)
    """
    half_mm = (base_mm or 0.0) / 2
    feet = is_within_reach(length_mm, station_mm - half_mm) & is_within_reach(length_mm, station_mm + half_mm)
    return (station_mm >= 0) & (station_mm <= length_mm) & feet


def is_same_place(one_mm: Places, other_mm: float) -> "bool | np.ndarray":
    """Whether two numbers mean one place.

    Examples
    --------
    >>> is_same_place(101.6, 101.60000000000001), is_same_place(100.0, 100.5)
    (True, False)
    """
    return abs(one_mm - other_mm) < SAME_PLACE_MM
