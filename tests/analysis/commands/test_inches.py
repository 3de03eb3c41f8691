"""An invented survey in inches: every answer is in inches and thou, JSON in mm and µm."""

import html
import json
import re

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.inch_words import in_owners_unit
from tests.invented import imported

pytestmark = pytest.mark.usefixtures("opened_once")
PLACES = np.arange(0, 43, 3.0)
MORE = """
[straightedges.three-foot]
length = "36 in"
[limits]
straightness = { rear-flat = "0.6 thou" }
twist = "0.5 thou/ft"
"""
FOOT = '[feet.{}]\nstation = "{} in"\nacross = "{} in"\nlift_per_turn = "1/12 in"\nhand_step = "1 thou"\n'


def worn(x, depth):
    return 0.03 * x - depth * np.exp(-(((x - 16) / 9) ** 2))


def rear(x):
    return worn(x, 0.7) + 0.02 * x


@pytest.fixture(scope="module")
def survey(tmp_path_factory):
    """Front vee worn by 1.6 thou, rear flat by 0.7 and in wind (invented)."""
    folder = tmp_path_factory.mktemp("inches") / "survey"
    kinds = [word for kind in ("vial", "indicator", "cross-level") for word in ("--instrument", kind)]
    asked = ["--inch", "--length", "42", "--pitch", "3", "--gauge", "10", "--base", "6"]
    assert main(["-q", "start", str(folder), *asked, *kinds]) == 0
    feet = [FOOT.format(f"{end}-{side}", at, across) for end, at in (("head", 3), ("tail", 39))
            for side, across in (("front", 0), ("rear", 10))]  # fmt: skip
    path = folder / "bed.toml"
    text = path.read_text(encoding="utf-8").replace(
        '# unworn = [["0 in", "3 in"]]', 'unworn = [["0 in", "3 in"], ["39 in", "42 in"]]'
    )
    text = text.replace("# carriage_length", "carriage_length").replace("# centre_height", "centre_height")
    path.write_text(text + MORE + "".join(feet), encoding="utf-8")
    rng = np.random.default_rng(4)
    middles = PLACES[1:-1]
    for name, way in (("front-vee", lambda x: worn(x, 1.6)), ("rear-flat", rear)):
        slope = (way(middles + 3) - way(middles - 3)) / 6 * 12
        read(
            folder, middles, (slope + rng.normal(0, 0.05, len(middles))) / 0.5, ("--face", name, "-i", "vial")
        )
    dial = ("--face", "rear-flat", "-i", "indicator", "--reference", "front-vee")
    read(folder, PLACES, rear(PLACES) - worn(PLACES, 1.6) + rng.normal(0, 0.05, len(PLACES)), dial)
    roll = (rear(PLACES) - worn(PLACES, 1.6)) / 10 * 12 + rng.normal(0, 0.01, len(PLACES))
    read(folder, PLACES, roll, ("--across", "front-vee", "rear-flat", "-i", "cross-level"))
    assert main(["marks", str(folder), "rear-flat", "0-12 full", "--edge", "three-foot"]) == 0
    return folder


def read(folder, places, readings, how):
    imported(folder, places, np.round(readings, 2), *how, head="station")


