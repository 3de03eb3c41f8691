"""Faults of the kind a person makes, planted one at a time: do the tests see them?

    python tests/benchmarks/planted_faults.py                 # every room
    python tests/benchmarks/planted_faults.py level reduce    # the rooms named
    python tests/benchmarks/planted_faults.py --check         # only that every fault still finds its place

`planted/ROOM.toml` holds a room's faults: the file, what is replaced (it must stand there exactly once),
by what, what a user would suffer, and the tests that should see it, where they are not `tests` of the
whole room. Each is planted in a copy of the repository, the tests run until the first one fails, and the
file is put back. What no test saw is printed, and the share that was seen. A test that fails because of a
typing error proves nothing, so a fault must leave a file that Python can still compile.
"""

import argparse
import importlib
import os
import shutil
import signal
import sys
import tempfile
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import NoReturn

import pytest

TOP = Path(__file__).parents[2]
TABLES = Path(__file__).parent / "planted"
PATIENCE_S = 600
LONG = "statistics or whole"
NO_TEST_SO_MARKED = 5
SEEN, UNSEEN, STALE = "seen", "LIVED", "STALE"


@dataclass(frozen=True)
class Fault:
    """One mistake: in `file`, `old` becomes `new`; `suffers` says who is hurt by it and how."""

    room: str
    file: str
    old: str
    new: str
    suffers: str
    tests: tuple[str, ...]

    def planted(self, text: str) -> str | None:
        """The file's text with the mistake in it; None where its place is gone or is not one place."""
        if text.count(self.old) != 1 or self.old == self.new:
            return None
        text = text.replace(self.old, self.new)
        try:
            compile(text, self.file, "exec")
        except SyntaxError:
            return None
        return text


def faults_of(room: str) -> list[Fault]:
    """The faults of one room's table."""
    table = tomllib.loads((TABLES / f"{room}.toml").read_text())
    everything = tuple(table["tests"])
    return [
        Fault(
            room,
            row["file"],
            row["old"],
            row["new"],
            row["suffers"],
            tuple(row.get("tests", everything)),
        )
        for row in table["fault"]
    ]


def copied(folder: Path) -> Path:
    """The repository as it stands, beside nothing that could be taken for it."""
    copy = folder / "waylog"
    shutil.copytree(TOP, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache"))
    return copy


def pass_all(copy: Path, tests: tuple[str, ...]) -> bool:
    """Whether all tests pass in the copy: the short ones first, then those that take long."""
    return run_tests(copy, tests, f"not ({LONG})") and run_tests(copy, tests, LONG)


LIBRARIES = (
    "h5py", "numpy", "scipy.linalg", "scipy.optimize", "scipy.sparse.linalg", "scipy.special",
    "matplotlib.backends.backend_agg", "matplotlib.backends.backend_pdf", "click", "jinja2", "rich.console",
    "tomlkit", "hypothesis", "xarray",
)  # fmt: skip


def run_tests(copy: Path, tests: tuple[str, ...], marked: str) -> bool:
    """Whether the tests so marked pass in the copy; ones that wait for ever count as failed.

    They run in a fork of this process, in which the libraries are loaded already and nothing of waylog is.
    """
    with tempfile.TemporaryFile() as said:
        child = os.fork()
        if child == 0:
            _in_the_fork(copy, [*QUIETLY, "-m", marked, *tests], said.fileno())
        code = _ended(child)
        if code not in (None, 0, 1, 2, NO_TEST_SO_MARKED):
            said.seek(0)
            raise SystemExit(f"{' '.join(tests)}: pytest ended with {code}: {said.read().decode()[-500:]}")
    return code in (0, NO_TEST_SO_MARKED)


QUIETLY = ("-x", "-q", "-p", "no:cacheprovider")


def _in_the_fork(copy: Path, words: list[str], said: int) -> NoReturn:
    """Run pytest and end; the copy stands first on the path here and in every process that a test starts."""
    os.setsid()
    for stream in (1, 2):
        os.dup2(said, stream)
    paths = [str(copy), str(copy / "analysis" / "door")]
    sys.path[:0], sys.dont_write_bytecode = paths, True
    os.environ.update(PYTHONPATH=os.pathsep.join(paths), PYTHONDONTWRITEBYTECODE="1")
    os.chdir(copy)
    code = 3
    try:
        code = int(pytest.main(words))
    finally:
        sys.stdout.flush()
        os._exit(code)


def _ended(child: int) -> int | None:
    """The exit code of a fork; None where it had to be killed, with whatever it had started."""
    deadline = time.monotonic() + PATIENCE_S
    while time.monotonic() < deadline:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return None


def outcome(fault: Fault, copy: Path) -> str:
    """Plant one fault, run its tests, put the file back."""
    file = copy / fault.file
    text = file.read_text() if file.exists() else ""
    wrong = fault.planted(text)
    if wrong is None:
        return STALE
    file.write_text(wrong)
    try:
        return UNSEEN if pass_all(copy, fault.tests) else SEEN
    finally:
        file.write_text(text)


def tried(rooms: list[str]) -> list[tuple[Fault, str]]:
    """Every fault of the rooms with its outcome, told as it comes."""
    outcomes = []
    for library in LIBRARIES:
        importlib.import_module(library)
    with tempfile.TemporaryDirectory() as folder:
        copy = copied(Path(folder))
        for fault in [fault for room in rooms for fault in faults_of(room)]:
            start = time.monotonic()
            came = outcome(fault, copy)
            outcomes.append((fault, came))
            seconds = time.monotonic() - start
            print(f"{came:6} {seconds:5.0f} s  {fault.room:10} {fault.file}: {fault.suffers}", flush=True)
    return outcomes


def told(outcomes: list[tuple[Fault, str]]) -> int:
    """Print a line for each room and one for all; 1 where a fault lived or has lost its place."""
    for room in sorted({fault.room for fault, _ in outcomes}):
        here = [came for fault, came in outcomes if fault.room == room]
        print(f"{room:12} {here.count(SEEN):3} of {len(here):3} seen, {here.count(STALE)} stale")
    every = [came for _, came in outcomes]
    counted = len(every) - every.count(STALE)
    if counted:
        print(f"{'all':12} {every.count(SEEN):3} of {counted:3} seen: {every.count(SEEN) / counted:.0%}")
    return int(every.count(SEEN) < len(every))


def check(rooms: list[str]) -> int:
    """Say which faults have lost their place, without running a test."""
    stale = [fault for room in rooms for fault in faults_of(room) if not _stands(fault)]
    for fault in stale:
        print(f"{STALE} {fault.room} {fault.file}: {fault.old.strip()[:70]!r}")
    return int(bool(stale))


def _stands(fault: Fault) -> bool:
    file = TOP / fault.file
    return file.exists() and fault.planted(file.read_text()) is not None


def main() -> None:
    """Plant what the tables of the rooms hold."""
    known = sorted(table.stem for table in TABLES.glob("*.toml"))
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("rooms", nargs="*", choices=[*known, []], help="rooms to try (all)")
    parser.add_argument("--check", action="store_true", help="only say which faults have lost their place")
    asked = parser.parse_args()
    rooms = asked.rooms or known
    sys.exit(check(rooms) if asked.check else told(tried(rooms)))


if __name__ == "__main__":
    main()
