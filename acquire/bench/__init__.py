"""Looking at the instruments of a survey, and measuring what they are worth at the bench."""

from acquire.bench.listening import Receiver, Seen
from acquire.bench.seating import Reversal, Seating, reversal_of, seating_of
from acquire.bench.sitting import Sitting
from acquire.bench.still import StillRecord, still_record
from acquire.bench.views import PageView, PlainView

__all__ = [
    "PageView",
    "PlainView",
    "Receiver",
    "Reversal",
    "Seating",
    "Seen",
    "Sitting",
    "StillRecord",
    "reversal_of",
    "seating_of",
    "still_record",
]
