"""Derives traverses anew from their raw bytes with the present `bed.toml`.

All are derived and written beside before the first one is put in place: where one
cannot be, all stay as they were. What is replaced goes to `superseded/`.
"""

import os
import shutil
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, fields, is_dataclass, replace
from pathlib import Path
from typing import Any

from acquire.model.bed import Bed
from acquire.model.companion import Mend
from acquire.model.errors import SurveyError, told_as
from acquire.model.reference import CARRIAGE
from acquire.model.slips import AS_WRITTEN, parsed
from acquire.model.system import sync_folder
from acquire.model.traverse import Setup, Traverse
from acquire.reduce import contents_of, derive
from acquire.store import files_of, own_folder, read_traverse, survey_bed, traverse_folder
from acquire.store.journal import JournalContents
from acquire.store.safe_files import NewFile, locked, write_file
from acquire.store.traverse_file.writer import traverse_beside

DAMAGE = "damage"
ROOM_BYTES = 16 << 20
"""Kept free beside twice the size of what is written anew: HDF5 dies badly on a full disk."""


@dataclass(frozen=True)
class Redone:
    """One traverse derived anew."""

    number: int
    path: Path
    kept: Path
    """Where the old file went."""
    changes: tuple[str, ...]
    """What is not as it was, in words."""


def redo(
    survey: Path | str,
    numbers: Sequence[int] = (),
    derive: Callable[[JournalContents], Traverse] = derive,
    on_derived: Callable[[], None] = lambda: None,
    corrections: Sequence[str] | None = None,
) -> list[Redone]:
    """Derive traverses of a survey anew, all or those of `numbers`, under the same numbers.

    What was asked for at the start of each stands (face, reference, direction, the state
    of the bed); what `bed.toml` describes is taken as it is now.

    Parameters
    ----------
    corrections : sequence of str, optional
        Names of slips (`acquire.model.slips`) that are undone in the whole run, in place of
        those undone before; `written` for none. Left out: what was undone before stays so.

    Raises
    ------
    WaylogError
        If one of them cannot be derived; nothing has been touched then.
    """
    bed = survey_bed(survey)
    files = _chosen(survey, numbers)
    _check_room(traverse_folder(survey), files.values())
    with alone(Path(survey)), ExitStack() as stack:
        made: dict[int, tuple[NewFile, tuple[str, ...]]] = {}
        for number, path in files.items():
            made[number] = _written_anew(path, bed, derive, corrections)
            stack.enter_context(made[number][0])
            on_derived()
        return [
            Redone(number, new.place, put_in_place(new), changes) for number, (new, changes) in made.items()
        ]


def mended(survey: Path | str, mend: Mend) -> str:
    """Take runs as somebody says they were; what was done, in words, and how to take it back."""
    redo(survey, mend.traverses, corrections=mend.redo_as)
    numbers = " ".join(map(str, mend.traverses))
    return (
        f"traverse {numbers} taken as {' and '.join(mend.redo_as)}; what was written stays in the file "
        f"(`waylog redo {survey} {numbers} --as written` takes that back)"
    )


def _chosen(survey: Path | str, numbers: Sequence[int]) -> dict[int, Path]:
    files = files_of(survey)
    absent = sorted(set(numbers) - files.keys())
    if absent:
        raise SurveyError(
            str(survey),
            f"found no traverse {', '.join(map(str, absent))}",
            ", ".join(map(str, files)) or "none is there",
        )
    return {number: path for number, path in files.items() if not numbers or number in numbers}


def _check_room(folder: Path, paths: Iterable[Path]) -> None:
    needed = ROOM_BYTES + 2 * sum(path.stat().st_size for path in paths)
    free = shutil.disk_usage(folder).free if folder.is_dir() else needed
    if free < needed:
        raise SurveyError(
            str(folder), f"found {free >> 20} MiB free on the disk", f"{needed >> 20} MiB", "make room first"
        )


@contextmanager
def alone(survey: Path) -> Iterator[None]:
    """Hold the survey against every other that alters finished traverses."""
    with ExitStack() as stack:
        with told_as(SurveyError, survey, "is not ours to alter", "a survey that may be written"):
            is_ours = stack.enter_context(locked(survey / "bed.toml"))
        if not is_ours:
            raise SurveyError(
                str(survey), "another `waylog redo` or `correct` is at work here", "", "let it end first"
            )
        yield


