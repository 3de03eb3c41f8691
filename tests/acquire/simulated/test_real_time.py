"""`python -m acquire.simulated`: the bench in real time, for trying out the program."""

import os
import re
import signal
import subprocess
import sys
import time

import pytest

from acquire.model.bed_toml.reading import read_bed
from acquire.model.recorded import Chunk
from acquire.receive.ports.reader import PortReader

needs_terminals = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals here")


def command(folder, *more):
    return [sys.executable, "-m", "acquire.simulated", str(folder), *more]


@pytest.mark.whole
@needs_terminals
@pytest.mark.parametrize("before", [signal.SIG_DFL, signal.SIG_IGN])
def test_its_ports_speak_as_its_bed_toml_says_until_it_is_stopped(tmp_path, start, before):
    """Also where a script started it in the background, which leaves Ctrl-C ignored."""
    folder = tmp_path / "survey"
    kept = signal.signal(signal.SIGINT, before)
    try:
        bench = start(command(folder), stdout=subprocess.PIPE, text=True)
    finally:
        signal.signal(signal.SIGINT, kept)
    printed = dict(bench.stdout.readline().split() for _ in range(4))
    port = read_bed(folder / "bed.toml").instruments["scale"].port
    assert printed["scale"] == port.url
    assert "waylog record" in bench.stdout.readline()
    assert re.fullmatch(rb"[-+]\d{4}\.\d{3}\r\n", _whole_line(port))
    bench.send_signal(signal.SIGINT)
    assert bench.wait(30) == 0


def _whole_line(port):
    """The second line that comes; the first may have begun before."""
    heard, deadline = b"", time.monotonic() + 30
    with PortReader({"scale": port}) as reader:
        while heard.count(b"\n") < 2:
            assert time.monotonic() < deadline, heard
            found = reader.get(1.0)
            heard += found.data if isinstance(found, Chunk) else b""
    return heard.splitlines(keepends=True)[1]


@pytest.mark.whole
def test_description_of_a_real_bed_is_never_written_over(tmp_path):
    (tmp_path / "bed.toml").write_text("[bed]\nname = 'mine'\n")
    done = subprocess.run(command(tmp_path), check=False, capture_output=True, text=True, timeout=60)
    assert done.returncode == 2 and "another bed" in done.stderr
    assert (tmp_path / "bed.toml").read_text() == "[bed]\nname = 'mine'\n"
