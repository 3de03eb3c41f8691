"""Asks for readings station by station; each answer is on disk before the next question.

What asks, what says, what tells the time and what waits are handed in, so that a terminal,
a pipe and a test are the same to it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Self

from acquire.entry.doubts import doubt_about, lacks_other_end
from acquire.entry.terminal_text import large, on_lines
from acquire.entry.typed_by import Typed, typed_by
from acquire.entry.under_way import Entry
from acquire.model.companion import Companion
from acquire.model.errors import EntryError
from acquire.model.inch_words import in_owners_unit
from acquire.model.units import length_text, mixed_as_decimal
from acquire.reduce.written.readings import expected_unit
from acquire.reduce.written.typed import TypedLine, typed_reading

KEYS = ("b: back", "n: next unread", "r: last one again", "-: gap", "q: end and keep", "Ctrl-C: go on later")
SETTLE_VIAL_S = 15.0
"""A bubble is given so long to come to rest, unless another time is asked for."""


@dataclass(frozen=True)
class Asker:
    """The person on the other side, or a pipe."""

    ask: Callable[[str], str | None]
    """Shows a prompt and returns what was typed; None at the end of input."""
    say: Callable[[str], None]
    seconds: Callable[[], float]
    """Seconds since the entry began."""
    is_person: bool = True
    """Whether a question can be answered: a pipe is never asked, its bad line ends the entry."""
    wait: Callable[[float], None] = lambda _: None
    columns: int = 80
    sound: Callable[[str, str], None] = lambda kind, words: None
    """Told of a reading taken from an instrument that types (taken), or from a hand (typed), and of
    questions (wrong), with words to go with each."""


@dataclass(frozen=True)
class Manner:
    """How one entry is asked for."""

    vial: bool = False
    """Both ends of a bubble are read."""
    settle_s: float = 0.0
    companion: Companion | None = None
    set_up: Mapping[str, Any] = field(default_factory=dict)
    """How it stands on the machine, for whoever shows it: a drawing, and what + and − mean."""

    @classmethod
    def asked(cls, vial: bool, settle_s: float | None, companion: Companion | None = None) -> Self:
        """As asked for: a bubble is given time to settle, unless another time is said."""
        return cls(vial, settle_s if settle_s is not None else SETTLE_VIAL_S if vial else 0.0, companion)


def enter_readings(
    entry: Entry, asker: Asker, keep: Callable[[TypedLine], None], manner: Manner | None = None
) -> tuple[Entry, bool]:
    """Ask until every station is answered, `q`, or the end of input.

    `keep` puts one line on disk before it returns.  Returns the entry as it then is, and
    whether it was ended: false means that the input ended first, and it can be resumed.

    Raises
    ------
    EntryError
        If a pipe sends what cannot be taken; everything before it is kept.
    """
    return _Conversation(asker, keep, manner or Manner()).run(entry)


class _Conversation:
    """Question and answer; the entry itself is a value that goes round."""

    def __init__(self, asker: Asker, keep: Callable[[TypedLine], None], manner: Manner):
        self.asker, self.keep, self.manner = asker, keep, manner
        self.shown: float | None = None
        self.held: list[Typed] = []
        """Lines of a burst that went on while a question stood: they are answers to what comes after it."""
        self.was_burst = self.is_burst = False

    def run(self, entry: Entry) -> tuple[Entry, bool]:
        while entry.current is not None:
            self.show_station(entry)
            line = self.held.pop(0) if self.held else self.asker.ask(self.prompt(entry))
            if line is None:
                return entry, False
            typed, words = typed_by(line), line.strip()
            if words.lower() == "q":
                return entry, True
            self.is_burst = typed.is_burst
            after = self.answered(self.pressed_again(entry, typed), words)
            if after is None:
                return entry, False
            entry, self.was_burst = after, typed.is_burst
        return entry, True

    def pressed_again(self, entry: Entry, line: Typed) -> Entry:
        """An instrument whose key is pressed twice gives one more reading where it stands."""
        if not (self.was_burst and line.is_second_press and line.strip()):
            return entry
        again = entry.repeating()
        slot = again.current
        if again is not entry and slot is not None:
            place = length_text(slot.station_mm, entry.setup.bed.is_inch)
            self.asker.say(f"  within a second of the last: one more reading at {place}")
        return again

    def answered(self, entry: Entry, words: str) -> Entry | None:
        """The entry after one line that was typed; None where the input ended in the middle of it.

        A stray line end or a space changes nothing.
        """
        if not words:
            return entry
        moves = {"b": entry.back, "n": entry.at_first_unanswered, "r": entry.repeating}
        if words.lower() in moves:
            return moves[words.lower()]()
        try:
            both = self.both_ends(words)
            return None if both is None else self.taken(entry, both)
        except EntryError as error:
            if not self.asker.is_person:
                raise EntryError(
                    f"station {entry.slots[entry.index].station_mm:g} mm",
                    error.found,
                    error.needed,
                    "what came before it is kept; run the same command again to go on",
                ) from None
            self.refused(entry, error)
            return entry

    def refused(self, entry: Entry, error: EntryError) -> None:
        words = f"  {error.found}; needed: {error.needed}"
        self.asker.say(in_owners_unit(words, entry.setup.bed.is_inch))

    def both_ends(self, words: str) -> str | None:
        """With a vial, ask for the bubble's other end where only one was typed; None: the input ended."""
        if not self.manner.vial or not lacks_other_end(words):
            return words
        if not self.asker.is_person:
            raise EntryError("reading", f"found {words!r}", "both ends of the bubble, such as 1.5 / 2.5")
        other: str | None = ""
        while other == "":  # keyboard-emulating cables send stray line ends
            other = self.asker.ask("  and its other end: ")
            other = None if other is None else other.strip()
        return None if other is None else " / ".join(map(mixed_as_decimal, (words, other)))

    def taken(self, entry: Entry, words: str) -> Entry:
        line = entry.line(words, self.asker.seconds())
        if line.is_gap:
            self.keep(line)
            return entry.with_line(line).at_first_unanswered()
        typed_reading(entry.setup.described, words, entry.setup.unit)  # refused before anything is kept
        self.keep(line)
        entry = entry.with_line(line)
        doubt = doubt_about(entry, line, self.manner.companion)
        if doubt is not None:
            entry = self.questioned(entry, line, doubt)
        else:
            place = length_text(line.station_mm, entry.setup.bed.is_inch)
            self.asker.sound("taken" if self.is_burst else "typed", f"{place}: {words}")
        self.show_profile(entry)
        return entry.at_first_unanswered()

    def questioned(self, entry: Entry, line: TypedLine, doubt: str) -> Entry:
        """Ask at once about a reading that cannot be; both the old and the new one are kept."""
        self.asker.say(f"? {doubt}")
        self.asker.sound("wrong", doubt)
        if not self.asker.is_person:
            return entry
        while True:
            words = self.answer(f"  read again (a: by the instrument's key), or k keeps {line.words}: ")
            if words is None or words.lower() in ("k", line.words.lower()):
                return entry
            if not words:
                continue
            try:
                typed_reading(entry.setup.described, words, entry.setup.unit)
            except EntryError as error:
                self.refused(entry, error)
                continue
            again = replace(line, words=words.strip(), time_s=self.asker.seconds())
            self.keep(again)
            return entry.with_line(again)

    def answer(self, question: str) -> str | None:
        """What a hand answers; None at the end of input.

        What an instrument types is no answer: it is held where it goes on with a burst that began
        before the question, else it is not taken. After `a` the instrument's next reading is.
        """
        line = self.asker.ask(question)
        if line is None:
            return None
        if line.strip().lower() == "a":
            line = self.asker.ask("  its key now: ")
            return None if line is None else line.strip()
        typed = typed_by(line)
        if not typed.is_burst or typed.strip().lower() == "k":
            return typed.strip()
        if typed.goes_on:
            self.held.append(typed)
        else:
            self.asker.say(f"  {typed.strip()} came while a question stands, and is not taken")
        return ""

    def show_station(self, entry: Entry) -> None:
        """The station to go to, large, once; and the settling of a vial counted down."""
        slot = entry.current
        if slot is None or not self.asker.is_person or self.shown == (slot.station_mm + slot.repeat / 64):
            return
        self.shown = slot.station_mm + slot.repeat / 64
        inch = entry.setup.bed.is_inch
        self.asker.say("")
        self.asker.say(large(length_text(slot.station_mm, inch), self.asker.columns))
        if entry.setup.described.step_mm:
            half_mm = entry.setup.described.step_mm / 2
            feet = (length_text(slot.station_mm + side * half_mm, inch) for side in (-1, 1))
            self.asker.say(f"  feet at {' and '.join(feet)}")
        if slot.repeat > 1:
            self.asker.say(f"  reading {slot.repeat} at this station")
        for line in on_lines(KEYS, self.asker.columns - 2):
            self.asker.say(f"  {line}")
        if self.manner.settle_s > 0:
            self.count_down(self.manner.settle_s)

    def count_down(self, seconds: float) -> None:
        """Let the bubble come to rest: what is left is said every five seconds."""
        left = seconds
        while left > 0:
            self.asker.say(f"  hands off, let it settle: {left:.0f} s")
            step = min(5.0, left)
            self.asker.wait(step)
            left -= step
        self.asker.say("  read it now")

    def prompt(self, entry: Entry) -> str:
        slot = entry.slots[entry.index]
        now = entry.answered.get(slot)
        was = f", now {now.words}" if now is not None else ""
        ends = ", both ends" if self.manner.vial else ""
        count = f"{entry.index + 1} of {len(entry.slots)}"
        place = length_text(slot.station_mm, entry.setup.bed.is_inch)
        return f"{place}, {count} ({expected_unit(entry.setup)}{ends}{was}): "

    def show_profile(self, entry: Entry) -> None:
        if self.manner.companion is None or not self.asker.is_person:
            return
        for text in self.manner.companion.profile_lines(entry.table().stations, self.asker.columns):
            self.asker.say(text)
