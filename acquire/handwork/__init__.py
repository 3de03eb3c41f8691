"""Readings typed at the machine, and files taken in: asked for, questioned, kept, and made a traverse."""

from acquire.handwork.asking import Asker, enter_readings
from acquire.handwork.companion import Companion, Prediction
from acquire.handwork.entry import Entry, Slot
from acquire.handwork.keeping import keep_readings, resumable
from acquire.handwork.plan import stations_to_read

__all__ = [
    "Asker",
    "Companion",
    "Entry",
    "Prediction",
    "Slot",
    "enter_readings",
    "keep_readings",
    "resumable",
    "stations_to_read",
]
