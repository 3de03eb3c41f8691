"""Turns a journal into its traverse file, in a process of its own.

HDF5 on a full disk can take its interpreter down, so whoever recorded never runs it:
`convert` starts `python -m acquire.record.conversion JOURNAL FILE.h5`. The journal goes only
after the file has been read again and holds every byte and event of it.
"""

import contextlib
import json
import os
import shutil
import signal
import subprocess
import sys
import traceback
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np

from acquire.model.columns import IN_MEMORY, Columns
from acquire.model.errors import RecordingError, WaylogError, told_as
from acquire.model.system import sync_folder
from acquire.model.traverse import Traverse
from acquire.record.own_process import own_command, own_environment, run_to_its_end
from acquire.reduce import derive
from acquire.store import holds_raw, read_traverse, write_traverse
from acquire.store.journal import Chunks, JournalContents, read_journal
from acquire.store.safe_files import leftovers, locked
from acquire.store.scratch import scratch

LONGEST_IN_MEMORY = 1 << 25
"""Columns of a longer journal are kept on the disk: those of eight hours would take a gigabyte."""
SCRATCH_FACTOR = 4
"""So many times a journal's size its columns and its file may take meanwhile."""

Derive = Callable[[JournalContents], Traverse]


class JournalInUse(RecordingError):
    """A recorder, or another conversion, holds the journal."""


@dataclass(frozen=True)
class Converted:
    """What became of a journal."""

    path: str
    """Of the traverse file."""
    readings: int
    stations: int
    complete: bool
    lost_bytes: int = 0
    damage: tuple[str, ...] = ()
    was_there: bool = False
    """The file had been written before, and only the journal was left to be removed."""
    garbled: int = 0
    """Lines or frames of the measuring instrument that could not be decoded."""


def convert(journal_path: Path | str, h5_path: Path | str) -> Converted:
    """Convert a journal in a process of its own; the journal goes when its file is proven.

    Raises
    ------
    RecordingError
        If it cannot be converted, with the reason; the journal is then as it was.
    """
    done = subprocess.run(
        own_command("acquire.record.conversion", str(journal_path), str(h5_path)),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
        check=False,
        env=own_environment(),
        start_new_session=True,  # Ctrl-C while closing ends nothing half-way
    )
    told = _last_line(done.stdout)
    if done.returncode == 0 and told:
        return Converted(**{**told, "damage": tuple(told["damage"])})
    deque(leftovers(Path(h5_path).parent), maxlen=0)
    if done.returncode == 1 and told:
        raise RecordingError(**told)
    found, needed, do = _ending(done.returncode)
    raise RecordingError(
        str(journal_path), f"its conversion to HDF5 {found}; the journal is kept", needed, do
    )


def _last_line(text: str) -> dict | None:
    lines = text.strip().splitlines()
    try:
        found = json.loads(lines[-1]) if lines else None
    except ValueError:
        return None
    return found if isinstance(found, dict) else None


CRASHES = ("SIGSEGV", "SIGBUS", "SIGABRT", "SIGXFSZ")
"""How the HDF5 library ends its process where the disk refuses to take more."""
BUG = 70


def _ending(code: int) -> tuple[str, str, str]:
    """How the process ended, what it lacked, and what to do: a killed one did not want for room."""
    again = "run `waylog mend` on the survey"
    if code >= 0:
        return f"met a bug of waylog's (exit code {code})", "", f"{again}, and keep what it said"
    name = next((each.name for each in signal.Signals if each == -code), f"signal {-code}")
    if name in CRASHES:
        return f"crashed ({name}), as it does on a full disk", "room on the disk", f"make room, then {again}"
    return f"was killed ({name}), by somebody or for want of memory", "to be left alone", again


def convert_here(journal_path: Path | str, h5_path: Path | str, derive: Derive = derive) -> Converted:
    """Convert a journal in this process.

    A file that is already there and holds all of the journal is kept as it is, and the
    journal goes; one that does not is never touched.
    """
    journal_path, h5_path = Path(journal_path), Path(h5_path)
    with held(journal_path), contextlib.ExitStack() as stack:
        columns = stack.enter_context(_columns_for(journal_path))
        contents = read_journal(journal_path, columns)
        was_there = h5_path.exists()
        if not was_there:
            write_traverse(h5_path, derive(contents), after_each=columns.let_go)
        kept = read_traverse(h5_path, raw=False, only=[contents.setup.instrument])
        readings, garbled = kept.readings, kept.garbled
        kept = replace(kept, streams={})  # its columns are not looked at again
        missing = what_is_missing(contents, kept, partial(_is_in_file, h5_path))
        if missing:
            raise RecordingError(
                str(h5_path),
                f"does not hold all of {journal_path.name}: {missing}; both are kept",
                "the same in both",
                "move the file away and run `waylog mend` again",
            )
        journal_path.unlink()
        sync_folder(journal_path.parent)
    return Converted(
        str(h5_path),
        readings,
        len(kept.stations),
        kept.complete,
        contents.lost_bytes,
        tuple(contents.damage),
        was_there,
        garbled,
    )


