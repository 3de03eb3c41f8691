"""Numbers that cannot be are stopped at every door: bed.toml, typed readings, imported files."""

import io

import pytest

from acquire.cli import main
from tests.invented import bed_toml, dial, level, survey_in

BED = bed_toml(
    800,
    name="invented lathe bed",
    faces=("way",),
    instruments={"level": level(resolution=0.5), "dial": dial(1.5)},
    state={"stands_on": "blocks"},
)
NO_NUMBERS = ["nan", "inf", "-inf", "1e999", "1e300", "0x10", "--5", "1_000", "NaN um"]


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path / "survey", BED)


def refused(capsys, *argv):
    """Run it: exit code 1, one line on standard error, nothing on standard output."""
    assert main([str(word) for word in argv]) == 1
    told = capsys.readouterr()
    refusal = [
        line for line in told.err.splitlines() if line and not line.startswith(("note:", "understood"))
    ]
    assert "Traceback" not in told.err and told.out == ""
    return refusal[-1]


@pytest.mark.parametrize(
    ("was", "becomes"),
    [
        ("base_mm = 200", "base_mm = 0"),
        ("base_mm = 200", "base_mm = -200"),
        ("base_mm = 200", "base_mm = nan"),
        ("base_mm = 200", "base_mm = inf"),
        ("standard_uncertainty = 1.0\n", "standard_uncertainty = -1\n"),
        ("standard_uncertainty = 1.0\n", "standard_uncertainty = nan\n"),
        ("standard_uncertainty = 1.0\n", "standard_uncertainty = inf\n"),
        ("resolution = 0.5", "resolution = 0"),
        ("length_mm = 800", "length_mm = 0"),
        ("length_mm = 800", "length_mm = inf"),
        ("station_pitch_mm = 100", "station_pitch_mm = nan"),
        ("station_pitch_mm = 100", "station_pitch_mm = -100"),
        ("station_pitch_mm = 100", "station_pitch_mm = 1e-9"),
        ("station_pitch_mm = 100", "stations_mm = [0, 100, 900]"),
        ("station_pitch_mm = 100", "stations_mm = [0, nan, 800]"),
        ("length_mm = 800", "length_mm = 1" + "0" * 400),
    ],
)
def test_bed_that_cannot_be_is_refused_by_whatever_reads_it(survey, capsys, was, becomes):
    assert was in BED
    (survey / "bed.toml").write_text(BED.replace(was, becomes), encoding="utf-8")
    for argv in (["show", survey], ["map", survey, "way"], ["mend", survey]):
        said = refused(capsys, *argv)
        assert "bed.toml" in said and becomes.split()[0].split("=")[0] in said


@pytest.mark.parametrize("cell", NO_NUMBERS)
def test_imported_cell_that_is_no_reading_is_refused_and_nothing_is_kept(survey, capsys, tmp_path, cell):
    path = tmp_path / "run.csv"
    path.write_text(f"station_mm,reading\n100,1\n300,{cell}\n500,2\n", encoding="utf-8")
    said = refused(capsys, "import", survey, path, "--face", "way", "--instrument", "level")
    assert "line 3" in said
    assert list((survey / "traverses").iterdir()) == []


@pytest.mark.parametrize("station", ["-1", "800.6", "50", "nan", "inf", "1e300", ""])
def test_imported_station_that_is_not_on_the_bed_is_refused(survey, capsys, tmp_path, station):
    path = tmp_path / "run.csv"
    path.write_text(f"station_mm,reading\n100,1\n{station},5\n500,2\n", encoding="utf-8")
    said = refused(capsys, "import", survey, path, "--face", "way", "--instrument", "level")
    assert "line 3" in said
    assert list((survey / "traverses").iterdir()) == []


@pytest.mark.parametrize("typed", NO_NUMBERS)
def test_typed_reading_that_is_none_is_refused_and_nothing_is_kept(survey, capsys, monkeypatch, typed):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{typed}\n" * 9))
    argv = ["enter", str(survey), "way", "--instrument", "level"]
    assert main(argv) in (0, 1)
    assert "Traceback" not in capsys.readouterr().err
    assert list((survey / "traverses").glob("*.h5")) == []


@pytest.mark.parametrize("option", [("--from", "nan"), ("--from", "1e9"), ("--position", "feed:nan")])
def test_feed_that_cannot_be_is_refused_before_anything_is_recorded(survey, capsys, option):
    position = [] if option[0] == "--position" else ["--position", "feed:5"]
    code = main(["record", str(survey), "way", "--instrument", "level", *position, *option])
    assert code in (1, 2) and "Traceback" not in capsys.readouterr().err
    assert list((survey / "traverses").iterdir()) == []
