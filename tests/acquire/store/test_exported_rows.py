"""The rows of an export: what an instrument showed, in the unit that the head names, so that they come back.

Values by hand: 25.4 µm are a thou, 25.4 mm an inch (exact).
"""

import csv
import dataclasses
import io

import h5py
import numpy as np
import pytest

from acquire.model.corrections import AS_READ, CORRECTION, STRUCK, Correction
from acquire.model.errors import SurveyError
from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.reduce.written.imported import readings_imported
from acquire.store.exporting import export_csv, export_hdf5, stations_as_csv, traverses_as_csv
from acquire.store.traverse_file.writer import write_traverse
from tests.invented import bed_toml, dial, level, survey_in

BED = bed_toml(
    1000,
    127,
    name="invented",
    faces=("way",),
    instruments={
        "vial": level(0.1, base_mm=254, per_division=20, sign=-1),
        "dial": dial(0.1, unit="thou", sign=-1),
    },
)
INCH = BED.replace("[bed]", '[bed]\ndisplay = "inch"')
AT = np.array([127.0, 254.0, 254.0, 381.0])
READ = np.array([25.4, -50.8, -76.2, 0.0])


def made(bed=BED, instrument="dial", corrections=(), complete=True, **setup):
    quantity, reference = ("offset", "line") if instrument == "dial" else ("slope", None)
    of = Setup(instrument, quantity, bed, face="way", reference=reference, source="import", number=1, **setup)
    ones = np.ones(4)
    stations = Stations(
        AT, READ, 2.54 * ones, 0 * ones, ones.astype(int), np.array([1, 1, 2, 1]), np.nan * ones,
        ("", "a chip", "", ""),
    )  # fmt: skip
    events = Events(np.zeros(len(corrections)), (CORRECTION,) * len(corrections),
                    tuple(each.as_text() for each in corrections))  # fmt: skip
    return Traverse(of, {}, stations, events, "stepped", complete)


def rows(traverse):
    head, *found = csv.reader(io.StringIO(stations_as_csv(traverse)))
    return [dict(zip(head, row, strict=True)) for row in found]


def test_contract_unit_and_the_sign_that_the_instrument_showed():
    first, second, third, _ = rows(made())
    assert first == {"station_mm": "127.0", "reading (um)": "-25.4", "repeat": "1", "note": ""}
    assert (second["reading (um)"], second["note"], third["repeat"]) == ("50.8", "a chip", "2")


@pytest.mark.parametrize(
    ("instrument", "head", "reading"), [("dial", "thou", "-1.0"), ("vial", "thou/ft", "-0.3048")]
)
def test_survey_in_inches_is_written_in_inches_and_thou(instrument, head, reading):
    """25.4 µm/m over a foot are 25.4 × 0.3048 µm = 0.3048 thou."""
    first, second, *_ = rows(made(INCH, instrument))
    assert list(first) == ["station (in)", f"reading ({head})", "repeat", "note"]
    assert (first["station (in)"], second["station (in)"]) == ("5.0", "10.0")
    assert float(first[f"reading ({head})"]) == pytest.approx(float(reading))


@pytest.mark.parametrize("bed", [BED, INCH], ids=["mm", "inch"])
@pytest.mark.parametrize("instrument", ["dial", "vial"])
@pytest.mark.parametrize("direction", ["forward", "reverse"])
def test_what_goes_out_is_taken_back_the_same_without_a_doubt(bed, instrument, direction):
    run = made(bed, instrument, direction=direction, place_unit="in" if bed is INCH else None)
    back = readings_imported(run.setup, stations_as_csv(run).encode())
    np.testing.assert_allclose(back.stations.station_mm, AT, atol=1e-6)
    np.testing.assert_allclose(back.stations.reading, READ, atol=1e-3 * 2.54)
    assert back.stations.repeat.tolist() == [1, 1, 2, 1] and back.doubts == ()


def test_reverse_run_is_written_in_the_order_of_reading():
    assert [row["station_mm"] for row in rows(made(direction="reverse"))] == [
        "381.0",
        "254.0",
        "254.0",
        "127.0",
    ]


def test_reading_struck_out_is_a_gap_that_says_why_and_one_put_back_is_none():
    struck = Correction(508.0, 1, STRUCK, "+3 um", "a knock")
    back = Correction(635.0, 1, AS_READ, "+3 um", "it was right")
    found = rows(made(corrections=(struck, back)))
    assert len(found) == 5
    assert found[-1]["station_mm"] == "508.0" and found[-1]["reading (um)"] == ""
    assert found[-1]["note"] == "struck out, read +3 um: a knock"


def test_number_is_rounded_by_less_than_a_thousandth_of_its_uncertainty():
    fine = made()
    stations = dataclasses.replace(fine.stations, reading=READ + 1 / 3)
    for row, read in zip(rows(dataclasses.replace(fine, stations=stations)), stations.reading, strict=True):
        assert abs(-float(row["reading (um)"]) - read) < 2.54e-3
        assert len(row["reading (um)"]) < 10


def test_list_of_files_tells_a_run_that_was_cut_short():
    whole, cut = made(), made(complete=False, direction="reverse")
    head, *found = csv.reader(io.StringIO(traverses_as_csv([whole, cut], ["1.csv", "2.csv"])))
    first, second = (dict(zip(head, row, strict=True)) for row in found)
    assert (first["complete"], second["complete"]) == ("true", "false")
    assert (first["direction"], second["direction"]) == ("forward", "reverse")
    assert (second["file"], second["face"], second["reference"], second["mode"]) == (
        "2.csv",
        "way",
        "line",
        "stepped",
    )


@pytest.fixture
def survey(tmp_path):
    folder = survey_in(tmp_path / "survey", BED)
    write_traverse(folder / "traverses" / "001-way-dial.h5", made())
    return folder


def test_nothing_that_is_there_is_written_over(survey, tmp_path):
    (tmp_path / "all.h5").write_text("mine")
    with pytest.raises(SurveyError, match="is there already"):
        export_hdf5(survey, tmp_path / "all.h5")
    assert (tmp_path / "all.h5").read_text() == "mine"
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "traverses.csv").write_text("mine")
    with pytest.raises(SurveyError, match="is there already"):
        export_csv(survey, tmp_path / "out")
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["traverses.csv"]
    assert (tmp_path / "out" / "traverses.csv").read_text() == "mine"


def test_one_file_holds_a_group_for_each_traverse_by_its_number(survey, tmp_path):
    assert export_hdf5(survey, tmp_path / "all.h5") == 1
    with h5py.File(tmp_path / "all.h5") as file:
        assert list(file) == ["001"]
        np.testing.assert_array_equal(file["001/stations/reading"][:], READ)
