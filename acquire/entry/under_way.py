"""An entry under way, as a value: which stations it asks for, which were answered, which is next.

Nothing here asks or writes; `asking` does.  An entry is rebuilt from its typed lines alone.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from acquire.model.errors import EntryError
from acquire.model.places import end_where_rounded
from acquire.model.traverse import Setup
from acquire.reduce.written.readings import ReadingsTable
from acquire.reduce.written.typed import TypedLine, readings_typed


@dataclass(frozen=True)
class Slot:
    """One reading to be taken: the station, and the how-manieth reading there."""

    station_mm: float
    repeat: int = 1


@dataclass(frozen=True)
class Entry:
    """All slots in their order, what was typed so far, and where the person is."""

    setup: Setup
    slots: tuple[Slot, ...]
    lines: tuple[TypedLine, ...] = ()
    index: int = 0

    @classmethod
    def begun(
        cls, setup: Setup, stations: Sequence[float], lines: Sequence[TypedLine] = (), closing: bool = False
    ) -> "Entry":
        """An entry over `stations`, with the lines already typed answered in it."""
        slots = [Slot(station_mm) for station_mm in stations]
        if closing:
            slots.append(Slot(stations[0], 2))
        known = set(slots)
        for line in lines:
            slot = Slot(line.station_mm, line.repeat)
            if slot not in known:
                known.add(slot)
                slots.insert(_place_for(slots, slot), slot)
        return cls(setup, tuple(slots), tuple(lines)).at_first_unanswered()

    @property
    def current(self) -> Slot | None:
        """The slot to be read now; None when all are answered."""
        return self.slots[self.index] if self.index < len(self.slots) else None

    @property
    def answered(self) -> dict[Slot, TypedLine]:
        """The line that counts for each slot."""
        return {Slot(line.station_mm, line.repeat): line for line in self.lines}

    @property
    def taken(self) -> int:
        """How many readings there are, gaps left out."""
        return sum(not line.is_gap for line in self.answered.values())

    @property
    def unread(self) -> int:
        """How many slots have no answer, not even a gap."""
        return len(self.slots) - len(set(self.slots) & self.answered.keys())

    def at(self, slot: Slot) -> "Entry":
        """The same, at `slot`; one more reading at a station of its own is put behind those that are there.

        Raises
        ------
        EntryError
            If its station is none of those to be read, or readings are missing before it.
        """
        if slot in self.slots:
            return replace(self, index=self.slots.index(slot))
        here = [other for other in self.slots if other.station_mm == slot.station_mm]
        if not here or slot.repeat != 1 + max(other.repeat for other in here):
            found = f"found reading {slot.repeat} at {slot.station_mm:g} mm"
            raise EntryError("reading", found, "a station of this run, and readings there in turn")
        index = 1 + max(self.slots.index(other) for other in here)
        return replace(self, slots=(*self.slots[:index], slot, *self.slots[index:]), index=index)

    def at_first_unanswered(self) -> "Entry":
        """The same, at the first slot without an answer."""
        done = self.answered
        index = next((i for i, slot in enumerate(self.slots) if slot not in done), len(self.slots))
        return replace(self, index=index)

    def back(self) -> "Entry":
        """The same, one slot back."""
        return replace(self, index=max(self.index - 1, 0))

    def repeating(self) -> "Entry":
        """The same, with a further reading at the station just read; itself where there is none."""
        done = self.answered
        if self.index == 0 or self.slots[self.index - 1] not in done:
            return self
        station_mm = self.slots[self.index - 1].station_mm
        last = max(slot.repeat for slot in self.slots if slot.station_mm == station_mm)
        slots = (*self.slots[: self.index], Slot(station_mm, last + 1), *self.slots[self.index :])
        return replace(self, slots=slots)

    def line(self, words: str, time_s: float = math.nan, sent_as: str = "") -> TypedLine:
        """What answering the current slot with `words` puts on disk."""
        slot = self.slots[self.index]
        return TypedLine(slot.station_mm, slot.repeat, time_s, words, sent_as)

    def with_line(self, line: TypedLine) -> "Entry":
        """The same, with one more line typed."""
        return replace(self, lines=(*self.lines, line))

    def table(self) -> ReadingsTable:
        """The readings so far."""
        return readings_typed(self.setup, b"".join(line.as_bytes() for line in self.lines))

    def drift(self) -> tuple[float, float] | None:
        """Last minus first reading at the first station, and the seconds between; None without both."""
        stations = self.table().stations
        here = stations.station_mm == self.slots[0].station_mm
        if here.sum() < 2:
            return None
        readings, times_s = stations.reading[here], stations.time_s[here]
        order = np.argsort(times_s, kind="stable")
        first, last = order[0], order[-1]
        return float(readings[last] - readings[first]), float(times_s[last] - times_s[first])


def _place_for(slots: list[Slot], slot: Slot) -> int:
    """Behind the last slot of the same station that comes before the closing one, else at the end."""
    same = [i for i, other in enumerate(slots) if other.station_mm == slot.station_mm]
    return same[-1] + 1 if same else len(slots)


MOST_STATIONS = 10_000


def stations_to_read(
    setup: Setup, step_mm: float | None = None, from_mm: float | None = None, to_mm: float | None = None
) -> tuple[float, ...]:
    """The stations to ask for: of a level the middles of its base, stepped foot to foot; else the bed's.

    A level begins with its rear foot at `from_mm` (0) and ends before its front foot passes
    `to_mm` (the bed's end).  `step_mm` steps otherwise.  Reverse begins at the far end.

    Raises
    ------
    EntryError
        If no station fits between the two, or the step is none.

    Examples
    --------
    >>> from acquire.model.bed_toml.composing import NewBed, compose, preset_faces
    >>> bed = compose(NewBed("invented", 1000, 250, preset_faces("one-flat", 0), ["level"]))
    >>> stations_to_read(Setup("level", "slope", bed, face="way"))
    (100.0, 300.0, 500.0, 700.0, 900.0)
    >>> stations_to_read(Setup("level", "slope", bed, face="way", direction="reverse"), from_mm=500)
    (800.0, 600.0)
    """
    length_mm = setup.bed.length_mm
    start_mm = 0.0 if from_mm is None else from_mm
    end_mm = length_mm if to_mm is None else to_mm
    start_mm, end_mm = (end_where_rounded(length_mm, float(mm)) for mm in (start_mm, end_mm))
    if not 0 <= start_mm < end_mm <= length_mm:
        raise EntryError(
            "stretch to read",
            f"found {start_mm:g} to {end_mm:g} mm",
            f"a stretch within 0 to {length_mm:g} mm",
        )
    if step_mm is not None and not step_mm > 0:
        raise EntryError("--step", f"found {step_mm:g} mm", "a step above 0")
    places = _places(setup, step_mm, start_mm, end_mm)
    if not 1 <= len(places) <= MOST_STATIONS:
        raise EntryError(
            "stretch to read", f"found {len(places)} stations in it", f"1 to {MOST_STATIONS}", "choose others"
        )
    return places if setup.direction == "forward" else places[::-1]


def _places(setup: Setup, step_mm: float | None, start_mm: float, end_mm: float) -> tuple[float, ...]:
    base_mm = setup.described.step_mm or 0.0
    step_mm = step_mm or base_mm or None
    if step_mm is None:
        return tuple(x for x in setup.bed.station_mm if start_mm <= x <= end_mm)
    count = int(np.floor((end_mm - start_mm - base_mm) / step_mm + 1e-9)) + 1
    if count > MOST_STATIONS:
        raise EntryError(
            "--step", f"found {count} stations", f"at most {MOST_STATIONS}", "take a longer step"
        )
    return tuple(round(start_mm + base_mm / 2 + index * step_mm, 6) for index in range(max(count, 0)))
