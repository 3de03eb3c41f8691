"""Looking at the instruments of a survey, and measuring what they are worth at the bench."""

from acquire.bench.bench_session import BenchSession
from acquire.bench.listening import Receiver, Seen
from acquire.bench.seating import Reversal, Seating, reversal_of, seating_of
from acquire.bench.still import StillRecord, still_record
from acquire.bench.views import PageView, PlainView

__all__ = [
    "BenchSession",
    "PageView",
    "PlainView",
    "Receiver",
    "Reversal",
    "Seating",
    "Seen",
    "StillRecord",
    "reversal_of",
    "seating_of",
    "still_record",
]
