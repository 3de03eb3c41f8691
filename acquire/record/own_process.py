"""Starts a module of waylog in a process of its own.

`python -m` looks into the folder the person stands in first: a file of theirs called
`analysis.py` would be run in place of ours. `-P` leaves that folder out.
"""

import os
import sys
from pathlib import Path

import acquire


def own_command(module: str, *arguments: str) -> list[str]:
    """The words that run a module of waylog, whatever lies in the working folder.

    Examples
    --------
    >>> own_command("acquire.record.conversion", "1.journal")[1:]
    ['-P', '-m', 'acquire.record.conversion', '1.journal']
    """
    return [sys.executable, "-P", "-m", module, *arguments]


def own_environment(**beside: str) -> dict[str, str]:
    """This process's environment, in which a child finds this very waylog first.

    `beside` gives values for what the environment leaves unset.
    """
    root = str(Path(acquire.__file__).parent.parent)
    paths = [root, *filter(None, os.environ.get("PYTHONPATH", "").split(os.pathsep))]
    return {**beside, **os.environ, "PYTHONPATH": os.pathsep.join(paths)}
