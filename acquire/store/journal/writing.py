"""Appends to a journal: each frame goes to the system at once, to the disk twice a second."""

import errno
import math
import os
from collections.abc import Callable
from pathlib import Path
from typing import Self

from acquire.model.errors import RecordingError, told_as
from acquire.model.plain_files import check_plain
from acquire.model.system import flags
from acquire.model.traverse import Setup
from acquire.store.journal import frames
from acquire.store.safe_files import NewFile, numbers_locked, try_lock
from acquire.store.survey import file_name, next_number, own_folder, traverse_folder

SYNC_EVERY_S = 0.5
LONGEST_EVENT_BYTES = 4000
WRITABLE = "room on the disk and a survey that may be written"
_FLAGS = flags("O_RDWR", "O_APPEND", "O_NOFOLLOW", "O_CLOEXEC", "O_BINARY")


def begin(survey: Path | str, setup: Setup, *, clock: Callable[[], float] | None = None) -> "JournalWriter":
    """Begin a journal in a survey under the next free number, which it reserves.

    Two recorders that begin at once get two numbers; `writer.setup.number` tells which.
    """
    folder = own_folder(traverse_folder(survey))
    with numbers_locked(folder):
        setup = setup.with_number(next_number(survey))
        return JournalWriter.create(folder / file_name(setup, "journal"), setup, clock=clock)


class JournalWriter:
    """A journal open for appending, held against every other waylog until it is closed.

    Made by `create`, `begin` or `reopen`. Without a `clock` the times of the records
    say when half a second is over; whoever may fall silent calls `sync` in its pauses.
    """

    def __init__(
        self,
        handle: int,
        path: Path,
        setup: Setup,
        clock: Callable[[], float] | None,
        *,
        length: int = 0,
        records: int = 0,
        time_s: float = 0.0,
    ):
        self.path, self.setup = path, setup
        self._handle: int | None = handle
        self._clock = clock
        self._good_length, self._records, self._time_s = length, records, time_s
        self._failed = False
        self._is_synced = False
        self._synced_at_s = -math.inf

    @classmethod
    def create(cls, path: Path | str, setup: Setup, *, clock: Callable[[], float] | None = None) -> Self:
        """Create `path`, with its setup in it and on the disk before it gets its name.

        Raises
        ------
        SurveyError
            If there is a file of that name.
        RecordingError
            If it cannot be written.
        """
        path = Path(path)
        with told_as(RecordingError, path, "cannot be written", WRITABLE), NewFile(path) as new:
            writer = cls(new.handle, path, setup, clock)
            writer._write(frames.HEAD)
            writer._append(frames.SETUP, 0.0, setup.as_json().encode("utf-8"))
            new.put_in_place()
            new.let_go()
        return writer

    @classmethod
    def reopen(cls, path: Path | str) -> Self:
        """Open a journal that was left, to go on behind its last whole record.

        What stands behind that is cut off: it belongs to no record.

        Raises
        ------
        RecordingError
            If another waylog holds it, or it cannot be opened or read.
        """
        path = Path(path)
        with told_as(RecordingError, path, "cannot be opened", WRITABLE):
            check_plain(path)
            handle = os.open(path, _FLAGS)
        try:
            if not try_lock(handle):
                raise RecordingError(str(path), "is in use by another waylog", "", "close that one first")
            writer = cls._behind_last_record(handle, path)
        except BaseException:
            os.close(handle)
            raise
        return writer

    @classmethod
    def _behind_last_record(cls, handle: int, path: Path) -> Self:
        setup, last = None, None
        with open(handle, "rb", closefd=False) as file:
            for found in frames.scan(file):
                if isinstance(found, frames.Frame):
                    last = found
                    if found.kind == frames.SETUP:
                        setup = Setup.from_json(found.payload.decode("utf-8", "replace"), str(path))
        if setup is None or last is None:
            raise RecordingError(str(path), "does not say what was measured", "a journal with its beginning")
        os.ftruncate(handle, last.end)
        return cls(handle, path, setup, None, length=last.end, records=last.sequence + 1, time_s=last.time_s)

    def chunk(self, port: str, time_s: float, data: bytes) -> None:
        """Keep bytes as they came from a port."""
        for start in range(0, len(data), frames.LONGEST_PIECE):
            piece = data[start : start + frames.LONGEST_PIECE]
            self._append(frames.CHUNK, time_s, frames.named(port, piece))

    def event(self, time_s: float, kind: str, text: str = "") -> None:
        """Keep what happened; a text of more than 4000 bytes is cut."""
        words = text.encode("utf-8", "replace")[:LONGEST_EVENT_BYTES]
        self._append(frames.EVENT, time_s, frames.named(kind, words))

    def end(self, complete: bool, time_s: float) -> None:
        """Say that the traverse is over, and have all of it on the disk.

        After a full disk this is still tried: the little that an end needs may fit.
        """
        self._failed = False
        self._append(frames.END, time_s, bytes([complete]))
        self.sync()

    def sync(self) -> None:
        """Have everything on the disk before returning."""
        if self._is_synced or self._handle is None:
            return
        try:
            os.fsync(self._handle)
        except OSError as error:
            self._failed = True
            raise self._stopped(error) from error
        self._is_synced = True

    def close(self) -> None:
        """Sync, close and let go of the file; closing twice does nothing."""
        if self._handle is None:
            return
        try:
            self.sync()
        finally:
            os.close(self._handle)
            self._handle = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _append(self, kind: int, time_s: float, payload: bytes) -> None:
        if self._handle is None or self._failed:
            raise self._stopped(None)
        frame = frames.encode(self._records, kind, time_s, payload)
        if len(payload) > (frames.LONGEST_SETUP if kind == frames.SETUP else frames.LONGEST_BODY) - 64:
            raise RecordingError(str(self.path), f"found a record of {len(payload)} bytes", "a shorter one")
        try:
            self._write(frame)
        except OSError as error:
            self._failed = True
            raise self._stopped(error) from error
        self._records += 1
        self._time_s = max(self._time_s, time_s) if math.isfinite(time_s) else self._time_s
        self._sync_if_due()

    def _write(self, data: bytes) -> None:
        """Write all of `data`, or leave the file as it was."""
        assert self._handle is not None
        rest = memoryview(data)
        try:
            while rest:
                count = os.write(self._handle, rest)
                if not count:
                    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
                rest = rest[count:]
        except BaseException:
            os.ftruncate(self._handle, self._good_length)
            raise
        self._good_length += len(data)
        self._is_synced = False

    def _sync_if_due(self) -> None:
        now_s = self._clock() if self._clock else self._time_s
        if now_s - self._synced_at_s >= SYNC_EVERY_S:
            self.sync()
            self._synced_at_s = now_s

    def _stopped(self, error: OSError | None) -> RecordingError:
        reason = error.strerror if error is not None else "writing failed before, or it is closed"
        return RecordingError(
            str(self.path),
            f"recording must stop ({reason}); kept: {self._records} records up to {self._time_s:.1f} s",
            "room on the disk" if error is not None else "",
            "make room, then run `waylog mend` on the survey",
        )
