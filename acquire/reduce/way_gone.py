"""Which way a traverse went, by its places in the order in which they were read."""

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from acquire.model.recorded import Event
from acquire.model.traverse import Setup

DIRECTION = "direction"
"""Kind of the events that say afterwards which way a traverse went: a direction, then why."""
OTHER_WAY = "other_way"
"""Kind of the derived event that says it went otherwise than `--direction` does."""
MOSTLY = 0.6
"""Of the way covered, what must lead to one side: less is there and back, or to and fro."""
FEWEST = 3

_TOWARDS = {"forward": "away from station 0", "reverse": "towards station 0"}


def way_gone(place_mm: np.ndarray) -> str | None:
    """`forward` or `reverse`; None where too few places, or places to and fro, do not tell.

    Parameters
    ----------
    place_mm : array, shape (n,)
        In the order in which they were read.

    Examples
    --------
    >>> way_gone([900, 700, 500, 520, 300]), way_gone([0, 100, 200, 100, 0]), way_gone([0, 100])
    ('reverse', None, None)
    """
    steps = np.diff(np.asarray(place_mm, float))
    covered = float(np.abs(steps).sum())
    if len(steps) + 1 < FEWEST or covered == 0 or abs(float(steps.sum())) < MOSTLY * covered:
        return None
    return "forward" if steps.sum() > 0 else "reverse"


def other_way_words(direction: str, place_mm: np.ndarray, what: str) -> str | None:
    """What to say where places in their order run against a direction; None where they do not.

    Examples
    --------
    >>> other_way_words("forward", [900, 500, 100], "the position")
    'the position ran from 900 to 100 mm, towards station 0; --direction says forward'
    """
    gone = way_gone(place_mm)
    if gone is None or gone == direction:
        return None
    ends = f"from {place_mm[0]:.4g} to {place_mm[-1]:.4g} mm"
    return f"{what} ran {ends}, {_TOWARDS[gone]}; --direction says {direction}"


def as_gone(setup: Setup, events: Iterable[Event]) -> Setup:
    """The setup with the direction that was said afterwards, if one was."""
    for event in events:
        said = event.text.partition(":")[0].split()
        if event.kind == DIRECTION and said and said[0] in _TOWARDS:
            setup = replace(setup, direction=said[0])
    return setup
