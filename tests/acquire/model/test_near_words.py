"""A wrong name proposes the near one: faces, instruments, keys, quantities, tests of a group."""

import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError, BedError, EntryError
from tests.invented import bed_toml, import_text, level, survey_in

BED = bed_toml(
    name="invented",
    faces=("front-vee", "rear-flat"),
    instruments={"long-level": level(base_mm=100, seating_um=0)},
)
LEVELLED = "station_mm,reading\n50,0\n150,0\n250,1\n"


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path, BED)


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        (("--face", "front-ve", "-i", "long-level"), "front-vee"),
        (("--face", "front-vee", "-i", "long-levle"), "long-level"),
    ],
)
def test_wrong_face_or_instrument_proposes_the_near_one(survey, capsys, words, meant):
    assert import_text(survey, LEVELLED, *words) == 1
    assert f"Did you mean {meant}?" in capsys.readouterr().err


def test_question_about_a_wrong_face_proposes_the_near_one(survey, capsys):
    assert import_text(survey, LEVELLED, "--face", "front-vee", "-i", "long-level") == 0
    assert main(["map", str(survey), "front-vea"]) == 1
    assert "Did you mean front-vee?" in capsys.readouterr().err


def test_wrong_quantity_and_wrong_key_propose_the_near_one():
    with pytest.raises(BedError) as told:
        parse_bed(BED.replace('"slope"', '"slop"').replace("seating_um", "seting_um"))
    assert "did you mean slope?" in str(told.value)
    assert "did you mean seating_um?" in str(told.value)


def test_name_that_is_like_none_proposes_none():
    error = EntryError("face 'underside'", "found no such face in bed.toml", "front-vee | rear-flat")
    assert "Did you mean" not in str(error)
    assert "Did you mean" not in str(AnalysisError("way", "found nothing measured", "a way | two"))


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("align", "tailstok", "folder"), "Did you mean tailstock?"),
        (("square", "folder", "blade"), "First the test, then the survey: blade folder"),
        (("dovetail", "pin", "folder"), "Did you mean pins?"),
    ],
)
def test_wrong_test_of_a_group_proposes_the_right_one(capsys, words, told):
    assert main(list(words)) == 2
    assert told in capsys.readouterr().err
