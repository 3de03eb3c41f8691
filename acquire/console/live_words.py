"""The state of a recording in words, and what the rest of the survey says against a station.

For the live screen and for whoever else looks on.
"""

import re

from acquire.console.taken import Taken
from acquire.console.tracking import Live, Tracker
from acquire.entry.doubts import doubt_of, reading_words
from acquire.model.bed import Instrument
from acquire.model.called import Called
from acquire.model.companion import Companion
from acquire.model.inch_words import in_owners_unit
from acquire.model.reference import CARRIAGE
from acquire.model.traverse import Setup
from acquire.model.units import clock_text, length_text, number_text, unit_text

BAR = 20
"""Characters of the bar that fills while it stands still."""


def heading(setup: Setup, live: Live) -> str:
    """How long it has run, and what is measured."""
    return f"{clock_text(live.time_s)}  traverse {setup.number:03d}: {title_words(setup)}"


def title_words(setup: Setup) -> str:
    """What is measured with what, and how it stands.

    Examples
    --------
    >>> title_words(Setup("dial", "offset", "", face="rear-flat", reference="front-vee"))
    'rear-flat along front-vee by dial, forward'
    """
    other = f" {'inside ' if setup.inside else ''}to {setup.other}" if setup.other else ""
    along = f" along {setup.reference}" if setup.reference and setup.face else ""
    along += " across the carriage" if setup.reference == CARRIAGE and not setup.face else ""
    turned = ", turned end for end" if setup.turned else ""
    turned += ", edge turned over" if setup.turned_over else ""
    return f"{setup.subject}{other}{along} by {setup.instrument}, {setup.direction}{turned}"


def reading_now(live: Live, setup: Setup) -> str:
    """In the unit that the owner of the bed is shown."""
    if live.reading is None:
        return "no reading yet"
    if setup.bed.is_inch:
        words = reading_words(setup.described, live.reading, inch=True)
        return words.partition(" (")[0]
    decimals = 0 if abs(live.reading) >= 1000 else 1
    return f"{number_text(live.reading, decimals)} {unit_text(setup.described.contract_unit)}"


def feeding(live: Live) -> str:
    """What to do under a constant feed."""
    return "press Enter as the feed starts" if live.position_mm is None else "press Enter as the feed stops"


def where_now(live: Live, setup: Setup) -> str:
    """Where it is; without a scale, where it must go."""
    if setup.placed_by.is_feed:
        return "" if live.position_mm is None else _place(live.position_mm, setup)
    if setup.placed_by.scale is not None:
        return "no position" if live.position_mm is None else _place(live.position_mm, setup)
    return "" if live.next_mm is None else _place(live.next_mm, setup)


def _place(mm: float, setup: Setup) -> str:
    return length_text(mm, setup.bed.is_inch)


def next_words(live: Live, inch: bool, columns: int, is_marked: bool, called: Called) -> list[str]:
    """The way to the next station, on one line or on two."""
    if live.next_mm is None:
        return ["every station has been read"]
    name = f"{'missed' if live.is_missed else 'next'} station {length_text(live.next_mm, inch)}"
    if live.to_go_mm is None:
        is_reading = is_marked and not live.is_unmarked
        return [f"reading station {length_text(live.next_mm, inch)}" if is_reading else name]
    if abs(live.to_go_mm) <= live.reach_mm:
        return [f"{name}: you are there"]
    way = called.away if live.to_go_mm > 0 else called.towards
    words = f"{name}: {length_text(abs(live.to_go_mm), inch)} to go, {way}"
    return [words] if len(words) <= columns else re.split("(?<=:) |(?<=,) ", words)


def still_words(live: Live) -> str:
    """How long it has stood still, as a bar and in words.

    Examples
    --------
    >>> still_words(Live(still_s=1.5, needed_s=3.0))
    '[##########..........] still for 1.5 s of 3 s'
    """
    if live.is_unmarked:
        return "press Enter when it stands there" if live.next_mm is not None else "q: end and keep"
    done = round(BAR * settled_share(live))
    return f"[{'#' * done}{'.' * (BAR - done)}] {stillness(live)}"


def settled_share(live: Live) -> float:
    """How much of the time that it must stand still is over, 0 to 1."""
    return min(1.0, live.still_s / live.needed_s) if live.needed_s else 1.0


def stillness(live: Live) -> str:
    """How long it has stood still, in words alone.

    Examples
    --------
    >>> stillness(Live(still_s=1.5, needed_s=3.0)), stillness(Live(is_settled=True))
    ('still for 1.5 s of 3 s', 'SETTLED')
    """
    if live.is_taken_here and not live.is_placeless:
        return "TAKEN, go on"
    if live.is_settled:
        return "SETTLED"
    if live.is_placeless:
        return "the position has stopped coming"
    if live.still_s <= 0.0:
        return "moving"
    if settled_share(live) >= 1:
        return f"still, not settled yet ({live.still_s:.0f} s)"
    return f"still for {live.still_s:.1f} s of {live.needed_s:g} s"


def taken_words(live: Live, instrument: Instrument, inch: bool) -> str:
    """How many stations were taken, and the last of them."""
    if live.in_turn is not None:
        return f"no Enter so far: {live.in_turn} of {live.places} stations, each a stretch of rest, in turn"
    if not live.taken:
        return f"no station taken yet, {live.places} to take"
    last = live.taken[-1]
    words = f"{length_text(last.station_mm, inch)}: {reading_words(instrument, last.reading, inch)}"
    return f"{len(live.taken)} taken of {live.places}, the last {words}"


def counts(live: Live) -> list[str]:
    """What each instrument sent."""
    lines = []
    for name, (good, others) in live.counts.items():
        words = f"{name}: {good} readings" + (f", {others} not good" if others else "")
        value = live.beside.get(name)
        lines.append(words + (f", now {value:g}" if value is not None else ""))
    return lines


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
