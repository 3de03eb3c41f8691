"""Alignment, squareness, flanks, limits and the turned part as they are typed: keys, units, refusals."""

import json

import numpy as np
import pytest

from acquire.cli import main
from tests.invented import bed_toml, cross_level, dial, flat, imported, level, survey_in, vee

pytestmark = pytest.mark.usefixtures("opened_once")
BED = bed_toml(
    name="invented lathe",
    bed="centre_height_mm = 170\ncarriage_length_mm = 200\n{display}",
    faces={
        "vee": vee(0, "front"),
        "flat": flat(300, "rear"),
        "wall": {"normal": "rear", "across_mm": -60},
    },
    instruments={
        "level": level(1, base_mm=100, seating_um=0),
        "cross": cross_level(1, seating_um=0),
        "dial": dial(1, seating_um=0),
    },
    limits="straightness_um = {{ vee = 10 }}\nwind_um_per_m = 500",
)
X = np.arange(0.0, 1001.0, 100.0)
MIDDLE = X[:-1] + 50


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    folder = tmp_path_factory.mktemp("lathe")
    survey_in(folder, BED.format(display=""))
    random = np.random.default_rng(5)
    vee, flat = -40 * np.exp(-(((X - 350) / 180) ** 2)), 0.02 * X
    side = 12 * np.exp(-(((X - 350) / 180) ** 2))

    def taken(x, reading, *options):
        imported(folder, x, reading + random.normal(0, 1, len(x)), *options)

    taken(MIDDLE, np.diff(vee) / 0.1, "--face", "vee", "-i", "level")
    taken(MIDDLE, np.diff(flat) / 0.1, "--face", "flat", "-i", "level", "--same-zero-as", "1")
    taken(X, (flat - vee) / 0.3, "--across", "vee", "flat", "-i", "cross")
    taken(X, 0 * X, "--face", "wall", "-i", "dial", "-r", "line")
    taken(X, -side, "--face", "wall", "-i", "dial", "-r", "vee")
    return folder


@pytest.fixture
def ask(survey, capsys):
    """The one JSON object that a command prints."""

    def asked(*words):
        capsys.readouterr()
        command = [str(survey) if word == "SURVEY" else word for word in words]
        assert main([*command, "--json"]) == 0
        return json.loads(capsys.readouterr().out)

    return asked


@pytest.mark.whole
def test_work_answers_with_keys_units_and_a_picture(ask, tmp_path):
    picture = tmp_path / "part.png"
    found = ask("work", "SURVEY", "--diameter", "40mm", "--picture", str(picture))
    assert picture.stat().st_size > 10_000
    assert found["diameter_mm"] == 40 and found["known_up_to"] == "a line" and found["missing"] == []
    assert len(found["diameter_um"]) == len(found["station_mm"]) == len(found["standard_uncertainty_um"])
    assert found["varies_interval_um"][0] <= found["varies_um"] <= found["varies_interval_um"][1]
    assert {"from_roll", "from_sideways", "from_height"} <= found.keys()


def test_limits_answer_with_verdict_and_rule(ask, tmp_path):
    picture = tmp_path / "limits.svg"
    found = ask("limits", "SURVEY", "--rule", "2u", "--picture", str(picture))
    assert picture.exists()
    assert [(each["verdict"], each["rule"]) for each in found["judged"]] == [
        ("does not meet", "2u"),
        ("meets", "2u"),
    ]


