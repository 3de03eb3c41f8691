"""One level, two jobs: described once for use along the bed, it is laid across as well."""

import io
import json
import sys

import numpy as np
import pytest

from acquire.cli import main
from acquire.store import files_of, read_survey, read_traverse
from tests.invented import bed_toml, flat, level, survey_in

pytestmark = pytest.mark.usefixtures("opened_once")
BED = bed_toml(
    800,
    faces={
        "front-vee": flat(0, "front"),
        "rear-flat": flat(300, "rear"),
        "side": {"normal": "rear", "across_mm": 320},
    },
    instruments={
        "vial": level(0.1, unit="mm/m", per_division=0.02, seating_um=0.5),
        "collimator": level(0.2, unit="arcsec", gravity=False),
    },
)
CROSS = """
[instruments.cross]
quantity = "roll"
unit = "mm/m"
per_division = 0.02
standard_uncertainty = 0.1
seating_um = 0.5
"""
DIVISIONS = [0.5, 1.0, 1.5, 1.5, 2.0, 2.5, 2.0, 1.0, 0.5]
ROLL_UM_PER_M = [20 * each for each in DIVISIONS]
"""One division of the vial is 0.02 mm/m, or 20 µm/m."""


def survey_of(tmp_path, name, more=""):
    return survey_in(tmp_path / name, BED + more)


@pytest.fixture
def survey(tmp_path):
    return survey_of(tmp_path, "survey")


def entered(survey, monkeypatch, *words, readings=DIVISIONS):
    monkeypatch.setattr(sys, "stdin", io.StringIO("".join(f"{each}\n" for each in readings)))
    return main(["enter", str(survey), *words])


def test_level_with_feet_reads_roll_when_it_lies_across_at_the_beds_stations(survey, monkeypatch, capsys):
    assert entered(survey, monkeypatch, "--across", "front-vee", "rear-flat", "-i", "vial") == 0
    assert "must look to the rear now" in capsys.readouterr().err
    traverse = read_traverse(files_of(survey)[1])
    assert (traverse.setup.quantity, traverse.setup.front, traverse.setup.rear) == (
        "roll",
        "front-vee",
        "rear-flat",
    )
    assert traverse.stations.station_mm.tolist() == list(range(0, 900, 100))
    assert traverse.stations.reading.tolist() == ROLL_UM_PER_M
    assert main(["redo", str(survey)]) == 0
    assert read_traverse(files_of(survey)[1]).stations.reading.tolist() == ROLL_UM_PER_M


def test_twist_is_that_of_the_same_level_described_as_a_cross_level(survey, tmp_path, monkeypatch, capsys):
    """A second way to say the same thing: an entry of its own for the level that lies across."""
    twice = survey_of(tmp_path, "twice", CROSS)
    assert entered(survey, monkeypatch, "--across", "front-vee", "rear-flat", "-i", "vial") == 0
    assert entered(twice, monkeypatch, "--across", "front-vee", "rear-flat", "-i", "cross") == 0
    answers = []
    for folder in (survey, twice):
        capsys.readouterr()
        assert main(["twist", str(folder), "--json"]) == 0
        answers.append(json.loads(capsys.readouterr().out))
    for key in ("roll_um_per_m", "standard_uncertainty_um_per_m", "twist_um_per_m", "wind_um_per_m"):
        np.testing.assert_allclose(answers[0][key], answers[1][key], rtol=1e-9)
    assert answers[0]["wind_um_per_m"] == pytest.approx(ROLL_UM_PER_M[-1] - ROLL_UM_PER_M[0])


