"""A survey that is shown in inches asks, takes and says inches at every door; files stay in mm and µm."""

import csv
import io
import json

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import read_bed
from acquire.store import read_survey
from tests.invented import import_text

OF_METRIC = ("mm", "µm")


@pytest.fixture
def survey(tmp_path, capsys):
    """Invented: 42 in long, stations every 3 in, a vial on feet 6 in apart, an indicator in thou."""
    folder = tmp_path / "survey"
    asked = ["--inch", "--length", "3' 6\"", "--pitch", "3", "--gauge", "10in", "--base", '6"']
    kinds = ["--instrument", "vial", "--instrument", "indicator", "--temperature-top", "68F"]
    assert main(["-q", "start", str(folder), *asked, *kinds]) == 0
    capsys.readouterr()
    return folder


DIAL = ("--face", "rear-flat", "-i", "indicator", "--reference", "line")


def test_start_in_inches_takes_bare_numbers_as_inches_and_degrees_with_their_unit(survey):
    bed = read_bed(survey / "bed.toml")
    assert (bed.length_mm, bed.station_mm[1], bed.instruments["vial"].base_mm) == (1066.8, 76.2, 152.4)
    assert bed.faces["rear-flat"].across_mm == 254 and bed.state["temperature_top_degC"] == 20


def test_temperature_of_a_survey_in_inches_without_its_unit_is_refused(tmp_path, capsys):
    assert main(["start", str(tmp_path / "b"), "--inch", "--temperature-top", "68"]) == 2
    assert "68 °F or 20 °C" in capsys.readouterr().err and not (tmp_path / "b").exists()


@pytest.mark.parametrize("places", ["0,3,6", "0 in,76.2mm,½'", '0,3",6 in'])
def test_imported_places_are_in_inches_where_nothing_else_is_said(survey, capsys, places):
    rows = "\n".join(
        f"{place},{reading}" for place, reading in zip(places.split(","), (1, 2, 3), strict=True)
    )
    assert import_text(survey, f"station,reading\n{rows}\n", *DIAL) == 0
    told = capsys.readouterr()
    assert "0 in to 6 in" in told.out and not any(f" {unit}" in told.out for unit in OF_METRIC)
    (traverse,) = read_survey(survey)
    assert traverse.stations.station_mm == pytest.approx([0, 76.2, 152.4], abs=1e-9)
    assert traverse.stations.reading == pytest.approx([25.4, 50.8, 76.2])


def test_places_keep_the_unit_they_were_imported_in_when_the_display_is_changed(survey, capsys):
    assert import_text(survey, "station,reading\n0,1\n3,2\n6,3\n", *DIAL) == 0
    path = survey / "bed.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace('display = "inch"', 'display = "metric"'), encoding="utf-8"
    )
    assert main(["redo", str(survey)]) == 0
    assert read_survey(survey)[0].stations.station_mm == pytest.approx([0, 76.2, 152.4])


def test_column_that_names_mm_is_in_mm(survey):
    assert import_text(survey, "station_mm,reading\n0,1\n76.2,2\n", *DIAL) == 0
    assert read_survey(survey)[0].stations.station_mm == pytest.approx([0, 76.2])


def test_refusals_are_in_inches(survey, capsys):
    assert import_text(survey, "station,reading\n0,1\n43,2\n", *DIAL) == 1
    said = capsys.readouterr().err
    assert "found 43 in" in said and "0 to 42 in" in said and "mm" not in said


def test_json_stays_metric(survey, capsys):
    assert import_text(survey, "station,reading\n0,1\n3,2\n", *DIAL, "--json") == 0
    assert json.loads(capsys.readouterr().out)["station_mm"] == [0.0, 76.2]


def test_what_export_writes_in_inches_import_reads_back_the_same(survey, capsys):
    rng = np.random.default_rng(7)
    rows = "\n".join(
        f"{at} mm,{um:.4f} µm"
        for at, um in zip((0, 101.123456, 304.8, 1000.1), rng.normal(0, 30, 4), strict=True)
    )
    assert import_text(survey, f"station,reading\n{rows}\n", *DIAL) == 0
    vial = ("--face", "front-vee", "-i", "vial")
    assert import_text(survey, "station,reading\n3,1.5\n9,-0.7 div\n15,0.02 mm/m\n", *vial) == 0
    assert main(["export", str(survey), str(survey.parent / "out")]) == 0
    heads = []
    for path, how in zip(sorted((survey.parent / "out").glob("0*.csv")), (DIAL, vial), strict=True):
        heads.append(next(csv.reader(io.StringIO(path.read_text(encoding="utf-8")))))
        assert main(["import", str(survey), str(path), *how]) == 0
    assert [head[:2] for head in heads] == [
        ["station (in)", "reading (thou)"], ["station (in)", "reading (thou/ft)"]
    ]  # fmt: skip
    read = read_survey(survey)
    for before, after in zip(read[:2], read[2:], strict=True):
        assert after.stations.station_mm == pytest.approx(before.stations.station_mm, abs=1e-5)
        assert after.stations.reading == pytest.approx(before.stations.reading, abs=2e-3)


def test_typed_entry_asks_and_answers_in_inches(survey, capsys, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO('0.5 thou\n1/64"\n0.0127mm\n'))
    stretch = ["--from", "6", "--to", "1'", "--step", '3"']
    assert main(["enter", str(survey), *DIAL[1:2], *DIAL[2:], *stretch]) == 0
    told = capsys.readouterr()
    assert not any(f" {unit}" in told.out for unit in OF_METRIC)
    (traverse,) = read_survey(survey)
    assert traverse.stations.station_mm == pytest.approx([152.4, 228.6, 304.8])
    assert traverse.stations.reading == pytest.approx([12.7, 396.875, 12.7])


@pytest.mark.parametrize(
    ("option", "value", "code"),
    [("--step", "0", 2), ("--from", "six", 2), ("--to", "43", 1), ("--to", "1,0.5", 2)],
)
def test_length_that_is_none_or_off_the_bed_is_refused(survey, capsys, monkeypatch, option, value, code):
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    assert main(["enter", str(survey), *DIAL[1:2], *DIAL[2:], option, value]) == code
    assert " mm" not in capsys.readouterr().err.splitlines()[-1].replace("300 mm", "")


@pytest.mark.parametrize(
    "stretch", ["0-12 1/2 full", "0 to 12.5in full", '0" - 12 ½" full', "0–317.5mm full"]
)
def test_marks_take_lengths_in_any_form(survey, capsys, stretch):
    with (survey / "bed.toml").open("a", encoding="utf-8") as file:
        file.write('[straightedges.edge]\nlength = "36 in"\n')
    assert main(["marks", str(survey), "rear-flat", stretch, "--edge", "edge", "--film", "0.1"]) == 0
    (kept,) = (survey / "marks").iterdir()
    words = kept.read_text(encoding="utf-8")
    assert "317.5" in words and "2.54" in words
    assert main(["marks", str(survey), "rear-flat", "0-40 full", "--edge", "edge"]) == 1
    assert "0 in to 36 in" in capsys.readouterr().err
