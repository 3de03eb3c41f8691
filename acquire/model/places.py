"""Places along the bed: whether one can be stood at, and whether two are the same.

Whoever records, types, imports or maps asks here, so that what one of them keeps no other refuses.
How near counts as one depends on what may have been done to the numbers: nothing but arithmetic,
other digits, a foot set down on a rule, or rounding to whole millimetres of one of them or of both.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    import numpy as np

Stretches = Sequence[Sequence[float]]
Places = TypeVar("Places", float, "np.ndarray")

SLACK_MM = 2.0
"""A foot set flush with the end of the bed by hand, or a scale's zero, may be out by this."""
SAME_STATION_MM = 1e-6
"""What arithmetic leaves between two results for one station, and beyond the end of a stretch."""
SAME_PLACE_MM = 0.01
"""Two numbers closer than this are one place, written or converted with other digits."""
PLACED_MM = 0.05
"""Feet and plungers closer than this stand at one place: no scale or rule places them better."""
ROUNDING_MM = 0.5
"""A place written in whole millimetres is out by this at most: 42 in may stand as 1067 mm."""
SNAP_MM = 2.0
"""How far from a place an instrument set to a scribed line by hand may stand and still be meant for it."""
MISSED_MM = 1.0
"""Two places that may both have been rounded are one within this: a stretch that ends less than this
short of a station takes it."""


def is_within_reach(length_mm: float, at_mm: Places) -> "bool | np.ndarray":
    """Whether a foot there bears on a bed of that length, give or take the slack."""
    return (at_mm >= -SLACK_MM) & (at_mm <= length_mm + SLACK_MM)


def is_on_bed(length_mm: float, station_mm: Places, base_mm: float | None = None) -> "bool | np.ndarray":
    """Whether what is read at a place stands on the bed, with both feet where it has two.

    The place itself lies on the bed, give or take rounding; a foot may hang over its end by the slack.

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
    station_mm = end_where_rounded(length_mm, station_mm)
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


def end_where_rounded(length_mm: float, at_mm: Places) -> Places:
    """The end of the bed where a place is beyond it by no more than rounding; else the place itself.

    Examples
    --------
    >>> end_where_rounded(1066.8, 1067.0), end_where_rounded(1066.8, -0.2), end_where_rounded(1066.8, 1068.0)
    (1066.8, 0.0, 1068.0)
    """
    if isinstance(at_mm, float | int):
        end_mm = min(max(at_mm, 0.0), length_mm)
        return float(end_mm if abs(end_mm - at_mm) <= ROUNDING_MM else at_mm)
    import numpy as np  # a bed is read, and a command says what it does, without arrays

    on_bed = np.clip(at_mm, 0.0, length_mm)
    return np.where(np.abs(on_bed - at_mm) <= ROUNDING_MM, on_bed, at_mm)


def is_in_stretches(stretches: Stretches, at_mm: Places) -> "bool | np.ndarray":
    """Whether a place lies in one of several stretches, or misses it by less than a millimetre.

    Examples
    --------
    >>> is_in_stretches([(0.0, 75.5)], 76.2), is_in_stretches([(0.0, 75.0)], 76.2)
    (True, False)
    """
    import numpy as np

    inside = np.zeros(np.shape(at_mm), bool)
    for start, end in stretches:
        inside |= (at_mm > min(start, end) - MISSED_MM) & (at_mm < max(start, end) + MISSED_MM)
    return bool(inside) if np.ndim(inside) == 0 else inside
