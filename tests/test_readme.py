"""What README.md tells a person to type does what it says."""

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from acquire.cli import COMMANDS, main

pytestmark = pytest.mark.whole

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
SHELL = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
TWO_COMMANDS = [block.strip() for block in SHELL[:2]]
JOB = [shlex.split(line, comments=True) for line in SHELL[2].splitlines() if line.startswith("waylog")]
RECORD = [words for words in JOB if words[1] == "record"]
SURVEYED = ("show", "map", "twist", "compare", "combine", "next", "plan", "report")
DEADLINE_S = 30


@pytest.fixture(scope="module")
def demo_survey(tmp_path_factory):
    folder = tmp_path_factory.mktemp("readme") / "demo-survey"
    assert main(["demo", str(folder), "--quick"]) == 0
    return folder


def test_two_commands_are_the_ones_that_ci_runs():
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    for command in TWO_COMMANDS:
        assert command in ci


def test_every_command_stands_in_the_readme_and_none_that_is_not_there():
    assert {words[1] for words in JOB} <= set(COMMANDS)
    table = {
        name
        for row in re.findall(r"^\| (`.*?) \|", README, re.MULTILINE)
        for name in re.findall(r"`(\S+)`", row)
    }
    assert table == set(COMMANDS)


def test_help_lists_every_command_and_starts_without_the_heavy_libraries():
    code = (
        "import sys; from acquire.cli import main; main(['--help']);"
        "print(sorted({'numpy', 'scipy', 'h5py', 'matplotlib', 'serial'} & set(sys.modules)))"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.rstrip().endswith("[]")
    for name, (_, words) in COMMANDS.items():
        assert re.search(rf"^  {name} +{re.escape(words[:30])}", said, re.MULTILINE)


@pytest.mark.parametrize("words", [w for w in JOB if w[1] in SURVEYED], ids=lambda w: w[1])
def test_analysis_command_of_the_job_answers_on_the_demo_survey(words, demo_survey, capsys):
    assert main([str(demo_survey) if word == "my-lathe" else word for word in words[1:]]) == 0
    assert len(capsys.readouterr().out.splitlines()) >= 2


def test_start_ports_and_import_of_the_job_run(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    by_name = {words[1]: words[1:] for words in JOB}
    assert main([*by_name["start"], "--instrument", "vial", "--base", "200", "--length", "1600"]) == 0
    assert main(by_name["ports"]) == 0
    Path("readings.csv").write_text("from_mm,to_mm,reading\n0,200,1\n200,400,-0.5\n400,600,2\n")
    assert main(by_name["import"]) == 0
    assert "3 readings of rear-flat" in capsys.readouterr().out


def test_enter_of_the_job_takes_typed_readings(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["start", "my-lathe", "--instrument", "vial", "--base", "200", "--length", "800"]) == 0
    words = next(words for words in JOB if words[1] == "enter")
    done = subprocess.run(
        [sys.executable, "-m", "acquire.cli", *words[1:]],
        input="1\n-0,5\n2 div\n+1\n",
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )
    assert done.returncode == 0, done.stderr
    assert len(list(Path("my-lathe/traverses").glob("*.h5"))) == 1


def _line_with(process, wanted):
    """Read lines until one holds `wanted`; the deadline ends a process that never says it."""
    until, said = time.monotonic() + DEADLINE_S, []
    for line in process.stdout:
        said.append(line)
        if wanted in line:
            return line
        assert time.monotonic() < until
    raise AssertionError(f"ended without saying {wanted!r}: {''.join(said)}")


@pytest.mark.parametrize("words", RECORD, ids=lambda w: f"{w[2:]}"[:60])
def test_record_line_of_the_job_records_from_real_ports(words, tmp_path, start):
    where = {"cwd": tmp_path, "env": {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}}
    played = (
        "cross-level" if "cross-level" in words else "indicator" if "indicator" in words else "level-steps"
    )
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    bench = start(
        [sys.executable, "-m", "acquire.simulated", "my-lathe", "--traverse", played], **pipes, **where
    )
    _line_with(bench, "INVENTED bench")
    record = start([sys.executable, "-m", "acquire.cli", *words[1:]], **pipes, **where)
    _line_with(record, "recording")
    record.send_signal(signal.SIGINT)
    said, _ = record.communicate(timeout=DEADLINE_S)
    assert record.returncode == 0, said
    assert len(list((tmp_path / "my-lathe" / "traverses").glob("001-*.h5"))) == 1


def test_watch_line_of_the_job_shows_every_instrument(tmp_path, start):
    words = next(words for words in JOB if words[1] == "watch")
    where = {"cwd": tmp_path, "env": {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUNBUFFERED": "1"}}
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
    bench = start([sys.executable, "-m", "acquire.simulated", "my-lathe"], **pipes, **where)
    _line_with(bench, "INVENTED bench")
    command = [sys.executable, "-m", "acquire.cli", *words[1:], "--seconds", "1.5"]
    done = subprocess.run(command, check=False, timeout=DEADLINE_S, **pipes, **where)
    assert done.returncode == 0, done.stdout
    assert all(f"  {name}  " in done.stdout for name in ("long-level", "cross-level", "indicator", "scale"))
    assert "lock it off" in done.stdout


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_completion_line_of_the_readme_completes_commands_and_names(demo_survey, tmp_path):
    (line,) = (block.split("#")[0].strip() for block in SHELL if "_WAYLOG_COMPLETE" in block)

    program = tmp_path / "waylog"
    program.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m acquire.cli "$@"\n')
    program.chmod(0o755)
    path = f"{tmp_path}{os.pathsep}{os.environ['PATH']}"

    def completed(words):
        script = (
            f"{line}; COMP_WORDS=({words}); COMP_CWORD=$((${{#COMP_WORDS[@]}} - 1)); "
            '_waylog_completion waylog; echo "${COMPREPLY[@]}"'
        )
        env = {**os.environ, "PYTHONPATH": str(ROOT), "PATH": path}
        done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=False, env=env)
        return done.stdout.split()

    assert {"record", "redo", "report"} <= set(completed("waylog re"))
    assert completed(f"waylog map {demo_survey} front-v") == ["front-vee"]
    assert completed(f"waylog record {demo_survey} front-vee --instrument lo") == ["long-level"]


def test_python_example_of_the_readme_runs(demo_survey, monkeypatch, capsys):
    monkeypatch.chdir(demo_survey.parent)
    (example,) = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
    exec(compile(example, "README.md", "exec"), {})
    said = capsys.readouterr().out
    assert "front-vee hollow" in said and "wind" in said
    assert Path("front-vee.png").stat().st_size > 10_000


def test_links_of_the_readme_lead_somewhere():
    for target in re.findall(r"\]\(([^)#:]+)\)", README):
        assert (ROOT / target).exists(), target
