"""`waylog demo` from its first line to its last."""

import pytest

from acquire.cli import main

pytestmark = pytest.mark.whole


def test_demo_runs_every_command_it_prints_and_ends_within_the_stated_uncertainty(tmp_path, capsys):
    folder = tmp_path / "survey"
    assert main(["demo", str(folder), "--quick"]) == 0
    said = capsys.readouterr().out
    printed = [line.split()[2] for line in said.splitlines() if line.startswith("$ waylog ")]
    assert set(printed) == {"record", "import", "map", "twist", "compare", "combine", "next", "report"}
    assert said.startswith("INVENTED") and "lock it" in said
    verdicts = [line for line in said.splitlines() if "the stated uncertainty (" in line]
    assert len(verdicts) == 3 and not [line for line in verdicts if "NOT within" in line]
    assert list((folder / "report").glob("*.html"))
    assert not list((folder / "traverses").glob("*.journal"))
