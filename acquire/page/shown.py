"""What pages are told: plain values with every number beside its unit, and what the run before read."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from acquire.console.live_words import title_words
from acquire.entry.doubts import reading_words
from acquire.entry.typed_by import AT_ONCE_S, GOES_ON_S, SECOND_PRESS_S
from acquire.entry.under_way import Slot
from acquire.model.bed import Instrument, units_read_by
from acquire.model.errors import WaylogError
from acquire.model.places import is_same_place
from acquire.model.traverse import Setup, Traverse
from acquire.model.units import length_text, number_text, reading_decimals, unit_text
from acquire.page.run import Run
from acquire.reduce.written.readings import expected_unit
from acquire.reduce.written.typed import TypedLine, typed_reading
from acquire.store import files_of, read_traverse

Values = dict[str, Any]
COLUMNS = 38
"""Characters of a line on a narrow phone."""
SAME = ("face", "front", "rear", "other", "inside", "instrument", "quantity", "reference", "turned",
        "turned_over")  # fmt: skip
"""What has to agree for two runs to read the same, but for the instrument's zero."""


@dataclass(frozen=True, eq=False)
class LastRun:
    """The latest earlier run of the same thing, in either direction."""

    traverse: Traverse

    def at(self, station_mm: float) -> float | None:
        """What it read there, in the contract's unit: the last reading of several."""
        stations = self.traverse.stations
        here = np.flatnonzero(is_same_place(stations.station_mm, station_mm))
        return float(stations.reading[here[-1]]) if len(here) else None

    @property
    def words(self) -> str:
        """Which run it was."""
        return f"run {self.traverse.number}, {self.traverse.setup.direction}"


def last_run(survey: Path | str, setup: Setup) -> LastRun | None:
    """The latest run of the survey that measured what `setup` does; None where there is none.

    One that cannot be read is passed over: it is a check, no measurement.
    """
    for traverse in _latest_first(survey):
        if all(getattr(traverse.setup, name) == getattr(setup, name) for name in SAME):
            return LastRun(traverse)
    return None


def _latest_first(survey: Path | str) -> Iterable[Traverse]:
    for path in reversed(files_of(survey).values()):
        try:
            yield read_traverse(path, raw=False)
        except WaylogError:
            continue


def run_shown(run: Run, last: LastRun | None) -> Values:
    """What is entered, every reading to be taken, and what stands there."""
    setup, entry = run.writer.setup, run.entry
    unit = expected_unit(setup)
    return {
        "name": run.name,
        "number": setup.number,
        "title": f"Run {setup.number}: {title_words(setup)}",
        "subject": setup.subject,
        "unit": unit,
        "unit_shown": unit_text(unit),
        "units": [{"unit": each, "shown": unit_text(each)} for each in units_read_by(setup.described)],
        "worth": _division_words(setup.described, unit),
        "is_signed": not setup.described.measures.is_between,
        "typing": {"at_once_s": AT_ONCE_S, "goes_on_s": GOES_ON_S, "second_press_s": SECOND_PRESS_S},
        "vial": run.manner.vial,
        "settle_s": run.manner.settle_s,
        "slots": [slot_shown(run, slot, last) for slot in entry.slots],
        "profile": run.profile_lines(COLUMNS),
        **run.manner.set_up,
    }


def slot_shown(run: Run, slot: Slot, last: LastRun | None) -> Values:
    """One reading to be taken: where, what stands there, what the run before read."""
    setup = run.writer.setup
    inch, step_mm = setup.bed.is_inch, setup.described.step_mm
    sides = (-step_mm / 2, step_mm / 2) if step_mm else ()
    feet_mm = [round(slot.station_mm + side, 6) for side in sides]
    line = run.entry.answered.get(slot)
    return {
        "station_mm": slot.station_mm,
        "repeat": slot.repeat,
        "place": length_text(slot.station_mm, inch),
        "feet_mm": feet_mm,
        "feet": " and ".join(length_text(mm, inch) for mm in feet_mm),
        "words": None if line is None else line.words,
        "shown": None if line is None else line_shown(run, line),
        "doubt": run.doubts.get(slot),
        "last": _last_words(run, slot, last),
    }


def line_shown(run: Run, line: TypedLine) -> str:
    """What was typed, with the unit that it was taken in and what that comes to."""
    setup = run.writer.setup
    if line.is_gap:
        return "gap"
    worth = reading_words(
        setup.described, typed_reading(setup.described, line.words, setup.unit), setup.bed.is_inch
    )
    has_unit = any(character.isalpha() or character in "\"'" for character in line.words)
    unit = unit_text(expected_unit(setup))
    typed = line.words if has_unit else f"{line.words} {unit}"
    first, bracket, other = worth.partition(" (")
    is_same = not has_unit and first.endswith(f" {unit}")
    return f"{typed} ({other}" if is_same and bracket else f"{typed} = {worth}"


def _last_words(run: Run, slot: Slot, last: LastRun | None) -> str | None:
    reading = None if last is None else last.at(slot.station_mm)
    if last is None or reading is None:
        return None
    setup = run.writer.setup
    unit = expected_unit(setup)
    shown = float(setup.described.as_shown(reading, unit))
    is_own = unit == setup.described.reading_unit
    decimals = reading_decimals(setup.described.resolution if is_own else None, shown)
    return f"{number_text(shown, decimals)} {unit_text(unit)} ({last.words})"


def _division_words(instrument: Instrument, unit: str) -> str:
    if unit != "div" or instrument.per_division is None:
        return ""
    return f"1 div = {instrument.per_division:g} {unit_text(instrument.unit)}"
