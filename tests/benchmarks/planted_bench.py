"""The bench of the planted faults: a copy of the repository, and pytest in forks of one that waits.

Pytest, its plugins and the libraries are loaded once, nothing of waylog is: each fork reads the copy as it
stands at that moment. Tests are called by their names without parameters: one name, all its cases.
"""

import contextlib
import faulthandler
import importlib
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn, TextIO

import pytest

TOP = Path(__file__).parents[2]
QUIETLY = ("-qq", "-s", "-p", "no:cacheprovider", "-p", "no:faulthandler")
PASSED, FAILED, INTERRUPTED, NOT_USABLE, NO_TEST = 0, 1, 2, 4, 5
LIBRARIES = (
    "h5py", "numpy", "scipy.linalg", "scipy.optimize", "scipy.sparse.linalg", "scipy.special",
    "matplotlib.backends.backend_agg", "matplotlib.backends.backend_pdf", "click", "jinja2", "rich.console",
    "tomlkit", "xarray",
)  # fmt: skip


@dataclass
class Ran:
    """What became of one run of tests."""

    code: int | None = None
    """Of pytest; None where time was up."""
    failed: list[str] = field(default_factory=list)
    """Tests that failed, the first one first."""
    under_way: str = ""
    """The test that had begun last."""
    broken: bool = False
    """Whether a file of tests could not even be read."""
    said: str = ""

    def take(self, line: dict[str, Any]) -> None:
        """One line of the fork's own account."""
        test = line["test"]
        match line["what"]:
            case "begins":
                self.under_way = test
            case "failed":
                self.failed.append(test)
            case "broken":
                self.broken = True


@contextlib.contextmanager
def copied() -> Iterator[Path]:
    """The repository as it stands, beside nothing that could be taken for it."""
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "waylog"
        shutil.copytree(TOP, copy, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", ".*_cache"))
        yield copy


PLANTED_LATER_S = 3600
"""Compiled files are told by the time of their source: a planted one is this much younger than any other."""


@contextlib.contextmanager
def planted(file: Path, wrong: str, number: int) -> Iterator[None]:
    """A file with a mistake in it, put back afterwards with its own time; `number` is its own."""
    right, stat = file.read_bytes(), file.stat()
    file.write_text(wrong, encoding="utf-8")
    os.utime(file, (stat.st_mtime, stat.st_mtime + PLANTED_LATER_S + number))
    try:
        yield
    finally:
        file.write_bytes(right)
        os.utime(file, ns=(stat.st_atime_ns, stat.st_mtime_ns))


class Host:
    """A pytest that waits in a copy of the repository: `run` forks it, and the fork goes on with some tests.

    `work` is called when it has begun, with the host; what it returns is the host's `result`.
    """

    result: Any = None
    _session: pytest.Session

    def __init__(self, copy: Path, work: Callable[["Host"], Any]) -> None:
        self.copy, self._work = copy, work

    def begin(self) -> Any:
        """Do the work, and return what came of it."""
        for library in LIBRARIES:
            importlib.import_module(library)
        paths = [str(self.copy), str(self.copy / "analysis" / "door")]
        sys.path[:0] = paths
        os.environ["PYTHONPATH"] = os.pathsep.join(paths)
        os.chdir(self.copy)
        pytest.main([*QUIETLY, "tests/test_planted_faults.py"], plugins=[self])
        return self.result

    @pytest.hookimpl(tryfirst=True)
    def pytest_collection(self, session: pytest.Session) -> bool:
        """Do the work in place of collecting anything here."""
        self._session = session
        faulthandler.cancel_dump_traceback_later()  # a fork has no such thread, and would wait for its end
        importlib.import_module("hypothesis")  # once pytest is there, which rewrites it
        self.result = self._work(self)
        return True

    def run(self, tests: Sequence[str], limit_s: float, *, marked: str = "", most_failures: int = 1) -> Ran:
        """Run tests in a fork, those so marked; after `limit_s` it is killed with whatever it had started."""
        with tempfile.TemporaryFile() as said, tempfile.NamedTemporaryFile("r", encoding="utf-8") as account:
            child = os.fork()
            if child == 0:
                config = self._session.config
                config.args, config.option.markexpr = list(tests), marked
                config.option.maxfail = most_failures
                _in_the_fork(self._session, said.fileno(), account.name)
            ran = Ran(_ended(child, limit_s))
            for line in account:
                with contextlib.suppress(ValueError):  # the last line of one that was killed
                    ran.take(json.loads(line))
            said.seek(0)
            ran.said = said.read().decode(errors="replace")[-2000:]
        return ran


def _in_the_fork(session: pytest.Session, said: int, account: str) -> NoReturn:
    """Collect and run what the configuration now asks for, and end."""
    code = 3
    try:
        os.setsid()
        for stream, file in ((0, os.open(os.devnull, os.O_RDONLY)), (1, said), (2, said)):
            os.dup2(file, stream)
        with Path(account).open("w", encoding="utf-8") as lines:
            session.config.pluginmanager.register(_Account(lines))
            code = _code_of(session)
            session.config.hook.pytest_sessionfinish(session=session, exitstatus=code)
    finally:
        sys.stdout.flush()
        os._exit(code)


def _code_of(session: pytest.Session) -> int:
    """Run the tests: the code that pytest would end with."""
    try:
        session.perform_collect()
        session.config.hook.pytest_runtestloop(session=session)
    except session.Failed:
        return FAILED
    except session.Interrupted:
        return INTERRUPTED
    except pytest.UsageError as error:
        print(error)
        return NOT_USABLE
    return FAILED if session.testsfailed else PASSED if session.testscollected else NO_TEST


def _ended(child: int, limit_s: float) -> int | None:
    """The exit code of a fork; None where it had to be killed."""
    deadline = time.monotonic() + limit_s
    code = None
    try:
        while time.monotonic() < deadline:
            done, status = os.waitpid(child, os.WNOHANG)
            if done:
                code = os.waitstatus_to_exitcode(status)
                return code
            time.sleep(0.02)
        return None
    finally:
        with contextlib.suppress(ProcessLookupError):  # what a test left running goes too
            os.killpg(child, signal.SIGKILL)
        if code is None:
            with contextlib.suppress(ChildProcessError):
                os.waitpid(child, 0)


def name_of(nodeid: str) -> str:
    """A test without its parameters."""
    return nodeid.split("[", 1)[0]


class _Account:
    """A plugin that writes down what each test does, line by line."""

    def __init__(self, lines: TextIO) -> None:
        self._lines = lines

    def _write(self, what: str, nodeid: str) -> None:
        self._lines.write(json.dumps({"what": what, "test": name_of(nodeid)}) + "\n")
        self._lines.flush()

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self._write("begins", nodeid)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self._write("failed", report.nodeid)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed:
            self._write("broken", report.nodeid)
