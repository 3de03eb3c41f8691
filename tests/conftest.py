"""Shared by all tests: one arithmetic thread per process, children that are ended, and an end to it all."""

import contextlib
import faulthandler
import gc
import linecache
import os
import shutil
import signal
import subprocess
from pathlib import Path

import pytest

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.setdefault("OMP_NUM_THREADS", "1")

LONGEST_S = float(os.environ.get("WAYLOG_LONGEST_TESTS_S", "2400"))
"""No run of the tests takes longer: one that waits for ever shows where, and ends."""
PATIENCE_S = 5.0
HERE = Path(__file__).parent
MEMORY = Path("/dev/shm")
"""Folders of the tests are there: of the thousands that are synced each waits some ms for a disk."""
ROOM_BYTES = 1 << 31


def pytest_sessionstart(session):
    """Set the alarm, in every process that runs tests."""
    faulthandler.dump_traceback_later(LONGEST_S, exit=True)


def pytest_sessionfinish(session):
    """Take the alarm back; what is left is searched for cycles once more, and not six times."""
    faulthandler.cancel_dump_traceback_later()
    gc.collect()
    gc.freeze()


@pytest.hookimpl(wrapper=True)
def pytest_collection():
    """What is collected stays to the end: it is not searched for cycles again and again.

    Nor are the lines of each module, which were read to find its examples, compared with its file by each.
    """
    gc.disable()
    yield
    linecache.clearcache()
    gc.freeze()
    gc.set_threshold(10_000)  # what tests make is mostly gone by itself
    gc.enable()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """A file's tests run in one process, as they stand: what they share is made once."""
    from xdist.scheduler import LoadFileScheduling

    config.option.loadscopereorder = False  # the many small ones, of the two houses, come last as it is
    return LoadFileScheduling(config, log)


class OnlyWhatHasExamples:
    """Files of the two houses are searched for examples where there are any, and no file of tests is."""

    @pytest.hookimpl(wrapper=True)
    def pytest_collect_file(self, file_path):
        collected = yield
        if HERE not in file_path.parents and b">>>" in file_path.read_bytes():
            return collected
        return [each for each in collected if type(each) is pytest.Module]  # examples are a kind of module


def pytest_configure(config):
    """Hooks of this file itself are asked about tests alone. Folders of tests are in memory."""
    config.pluginmanager.register(OnlyWhatHasExamples())
    with contextlib.suppress(OSError):
        if shutil.disk_usage(MEMORY).free > ROOM_BYTES and os.access(MEMORY, os.W_OK):
            os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))


def end(child: subprocess.Popen) -> None:
    """End a process whatever it does with signals: asked first, then killed; close what led to it."""
    if child.poll() is None:
        child.terminate()
        try:
            child.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            child.kill()
            child.wait()
    for stream in (child.stdin, child.stdout, child.stderr):
        if stream is not None:
            with contextlib.suppress(OSError):
                stream.close()


@pytest.fixture
def start():
    """Start processes as `subprocess.Popen` does; each is ended when the test is over."""
    children = []

    def started(command, **options):
        children.append(subprocess.Popen(command, **options))
        return children[-1]

    yield started
    for child in children:
        end(child)


@pytest.fixture(scope="session", autouse=True)
def is_converted_here():
    """A finished run is converted in this process: to start another takes longer than most tests.

    What is yielded holds whether it is so: `acquire/conftest.py` takes it back for tests of the whole
    program, which claim that it is another process, and what comes of it where that ends badly.
    """
    from acquire.record import conversion, keeping, mending, recorder

    here = [True]

    def convert(journal_path, h5_path):
        return (conversion.convert_here if here[0] else conversion.convert)(journal_path, h5_path)

    with pytest.MonkeyPatch.context() as patch:
        for room in (keeping, mending, recorder):
            patch.setattr(room, "convert", convert)
        yield here


@pytest.fixture(scope="module")
def opened_once():
    """A survey folder in which no file has changed is opened once: commands that ask it share its maps."""
    from analysis.answers import surveys

    plain, opened = surveys.load, {}

    def load(folder):
        files = [(path, path.stat()) for path in sorted(Path(folder).rglob("*"))]
        key = (str(folder), *((str(path), each.st_mtime_ns, each.st_size) for path, each in files))
        if key not in opened:
            opened[key] = plain(folder)
        return opened[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(surveys, "load", load)
        yield


ENDS_WITHIN_S = 20


@pytest.fixture(scope="session")
def at_once():
    """Whatever is done within ends by itself, or the claim fails: what waits or searches takes hours."""

    def late(*_):
        raise AssertionError(f"it has not ended within {ENDS_WITHIN_S} s")

    @contextlib.contextmanager
    def within():
        before = signal.signal(signal.SIGALRM, late)
        signal.alarm(ENDS_WITHIN_S)
        try:
            yield
        finally:
            signal.alarm(0)
            signal.signal(signal.SIGALRM, before)

    return within
