"""What is said of typed readings: what speaks against one, how many there are, how far they drifted.

Whoever asks for readings, at a prompt or on a page, asks here; so all question the same ones.
"""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from acquire.entry.under_way import Entry, Slot
from acquire.model.bed import Instrument
from acquire.model.companion import Companion, Prediction
from acquire.model.inch_words import in_owners_unit
from acquire.model.places import is_same_place
from acquire.model.slips import slip_of_reading
from acquire.model.traverse import Stations
from acquire.model.units import (
    Reading,
    height_text,
    slope_text,
    with_plain_minus,
)
from acquire.reduce.written.readings import GAPS, written_in
from acquire.reduce.written.typed import TypedLine, ends_written, typed_reading

FEWEST_NEIGHBOURS = 2
NEAREST = 6
IMPOSSIBLE_AT = 5.0
"""Standard uncertainties from its prediction beyond which a reading is questioned."""
JUMP_AT = 20.0
"""Likewise from its neighbours, where no slip of the pen explains it."""
MOST_STEPS = 1000
"""Beyond which a number would be no reading of a way in the unit that is guessed."""
FINEST_OF_A_STEP = 1 / 20
"""Between two strokes a practised eye tells halves, and tenths with luck; the mean of two halves it."""


def reading_words(instrument: Instrument, reading: float, inch: bool = False) -> str:
    """A reading in the contract's unit, for people."""
    if instrument.measures.is_angle:
        return slope_text(reading, inch)
    return height_text(reading, inch)


def doubt_of(
    instrument: Instrument,
    stations: Stations,
    station_mm: float,
    reading: float,
    prediction: Prediction | None,
) -> str | None:
    """Why a reading ought to be looked at again; None where nothing speaks against it."""
    if prediction is not None:
        return _against_survey(instrument, station_mm, reading, prediction)
    return _against_neighbours(instrument, stations, station_mm, reading)


def doubt_of_stroke(instrument: Instrument, station_mm: float, words: str) -> str | None:
    """Why two numbers with a bare stroke between may be no two ends of a bubble.

    Examples
    --------
    >>> vial = Instrument("vial", "slope", "in/ft", per_division=0.0005)
    >>> doubt_of_stroke(vial, 300, "-1/2")
    'station 300 mm: -1/2 is taken as both ends of the bubble, -1 and 2: is it -0.5?'
    >>> doubt_of_stroke(vial, 300, "1 / 2"), doubt_of_stroke(vial, 300, "2/1")
    (None, None)
    """
    found = re.fullmatch(r"([-+]?)(\d+)/(\d+)", with_plain_minus(words.strip()))
    if found is None or not instrument.measures.is_angle or int(found[2]) >= int(found[3]):
        return None
    fraction = f"{found[1]}{int(found[2]) / int(found[3]):.3g}"
    return (
        f"station {station_mm:g} mm: {words.strip()} is taken as both ends of the bubble, "
        f"{found[1]}{found[2]} and {found[3]}: is it {fraction}?"
    )


def doubt_of_digits(
    instrument: Instrument, station_mm: float, words: str, unit: str | None = None
) -> str | None:
    """Why what was typed can hardly be what the instrument shows: digits far below its resolution.

    Such as inches, or exact thou, where divisions are asked.

    Parameters
    ----------
    instrument : Instrument
    station_mm : float
    words : str
        As typed; a number that carries another unit than is asked for is taken at its word.
    unit : str, optional
        That readings are asked for in, where it is not the instrument's own.

    Examples
    --------
    >>> dial = Instrument("dial", "offset", "thou", per_division=0.5, resolution=0.2)
    >>> doubt_of_digits(dial, 300, "0.003")
    'station 300 mm: 0.003 is finer than dial shows (steps of 0.2 div): is it 0.003 in?'
    >>> doubt_of_digits(dial, 300, "2.5"), doubt_of_digits(dial, 300, "0.003 in")
    (None, None)
    """
    if not instrument.resolution:
        return None
    for written in _in_own_unit(instrument, words, unit):
        finest = written.value / (FINEST_OF_A_STEP * instrument.resolution)
        if abs(finest - round(finest)) > 1e-6:
            own = "div" if instrument.per_division is not None else instrument.unit
            guess = _unit_meant(instrument, written.value)
            advice = f"is it {written.value:g} {guess}?" if guess else "read it again"
            return (
                f"station {station_mm:g} mm: {written.value:g} is finer than {instrument.name} shows "
                f"(steps of {instrument.resolution:g} {own}): {advice}"
            )
    return None


def doubt_of_column(instrument: Instrument, stations: Stations, unit: str | None = None) -> str | None:
    """Likewise of the readings of a file: the first that is too fine, and how many are.

    Where most are, and in no other unit they would be what it shows, they are means of many.

    Parameters
    ----------
    instrument : Instrument
    stations : Stations
    unit : str, optional
        That the file's numbers were taken in, where it is not the instrument's own.
    """
    shown = instrument.as_shown(stations.reading, unit)
    doubts = [
        doubt
        for station_mm, value in zip(stations.station_mm, np.atleast_1d(shown), strict=True)
        if (doubt := doubt_of_digits(instrument, float(station_mm), f"{value:.9g}", unit)) is not None
    ]
    if not doubts or (2 * len(doubts) > len(stations) and "is it" not in doubts[0]):
        return None
    return doubts[0] if len(doubts) == 1 else f"{len(doubts)} readings; at {doubts[0]}"