@pytest.mark.whole
def test_the_two_jobs_go_into_one_map(survey, tmp_path, monkeypatch, capsys):
    assert entered(survey, monkeypatch, "front-vee", "-i", "vial", readings=[1, 2, 1, 0]) == 0
    assert entered(survey, monkeypatch, "rear-flat", "-i", "vial", readings=[0, 1, 1, 0]) == 0
    assert entered(survey, monkeypatch, "--across", "front-vee", "rear-flat", "-i", "vial") == 0
    assert [each.setup.quantity for each in read_survey(survey)] == ["slope", "slope", "roll"]
    capsys.readouterr()
    assert main(["combine", str(survey), "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)["faces"]) == {"front-vee", "rear-flat"}


def test_level_across_the_carriage_and_along_it(survey, monkeypatch):
    assert entered(survey, monkeypatch, "--across", "carriage", "-i", "vial") == 0
    assert entered(survey, monkeypatch, "carriage", "-i", "vial", readings=[1, 2, 1, 0]) == 0
    across, along = (each.setup for each in read_survey(survey))
    assert (across.quantity, across.reference, along.quantity, along.face) == (
        "roll",
        "carriage",
        "slope",
        "carriage",
    )


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--across", "front-vee", "rear-flat", "-i", "collimator"), "a roll instrument, or a level"),
        (("--across", "front-vee", "side", "-i", "vial"), "two faces that both look up"),
        (
            ("--across", "front-vee", "rear-flat", "-i", "vial", "--same-zero-as", "1"),
            "a bridge has a zero of its own",
        ),
    ],
)
def test_what_cannot_lie_across_is_refused(survey, monkeypatch, capsys, words, told):
    assert entered(survey, monkeypatch, "front-vee", "-i", "vial", readings=[1, 2, 1, 0]) == 0
    assert entered(survey, monkeypatch, *words) == 1
    assert told in capsys.readouterr().err and list(files_of(survey)) == [1]


@pytest.mark.whole
def test_person_at_a_terminal_reads_the_level_across_without_a_second_entry(survey, at_a_terminal):
    typed = "".join(f"{each}\n" for each in DIVISIONS).encode()
    done = at_a_terminal(["enter", survey, "--across", "front-vee", "rear-flat", "-i", "vial"], typed)
    assert done.returncode == 0, done.stderr
    assert "0 mm, 1 of 9 (div)" in done.stderr and "feet at" not in done.stderr
    assert read_traverse(files_of(survey)[1]).stations.reading.tolist() == ROLL_UM_PER_M


def test_next_proposes_the_level_that_is_there_for_the_twist(survey, monkeypatch, capsys):
    only_ways = BED[: BED.index("[instruments.collimator]")].replace("[faces.side]", "[faces.far-flat]")
    (survey / "bed.toml").write_text(only_ways, encoding="utf-8")
    assert entered(survey, monkeypatch, "front-vee", "-i", "vial", readings=[1, 2, 1, 0]) == 0
    assert entered(survey, monkeypatch, "rear-flat", "-i", "vial", readings=[0, 1, 1, 0]) == 0
    capsys.readouterr()
    assert main(["next", str(survey)]) == 0
    said = capsys.readouterr().out
    assert f"enter {survey} --across front-vee rear-flat --instrument vial" in said


@pytest.mark.parametrize(
    ("words", "back"),
    [
        (("carriage",), ("--face", "carriage")),
        (("--across", "carriage"), ("--across", "carriage")),
        (("--across", "front-vee", "rear-flat"), ("--across", "front-vee", "rear-flat")),
        (("front-vee+rear-flat",), ("--across", "front-vee", "rear-flat")),
    ],
)
def test_sheet_takes_what_enter_takes_and_its_table_comes_back(survey, monkeypatch, words, back):
    monkeypatch.setattr("analysis.draw.sheets.write_sheets", lambda *_: 1)  # the PDF has claims of its own
    assert main(["sheet", str(survey), *words, "-i", "vial"]) == 0
    (table,) = (survey / "sheets").glob("*.csv")
    text = table.read_text(encoding="utf-8")
    assert f"waylog import SURVEY {table.name} {' '.join(back)} --instrument vial" in text
    filled = [line.replace(",,,", ",1.5,,") if line[0].isdigit() else line for line in text.splitlines()]
    table.write_text("\n".join(filled) + "\n", encoding="utf-8")
    assert main(["import", str(survey), str(table), *back, "-i", "vial"]) == 0
    traverse = read_traverse(files_of(survey)[1])
    assert set(traverse.stations.reading) == {30.0}
    assert traverse.setup.quantity == ("roll" if "--across" in back else "slope")


def test_sheet_of_what_does_not_fit_is_refused(survey, capsys):
    assert main(["sheet", str(survey), "carriage"]) == 1
    assert main(["sheet", str(survey), "--across", "front-vee", "rear-flat", "-i", "collimator"]) == 1
    assert main(["sheet", str(survey), "-i", "vial"]) == 2
    assert "carriage for a level on it" in capsys.readouterr().err
