"""What one traverse holds, as values that nothing alters.

`Setup` is what was asked for when it began; `Stream` what one port said (the raw
bytes beside what they were decoded to); `Stations` what it comes to, in the
contract's units; `Events` what happened on the way.
"""

import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields, replace
from functools import cached_property
from typing import Any, NamedTuple, get_origin

import numpy as np

from acquire.model.bed import Bed, Instrument
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.columns import Raw
from acquire.model.corrections import Correction, corrections_in_force
from acquire.model.errors import TraverseFileError
from acquire.model.places import Places, is_on_bed
from acquire.model.position import Position
from acquire.model.quantity import QUANTITIES, Quantity
from acquire.model.recorded import Event
from acquire.model.reference import Reference

FORMAT = "waylog traverse"
FORMAT_VERSION = 1
LARGEST_NUMBER = 1_000_000_000
HAND_PORT = "hand"
"""Name of the stream that typed lines and imported files are kept in as raw bytes."""

FLAGS = {
    "good": 0,
    "garbled": 1,
    "overflow": 2,
    "out_of_range": 3,
    "repeated": 4,
    "frozen": 5,
    "late": 6,
    "no_position": 7,
    "bumped": 8,
    "moving": 9,
}
"""Meaning of the numbers in a stream's `flag`."""


def _fits(value: Any, kind: Any) -> bool:
    """Whether a value is of the type that a field names; true and false are no numbers."""
    if isinstance(value, bool):
        return kind is bool
    if get_origin(kind) is Mapping:
        plain = str | int | float | bool | None
        return isinstance(value, Mapping) and all(isinstance(each, plain) for each in value.values())
    return isinstance(value, kind)


