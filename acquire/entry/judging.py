"""What speaks against a reading that was just typed: its digits, the rest of the survey, its neighbours.

Whoever asks for readings, at a prompt or on a page, asks here; so all question the same ones.
"""

from dataclasses import replace

from acquire.entry.doubts import doubt_of, doubt_of_digits
from acquire.entry.under_way import Entry, Slot
from acquire.model.companion import Companion
from acquire.model.inch_words import in_owners_unit
from acquire.model.units import with_plain_minus
from acquire.reduce.written import TypedLine
from acquire.reduce.written.typed import typed_reading
from acquire.reduce.written.values import GAPS


def doubt_about(entry: Entry, line: TypedLine, companion: Companion | None = None) -> str | None:
    """Why what was typed ought to be looked at again, in the owner's unit; None where nothing is.

    It is held against what else was read, never against itself or an earlier reading in its place.
    A gap is never questioned.

    Parameters
    ----------
    entry : Entry
        With or without `line`.
    line : TypedLine
        One that `typed_reading` takes, or a gap.
    companion : Companion, optional
        What the rest of the survey says; without one the neighbours speak alone.
    """
    if line.is_gap:
        return None
    setup = entry.setup
    reading = typed_reading(setup.described, line.words, setup.unit)
    doubt = doubt_of_digits(setup.described, line.station_mm, line.words, setup.unit)
    if doubt is None:
        others = _without(entry, Slot(line.station_mm, line.repeat)).table().stations
        predicted = None if companion is None else companion.predict(others, line.station_mm)
        doubt = doubt_of(setup.described, others, line.station_mm, reading, predicted)
    return None if doubt is None else in_owners_unit(doubt, setup.bed.is_inch)


def _without(entry: Entry, slot: Slot) -> Entry:
    lines = tuple(line for line in entry.lines if Slot(line.station_mm, line.repeat) != slot)
    return replace(entry, lines=lines)


def lacks_other_end(words: str) -> bool:
    """Whether only one end of a bubble was typed.

    Examples
    --------
    >>> lacks_other_end("1.5"), lacks_other_end("1.5 / 2.5"), lacks_other_end("-")
    (True, False, False)
    """
    plain = with_plain_minus(words.strip())
    return plain not in GAPS and len(plain.replace("/", " ").split()) == 1
