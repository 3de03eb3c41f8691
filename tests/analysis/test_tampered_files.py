"""A traverse file that was tampered with never becomes a map, a comparison or a straight line."""

import json
import shutil

import h5py
import numpy as np
import pytest

from acquire.cli import main
from tests.invented import bed_toml, flat, imported, level, survey_in

pytestmark = pytest.mark.whole

BED = bed_toml(
    800,
    name="invented lathe bed",
    faces={"front": flat(0, "front"), "rear": flat(300, "rear")},
    instruments={"level": level(1)},
    state={"stands_on": "blocks"},
)
COMMANDS = [
    ("map", "front"),
    ("twist",),
    ("compare", "1", "2"),
    ("combine",),
    ("next",),
    ("report",),
]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """Two traverses of the front way and one of the rear, imported."""
    folder = survey_in(tmp_path_factory.mktemp("made") / "survey", BED)
    for face in ("front", "front", "rear"):
        imported(folder, range(100, 701, 200), (0, 3, 6, 9), "--face", face, "--instrument", "level")
    return folder


@pytest.fixture
def survey(made, tmp_path, capsys):
    """A copy that may be tampered with."""
    shutil.copytree(made, tmp_path / "survey")
    capsys.readouterr()
    return tmp_path / "survey"


def column(name, value, at=2):
    """Put a value into a column of the stations."""

    def tamper(file):
        file[f"stations/{name}"][at] = value

    return tamper


def every(name, value):
    """Put a value into every row of it."""

    def tamper(file):
        file[f"stations/{name}"][:] = value

    return tamper


def bed_with(was, becomes):
    """Alter the description that the file was measured with, in both places where it stands."""

    def tamper(file):
        setup = json.loads(file["setup_json"][()])
        setup["bed_toml"] = setup["bed_toml"].replace(was, becomes)
        for name, text in (
            ("bed_toml", setup["bed_toml"]),
            ("setup_json", json.dumps(setup, sort_keys=True)),
        ):
            del file[name]
            encoded = text.encode()
            file[name] = np.array(encoded, dtype=h5py.string_dtype("utf-8", len(encoded)))

    return tamper


TAMPERED = {
    "reading is no number": column("reading", np.nan),
    "reading is infinite": column("reading", np.inf),
    "all readings are no numbers": every("reading", np.nan),
    "reading beyond any instrument": column("reading", 1e300),
    "station off the bed": column("station_mm", 5000.0, at=-1),
    "station before the bed": column("station_mm", -50.0, at=0),
    "station is no number": column("station_mm", np.nan),
    "stations out of order": column("station_mm", 750.0, at=0),
    "negative uncertainty": column("standard_uncertainty", -1.0),
    "infinite uncertainty": every("standard_uncertainty", np.inf),
    "uncertainty beyond sense": every("standard_uncertainty", 1e200),
    "scatter is no number": column("scatter", np.nan),
    "no sample at all": column("samples", 0),
    "base of zero": bed_with("base_mm = 200", "base_mm = 0"),
    "base that is no number": bed_with("base_mm = 200", "base_mm = nan"),
    "negative uncertainty described": bed_with("standard_uncertainty = 1\n", "standard_uncertainty = -1\n"),
}


@pytest.mark.parametrize("how", TAMPERED)
def test_every_analysis_refuses_a_tampered_file_in_one_line(survey, capsys, how):
    path = sorted(survey.glob("traverses/001-*.h5"))[0]
    with h5py.File(path, "r+") as file:
        TAMPERED[how](file)
    for command, *more in COMMANDS:
        assert main([command, str(survey), *more]) == 1, command
        told = capsys.readouterr()
        assert told.out == "" and "Traceback" not in told.err
        assert len(told.err.strip().splitlines()) == 1 and "001" in told.err, told.err
    assert not (survey / "report").exists()


def test_untouched_survey_is_answered(survey, capsys):
    """What the refusals above are held against."""
    for command, *more in COMMANDS:
        assert main([command, str(survey), *more]) == 0, (command, capsys.readouterr().err)
    assert (survey / "report").is_dir()