COMMANDS = [
    ["map", "front-vee", "--over", "1 ft"],
    ["map", "rear-flat", "--by", "level", "--line", "ends"],
    ["twist"],
    ["compare", "rear-flat:level", "rear-flat:front-vee"],
    ["combine"],
    pytest.param(["next"], marks=pytest.mark.whole),
    ["datums", "--within", "0.5"],
    ["plan", "front-vee", "--untouched", "0", '3 1/2"'],
    ["plan", "rear-flat", "--at-most", "0.01"],
    ["blue", "rear-flat"],
    ["blue", "front-vee", "--edge", "three-foot", "--from", "3 in", "--film", "0.1"],
    ["feet"],
    ["limits"],
    ["work", "--diameter", "2"],
    ["align", "tailstock", "--on", "rear-flat"],
    ["show"],
]
BESIDE_INCHES = re.compile(r"\([^()]*(?:µm|mm)[^()]*\)|\b[\d.]+ mm/m\b")
"""What stands in brackets behind inches and thou, and a vial's own mm/m, are there by design."""
BARE_METRIC = re.compile(r"[\d.] ?(?:mm|µm)\b")


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
def test_no_answer_of_a_survey_in_inches_is_in_metric_units_alone(survey, capsys, words):
    at = 2 if words[0] == "align" else 1
    assert main([*words[:at], str(survey), *words[at:]]) == 0
    told = capsys.readouterr()
    for line in (told.out + told.err).splitlines():
        assert not BARE_METRIC.search(BESIDE_INCHES.sub("", line)), line
    assert words[0] in ("show", "next") or "thou" in told.out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["map", "front-vee", "--over", "50"], "found 50 in"),
        (["plan", "front-vee", "--untouched", "40", "44"], "40 to 44 in"),
        (["blue", "rear-flat", "--edge", "three-foot", "--from", "50"], "50 to 42 in"),
        (["compare", "1", "2"], "front-vee"),
    ],
)
def test_refusals_are_in_inches(survey, capsys, words, said):
    assert main([words[0], str(survey), *words[1:]]) == 1
    told = capsys.readouterr().err
    assert said in told and not BARE_METRIC.search(told)


def test_length_of_an_option_is_the_same_in_any_form(survey, capsys):
    found = []
    for over in ("12", "1'", "304.8 mm", "12 in"):
        assert main(["map", str(survey), "front-vee", "--over", over, "--json"]) == 0
        found.append(json.loads(capsys.readouterr().out)["worst_over"])
    assert found[0]["length_mm"] == 304.8 and found.count(found[0]) == 4


@pytest.mark.whole
def test_report_in_inches_has_no_sentence_in_metric_units_alone(survey, capsys):
    assert main(["report", str(survey)]) == 0
    told = capsys.readouterr().out
    assert not BARE_METRIC.search(BESIDE_INCHES.sub("", told))
    page = (survey / "report" / "report.html").read_text(encoding="utf-8")
    plain = re.sub(r"(?s)<style.*?</style>|<script.*?</script>", "", page)
    for line in html.unescape(re.sub("<[^>]+>", "\n", plain)).splitlines():
        assert not BARE_METRIC.search(BESIDE_INCHES.sub("", line)), line


@pytest.mark.parametrize(
    ("metric", "inches"),
    [
        ("0 to 1066.8 mm", "0 to 42 in"), ("at 76.2, 152.4 and 228.6 mm", "at 3, 6 and 9 in"),
        ("(0, 152.4, …, 1066.8 mm)", "(0, 6, …, 42 in)"), ("± 5 µm", "± 0.2 thou"), ("±0.7 µm", "±0.03 thou"),
        ("25 µm/m", "0.30 thou/ft"), ("41 µm (1.6 thou)", "1.6 thou (41 µm)"),
        ("1.6 thou (41 µm)", "1.6 thou (41 µm)"),
        ("0.02 mm/m", "0.02 mm/m"), ("base_mm", "base_mm"), ("found '30 mm'", "found '30 mm'"),
        ("20 °C", "20 °C"),
        ("-0,02 mm", "-0,02 mm"), ("5 mm/s", "11.8 in/min"),
        ("9 mm/s²", "9 mm/s²"), ("40 µm²", "40 µm²"), ("−2.54 µm", "-0.100 thou"),
        ("1 mm; one such as 300 mm, 12 in. At 254 mm", "0.04 in; one such as 300 mm, 12 in. At 10 in"),
    ],
)  # fmt: skip
def test_sentence_is_said_in_inches_with_as_many_digits_as_it_had(metric, inches):
    assert in_owners_unit(metric, True) == inches
    assert in_owners_unit(metric, False) == metric
