"""At the end of a run that the others contradict: told, and asked; mended only where it was answered yes."""

import contextlib
import io
import shutil
import sys

import click
import numpy as np
import pytest

from acquire.cli import main
from acquire.store import read_survey
from tests.invented import bed_toml, level, survey_in

pytestmark = pytest.mark.usefixtures("opened_once")
BED = bed_toml(faces=("way",), instruments={"level": level(base_mm=100, seating_um=0.0)})
HOW = ("--face", "way", "-i", "level", "--direction")
AT_MM = np.arange(50.0, 1000.0, 100.0)
SLOPE = np.diff(-40 * np.sin(np.pi * np.linspace(0, 1, 11) ** 1.7)) * 10


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """A survey of three right runs, none of them doubted; beside it the CSV of a fourth, its level turned."""
    tmp_path = tmp_path_factory.mktemp("measured")
    survey, said = survey_in(tmp_path / "survey", BED), io.StringIO()
    rng = np.random.default_rng(1)
    for number, way in enumerate(("forward", "reverse", "forward", "reverse")):
        sign = -1 if number == 3 else 1
        rows = list(zip(AT_MM, sign * SLOPE + rng.standard_normal(10), strict=True))
        rows = rows[::-1] if way == "reverse" else rows
        csv = tmp_path / f"{number}.csv"
        csv.write_text("station_mm,reading\n" + "".join(f"{x:g},{y:.1f}\n" for x, y in rows))
        if number < 3:
            with contextlib.redirect_stderr(said):
                assert main(["import", str(survey), str(csv), *HOW, way]) == 0
    assert "?" not in said.getvalue()  # the right ones were not doubted
    return survey, csv


@pytest.fixture
def three_runs(measured, tmp_path):
    """Those three, and the words that import the fourth."""
    survey = shutil.copytree(measured[0], tmp_path / "survey")
    return survey, ["import", str(survey), str(measured[1]), *HOW, "reverse"]


def test_contradicted_run_is_kept_as_written_and_the_command_that_mends_it_is_told(three_runs, capsys):
    survey, fourth = three_runs
    assert main(fourth) == 0
    told = capsys.readouterr().err
    assert f"waylog redo {survey} 4 --as turned" in told and "turned end for end" in told
    assert read_survey(survey)[3].setup.turned is False
    mend = told[told.index("waylog redo") + 7 : told.index("--as turned") + 11].split()
    assert main(mend) == 0
    assert read_survey(survey)[3].setup.turned is True


@pytest.mark.parametrize("answer", [True, False])
def test_person_is_asked_and_only_a_yes_mends_it(three_runs, capsys, monkeypatch, answer):
    survey, fourth = three_runs
    asked = []
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "confirm", lambda question, **_: asked.append(question) or answer)
    assert main(fourth) == 0
    assert len(asked) == 1 and "turned end for end" in asked[0]
    assert read_survey(survey)[3].setup.turned is answer


@pytest.mark.whole
def test_combine_and_next_lead_with_the_run_and_advise_nothing_else(three_runs, capsys):
    survey, fourth = three_runs
    main(fourth)
    capsys.readouterr()
    main(["combine", str(survey)])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].startswith("traverse 4 (level) looks wrong as it was written")
    assert not any("--own-noise" in line or "Look again" in line for line in lines)
    main(["next", str(survey)])
    told = capsys.readouterr().out
    assert f"waylog redo {survey} 4 --as turned" in told and "What would help most" not in told
    main(["map", str(survey), "way"])
    assert capsys.readouterr().out.startswith("traverse 4 (level) looks wrong as it was written")
    main(["plan", str(survey), "way"])
    assert "Do not scrape yet: a whole run looks wrong" in capsys.readouterr().out
