"""At the end of a run that the others contradict: told, and asked; mended only where it was answered yes."""

import contextlib
import io
import shutil
import sys

import click
import numpy as np
import pytest

from acquire.cli import main
from acquire.commands.traverse_options import ask_about_run
from acquire.store import read_survey
from analysis.words.run_doubt import run_doubt
from tests.invented import bed_toml, import_text, level, survey_in

pytestmark = pytest.mark.usefixtures("opened_once")
BED = bed_toml(faces=("way",), instruments={"level": level(base_mm=100, seating_um=0.0)})
HOW = ("--face", "way", "-i", "level", "--direction")
AT_MM = np.arange(50.0, 1000.0, 100.0)
SLOPE = np.diff(-40 * np.sin(np.pi * np.linspace(0, 1, 11) ** 1.7)) * 10


@pytest.fixture(scope="module")
def doubted(tmp_path_factory):
    """Three right runs, none doubted, and a fourth, its level turned: what was said of it, and asked."""
    survey = survey_in(tmp_path_factory.mktemp("measured") / "survey", BED)
    rng, said, asked = np.random.default_rng(1), [], []

    def ask(*about):
        asked.append(about)
        ask_about_run(*about)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("acquire.commands.import_csv.ask_about_run", ask)
        for number, way in enumerate(("forward", "reverse", "forward", "reverse")):
            read = (-SLOPE if number == 3 else SLOPE) + rng.normal(size=10)
            rows = [f"{x:g},{y:.1f}\n" for x, y in zip(AT_MM, read, strict=True)]
            text = "station_mm,reading\n" + "".join(rows[::-1] if way == "reverse" else rows)
            with contextlib.redirect_stderr(io.StringIO()) as told:
                assert import_text(survey, text, *HOW, way) == 0
            said.append(told.getvalue())
    assert "?" not in "".join(said[:3])  # the right ones were not doubted
    return survey, said[3], asked[3][1]


@pytest.fixture
def survey(doubted, tmp_path):
    return shutil.copytree(doubted[0], tmp_path / "survey")


def is_turned(survey):
    return read_survey(survey)[3].setup.turned


def test_contradicted_run_is_kept_as_written_and_the_command_that_mends_it_is_told(doubted, survey):
    measured, told, _ = doubted
    assert f"waylog redo {measured} 4 --as turned" in told and "turned end for end" in told
    assert is_turned(survey) is False
    mend = told[told.index("waylog redo") + 7 : told.index("--as turned") + 11]
    assert main(mend.replace(str(measured), str(survey)).split()) == 0
    assert is_turned(survey) is True


def test_doubt_about_a_run_is_told_in_the_owners_unit(doubted, survey):
    assert "µm/m" in doubted[2].says
    bed_toml = survey / "bed.toml"
    bed_toml.write_text(bed_toml.read_text().replace("[bed]", '[bed]\ndisplay = "inch"'))
    says = run_doubt(survey, 4).says
    assert says.count("thou/ft") == 3 and "µm/m" not in says


@pytest.mark.parametrize("answer", [True, False])
def test_person_is_asked_and_only_a_yes_mends_it(doubted, survey, monkeypatch, answer):
    asked = []
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "confirm", lambda question, **_: asked.append(question) or answer)
    ask_about_run(survey, doubted[2])
    assert len(asked) == 1 and "turned end for end" in asked[0]
    assert is_turned(survey) is answer


@pytest.mark.whole
def test_combine_and_next_lead_with_the_run_and_advise_nothing_else(survey, capsys):
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
