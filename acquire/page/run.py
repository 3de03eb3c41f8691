"""One entry under way as pages work on it: several may, and what they send may come twice or late."""

from collections.abc import Callable
from pathlib import Path

from acquire.entry.asking import Manner
from acquire.entry.doubts import closing_words, doubt_about, lacks_other_end, summary_words
from acquire.entry.under_way import Entry, Slot
from acquire.model.errors import EntryError
from acquire.page.sent import Conflict, Sent, plain_words
from acquire.record.keeping import keep_line, made_traverse
from acquire.reduce.written.typed import TypedLine, typed_reading
from acquire.store.journal import JournalWriter


class Run:
    """An entry and its journal; whoever calls sees to it that nobody else does meanwhile.

    Parameters
    ----------
    entry : Entry
    writer : JournalWriter
        Of its journal, which is held until `finish` or `close`.
    seconds : callable
        Seconds since the entry began.
    manner : Manner
    """

    def __init__(self, entry: Entry, writer: JournalWriter, seconds: Callable[[], float], manner: Manner):
        self.entry, self.writer, self.manner = entry, writer, manner
        self.doubts: dict[Slot, str] = {}
        """Of readings that stand there: what was asked about them and has no answer yet."""
        self._seconds = seconds
        self._profile: tuple[int, list[str]] = (-1, [])
        self._named = {line.sent_as: line for line in entry.lines if line.sent_as}

    @property
    def name(self) -> str:
        """What pages call this run by: another one never has the same name."""
        setup = self.writer.setup
        return f"{setup.number:03d} {setup.created_utc}"

    def take(self, sent: Sent) -> tuple[TypedLine, str | None]:
        """Keep one reading; returns the line that is on disk and what is doubtful of it.

        Raises
        ------
        EntryError
            If it is no reading of this instrument; nothing is kept.
        Conflict
            If it is of another run, or another reading has come into its place meanwhile.
        RecordingError
            If the disk does not take it.
        """
        self.check(sent.run)
        kept = self._named.get(sent.sent_as)
        if kept is not None:
            return kept, self.doubts.get(sent.slot)
        entry = self.entry.at(sent.slot)
        line = entry.line(sent.words, max(0.0, self._seconds() - sent.age_s), sent.sent_as)
        self._check_words(line)
        self._check_place(sent)
        keep_line(self.writer, line)
        self._named[sent.sent_as] = line
        self.entry = entry.with_line(line).at_first_unanswered()
        return line, self._judged(sent.slot, line)

    def keep(self, run: str, slot: Slot) -> None:
        """A reading in doubt stays as it is."""
        self.check(run)
        self.doubts.pop(slot, None)

    def finish(self, run: str) -> tuple[Path, list[str]]:
        """End it: the traverse file, and what came of the run in words.

        Raises
        ------
        EntryError
            If nothing was read.
        """
        self.check(run)
        if not self.entry.taken:
            raise EntryError("finish", "found no reading", "one at least")
        self.writer.end(True, self._seconds())
        path = made_traverse(self.writer)
        drift = closing_words(self.entry)
        return path, [summary_words(self.entry), *([] if drift is None else [drift])]

    def close(self) -> None:
        """Stop; what was read can be gone on with, and where nothing was read nothing is left."""
        self.writer.close()
        if not self.entry.lines:
            self.writer.path.unlink(missing_ok=True)

    def profile_lines(self, columns: int) -> list[str]:
        """The profile so far, as `enter` draws it; worked out anew only when something was read."""
        companion, count = self.manner.companion, len(self.entry.lines)
        if companion is not None and self._profile[0] != count:
            self._profile = (count, list(companion.profile_lines(self.entry.table().stations, columns)))
        return self._profile[1]

    def check(self, run: str) -> None:
        """Refuse what is meant for another run.

        Raises
        ------
        Conflict
            With the name of this one.
        """
        if run != self.name:
            raise Conflict(f"found a reading of run {run[:64]!r}", f"one of {self.name!r}")

    def _check_words(self, line: TypedLine) -> None:
        if line.is_gap:
            return
        if self.manner.vial and lacks_other_end(line.words):
            raise EntryError("reading", f"found {line.words!r}", "both ends of the bubble, such as 1.5 / 2.5")
        typed_reading(self.entry.setup.described, line.words, self.entry.setup.unit)

    def _check_place(self, sent: Sent) -> None:
        stands = self.entry.answered.get(sent.slot)
        words = None if stands is None else plain_words(stands.words)
        if words != sent.before:
            raise Conflict(
                f"found {words or 'nothing'} there already", f"{sent.before or 'nothing'}, as was seen", words
            )

    def _judged(self, slot: Slot, line: TypedLine) -> str | None:
        doubt = doubt_about(self.entry, line, self.manner.companion)
        self.doubts.pop(slot, None)
        if doubt is not None:
            self.doubts[slot] = doubt
        return doubt
