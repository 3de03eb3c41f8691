"""Stations as they are taken, held against what the rest of the survey says of them."""

from acquire.console.taken import Taken
from acquire.console.tracking import Tracker
from acquire.entry.doubts import doubt_of
from acquire.model.companion import Companion
from acquire.model.inch_words import in_owners_unit


def doubt_about(tracker: Tracker, index: int, taken: Taken, companion: Companion) -> str | None:
    """Why the station taken as the `index`-th cannot be, in the owner's unit.

    None where nothing speaks against it, or the survey cannot say.
    """
    before = tracker.stations(index)
    prediction = companion.predict(before, taken.station_mm)
    if prediction is None:
        return None
    setup = tracker.setup
    doubt = doubt_of(setup.described, before, taken.station_mm, taken.reading, prediction)
    return None if doubt is None else in_owners_unit(doubt, setup.bed.is_inch)