@dataclass(frozen=True)
class Setup:
    """What was asked for at the start of a traverse; it stands, whatever bed.toml says later."""

    instrument: str
    quantity: str
    bed_toml: str = field(repr=False)
    number: int = 0
    source: str = "record"
    """record | enter | import: how the raw bytes are to be read."""
    face: str | None = None
    """Face id, or "carriage"; None for a roll instrument."""
    front: str | None = None
    rear: str | None = None
    other: str | None = None
    """Of a span: the second face; None over a roller in a vee."""
    inside: bool = False
    reference: str | None = None
    """None | FACE | A+B | carriage | straightedge:NAME | wire:NAME | line."""
    position: str = "file"
    """scale:NAME | stations | feed:MM_PER_S | file."""
    direction: str = "forward"
    mode_asked: str = ""
    """stepped | continuous where `--mode` said so; empty: decided by the spacing."""
    turned: bool = False
    turned_over: bool = False
    same_zero_as: int | None = None
    unit: str | None = None
    """The unit that the readings were given in, where it is not the instrument's own."""
    place_unit: str | None = None
    """The unit of places without one in an imported file: that of the survey then. None: mm."""
    created_utc: str = ""
    state: Mapping[str, Any] = field(default_factory=dict)
    acceleration_corrected: bool = True
    """Whether tilt from the carriage's acceleration may be taken out (continuous, gravity only)."""
    standing: str | None = None
    """A second instrument standing still as reference, subtracted at equal times."""
    taken_as: str = ""
    """Slips of the whole run that `redo --as` undid: their names, blanks between. `turned` and
    `direction` are those of the run as it is now taken to have been."""

    @cached_property
    def bed(self) -> Bed:
        """The bed as it was described when the traverse was made."""
        return parse_bed(self.bed_toml, f"traverse {self.number:03d} (its own bed.toml)")

    @property
    def measures(self) -> Quantity:
        """What is read: the row of its quantity."""
        if self.quantity not in QUANTITIES:
            where, found = f"traverse {self.number:03d}", f"found a quantity {self.quantity[:40]!r}"
            raise TraverseFileError(where, found, " | ".join(QUANTITIES))
        return QUANTITIES[self.quantity]

    @cached_property
    def touched(self) -> Reference | None:
        """What it stands on or touches: `face`, parsed; None for a roll instrument."""
        return None if self.face is None else Reference.parse(self.face)

    @cached_property
    def carried_by(self) -> Reference | None:
        """What it is carried along or, across the carriage, lies on: `reference`, parsed."""
        return None if self.reference is None else Reference.parse(self.reference)

    @property
    def is_on_carriage(self) -> bool:
        """Whether a level stands on the carriage and reads what that does on its ways."""
        on = self.carried_by if self.measures.is_across else self.touched
        return on is not None and on.is_carriage

    @property
    def foot_base_mm(self) -> float | None:
        """Distance between the two feet with which it stands on the face itself; None where it has none."""
        return self.described.step_mm if self.measures.has_feet_along and not self.is_on_carriage else None

    def is_on_bed(self, station_mm: Places) -> "bool | np.ndarray":
        """Whether the instrument, read at this place, stands on the bed, with both feet if it has two."""
        return is_on_bed(self.bed.length_mm, station_mm, self.foot_base_mm)

    @cached_property
    def placed_by(self) -> Position:
        """Where the place of each reading comes from: `position`, parsed."""
        return Position.parse(self.position)

    @property
    def described(self) -> Instrument:
        """The measuring instrument as it was described then, and as it was laid: along, or across the bed."""
        if self.instrument not in self.bed.instruments:
            raise TraverseFileError(
                f"traverse {self.number:03d} (its own bed.toml)",
                f"describes no instrument {self.instrument}",
                "the one it was measured with",
            )
        return self.bed.instruments[self.instrument].as_laid(self.quantity)

    def recorded_with(self, beside: Iterable[str] = ()) -> list[Instrument]:
        """The measuring instrument, the scale, the one standing still, and those beside, in this order."""
        names = (self.instrument, self.placed_by.scale, self.standing, *beside)
        known = self.bed.instruments
        return [known[name] for name in dict.fromkeys(names) if name is not None and name in known]

    @property
    def subject(self) -> str:
        """What it was measured on, as people say it: a face, or FRONT/REAR."""
        return self.face or f"{self.front}/{self.rear}"

    def as_json(self) -> str:
        """One line of text that `from_json` reads back."""
        found = asdict(self)
        if not self.taken_as:  # earlier versions read what holds none
            del found["taken_as"]
        return json.dumps(found, sort_keys=True)

    @classmethod
    def from_json(cls, text: str, where: str = "traverse") -> "Setup":
        """Read back what `as_json` wrote; unknown keys and wrong types are refused."""
        try:
            found = json.loads(text)
            known = {item.name for item in fields(cls)}
            if not isinstance(found, dict) or not known >= found.keys():
                raise ValueError("unknown keys")
            setup = cls(**found)
            wrong = [item.name for item in fields(cls) if not _fits(getattr(setup, item.name), item.type)]
            if wrong or not 0 <= setup.number < LARGEST_NUMBER:
                raise ValueError(f"wrong type of {', '.join(wrong) or 'number'}")
            return setup
        except (ValueError, TypeError, RecursionError) as error:
            raise TraverseFileError(
                where, f"its description cannot be read ({error})", "one written by waylog"
            ) from error

    def with_number(self, number: int) -> "Setup":
        """The same, under another number."""
        return replace(self, number=number)


@dataclass(frozen=True, eq=False)
class Stream:
    """All that one instrument sent: raw bytes in chunks as they arrived, and the readings in them."""

    instrument: str
    unit: str
    """The unit of `value`, as the instrument reads (div for divisions)."""
    time_s: np.ndarray
    """Seconds from the start of the recording, rising."""
    value: np.ndarray
    flag: np.ndarray
    arrival_s: np.ndarray
    """When each reading's last byte arrived; `time_s` is when it was true."""
    raw: Raw = b""
    chunk_end: np.ndarray = field(default_factory=lambda: np.zeros(0, np.int64))
    """Offset in `raw` after each chunk."""
    chunk_time_s: np.ndarray = field(default_factory=lambda: np.zeros(0))

    @classmethod
    def undecoded(cls, name: str, raw: Raw, chunk_end: np.ndarray, chunk_time_s: np.ndarray) -> "Stream":
        """What one port sent, without the readings in it."""
        none = np.zeros(0)
        return cls(name, "1", none, none, np.zeros(0, np.uint8), none, raw, chunk_end, chunk_time_s)

    @property
    def is_good(self) -> np.ndarray:
        """Which readings can be used."""
        return self.flag == FLAGS["good"]

    @property
    def readings(self) -> int:
        """How many were decoded: all but what is garbled."""
        return int(np.count_nonzero(self.flag != FLAGS["garbled"]))


