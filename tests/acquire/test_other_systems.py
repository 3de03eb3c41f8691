"""What Windows lacks is never needed to start: the program with those modules hidden.

Neither Windows nor macOS is here; that the program runs there is not claimed.
"""

import subprocess
import sys

import pytest

HIDDEN = ("fcntl", "termios", "tty", "pty", "resource")
PROGRAM = f"""
import builtins, importlib, pkgutil, sys
real = builtins.__import__

def without(name, globals=None, *rest, **more):
    who = (globals or {{}}).get("__name__", "")
    if name in {HIDDEN!r} and who.partition(".")[0] in ("acquire", "analysis"):
        raise ImportError(name)
    return real(name, globals, *rest, **more)

builtins.__import__ = without
import acquire, acquire.cli
for path, *_ in acquire.cli.COMMANDS.values():
    importlib.import_module(path)
for found in pkgutil.walk_packages(acquire.__path__, "acquire."):
    if not found.name.endswith("__main__"):
        importlib.import_module(found.name)
from acquire.simulated.ports import open_port
port = open_port(loopback=True)
print(port.url.startswith("socket://127.0.0.1"))
port.close()
"""


@pytest.mark.whole
def test_program_is_imported_whole_without_the_modules_that_windows_lacks():
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout == "True\n"
