"""From written readings to the survey: the journal first, then the traverse file from it."""

from collections.abc import Iterator
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path

from acquire.model.errors import WaylogError
from acquire.model.recorded import Chunk
from acquire.model.traverse import HAND_PORT, Setup
from acquire.record.conversion import convert
from acquire.reduce.written.typed import TypedLine, typed_lines
from acquire.store import files_of
from acquire.store.journal import JournalWriter, begin, records

_MAY_DIFFER = {"number", "created_utc", "bed_toml", "state", "same_zero_as", "mode_asked"}
"""What need not be the same for an entry to be the one that was cut short."""


def keep_readings(survey: Path | str, setup: Setup, raw: bytes) -> Path:
    """Keep a file's bytes as one traverse of the survey; returns the traverse file.

    The bytes are on disk in a journal before the traverse is derived from them.

    Raises
    ------
    RecordingError, SurveyError, TraverseFileError
        If they cannot be kept; what is on disk by then stays, for `waylog mend`.
    """
    with begin(survey, setup) as writer:
        writer.chunk(HAND_PORT, 0.0, raw)
        writer.end(True, 0.0)
    return made_traverse(writer)


def made_traverse(writer: JournalWriter) -> Path:
    """Close a journal and make its traverse file of it."""
    writer.close()
    path = writer.path.with_suffix(".h5")
    convert(writer.path, path)
    return path


def keep_line(writer: JournalWriter, line: TypedLine) -> None:
    """Put one typed line on disk; it is there when this returns."""
    writer.chunk(HAND_PORT, 0.0 if line.time_s != line.time_s else line.time_s, line.as_bytes())
    writer.sync()


def resumable(survey: Path | str, setup: Setup) -> Path | None:
    """The latest entry that was cut short and asks for the same thing as `setup`; None if there is none."""
    found = [path for path, earlier in _begun(survey) if _asks_the_same(earlier, setup)]
    return found[-1] if found else None


def _begun(survey: Path | str) -> Iterator[tuple[Path, Setup]]:
    for path in files_of(survey, "journal").values():
        if (setup := setup_in(path)) is not None:
            yield path, setup


def setup_in(path: Path) -> Setup | None:
    """What a journal is of; None where that cannot be read, or not yet."""
    try:
        first = next(iter(records(path)), None)
    except (OSError, WaylogError):
        return None
    return first if isinstance(first, Setup) else None


def seconds_since_begun(setup: Setup) -> float:
    """By the wall clock, so that it goes on where an entry was cut short."""
    return max(0.0, (datetime.now(UTC) - datetime.fromisoformat(setup.created_utc)).total_seconds())


def _asks_the_same(earlier: Setup, setup: Setup) -> bool:
    names = [item.name for item in fields(Setup) if item.name not in _MAY_DIFFER]
    return all(getattr(earlier, name) == getattr(setup, name) for name in names)


def lines_of(path: Path) -> list[TypedLine]:
    """The lines typed so far in an entry's journal."""
    data = [record.data for record in records(path) if isinstance(record, Chunk) and record.port == HAND_PORT]
    return typed_lines(b"".join(data))
