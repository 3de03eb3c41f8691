"""A file called `analysis.py` or `acquire.py` in the person's own folder is never run in place of ours."""

import os
import pty
import subprocess
import sys
import tty
from pathlib import Path

import pytest

import acquire
from tests.invented import bed_toml, level, speaks

pytestmark = [
    pytest.mark.whole,
    pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals"),
]

ROOT = str(Path(acquire.__file__).parent.parent)
PLANTED = "import pathlib; pathlib.Path(__file__).with_suffix('.ran').touch()\n"
HOUSES = ("acquire", "analysis")
BED = bed_toml(600, instruments={"level": level(0.5, **speaks("{port}"))})


@pytest.fixture
def folder(tmp_path):
    """A person's folder with files of their own that bear the names of our houses, and a survey."""
    for house in HOUSES:
        (tmp_path / f"{house}.py").write_text(PLANTED)
    (tmp_path / "survey").mkdir()
    return tmp_path


@pytest.fixture
def port(folder):
    master, slave = pty.openpty()
    tty.setraw(slave)
    (folder / "survey" / "bed.toml").write_text(BED.format(port=os.ttyname(slave)))
    yield master
    os.close(master)
    os.close(slave)


def waylog(folder, *words):
    """The program as its console script starts it: the working folder is not among the places of modules."""
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "MPLBACKEND")}
    return subprocess.run(
        [sys.executable, "-P", "-m", "acquire.cli", *words],
        check=False, cwd=folder, env={**env, "PYTHONPATH": ROOT},
        capture_output=True, text=True, timeout=120,
    )  # fmt: skip


def was_run(folder):
    return [house for house in HOUSES if (folder / f"{house}.ran").exists()]


def test_recording_with_a_window_beside_foreign_files_runs_none_of_them(folder, port):
    done = waylog(folder, "record", "survey", "front", "-i", "level", "--window", "--seconds", "1")
    assert done.returncode == 0, done.stderr
    assert was_run(folder) == []
    if sys.platform.startswith(
        "linux"
    ):  # our window says that there is no display; a foreign one says nothing
        assert "waylog window: " in done.stderr
    assert len(list((folder / "survey" / "traverses").glob("*.h5"))) == 1


def test_import_and_map_beside_foreign_files_run_none_of_them(folder, port):
    rows = "".join(f"{x},{x / 100}\n" for x in range(100, 501, 100))
    (folder / "readings.csv").write_text(f"station_mm,reading\n{rows}")
    taken = waylog(folder, "import", "survey", "readings.csv", "--face", "front", "--instrument", "level")
    assert taken.returncode == 0, taken.stderr
    assert waylog(folder, "map", "survey", "front").returncode == 0
    assert was_run(folder) == []
