"""What Windows lacks is never needed to start: the program with those modules hidden.

Neither Windows nor macOS is here; that the program runs there is not claimed.
"""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from acquire.model.system import LACKING

ROOT = Path(__file__).parents[2]
HOUSES = ("acquire", "analysis")
PROGRAM = f"""
import builtins, importlib, pkgutil, sys
real = builtins.__import__

def without(name, globals=None, *rest, **more):
    who = (globals or {{}}).get("__name__", "")
    if name in {LACKING!r} and who.partition(".")[0] in ("acquire", "analysis"):
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


def imported_by(text):
    """Names of the modules that a file of this text imports, anywhere in it."""
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            yield from (each.name for each in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.module


def test_one_file_alone_knows_what_windows_lacks():
    """But for the invented bench, which shares nothing with what reads it back."""
    lacking = {*LACKING, "msvcrt", "winreg"}
    texts = {path: path.read_text("utf-8") for house in HOUSES for path in (ROOT / house).rglob("*.py")}
    may = re.compile(rf"^\s*(import|from)\b.*\b({'|'.join(lacking)})\b", re.MULTILINE)
    named = {path: text for path, text in texts.items() if may.search(text)}
    found = {
        path.relative_to(ROOT).as_posix() for path, text in named.items() if lacking & {*imported_by(text)}
    }
    assert found == {"acquire/model/system.py", "acquire/simulated/ports.py"}
