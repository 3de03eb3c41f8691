"""Readings typed at the machine, and files taken in: asked for and questioned."""

from acquire.entry.asking import Asker, enter_readings
from acquire.entry.under_way import Entry, Slot, stations_to_read
from acquire.model.companion import Companion, Prediction

__all__ = [
    "Asker",
    "Companion",
    "Entry",
    "Prediction",
    "Slot",
    "enter_readings",
    "stations_to_read",
]
