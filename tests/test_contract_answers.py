"""What other programs rely on: keys, types and units of the JSON, exit codes, the traverse file.

One invented survey (two ways, forward and reverse levels, a cross level, an indicator)
answers all questions.
"""

import json
import shutil
import subprocess

import h5py
import numpy as np
import pytest

from acquire.cli import main
from tests.invented import imported, survey_in

pytestmark = pytest.mark.usefixtures("opened_once")
BED = """
[bed]
name = "invented bed"
length_mm = 1000
station_pitch_mm = 100
display = "inch"
carriage_length_mm = 200
[faces.way]
normal = "up"
across_mm = 0
carriage = "front"
unworn_mm = [[0, 200], [800, 1000]]
[faces.flat]
normal = "up"
across_mm = 300
carriage = "rear"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 100
standard_uncertainty = 1
[instruments.cross]
quantity = "roll"
unit = "um/m"
standard_uncertainty = 1
[instruments.dial]
quantity = "offset"
unit = "um"
standard_uncertainty = 0.5
[state]
stands_on = "feet"
clamped = false
"""
STATION = np.arange(0.0, 1001.0, 100.0)
MIDDLE = STATION[:-1] + 50
NUMBER = (int, float)


def hollow(x):
    return -30 * np.exp(-(((x - 450) / 180) ** 2))


def winding(x):
    return -10 * np.exp(-(((x - 600) / 150) ** 2)) + 0.05 * x


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    folder = survey_in(tmp_path_factory.mktemp("survey") / "bed", BED)
    random = np.random.default_rng(12)

    def taken(x, reading, noise, *options):
        imported(folder, x, reading + random.normal(0, noise, len(x)), *options)

    for face, shape in (("way", hollow), ("flat", winding)):
        for direction in ("forward", "reverse"):
            slope = (shape(MIDDLE + 50) - shape(MIDDLE - 50)) / 0.1
            taken(MIDDLE, slope, 1.0, "--face", face, "-i", "level", "--direction", direction)
    between = winding(STATION) - hollow(STATION)
    taken(STATION, between / 0.3, 1.0, "--across", "way", "flat", "-i", "cross")
    taken(STATION, between, 0.5, "--face", "flat", "-i", "dial", "-r", "way")
    return folder


@pytest.fixture(scope="module")
def told():
    """What commands printed, by their words: one survey that nothing changes is asked once by each."""
    return {}


@pytest.fixture
def ask(survey, capsys, told):
    """Give the one JSON object that a command prints; no number in it may be NaN."""

    def asked(*asked_words):
        command, *words = asked_words
        if asked_words not in told:
            capsys.readouterr()
            assert main([command, str(survey), *words, "--json"]) == 0
            told[asked_words] = capsys.readouterr().out
        printed = told[asked_words]

        def refuse(constant):
            raise AssertionError(f"{constant} in {printed}")

        return json.loads(printed, parse_constant=refuse)

    return asked


def assert_numbers(found, *names, length):
    for name in names:
        assert len(found[name]) == length, name
        assert all(value is None or type(value) in NUMBER for value in found[name]), name


def test_map(ask):
    found = ask("map", "way", "--over", "300mm")  # a bare number is in the unit of the survey: inches
    assert (found["face"], found["by"], found["line"], found["mode"]) == ("way", "all", "unworn", "stepped")
    assert found["traverses"] == [1, 2, 5, 6]
    assert_numbers(found, "station_mm", "height_um", "standard_uncertainty_um", length=11)
    assert found["station_mm"] == STATION.tolist()
    assert set(found["straightness_um"]) == {"ends", "least_squares", "minimum_zone", "unworn"}
    assert found["straightness_um"]["unworn"] == pytest.approx(np.ptp(found["height_um"]))
    assert ask("map", "flat")["line"] == ask("map", "way", "--line", "ends")["line"] == "ends"
    assert type(found["straightness_expanded_um"]) is float
    assert found["sense"] == "hollow" and found["blind_wavelengths_mm"] == []
    assert set(found["highest"]) == set(found["lowest"]) == {"station_mm", "height_um"}
    assert found["lowest"]["height_um"] == min(found["height_um"])
    assert found["worst_over"].keys() >= {"length_mm", "from_mm", "straightness_um"}
    assert all(isinstance(words, str) for words in found["warnings"])


def test_map_by_one_kind_of_instrument_and_line(ask):
    by_level = ask("map", "flat", "--by", "level", "--line", "minimum-zone")
    assert by_level["traverses"] == [3, 4] and by_level["line"] == "minimum-zone"
    assert np.ptp(by_level["height_um"]) == pytest.approx(by_level["straightness_um"]["minimum_zone"])
    assert "unworn" not in by_level["straightness_um"]
    assert ask("map", "flat", "--by", "indicator")["traverses"] == [6]


def test_twist(ask):
    found = ask("twist")
    figures = {"twist_um_per_m", "wind_um_per_m", "worst_over_carriage_um_per_m"}
    columns = ("station_mm", "roll_um_per_m", "standard_uncertainty_um_per_m")
    assert (found["front"], found["rear"], found["gauge_mm"]) == ("way", "flat", 300)
    assert set(found["methods"]) == {"cross_level", "two_maps"} and found["agree"] is True
    for each in (found, *found["methods"].values()):
        assert_numbers(each, *columns, length=11)
        assert figures <= each.keys()
    assert found["wind_um_per_m"] == pytest.approx(0.05 * 1000 / 0.3, abs=6)
    assert found["twist_um_per_m"] == pytest.approx(np.ptp(found["roll_um_per_m"]))
    assert found["methods"]["two_maps"]["twist_um_per_m"] is None