def _in_own_unit(instrument: Instrument, words: str, unit: str | None) -> Iterator[Reading]:
    """The numbers typed in what the instrument shows."""
    own = {None, "div"} if instrument.per_division is not None else {None, instrument.unit}
    ends = ends_written(words) if instrument.measures.is_angle else [words]
    for written in (written_in(instrument, end) for end in ends):
        if (written.unit or unit) in own:
            yield written


def _unit_meant(instrument: Instrument, value: float) -> str | None:
    """The unit in which the number would be a reading that the instrument can show."""
    step = (instrument.resolution or 1.0) * instrument.contract_per_reading
    for unit in instrument.measures.units:
        steps = abs(instrument.measures.to_contract(value, unit)) / step
        if 0.5 < steps < MOST_STEPS and abs(steps - round(2 * steps) / 2) < 0.02:
            return unit
    return None


def _against_survey(
    instrument: Instrument, station_mm: float, reading: float, prediction: Prediction
) -> str | None:
    off = reading - prediction.reading
    if abs(off) <= IMPOSSIBLE_AT * prediction.uncertainty:
        return None
    guess = slip_of_reading(reading, prediction.reading, prediction.uncertainty, instrument.measures)
    advice = f"is it {guess}?" if guess else "wipe, re-seat, read again"
    are_several = " and " in prediction.says or prediction.says.endswith("runs")
    return (
        f"station {station_mm:g} mm is {_as_read(instrument, abs(off)).removeprefix('-')} off "
        f"what {prediction.says} say{'' if are_several else 's'}: {advice}"
    )


def _against_neighbours(
    instrument: Instrument, stations: Stations, station_mm: float, reading: float
) -> str | None:
    """Held against the likest of the three nearest, give or take what neighbours vary by among themselves.

    The likest, because one odd reading that was kept must not cast doubt on all that follow.
    """
    near = _nearest(stations, station_mm)
    if len(near) < FEWEST_NEIGHBOURS:
        return None
    expected = min(_expectations(near), key=lambda other: abs(other - reading))
    spread = _spread(near, instrument)
    guess = slip_of_reading(reading, expected, spread, instrument.measures)
    is_jump = len(near) > FEWEST_NEIGHBOURS and abs(reading - expected) > JUMP_AT * spread
    if guess is None and not is_jump:
        return None
    return (
        f"station {station_mm:g} mm: {_as_read(instrument, reading)} jumps out of its neighbours "
        f"(the one beside it reads {_as_read(instrument, near[0])})" + (f": is it {guess}?" if guess else "")
    )


def _as_read(instrument: Instrument, reading: float) -> str:
    """A reading as it is read off: in divisions where the instrument has them."""
    if instrument.per_division is None:
        return reading_words(instrument, reading)
    return f"{instrument.as_shown(reading):.4g} div"


def _expectations(near: np.ndarray) -> list[float]:
    """What the next may be: like one of the three nearest, or going on as the two nearest did."""
    return [*map(float, near[:3]), float(2 * near[0] - near[1])]


def _nearest(stations: Stations, station_mm: float) -> np.ndarray:
    """The readings at the nearest other stations, the nearest first."""
    others = np.flatnonzero(~is_same_place(stations.station_mm, station_mm))
    distance_mm = np.abs(stations.station_mm[others] - station_mm)
    return stations.reading[others[np.argsort(distance_mm, kind="stable")[:NEAREST]]]


def _spread(near: Sequence[float] | np.ndarray, instrument: Instrument) -> float:
    """What neighbouring readings differ by, never less than the instrument can tell apart."""
    steps = np.abs(np.diff(near))
    usual = max(1.4826 * float(np.median(steps)), 0.5 * float(np.partition(steps, -1)[-1]))
    return max(usual, 2 * instrument.uncertainty, instrument.contract_resolution, 1e-9)


def summary_words(entry: Entry) -> str:
    """How many readings of what, and what was left out."""
    read = {slot.station_mm for slot, line in entry.answered.items() if not line.is_gap}
    gaps = len({slot.station_mm for slot in entry.answered} - read)
    struck = sum(line.is_gap and slot.station_mm in read for slot, line in entry.answered.items())
    left_out = f", {gaps} gap{'s' if gaps > 1 else ''}" if gaps else ""
    left_out += f", {struck} struck out" if struck else ""
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
    doubt = doubt_of_stroke(setup.described, line.station_mm, line.words)
    doubt = doubt or doubt_of_digits(setup.described, line.station_mm, line.words, setup.unit)
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
    return plain not in GAPS and len(ends_written(words)) == 1
