"""Stops that are no station: the rest before a traverse begins, and what the operator takes back."""

import re
from collections.abc import Iterable, Sequence

import numpy as np

from acquire.model.recorded import Event
from acquire.reduce.tagging.dwells import Dwell
from acquire.reduce.way_gone import way_gone

NO_STATION = "no_station"
"""Kind of the events that take a rest, or a mark, back: "rest at 4.25 s", "mark at 12.10 s"."""
REST, MARK = "rest", "mark"
FEWEST_STOPS = 4
SAME_MARK_S = 0.006
"""The times in such an event are written to a hundredth of a second."""
SLACK_S = 0.5
MOSTLY = 0.6
"""Share of the stops behind the first that must be at places of the bed, for the first to be held to that."""

_TEXT = re.compile(r"(rest|mark) at (\d{1,9}(?:\.\d{1,3})?) s.*")


def taken_back(what: str, time_s: float) -> str:
    """The text of an event that takes back the rest, or the mark, at a time.

    Examples
    --------
    >>> taken_back(REST, 4.251)
    'rest at 4.25 s'
    """
    return f"{what} at {time_s:.2f} s"


def times_taken_back(what: str, events: Iterable[Event]) -> tuple[float, ...]:
    """The times of all rests, or of all marks, that were taken back.

    Examples
    --------
    >>> times_taken_back(REST, [Event(9.0, "no_station", "rest at 4.25 s"), Event(9.5, "mark", "")])
    (4.25,)
    """
    matches = [_TEXT.fullmatch(event.text) for event in events if event.kind == NO_STATION]
    return tuple(float(match[2]) for match in matches if match is not None and match[1] == what)


def is_taken_back(start_s: float, end_s: float, times_s: Sequence[float]) -> bool:
    """Whether one of the times lies within a rest, give or take half a second."""
    return any(start_s - SLACK_S <= time_s <= end_s + SLACK_S for time_s in times_s)


def is_before_begin(direction: str, place_mm: np.ndarray, meant_mm: np.ndarray) -> bool:
    """Whether the first stop was made before the traverse began.

    It is none of the bed's places while most others are; or the next stop lies behind it, against
    the direction in which all the rest goes.

    Parameters
    ----------
    direction : str
        forward | reverse.
    place_mm : array, shape (n,)
        Of each stop in the order of time: the place of the bed that it was meant for, or where it stood.
    meant_mm : array, shape (m,)
        Every place of the bed that a stop may be meant for.

    Examples
    --------
    >>> meant = np.arange(0, 900, 100)
    >>> is_before_begin("forward", np.array([37.0, 0, 100, 200]), meant)
    True
    >>> is_before_begin("forward", np.array([400, 0, 100, 200]), meant)
    True
    >>> is_before_begin("forward", np.array([0, 100, 200, 300]), meant)
    False
    """
    if len(place_mm) < FEWEST_STOPS:
        return False
    is_meant = np.isin(place_mm, meant_mm)
    if not is_meant[0] and float(np.mean(is_meant[1:])) >= MOSTLY:
        return True
    ahead = -1.0 if direction == "reverse" else 1.0
    goes_back = ahead * (place_mm[1] - place_mm[0]) < 0
    return bool(goes_back) and way_gone(place_mm[1:]) == direction


def numbered(dwells: Sequence[Dwell]) -> str:
    """When each rest began, for the person who must say which is none."""
    return ", ".join(f"{number}: {dwell.start_s:.0f} s" for number, dwell in enumerate(dwells, start=1))
