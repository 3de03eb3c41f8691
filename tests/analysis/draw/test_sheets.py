"""Sheets: what is printed can be written on, and its table comes back as readings."""

import re
import shutil
import subprocess

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from acquire.store import read_survey
from analysis.draw.sheets import PAPERS, plan_sheet, write_sheets, write_twin
from tests.invented import bed_toml, cross_level, dial, flat, level, scale, vee

pytestmark = pytest.mark.whole

BED = bed_toml(
    1650,
    50,
    faces={"front-vee": vee(0, "front"), "rear-flat": flat(300, "rear")},
    instruments={
        "vial": level(0.2, unit="mm/m", per_division=0.02),
        "turned-vial": level(sign=-1),
        "cross": cross_level(),
        "scale": scale(),
        "dial": dial(),
    },
)


@pytest.fixture
def bed():
    return parse_bed(BED)


@pytest.fixture
def survey(tmp_path):
    (tmp_path / "bed.toml").write_text(BED, encoding="utf-8")
    return tmp_path


def words_of(pdf):
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext on this machine")
    done = subprocess.run(["pdftotext", "-layout", pdf, "-"], capture_output=True, text=True, check=True)
    return done.stdout


def test_level_is_stepped_foot_to_foot_from_the_headstock(bed):
    """Eight steps of 200 mm fit on 1650 mm; a slope's station is the middle of the base."""
    sheet = plan_sheet(bed, "front-vee", "vial")
    assert sheet.station_mm == tuple(100.0 + 200 * step for step in range(8))


def test_without_an_instrument_the_stations_are_the_beds(bed):
    assert plan_sheet(bed, "front-vee").station_mm == bed.station_mm


@pytest.mark.parametrize(
    ("face", "instrument", "found"),
    [
        ("nowhere", "vial", "no such face"),
        ("front-vee", "nothing", "no such measuring instrument"),
        ("front-vee", "scale", "no such measuring instrument"),
        ("front-vee", "cross", "does not fit cross"),
        ("front-vee+rear-flat+side", "vial", "no such face"),
        ("front-vee+front-vee", "cross", "does not fit cross"),
    ],
)
def test_what_does_not_fit_is_refused_with_the_reason(bed, face, instrument, found):
    with pytest.raises(AnalysisError, match=found):
        plan_sheet(bed, face, instrument)


def test_sheet_holds_face_stations_feet_and_signs(bed, tmp_path):
    assert write_sheets(bed, [plan_sheet(bed, "front-vee", "vial")], tmp_path / "sheet.pdf") == 1
    words = words_of(tmp_path / "sheet.pdf")
    for expected in ("front-vee", "0.02 mm/m a division", "1400 – 1600", "forward, div", "lock it off"):
        assert expected in words
    assert "+ means the far end is higher" in words


def test_sign_reminder_follows_an_instrument_that_reads_the_other_way_round(bed, tmp_path):
    write_sheets(bed, [plan_sheet(bed, "front-vee", "turned-vial")], tmp_path / "sheet.pdf")
    assert "+ means the near end is higher" in words_of(tmp_path / "sheet.pdf")


@pytest.mark.parametrize("paper", list(PAPERS))
def test_every_station_is_printed_once_however_many_pages_it_takes(bed, tmp_path, paper):
    sheet = plan_sheet(bed, "rear-flat")
    pages = write_sheets(bed, [sheet], tmp_path / "sheet.pdf", paper)
    assert pages > 1
    printed = re.findall(r"^\s*(\d+)\s+(\d+)\s*$", words_of(tmp_path / "sheet.pdf"), flags=re.MULTILINE)
    assert [(int(n), float(x)) for n, x in printed] == list(enumerate(bed.station_mm, 1))


@pytest.mark.parametrize(("paper", "points"), [("A4", (595, 842)), ("Letter", (612, 792))])
def test_sheet_has_the_size_of_the_paper(bed, tmp_path, paper, points):
    """Paper sizes: ISO 216 and ANSI A, published, in points of 1/72 in."""
    write_sheets(bed, [plan_sheet(bed, "front-vee", "vial")], tmp_path / "sheet.pdf", paper)
    box = re.search(rb"/MediaBox \[ 0 0 ([\d.]+) ([\d.]+) \]", (tmp_path / "sheet.pdf").read_bytes())
    assert tuple(round(float(each)) for each in box.groups()) == points


def test_filled_table_comes_back_as_a_forward_and_a_reverse_run(survey, capsys):
    assert main(["sheet", str(survey), "front-vee", "-i", "vial"]) == 0
    table = survey / "sheets" / "front-vee-vial.csv"
    assert str(table) in capsys.readouterr().out
    rows = table.read_text(encoding="utf-8").splitlines()
    begin = next(number for number, row in enumerate(rows) if not row.startswith("#")) + 1
    for number, row in enumerate(rows[begin:]):
        forward = "" if number == 2 else f"{0.5 * number:g}"
        rows[begin + number] = row.replace(",,,", f",{forward},{-number},")
    table.write_text("\n".join(rows), encoding="utf-8")
    for direction in ("forward", "reverse"):
        words = ["--face", "front-vee", "-i", "vial", "--direction", direction]
        assert main(["import", str(survey), str(table), *words]) == 0
    forward, reverse = read_survey(survey)
    kept = [0, 1, 3, 4, 5, 6, 7]
    # a division is 0.02 mm/m, that is 20 µm/m; the empty cell is a gap
    np.testing.assert_allclose(forward.stations.reading, [10.0 * n for n in kept])
    np.testing.assert_allclose(forward.stations.station_mm, [100 + 200 * n for n in kept])
    np.testing.assert_allclose(reverse.stations.reading, [-20.0 * n for n in range(8)])
    assert (forward.setup.direction, reverse.setup.direction) == ("forward", "reverse")


@pytest.mark.parametrize(("instrument", "is_carried"), [("vial", False), ("dial", True)])
def test_table_of_a_carried_instrument_asks_what_carried_it(bed, tmp_path, instrument, is_carried):
    write_twin(plan_sheet(bed, "front-vee", instrument), tmp_path / "table.csv")
    commands = [line for line in (tmp_path / "table.csv").read_text().splitlines() if "waylog import" in line]
    assert len(commands) == 2
    assert all(("--reference WHAT_CARRIED_IT" in line) == is_carried for line in commands)


def test_table_that_may_hold_readings_is_never_written_over(survey, capsys):
    words = ["sheet", str(survey), "front-vee", "rear-flat", "-i", "vial"]
    assert main(words) == 0
    filled = next((survey / "sheets").glob("*rear-flat.csv"))
    filled.write_text("my readings")
    assert main(words) == 1
    assert "may hold readings" in capsys.readouterr().err
    assert filled.read_text() == "my readings"


def test_pair_of_ways_gets_a_sheet_for_the_cross_level(survey, tmp_path, capsys):
    output = tmp_path / "cross.pdf"
    assert main(["sheet", str(survey), "front-vee+rear-flat", "-i", "cross", "-o", str(output)]) == 0
    assert "--across front-vee rear-flat" in output.with_suffix(".csv").read_text(encoding="utf-8")
    assert "the rear way is higher" in words_of(output)


def test_output_that_is_no_pdf_is_refused(survey, capsys):
    assert main(["sheet", str(survey), "front-vee", "-o", str(survey / "a.txt")]) == 1
    assert "found the ending '.txt'" in capsys.readouterr().err
