"""Work and its yardstick measured in turn in one run, in CPU seconds: a loaded machine spoils neither.

The least of several rounds is taken of each; the spread is what the ratio of single rounds lies between.
"""

import atexit
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
HEAD = "| work | yardstick | work, s | yardstick, s | ratio | spread |\n| --- | --- | --- | --- | --- | --- |"


@dataclass(frozen=True)
class Beside:
    """One row of the table."""

    work: str
    yardstick: str
    work_s: tuple[float, ...]
    yardstick_s: tuple[float, ...]

    @property
    def ratio(self) -> float:
        """The least of the work over the least of the yardstick."""
        return min(self.work_s) / min(self.yardstick_s)

    def row(self) -> str:
        """A line of a table."""
        ratios = sorted(a / b for a, b in zip(self.work_s, self.yardstick_s, strict=True))
        return (
            f"| {self.work} | {self.yardstick} | {min(self.work_s):.3g} | {min(self.yardstick_s):.3g} "
            f"| {self.ratio:.2f} | {ratios[0]:.2f} to {ratios[-1]:.2f} |"
        )


def beside(
    work: str, of_work: Callable[[], float], yardstick: str, of_yardstick: Callable[[], float], rounds: int
) -> Beside:
    """Measure both in turn, each of which says how many CPU seconds it took."""
    pairs = [(of_work(), of_yardstick()) for _ in range(rounds)]
    return Beside(work, yardstick, *(tuple(each) for each in zip(*pairs, strict=True)))


def cpu_of(function: Callable[[], object]) -> float:
    """CPU seconds of a function in this process."""
    before = resource.getrusage(resource.RUSAGE_SELF)
    function()
    after = resource.getrusage(resource.RUSAGE_SELF)
    return after.ru_utime - before.ru_utime + after.ru_stime - before.ru_stime


@cache
def as_installed() -> dict[str, str]:
    """The surroundings of a process that finds its modules compiled, as whatever pip installs is.

    The first process compiles them; the least of several rounds leaves that out.
    """
    compiled = tempfile.mkdtemp(prefix="waylog-compiled-")
    atexit.register(shutil.rmtree, compiled)
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    paths = os.pathsep.join([str(ROOT), str(ROOT / "analysis" / "door")])
    return {**kept, "PYTHONPATH": paths, "PYTHONPYCACHEPREFIX": compiled, "OPENBLAS_NUM_THREADS": "1"}


def cpu_of_process(words: Sequence[str]) -> tuple[float, float]:
    """CPU seconds and greatest memory in MB of a Python process of its own and all that it waits for."""
    process = subprocess.Popen(
        [sys.executable, "-P", *words],
        stdout=subprocess.DEVNULL,
        env=as_installed(),
        stdin=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise RuntimeError(f"{' '.join(words)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1e3
