"""What is said at the end of an entry: how much was read, what is left, how far the first station drifted."""

from acquire.entry.doubts import reading_words
from acquire.entry.under_way import Entry


def summary_words(entry: Entry) -> str:
    """How many readings of what, and what was left out."""
    gaps = len(entry.answered) - entry.taken
    left_out = f", {gaps} gap{'s' if gaps > 1 else ''}" if gaps else ""
    left_out += f", {entry.unread} station{'s' if entry.unread > 1 else ''} not read" if entry.unread else ""
    return f"{entry.taken} readings of {entry.setup.subject} by {entry.setup.instrument}{left_out}"


def closing_words(entry: Entry) -> str | None:
    """The drift that a closing reading shows, in words; None where the first station was read once."""
    drift = entry.drift()
    if drift is None:
        return None
    change, seconds = drift
    after = f" after {seconds / 60:.0f} min" if seconds == seconds and seconds >= 60 else ""
    size = reading_words(entry.setup.described, abs(change), entry.setup.bed.is_inch)
    return f"drift: back at the first station{after} it reads {size} {'more' if change >= 0 else 'less'}"
