"""Exports: what goes out comes back the same, and nothing is overwritten."""

import csv
import dataclasses
import io
from pathlib import Path

import h5py
import numpy as np
import pytest

from acquire.cli import main
from acquire.model.cells import as_cell
from acquire.model.traverse import Row
from acquire.reduce.deriving import on_bed
from acquire.store import files_of, read_survey, read_traverse, write_traverse
from tests.invented import bed_toml, import_text, level, survey_in

pytestmark = pytest.mark.whole

BED = bed_toml(400, instruments={"level": level(0.1, unit="mm/m", base_mm=100, per_division=0.02, sign=-1)})
HOW = ("--face", "front", "--instrument", "level")


@pytest.fixture
def survey(tmp_path) -> Path:
    folder = survey_in(tmp_path / "survey", BED)
    for direction in ("forward", "reverse"):
        text = "station_mm,reading,note\n50,1.5,\n150,-0.5,chatter here\n250,,\n350,2\n"
        assert import_text(folder, text, *HOW, "--direction", direction) == 0
    return folder


def test_station_with_a_foot_just_over_the_end_is_kept_by_every_door(survey, tmp_path):
    """A scale's zero is out by a millimetre and a half: recorded, it is kept; its export is taken back."""
    recorded = read_traverse(files_of(survey)[1], raw=True)
    over = np.array([48.5, 150.0, 351.5])  # feet at −1.5 and 98.5 mm; at 301.5 and 401.5 mm of 400
    setup = recorded.setup.with_number(3)
    rows = [
        Row(float(x), float(y), 0.0, 1, 0.0) for x, y in zip(over, recorded.stations.reading, strict=True)
    ]
    assert on_bed(setup, rows) == (rows, [])
    stations = dataclasses.replace(recorded.stations, station_mm=over)
    kept = dataclasses.replace(recorded, setup=setup, stations=stations)
    write_traverse(survey / "traverses" / "003-front-level.h5", kept)
    assert main(["export", str(survey), str(tmp_path / "out")]) == 0
    exported = sorted((tmp_path / "out").iterdir())[2]
    assert main(["import", str(survey), str(exported), *HOW]) == 0
    assert np.array_equal(read_survey(survey)[3].stations.station_mm, over)


def test_exported_csv_imports_as_the_same_readings(survey, tmp_path):
    assert main(["export", str(survey), str(tmp_path / "out")]) == 0
    first = sorted((tmp_path / "out").iterdir())[0]
    assert main(["import", str(survey), str(first), *HOW]) == 0
    one, _, again = read_survey(survey)
    assert np.array_equal(one.stations.reading, again.stations.reading)
    assert np.array_equal(one.stations.station_mm, again.stations.station_mm)
    assert one.stations.note == again.stations.note


def test_exported_hdf5_holds_every_traverse_for_outsiders(survey, tmp_path):
    assert main(["export", str(survey), str(tmp_path / "all.h5")]) == 0
    with h5py.File(tmp_path / "all.h5") as file:
        assert sorted(file) == ["001", "002"]
        assert file["002"].attrs["direction"] == "reverse"
    import xarray

    opened = xarray.open_dataset(tmp_path / "all.h5", group="001/stations", engine="h5netcdf")
    # 1.5 divisions of 0.02 mm/m, counted the other way
    assert opened["reading"].values[0] == pytest.approx(-30.0)
    opened.close()


def test_export_never_overwrites(survey, tmp_path, capsys):
    for target in ("all.h5", "out"):
        assert main(["export", str(survey), str(tmp_path / target)]) == 0
        assert main(["export", str(survey), str(tmp_path / target)]) == 1
        assert "is there already" in capsys.readouterr().err


def test_survey_without_traverses_is_told(tmp_path, capsys):
    (tmp_path / "bed.toml").write_text(BED)
    assert main(["export", str(tmp_path), str(tmp_path / "all.h5")]) == 1
    assert "holds no traverse" in capsys.readouterr().err


def exported(survey, folder) -> dict[str, list[list[str]]]:
    """The rows of every file of an export, as another program's reader of CSV sees them."""
    assert main(["export", str(survey), str(folder)]) == 0
    return {path.name: list(csv.reader(path.open(newline=""))) for path in sorted(folder.iterdir())}


def test_first_row_is_the_header_and_a_file_of_its_own_says_what_each_is_of(survey, tmp_path):
    files = exported(survey, tmp_path / "out")
    first = files["001-front-level.csv"]
    assert first[0] == ["station_mm", "reading (um/m)", "repeat", "note"]
    assert all(len(row) == 4 for row in first) and float(first[1][0]) == 50.0
    head, *rows = files["traverses.csv"]
    assert [dict(zip(head, row, strict=True))["direction"] for row in rows] == ["forward", "reverse"]
    assert [row[0] for row in rows] == sorted(set(files) - {"traverses.csv"})


RUN = ["=1+1", "+1", "-2+3", "@sum(1)", "'=1", "''", "'tis loose", "\u2212 a minus", "=", "a=1"]


def test_text_that_a_spreadsheet_would_run_stays_text_and_reads_back_the_same(survey, tmp_path):
    """A cell that begins with = + - @, tab or return is taken for a formula (from memory)."""
    lines = io.StringIO()
    rows = csv.writer(lines)
    rows.writerow(["from_mm", "to_mm", "reading", "note"])
    rows.writerows([25 * k, 25 * k + 100, 1.5, as_cell(note)] for k, note in enumerate(RUN))
    assert import_text(survey, lines.getvalue(), *HOW) == 0
    assert read_survey(survey)[-1].stations.note == tuple(RUN)
    cells = [row[3] for row in exported(survey, tmp_path / "out")["003-front-level.csv"][1:]]
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "-", "@", "\t", "\r")]
    assert main(["import", str(survey), str(tmp_path / "out" / "003-front-level.csv"), *HOW]) == 0
    assert read_survey(survey)[-1].stations.note == tuple(RUN)


def test_exported_numbers_have_the_digits_they_deserve(survey, tmp_path):
    """1.1 divisions of 20 µm/m is 22.000000000000004 in a computer; no reading is known so well."""
    assert import_text(survey, "station_mm,reading\n50,1.1\n150,2.2\n250,3.3\n", *HOW) == 0
    rows = exported(survey, tmp_path / "out")["003-front-level.csv"][1:]
    assert max(len(cell) for row in rows for cell in row) <= 8
    kept = read_survey(survey)[-1].stations
    shown = [-float(row[1]) for row in rows]
    np.testing.assert_allclose(shown, kept.reading, atol=1e-3 * kept.standard_uncertainty.min())