def test_typed_figures_are_in_the_surveys_unit_or_their_own(ask, survey, tmp_path, capsys):
    """5.6 µm bare, and 0.0056 mm; in an inch survey a bare figure is thou, a bare length inches."""
    plain = ask("align", "facing", "SURVEY", "--reading", "5.6", "--radius", "140", "--diameter", "300")
    named = ask(
        "align", "facing", "SURVEY", "--reading", "0.0056 mm", "--radius", "14e4 um", "--diameter", "300mm"
    )
    assert plain["depth_um"]["value"] == pytest.approx(3.0) == pytest.approx(named["depth_um"]["value"])
    survey_in(tmp_path, BED.format(display='display = "inch"'))
    words = ["align", "facing", str(tmp_path), "--reading", "1", "--radius", "5", "--diameter", "10"]
    capsys.readouterr()
    assert main([*words, "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["depth_um"]["value"] == pytest.approx(12.7)
    assert (
        main(["align", "facing", str(tmp_path), "--reading", "2 kg", "--radius", "5", "--diameter", "1"]) == 2
    )


def test_collars_bar_and_tailstock_answer(ask):
    collars = ask("align", "turned", "SURVEY", "--diameters", "30", "30.024", "--at", "200", "450")
    assert collars["split"]["taper_um"]["value"] == pytest.approx(24)
    assert collars["split"]["headstock_um_per_m"]["standard_uncertainty"] > 0
    bar = ask(
        "align",
        "bar",
        "SURVEY",
        "--top",
        "2",
        "11",
        "4",
        "5",
        "--front",
        "0",
        "0",
        "0",
        "0",
        "--at",
        "300",
        "550",
    )
    assert bar["read"]["rise_um_per_m"]["value"] == pytest.approx(20)
    assert bar["rise_um_per_m"]["value"] != pytest.approx(20)
    tailstock = ask("align", "tailstock", "SURVEY", "--on", "flat")
    assert tailstock["rise_um_per_m"] is not None and "sideways" in tailstock["missing"]


def test_headstock_of_an_empty_survey_is_not_blamed(tmp_path, capsys):
    survey_in(tmp_path, BED.format(display=""))
    words = ["align", "turned", str(tmp_path), "--diameters", "30", "30.024", "--at", "200", "450"]
    assert main(words) == 1
    assert "the headstock cannot be told from roll and wear" in capsys.readouterr().err


def test_square_flanks_and_dovetail_answer(ask):
    square = ask("square", "blade", "SURVEY", "--height", "300", "--first", "0 9", "--turned", "0 3",
                 "--on", "flat", "--stood", "300", "500")  # fmt: skip
    assert square["lean_um_per_m"]["value"] == pytest.approx(20) and square["stood_on"] == "flat"
    level = ask(
        "square",
        "level",
        "SURVEY",
        "--table",
        "12",
        "-8",
        "--column",
        "-13",
        "17",
        "--angle-error",
        "4arcsec",
    )
    assert level["lean_um_per_m"]["value"] == pytest.approx(25)
    flanks = ask("flanks", "wear", "SURVEY", "vee")
    assert flanks["more_worn"] == "front" and len(flanks["front_um"]) == len(flanks["station_mm"])
    pins = ask(
        "dovetail", "pins", "SURVEY", "--at", "0 100", "--measure", "70 69.99", "--pin", "10", "--angle", "60"
    )
    assert pins["taper_um_per_m"]["value"] == pytest.approx(-100)
    gib = ask("dovetail", "gib", "SURVEY", "--play", "40", "--angle", "60")
    assert gib["driven_mm"] is None
    assert all(answer["assumptions"] for answer in (square, level, flanks, pins, gib))


@pytest.mark.parametrize(
    "words",
    [
        ["square", "blade", "SURVEY", "--height", "300", "--first", "0 9", "--turned", "0 3", "--on", "flat"],
        [
            "align",
            "bar",
            "SURVEY",
            "--top",
            *"1111",
            "--front",
            *"1111",
            "--at",
            "1",
            "2",
            "--bar-length",
            "3",
        ],
        ["dovetail", "pins", "SURVEY", "--at", "0", "--measure", "70", "--pin", "10"],
    ],
)
def test_options_that_go_together_are_asked_for_together(survey, words, capsys):
    assert main([str(survey) if word == "SURVEY" else word for word in words]) == 2
    assert "together" in (said := capsys.readouterr().err) or "one of the two" in said


def test_quill_by_a_bar_turned_in_its_taper(survey, capsys):
    """By hand: top 1, 4 and turned 3, 2 over 100 mm: 10 µm/m, u 10; front 0, −2 both ways: 20 to the rear."""
    words = ["align", "quill", str(survey), "--top", "1", "4", "--front", "0", "-2", "--at", "800", "900"]
    words += ["--top-turned", "3", "2", "--front-turned", "0", "-2"]
    assert main([*words, "--json"]) == 0
    read = json.loads(capsys.readouterr().out)["read"]
    assert read["rise_um_per_m"]["value"] == pytest.approx(10)
    assert read["rise_um_per_m"]["standard_uncertainty"] == pytest.approx(10)
    assert read["rear_um_per_m"]["value"] == pytest.approx(20)
    assert main([*words, "--diameter", "60"]) == 2
    assert "--diameter and --extension go together" in capsys.readouterr().err
    assert main([*words, "--diameter", "60", "--extension", "200", "--held", "50"]) == 0
    said = capsys.readouterr().out
    assert "hangs" in said and "together with the ways that the tailstock is clamped on" in said