def test_compare(ask, survey, capsys):
    found = ask("compare", "flat:level", "flat:indicator")
    columns = ("station_mm", "difference_um", "expanded_uncertainty_um", "normalised_error")
    assert_numbers(found, *columns, length=11)
    for name in ("largest_normalised_error", "rms_um", "chi_square", "p_value", "smallest_detectable_um"):
        assert type(found[name]) is float, name
    error = np.array(found["difference_um"]) / np.array(found["expanded_uncertainty_um"])
    assert found["normalised_error"] == pytest.approx(error.tolist())
    assert found["largest_normalised_error"] == pytest.approx(np.max(np.abs(error)))
    assert found["agree"] is True
    assert main(["compare", str(survey), "1", "6"]) == 1
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert "same thing" in line


def test_combine(ask):
    found = ask("combine")
    assert set(found["faces"]) == {"way", "flat"}
    for face in found["faces"].values():
        assert_numbers(face, "station_mm", "height_um", "standard_uncertainty_um", length=11)
    assert type(found["redundancy"]) is int and type(found["chi_square"]) is float
    assert 0.01 < found["p_value"] < 1 and found["suspects"] == []
    assert all(set(each) >= {"traverse", "station_mm"} for each in found["unchecked"])
    assert all(isinstance(words, str) for words in found["cannot_tell"])


def test_next(ask):
    advice = ask("next")["advice"]
    assert advice and all(set(each) >= {"instrument", "face", "what", "now", "then"} for each in advice)


def test_show_lists_traverses_by_number(ask, survey, capsys):
    listed = ask("show")["traverses"]
    assert [each["number"] for each in listed] == [1, 2, 3, 4, 5, 6]
    assert [each["readings"] for each in listed] == [10, 10, 10, 10, 11, 11]
    assert [each["quantity"] for each in listed] == ["slope"] * 4 + ["roll", "offset"]
    assert listed[1]["direction"] == "reverse" and listed[1]["complete"] is True
    assert {"face", "instrument", "stations"} <= listed[0].keys()
    (file,) = (survey / "traverses").glob("002-*.h5")
    capsys.readouterr()
    assert main(["show", str(file), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["traverses"][0]["number"] == 2


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("map", "SURVEY", "nowhere"), 1),
        (("map", "SURVEY/nothing", "way"), 1),
        (("compare", "SURVEY", "1", "99"), 1),
        (("map", "SURVEY"), 2),
        (("map", "SURVEY", "way", "--line", "curved"), 2),
        (("polish", "SURVEY"), 2),
    ],
)
def test_exit_codes(survey, capsys, words, code):
    assert main([word.replace("SURVEY", str(survey)) for word in words]) == code
    told = capsys.readouterr()
    assert told.out == ""
    if code == 1:
        assert len(told.err.strip().splitlines()) == 1


def test_inch_changes_what_people_see_and_never_the_json(ask, survey, capsys):
    assert ask("map", "way") == ask("map", "way", "--inch") == ask("map", "way", "--metric")
    assert main(["map", str(survey), "way"]) == 0
    assert "station in" in capsys.readouterr().out
    assert main(["map", str(survey), "way", "--metric"]) == 0
    assert "station mm" in capsys.readouterr().out


def test_traverse_file_opens_without_us(survey):
    (path,) = (survey / "traverses").glob("006-*.h5")
    with h5py.File(path) as file:
        told = {
            name: file.attrs[name] for name in ("face", "instrument", "reference", "quantity", "direction")
        }
        assert told == {
            "face": "flat", "instrument": "dial", "reference": "way", "quantity": "offset",
            "direction": "forward",
        }  # fmt: skip
        assert file.attrs["format"] == "waylog traverse" and file.attrs["mode"] == "stepped"
        assert file.attrs["complete"] and {"format_version", "created_utc"} <= set(file.attrs)
        assert file["bed_toml"][()].decode() == BED
        assert (survey / "run.csv").read_bytes() == bytes(
            next(iter(file["streams"].values()))["raw/bytes"][:]
        )
        named = []
        file.visititems(lambda name, item: named.append(name) if "units" in item.attrs else None)
        assert {"stations/reading", "stations/samples", "stations/repeat", "events/text"} <= set(named)
    import xarray

    with xarray.open_dataset(path, group="stations", engine="h5netcdf") as stations:
        assert stations.reading.dims == ("station_mm",) and stations.reading.attrs["units"] == "um"
        assert stations.station_mm.values.tolist() == STATION.tolist()
    dump = shutil.which("h5dump")
    if dump:
        assert subprocess.run([dump, "-H", str(path)], capture_output=True, check=False).returncode == 0


ANALYSIS = (
    ("map", "way"),
    ("twist",),
    ("combine",),
    ("plan", "way"),
    ("datums",),
    ("next",),
    ("blue", "way"),
)


@pytest.mark.parametrize("asked", ANALYSIS, ids=" ".join)
def test_every_answer_holds_what_it_takes_for_granted(ask, asked):
    found = ask(*asked)["assumptions"]
    assert {each["what"] for each in found} >= {"scale", "base", "seating", "positions exact"}
    assert all(type(each["stated"]) is bool for each in found)
    assert not any(each["stated"] for each in found if each["what"] == "scale")


def test_comparison_holds_what_it_takes_for_granted(ask):
    found = ask("compare", "flat:level", "6")["assumptions"]
    assert {"scale", "base", "feet", "seating"} <= {each["what"] for each in found}


@pytest.mark.parametrize("asked", [*ANALYSIS, ("compare", "flat:level", "6")], ids=" ".join)
def test_every_answer_says_in_one_line_what_it_takes_for_granted(survey, capsys, asked):
    command, *words = asked
    assert main([command, str(survey), *words]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert sum("takes for granted" in line for line in lines) == 1
    assert sum("(scale_uncertainty)" in line for line in lines) == 1
