"""A person at a pseudo-terminal, for the commands that ask."""

import os
import subprocess
import sys

import pytest

DEADLINE_S = 60


@pytest.fixture
def at_a_terminal():
    """Runs a command whose standard input is a terminal on which `typed` waits; gives what came of it."""
    if not hasattr(os, "openpty"):
        pytest.skip("needs a pseudo-terminal")

    def run(arguments, typed):
        master, slave = os.openpty()
        try:
            os.write(master, typed)
            return subprocess.run(
                [sys.executable, "-m", "acquire.cli", *map(str, arguments)],
                stdin=slave,
                capture_output=True,
                text=True,
                encoding="utf-8",
                timeout=DEADLINE_S,
                env={**os.environ, "PYTHONIOENCODING": "utf-8"},
                check=False,
            )
        finally:
            os.close(master)
            os.close(slave)

    return run
