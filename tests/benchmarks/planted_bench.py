"""The bench of the planted faults: a copy of the repository, and pytest in forks of one that waits.

Pytest, its plugins and the libraries are loaded once, nothing of waylog is: each fork reads the copy as it
stands at that moment. Tests are called by their names without parameters: one name, all its cases.
"""

import contextlib
import faulthandler
import gc
import importlib
import json
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, NoReturn, TextIO

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from planted_loaded import Exchange, Loaded  # beside it, wherever this is started from

TOP = Path(__file__).parents[2]
LONG = "statistics or whole"
QUIETLY = ("-qq", "-s", "--tb=native", "-p", "no:cacheprovider", "-p", "no:faulthandler")
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
        os.environ["PYTEST_DEBUG_TEMPROOT"] = str(self.copy.parent)  # what forks leave goes with the copy
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

    def collected(self, files: Sequence[str], work: Callable[["Collected"], Any]) -> None:
        """Do work in a fork that has collected these files once; it has the standard output of this one."""
        child = os.fork()
        if child == 0:
            code = 3
            try:
                self._session.config.args = list(files)
                self._session.perform_collect()
                work(Collected(self.copy, self._session))
                code = 0
            except Exception:
                traceback.print_exc()
            finally:
                sys.stdout.flush()
                os._exit(code)
        if os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]):
            raise SystemExit("the tests cannot be collected together")

    def run(
        self, tests: Sequence[str], limit_s: float, *, is_long: bool | None = None, most_failures: int = 1
    ) -> Ran:
        """Run tests in a fork; after `limit_s` it is killed with whatever it had started.

        Those that take long or those that do not, both where `is_long` is None.
        """

        def prepare() -> None:
            config = self._session.config
            config.args = list(tests)
            config.option.markexpr = "" if is_long is None else LONG if is_long else f"not ({LONG})"
            config.option.maxfail = most_failures
            self._session.perform_collect()

        return _ran(self._session, prepare, limit_s)


OF_EVERY_TEST = ("acquire.record.recorder", "acquire.record.keeping", "acquire.record.mending")
"""What a fixture of every test imports."""


class Collected:
    """A host whose tests are collected, so that a mistake is planted into functions that are loaded."""

    def __init__(self, copy: Path, session: pytest.Session) -> None:
        self.copy, self._session = copy, session
        for room in OF_EVERY_TEST:
            importlib.import_module(room)
        self.loaded = Loaded(copy)
        gc.collect()
        gc.freeze()  # or every fork would copy all there is to look for garbage in it
        self._items: dict[str, list[pytest.Item]] = {}
        for item in session.items:
            name = name_of(item.nodeid)
            file = Path(name.split("::")[0])
            for key in (name, str(file), *map(str, file.parents)):
                self._items.setdefault(key, []).append(item)
        self.exchanges: Sequence[Exchange] = ()
        """What the next run plants."""

    def run(self, tests: Sequence[str], limit_s: float, *, is_long: bool | None = None) -> Ran:
        """Run tests until one fails, as `Host.run` does."""
        chosen = [item for test in tests for item in self._items.get(test, [])]
        chosen = [item for item in chosen if is_long is None or _is_long(item) == is_long]

        def prepare() -> None:
            for function, code in self.exchanges:
                function.__code__ = code
            self._session.items, self._session.testscollected = chosen, len(chosen)
            self._session.config.option.maxfail = 1

        return _ran(self._session, prepare, limit_s)


def _is_long(item: pytest.Item) -> bool:
    return any(item.get_closest_marker(name) for name in LONG.split(" or "))


def _ran(session: pytest.Session, prepare: Callable[[], None], limit_s: float) -> Ran:
    """What became of the tests that `prepare` puts into the session, in a fork."""
    with tempfile.TemporaryFile() as said, tempfile.NamedTemporaryFile("r", encoding="utf-8") as account:
        child = os.fork()
        if child == 0:
            _in_the_fork(session, prepare, said.fileno(), account.name)
        ran = Ran(_ended(child, limit_s))
        for line in account:
            with contextlib.suppress(ValueError):  # the last line of one that was killed
                ran.take(json.loads(line))
        said.seek(0)
        ran.said = said.read().decode(errors="replace")[-2000:]
    return ran


def _in_the_fork(session: pytest.Session, prepare: Callable[[], None], said: int, account: str) -> NoReturn:
    """Run what is prepared, and end."""
    code = 3
    try:
        os.setsid()
        for stream, file in ((0, os.open(os.devnull, os.O_RDONLY)), (1, said), (2, said)):
            os.dup2(file, stream)
        with Path(account).open("w", encoding="utf-8") as lines:
            session.config.pluginmanager.register(_Account(lines))
            code = _code_of(session, prepare)
            session.config.hook.pytest_sessionfinish(session=session, exitstatus=code)
    finally:
        sys.stdout.flush()
        os._exit(code)


def _code_of(session: pytest.Session, prepare: Callable[[], None]) -> int:
    """Run the tests: the code that pytest would end with."""
    try:
        prepare()
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
