"""Looking at the instruments of a survey, and measuring what they are worth at the bench."""

from acquire.watch.listening import Ear, Seen
from acquire.watch.seating import Reversal, Seating, reversal_of, seating_of
from acquire.watch.sitting import Sitting
from acquire.watch.still import StillRecord, still_record
from acquire.watch.views import PageView, PlainView

__all__ = [
    "Ear",
    "PageView",
    "PlainView",
    "Reversal",
    "Seating",
    "Seen",
    "Sitting",
    "StillRecord",
    "reversal_of",
    "seating_of",
    "still_record",
]
