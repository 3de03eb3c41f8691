"""The append-only log of what the ports sent while a traverse runs: written, read, mended.

Everything is in it as it came: the setup first, then chunks of bytes with their times,
events, and an end. It is the source of truth until its HDF5 file has been compared.
"""

from acquire.store.journal.gathering import Chunks, JournalContents, read_journal
from acquire.store.journal.reading import End, Lost, records
from acquire.store.journal.writing import JournalWriter, begin

__all__ = [
    "Chunks",
    "End",
    "JournalContents",
    "JournalWriter",
    "Lost",
    "begin",
    "read_journal",
    "records",
]
