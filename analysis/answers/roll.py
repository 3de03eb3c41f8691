"""Figures of a roll along the bed: twist, wind, and the worst over the length of the carriage."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from acquire.model.places import SAME_STATION_MM
from analysis.adjust.bed_map import BedMap
from analysis.answers.known_roll import KnownRoll, wind_expanded
from analysis.linear.largest_difference import LargestDifference, detectable_difference, largest_difference
from analysis.linear.profile import COVERAGE_FACTOR, standard_uncertainty
from analysis.linear.shown import KEPT_INSIDE, Shown


@dataclass(frozen=True, eq=False)
class RollPart:
    """One part of the roll, from the first station; its far end against its near end."""

    station_mm: np.ndarray
    roll_um_per_m: np.ndarray
    standard_uncertainty_um_per_m: np.ndarray
    wind_um_per_m: float
    wind_expanded_um_per_m: float


@dataclass(frozen=True, eq=False, repr=False)
class Roll(Shown):
    """Roll along the bed, and how much it changes."""

    station_mm: np.ndarray
    roll_um_per_m: np.ndarray
    """As a cross level read it where one did; from the first station where only changes are known; with a
    line removed where it is known only up to a line."""
    standard_uncertainty_um_per_m: np.ndarray
    twist_um_per_m: float | None
    """Largest minus smallest roll, as read: noise alone makes it larger. None where the roll is known only
    up to a line."""
    twist_interval_um_per_m: tuple[float, float] | None
    """Holds the true largest difference of roll; from 0 where none was seen."""
    twist_expanded_um_per_m: float | None
    """The greater side of that interval."""
    is_twist_seen: bool | None
    """Whether noise alone would show as much in fewer than one survey in twenty."""
    twist_detectable_um_per_m: float | None
    """The twist that would have been seen four times in five."""
    wind_um_per_m: float | None
    """Roll at the far end minus roll at the origin."""
    wind_expanded_um_per_m: float | None
    worst_over_carriage_um_per_m: float | None
    """Largest change of roll between two stations no further apart than the carriage is long."""
    worst_over_carriage_interval_um_per_m: tuple[float, float] | None
    worst_over_carriage_expanded_um_per_m: float | None
    highest_mm: float | None
    """Where the rear is highest against the front."""
    lowest_mm: float | None
    known_up_to: str
    """nothing | a constant | a line."""
    covariance: np.ndarray = field(metadata=KEPT_INSIDE)
    bed_map: BedMap = field(metadata=KEPT_INSIDE)


def roll_figures(known: KnownRoll, carriage_length_mm: float | None) -> Roll:
    """The roll as an answer: wind, largest difference anywhere and over a carriage length."""
    roll, covariance = known.value, known.covariance
    is_line = known.known_up_to == "a line"
    largest = None if is_line else largest_difference(roll, covariance)
    worst = None if is_line else _over_carriage(known.station_mm, roll, covariance, carriage_length_mm)
    return Roll(
        station_mm=known.station_mm,
        roll_um_per_m=roll,
        standard_uncertainty_um_per_m=standard_uncertainty(covariance),
        twist_um_per_m=None if largest is None else largest.value,
        twist_interval_um_per_m=None if largest is None else largest.interval,
        twist_expanded_um_per_m=None if largest is None else largest.expanded,
        is_twist_seen=None if largest is None else largest.is_seen,
        twist_detectable_um_per_m=None if is_line else detectable_difference(covariance),
        wind_um_per_m=None if is_line else float(roll[-1] - roll[0]),
        wind_expanded_um_per_m=wind_expanded(known),
        worst_over_carriage_um_per_m=None if worst is None else worst.value,
        worst_over_carriage_interval_um_per_m=None if worst is None else worst.interval,
        worst_over_carriage_expanded_um_per_m=None if worst is None else worst.expanded,
        highest_mm=None if largest is None else float(known.station_mm[largest.highest]),
        lowest_mm=None if largest is None else float(known.station_mm[largest.lowest]),
        known_up_to=known.known_up_to,
        covariance=covariance,
        bed_map=known.bed_map,
    )


def roll_part(
    station_mm: np.ndarray,
    rows: np.ndarray,
    estimate: np.ndarray,
    covariance_of: Callable[[np.ndarray], np.ndarray],
) -> RollPart:
    """A roll given as rows over the unknowns of a map, with its wind from end to end."""
    roll = rows @ estimate
    wind = standard_uncertainty(covariance_of((rows[-1] - rows[0])[None]))
    return RollPart(
        station_mm=station_mm,
        roll_um_per_m=roll,
        standard_uncertainty_um_per_m=standard_uncertainty(covariance_of(rows)),
        wind_um_per_m=float(roll[-1] - roll[0]),
        wind_expanded_um_per_m=COVERAGE_FACTOR * float(wind[0]),
    )


def _over_carriage(
    station_mm: np.ndarray, roll: np.ndarray, covariance: np.ndarray, length_mm: float | None
) -> LargestDifference | None:
    if length_mm is None:
        return None
    near = np.abs(station_mm[:, None] - station_mm[None, :]) <= length_mm + SAME_STATION_MM
    return largest_difference(roll, covariance, near)