def _written_anew(
    path: Path,
    bed: Bed,
    derive: Callable[[JournalContents], Traverse],
    corrections: Sequence[str] | None = None,
) -> tuple[NewFile, tuple[str, ...]]:
    old = read_traverse(path)
    contents = contents_kept(old)
    setup = replace(contents.setup, bed_toml=bed.text)
    if corrections is not None:
        setup = replace(setup, taken_as=_as_kept(corrections, setup))
    _check_described(path, setup, bed)
    new = derive(replace(contents, setup=setup))
    return traverse_beside(path, new), tuple(_changes(old, new))


def contents_kept(old: Traverse) -> JournalContents:
    """All from which a finished traverse is derived again, the damage of its recording included."""
    damage = [event.text for event in old.events if event.kind == DAMAGE]
    return replace(contents_of(old), damage=damage)


def _as_kept(names: Sequence[str], setup: Setup) -> str:
    """Names of slips as the setup keeps them; refused where one means nothing for this run."""
    if tuple(names) == (AS_WRITTEN,):
        return ""
    return " ".join(parsed(names, setup).names)


def _check_described(path: Path, setup: Setup, bed: Bed) -> None:
    """Refuse where the present bed.toml no longer knows what was measured, or with what."""
    instrument = bed.instruments.get(setup.instrument)
    if instrument is None:
        raise SurveyError(
            str(path), f"bed.toml describes no instrument {setup.instrument}", "the one it was measured with"
        )
    if instrument.as_laid(setup.quantity).quantity != setup.quantity:
        raise SurveyError(
            str(path),
            f"{setup.instrument} now reads {instrument.quantity}",
            f"{setup.quantity}, as when it was measured",
            "describe the new instrument under a name of its own",
        )
    for face in (setup.face, setup.front, setup.rear, setup.other):
        if face is not None and face != CARRIAGE and face not in bed.faces:
            raise SurveyError(str(path), f"bed.toml has no face {face}", ", ".join(bed.faces))


def _changes(old: Traverse, new: Traverse) -> Iterator[str]:
    was, now = old.setup.bed, new.setup.bed
    name = old.setup.instrument
    yield from _differences(f"instrument {name}", was.instruments[name], now.instruments[name])
    for face in was.faces.keys() & now.faces.keys() & {old.setup.face, old.setup.front, old.setup.rear}:
        yield from _differences(f"face {face}", was.faces[face], now.faces[face])
    yield from _differences("bed", was, now, ("length_mm", "station_mm"))
    counts: dict[str, tuple[object, object]] = {
        "taken as": (old.setup.taken_as or AS_WRITTEN, new.setup.taken_as or AS_WRITTEN),
        "direction": (old.setup.direction, new.setup.direction),
        "readings": (old.readings, new.readings),
        "stations": (len(old.stations), len(new.stations)),
        "mode": (old.mode, new.mode),
    }
    yield from (
        f"{what}: {before}, now {after}" for what, (before, after) in counts.items() if before != after
    )


def _differences(what: str, was: Any, now: Any, names: Sequence[str] = ()) -> Iterator[str]:
    for name in names or [field.name for field in fields(was)]:
        before, after = getattr(was, name), getattr(now, name)
        if before == after or is_dataclass(before) or is_dataclass(after):
            continue
        yield f"{what}: {name} was {_short(before)}, is {_short(after)}"


def _short(value: Any) -> str:
    text = "not given" if value is None else str(value)
    return text if len(text) <= 60 else text[:57] + "..."


def put_in_place(new: NewFile) -> Path:
    """Keep the old file under `superseded/`, then let the new one take its name: never none of them."""
    path = new.place
    do = "it is as it was; make room, then try again"
    with told_as(SurveyError, path, "cannot be replaced", "room and leave to write there", do):
        kept = _free_name(own_folder(path.parent / "superseded"), path)
        try:
            os.link(path, kept)
            sync_folder(kept.parent)
        except OSError:  # a file system without hard links
            write_file(kept, path.read_bytes())
        new.put_in_place(replace=True)
    return kept


def _free_name(folder: Path, path: Path) -> Path:
    kept, again = folder / path.name, 2
    while os.path.lexists(kept):
        kept, again = folder / f"{path.stem}.{again}{path.suffix}", again + 1
    return kept