class Row(NamedTuple):
    """One reading that counts, in the contract's unit and sign; its fields are those of `Stations`."""

    station_mm: float
    reading: float
    scatter: float = 0.0
    samples: int = 1
    time_s: float = math.nan
    note: str = ""
    repeat: int = 1


@dataclass(frozen=True, eq=False)
class Stations:
    """The readings that count, by rising station, in the contract's units and sign."""

    station_mm: np.ndarray
    """Of a slope: the middle of the base."""
    reading: np.ndarray
    standard_uncertainty: np.ndarray
    """Of each reading by itself: its scatter and the instrument's stated uncertainty together."""
    scatter: np.ndarray
    """The part of it that the samples show (0 for a single reading)."""
    samples: np.ndarray
    repeat: np.ndarray
    """1, 2, ... within the traverse at one station."""
    time_s: np.ndarray
    """Middle of each reading in seconds from the start; NaN where no clock ran."""
    note: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.station_mm)

    @classmethod
    def of(cls, rows: Iterable[Row], uncertainty: float) -> "Stations":
        """Rows by station and repeat; `uncertainty` is the instrument's own, in the contract's unit."""
        ordered = sorted(rows, key=lambda row: (row.station_mm, row.repeat))

        def column(name: str, kind: type = float) -> np.ndarray:
            return np.array([getattr(row, name) for row in ordered], kind)

        scatter, notes = column("scatter"), tuple(row.note for row in ordered)
        return cls(
            column("station_mm"),
            column("reading"),
            np.hypot(scatter, uncertainty),
            scatter,
            column("samples", np.int64),
            column("repeat", np.int64),
            column("time_s"),
            notes if any(notes) else (),
        )

    def at(self, rows: np.ndarray) -> "Stations":
        """Those of these indices, in that order; or those that a mask holds."""
        columns = {item.name: getattr(self, item.name)[rows] for item in fields(self) if item.name != "note"}
        return Stations(**columns, note=tuple(np.array(self.note, object)[rows]) if self.note else ())


@dataclass(frozen=True, eq=False)
class Events:
    """Marks, key presses, reconnects, garbled bytes, gaps: what happened and when."""

    time_s: np.ndarray
    kind: tuple[str, ...]
    text: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.kind)

    def __iter__(self) -> Iterator[Event]:
        return map(Event, self.time_s.tolist(), self.kind, self.text)

    @classmethod
    def of(cls, events: Sequence[Event]) -> "Events":
        """The events in this order."""
        time_s = np.array([event.time_s for event in events], float)
        return cls(time_s, tuple(event.kind for event in events), tuple(event.text for event in events))

    @classmethod
    def none(cls) -> "Events":
        """No event at all."""
        return cls.of(())


@dataclass(frozen=True, eq=False, repr=False)
class Traverse:
    """One traverse, whole: what its file holds."""

    setup: Setup
    streams: Mapping[str, Stream]
    stations: Stations
    events: Events
    mode: str
    """stepped | continuous."""
    complete: bool
    """Ended by the operator or at the last station, not mended."""

    def __repr__(self) -> str:
        setup = self.setup
        way = f"{setup.subject} by {setup.instrument}, {setup.direction}, {self.mode}"
        return f"Traverse({self.number:03d}: {way}, {len(self.stations)} stations)"

    @property
    def number(self) -> int:
        """Its number in the survey."""
        return self.setup.number

    @property
    def instrument(self) -> Instrument:
        """The measuring instrument as it was described then."""
        return self.setup.described

    @property
    def corrections(self) -> tuple[Correction, ...]:
        """The single readings that were corrected or struck out afterwards."""
        return corrections_in_force(self.events)

    @property
    def readings(self) -> int:
        """How many readings of the measuring instrument were decoded; what is garbled is none."""
        stream = self.streams.get(self.setup.instrument)
        return len(self.stations) if stream is None else stream.readings

    @property
    def garbled(self) -> int:
        """How many of its lines or frames could not be decoded."""
        stream = self.streams.get(self.setup.instrument)
        return 0 if stream is None else len(stream.flag) - stream.readings