def _columns_for(journal_path: Path) -> contextlib.AbstractContextManager[Columns]:
    """Where the columns of a conversion are put: of a long journal on the disk, if there is room.

    Raises
    ------
    RecordingError
        If there is none: nothing has been written then.
    """
    size = journal_path.stat().st_size
    if size <= LONGEST_IN_MEMORY:
        return contextlib.nullcontext(IN_MEMORY)
    needed, free = SCRATCH_FACTOR * size, shutil.disk_usage(journal_path.parent).free
    if free < needed:
        raise RecordingError(
            str(journal_path),
            f"cannot be converted: found {free / 1e6:.0f} MB free on the disk; it is kept",
            f"{needed / 1e6:.0f} MB of room while it is converted",
            "make room, then run `waylog mend` on the survey",
        )
    return scratch(journal_path.parent)


@contextlib.contextmanager
def held(journal_path: Path) -> Iterator[None]:
    """Hold a journal against every other waylog.

    Raises
    ------
    JournalInUse
        While a recorder has it.
    """
    with contextlib.ExitStack() as stack:
        with told_as(RecordingError, journal_path, "cannot be opened", "a journal that may be written"):
            is_ours = stack.enter_context(locked(journal_path))
        if not is_ours:
            raise JournalInUse(str(journal_path), "is in use just now", "", "end that recording first")
        yield


def what_is_missing(
    contents: JournalContents, kept: Traverse, holds: Callable[[str, Chunks], bool] | None = None
) -> str | None:
    """What of a journal's contents a traverse does not hold, in words; None: nothing.

    `holds` says whether it has the bytes of a port, where `kept` was read without.
    """
    if kept.setup != contents.setup:
        return "it is of another traverse"
    for port, chunks in contents.chunks.items():
        if not (holds or partial(_holds, kept))(port, chunks):
            return f"the bytes of {port}"
        contents.columns.let_go()
    there = Counter((event.time_s, event.kind) for event in kept.events)
    there.subtract((event.time_s, event.kind) for event in contents.events)
    absent = next((event for event, count in there.items() if count < 0), None)
    return f"the event {absent[1]} at {absent[0]:.3f} s" if absent else None


def _holds(kept: Traverse, port: str, chunks: Chunks) -> bool:
    stream = kept.streams.get(port)
    return (
        stream is not None
        and stream.raw[:] == chunks.raw[:]
        and np.array_equal(stream.chunk_end, chunks.chunk_end)
        and np.array_equal(stream.chunk_time_s, chunks.chunk_time_s)
    )


def _is_in_file(h5_path: Path, port: str, chunks: Chunks) -> bool:
    raw = np.frombuffer(chunks.raw, np.uint8)
    ends_and_times = {"chunk_end": chunks.chunk_end, "chunk_time_s": chunks.chunk_time_s}
    return holds_raw(h5_path, port, {"bytes": raw, **ends_and_times})


def main(argv: Sequence[str] | None = None) -> int:
    """The process of `convert`: one line of JSON on standard output says what came of it."""
    journal_path, h5_path = sys.argv[1:] if argv is None else argv
    try:
        told, code = asdict(convert_here(journal_path, h5_path)), 0
    except WaylogError as error:
        told, code = {key: getattr(error, key) for key in ("where", "found", "needed", "do")}, 1
    except OSError as error:
        found = f"cannot be converted ({error.strerror or error}); it is kept"
        told, code = {"where": str(journal_path), "found": found, "needed": "a survey that may be written"}, 1
    except Exception:
        traceback.print_exc()
        return BUG
    try:
        sys.stdout.write(json.dumps(told))
        sys.stdout.flush()
    except OSError:  # whoever asked was killed meanwhile; what was to be done is done
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return code


if __name__ == "__main__":
    run_to_its_end(main)
