"""Readings copied from a filled sheet: top to bottom, and the direction decides the order of measuring."""

import io

import numpy as np
import pytest

from acquire.cli import main
from acquire.store import read_survey
from tests.invented import bed_toml, level

BED = bed_toml(400, instruments={"level": level(base_mm=100)})


@pytest.fixture
def survey(tmp_path):
    (tmp_path / "bed.toml").write_text(BED)
    return tmp_path


@pytest.mark.whole
@pytest.mark.parametrize(("sheet", "expected"), [(["--sheet"], [1, 2, 3, 4]), ([], [4, 3, 2, 1])])
def test_reverse_run_is_typed_top_to_bottom_only_from_a_sheet(survey, monkeypatch, sheet, expected):
    monkeypatch.setattr("sys.stdin", io.StringIO("1\n2\n3\n4\n"))
    words = ["enter", str(survey), "front", "--instrument", "level", "--direction", "reverse"]
    assert main([*words, *sheet]) == 0
    (traverse,) = read_survey(survey)
    assert traverse.stations.station_mm.tolist() == [50, 150, 250, 350]
    assert traverse.stations.reading.tolist() == expected


@pytest.mark.whole
def test_time_of_copying_is_not_taken_for_the_time_of_measuring(survey, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("1\n2\n-\n4\n"))
    assert main(["enter", str(survey), "front", "--instrument", "level", "--sheet"]) == 0
    (traverse,) = read_survey(survey)
    assert np.isnan(traverse.stations.time_s).all()
    assert len(traverse.stations) == 3
