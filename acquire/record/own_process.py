"""Starts a module of waylog in a process of its own, and ends such a process.

`python -m` looks into the folder the person stands in first: a file of theirs called
`analysis.py` would be run in place of ours. `-P` leaves that folder out.
"""

import gc
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NoReturn

import acquire

SELDOM = 50_000
"""New objects between two searches for cycles; most of what a command makes are modules, which stay."""


def own_command(module: str, *arguments: str) -> list[str]:
    """The words that run a module of waylog, whatever lies in the working folder.

    Examples
    --------
    >>> own_command("acquire.record.conversion", "1.journal")[1:]
    ['-P', '-m', 'acquire.record.conversion', '1.journal']
    """
    return [sys.executable, "-P", "-m", module, *arguments]


def own_environment() -> dict[str, str]:
    """This process's environment, in which a child finds this very waylog first."""
    root = str(Path(acquire.__file__).parent.parent)
    paths = [root, *filter(None, os.environ.get("PYTHONPATH", "").split(os.pathsep))]
    return {**os.environ, "PYTHONPATH": os.pathsep.join(paths)}


def run_to_its_end(main: Callable[[], int]) -> NoReturn:
    """Do what a process is there for and end it with the exit code; it need not tidy up what it holds."""
    gc.set_threshold(SELDOM)
    code = main()
    gc.freeze()  # every file is closed by now; at its end Python would go through all modules three times
    raise SystemExit(code)
