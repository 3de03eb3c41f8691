"""Brings back recordings that were cut short, and finishes what was left half done."""

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from acquire.model.errors import WaylogError
from acquire.model.recorded import Chunk
from acquire.record.conversion import Converted, JournalInUse, convert, held
from acquire.store import survey_bed, traverse_folder
from acquire.store.journal import Lost, records
from acquire.store.safe_files import leftovers

IN_USE = "in use"
MENDED = "mended"
FINISHED = "finished"
EMPTY = "empty"
LEFT = "left"
REMOVED = "removed"


@dataclass(frozen=True)
class Mended:
    """What was done about one file, and why."""

    path: Path
    outcome: str
    """in use | mended | finished | empty | left | removed."""
    text: str
    converted: Converted | None = None


def mend(survey: Path | str, convert: Callable[[Path, Path], Converted] = convert) -> list[Mended]:
    """Convert every journal of a survey that no recorder holds, and clear leftovers away.

    A journal from which nothing can be derived stays where it is, with the reason.
    Files of earlier traverses are never touched.

    Raises
    ------
    BedError, SurveyError
        If `survey` is no survey.
    """
    survey_bed(survey)
    folder = traverse_folder(survey)
    found = [_mend_one(journal, convert) for journal in sorted(folder.glob("*.journal"))]
    gone = [path for place in (Path(survey), folder) for path in leftovers(place)]
    removed = [Mended(path, REMOVED, f"{path}: a leftover of an earlier try, removed.") for path in gone]
    return [*found, *removed]


def _mend_one(journal: Path, convert: Callable[[Path, Path], Converted]) -> Mended:
    try:
        with held(journal):
            is_empty, lost_bytes = _is_empty(journal)
    except JournalInUse as error:
        return Mended(journal, IN_USE, str(error))
    except WaylogError as error:
        return Mended(journal, LEFT, str(error))
    h5_path = journal.with_suffix(".h5")
    if is_empty and not h5_path.exists():
        if lost_bytes:
            words = (
                f"{journal}: nothing in it can be read; {lost_bytes} bytes are damaged. It stays as it is."
            )
            return Mended(journal, LEFT, words)
        return Mended(
            journal, EMPTY, f"{journal}: no instrument sent a byte. Delete it if it is of no use to you."
        )
    try:
        converted = convert(journal, h5_path)
    except WaylogError as error:
        return Mended(journal, LEFT, str(error))
    return Mended(h5_path, *_told(h5_path, converted), converted)


def _is_empty(journal: Path) -> tuple[bool, int]:
    """Whether no byte of an instrument can be read in it, and how many bytes of it are damaged then."""
    lost_bytes = 0
    for record in records(journal):
        if isinstance(record, Chunk):
            return False, 0
        lost_bytes += record.lost_bytes if isinstance(record, Lost) else 0
    return True, lost_bytes


def _told(h5_path: Path, converted: Converted) -> tuple[str, str]:
    counts = f"{converted.readings} readings, {converted.stations} stations"
    if converted.was_there:
        return FINISHED, f"{h5_path}: was whole already; its journal is gone."
    if converted.complete:
        return FINISHED, f"{h5_path}: {counts}; nothing was lost."
    lost = "" if not converted.lost_bytes else f" {converted.lost_bytes} bytes were lost."
    told = "".join(f" {words[0].upper()}{words[1:]}." for words in converted.damage)
    return MENDED, f"{h5_path}: {counts}; the traverse was cut short.{lost}{told}"
