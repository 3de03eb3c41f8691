"""Exports: what goes out comes back the same, and nothing is overwritten."""

import dataclasses
from pathlib import Path

import h5py
import numpy as np
import pytest
import xarray

from acquire.cli import main
from acquire.reduce.deriving import _on_bed
from acquire.reduce.stopping import Row
from acquire.store import read_survey, write_traverse

BED = """
[bed]
name = "invented bed"
length_mm = 400
station_pitch_mm = 100
[faces.front]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "mm/m"
per_division = 0.02
base_mm = 100
standard_uncertainty = 0.1
sign = -1
"""


@pytest.fixture
def survey(tmp_path) -> Path:
    folder = tmp_path / "survey"
    folder.mkdir()
    (folder / "bed.toml").write_text(BED)
    (tmp_path / "in.csv").write_text(
        "station_mm,reading,note\n50,1.5,\n150,-0.5,chatter here\n250,,\n350,2\n"
    )
    for direction in ("forward", "reverse"):
        arguments = [
            "import",
            str(folder),
            str(tmp_path / "in.csv"),
            "--face",
            "front",
            "--instrument",
            "level",
        ]
        assert main([*arguments, "--direction", direction]) == 0
    return folder


def test_station_with_a_foot_just_over_the_end_is_kept_by_every_door(survey, tmp_path):
    """A scale's zero is out by a millimetre and a half: recorded, it is kept; its export is taken back."""
    recorded = read_survey(survey, raw=True)[0]
    over = np.array([48.5, 150.0, 351.5])  # feet at −1.5 and 98.5 mm; at 301.5 and 401.5 mm of 400
    setup = recorded.setup.with_number(3)
    rows = [
        Row(float(x), float(y), 0.0, 1, 0.0) for x, y in zip(over, recorded.stations.reading, strict=True)
    ]
    assert _on_bed(setup, rows) == (rows, [])
    stations = dataclasses.replace(recorded.stations, station_mm=over)
    kept = dataclasses.replace(recorded, setup=setup, stations=stations)
    write_traverse(survey / "traverses" / "003-front-level.h5", kept)
    assert main(["export", str(survey), str(tmp_path / "out")]) == 0
    exported = sorted((tmp_path / "out").iterdir())[2]
    assert main(["import", str(survey), str(exported), "--face", "front", "--instrument", "level"]) == 0
    assert np.array_equal(read_survey(survey)[3].stations.station_mm, over)


def test_exported_csv_imports_as_the_same_readings(survey, tmp_path):
    assert main(["export", str(survey), str(tmp_path / "out")]) == 0
    first = sorted((tmp_path / "out").iterdir())[0]
    assert main(["import", str(survey), str(first), "--face", "front", "--instrument", "level"]) == 0
    one, _, again = read_survey(survey)
    assert np.array_equal(one.stations.reading, again.stations.reading)
    assert np.array_equal(one.stations.station_mm, again.stations.station_mm)
    assert one.stations.note == again.stations.note


def test_exported_hdf5_holds_every_traverse_for_outsiders(survey, tmp_path):
    assert main(["export", str(survey), str(tmp_path / "all.h5")]) == 0
    with h5py.File(tmp_path / "all.h5") as file:
        assert sorted(file) == ["001", "002"]
        assert file["002"].attrs["direction"] == "reverse"
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
