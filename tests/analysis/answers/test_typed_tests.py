"""Tests of a few readings are kept with the survey and answered again: nothing is typed twice."""

import json

import pytest

from acquire.cli import main
from acquire.model.errors import SurveyError
from acquire.store.kept import kept_folder, read_tests
from analysis.answers.surveys import load
from analysis.answers.typed_tests import TESTS, answer_kept
from analysis.report.parts import further_parts
from analysis.words.typed_tests import TITLES, WORDS
from tests.invented import bed_toml, imported, level

BED = bed_toml(
    name="invented",
    bed="{display}",
    faces=("way",),
    instruments={"level": level(1, base_mm=100, seating_um=0)},
)
BAR = ["--top", "2", "11", "4", "5", "--front", "0", "0", "0", "0", "--at", "100", "350"]
EVERY = [
    ["align", "bar", *BAR],
    ["align", "quill", "--top", "1", "4", "--front", "0", "-2", "--at", "800", "900"],
    ["align", "centres", "--top", "0", "10", "0", "6", "--front", "0", "8", "0", "4"],
    ["align", "facing", "--reading", "5.6", "--radius", "140", "--diameter", "300"],
    ["square", "blade", "--height", "300", "--first", "0 3 6", "--turned", "0 1 2"],
    ["square", "guides", "--height", "300", "--up", "0 3", "--travel", "200", "--along", "0 1",
     "--up-turned", "0 1", "--along-turned", "0 2"],
    ["square", "cylinder", "--height", "300", "--first", "0 3 6", "--turned", "0 1 2", "--taper", "1"],
    ["square", "level", "--table", "5", "1", "--column", "9", "3", "--angle-error", "10"],
    ["square", "sweep", "--reading", "12", "0", "--radius", "150"],
    ["flanks", "angles", "--rollers", "20mm", "40mm", "--top", "24.142", "48.284", "--side", "0", "0"],
    ["dovetail", "pins", "--angle", "60", "--pin", "10", "--at", "0 300", "--measure", "187.32 187.35"],
    ["dovetail", "gib", "--play", "40", "--angle", "60", "--taper", "60"],
]  # fmt: skip


@pytest.fixture
def survey(tmp_path):
    def make(display=""):
        (tmp_path / "bed.toml").write_text(BED.format(display=display))
        (tmp_path / "traverses").mkdir()
        return tmp_path

    return make


def typed(words, folder):
    """The words with the survey behind the test."""
    return [*words[:2], str(folder), *words[2:]]


def test_every_kind_is_kept_and_answered_again_as_it_was(survey, capsys):
    folder = survey()
    first = []
    for words in EVERY:
        assert main([*typed(words, folder), "--json", "--keep", "--note", "before"]) == 0, capsys.readouterr()
        said = capsys.readouterr()
        first.append(json.loads(said.out))
        assert "kept: " in said.err
    assert main(["kept", str(folder), "--json"]) == 0
    again = json.loads(capsys.readouterr().out)["tests"]
    assert [each["answer"] for each in again] == first
    assert [each["kept"]["test"] for each in again] == [" ".join(words[:2]) for words in EVERY]
    assert {each["kept"]["note"] for each in again} == {"before"}


def test_kept_tests_stand_in_show_and_in_the_report(survey, capsys):
    folder = survey()
    assert main([*typed(EVERY[0], folder), "--keep", "--note", "chuck off"]) == 0
    capsys.readouterr()
    assert main(["show", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "test 1, align bar" in said and "chuck off" in said and "top_um 2 11 4 5" in said
    imported(folder, range(50, 400, 100), (0, 1, 0, 2), "--face", "way", "-i", "level")
    loaded = load(folder)
    (part,) = further_parts(loaded, loaded.map(), None, inch=False)
    assert part.key == "test-1"
    assert part.title == "Spindle by a test bar"
    assert any("20 µm/m" in str(block) for block in part.blocks)
    assert "chuck off" in str(part.blocks[-1])


def test_inches_are_kept_as_what_they_are(survey, capsys):
    folder = survey('display = "inch"')
    words = [
        "align",
        "facing",
        str(folder),
        "--reading",
        "0.2",
        "--radius",
        "5",
        "--diameter",
        "10",
        "--keep",
    ]
    assert main(words) == 0
    (kept,) = read_tests(folder)
    assert kept.readings["reading_um"] == pytest.approx(5.08)
    assert kept.readings["radius_mm"] == pytest.approx(127)
    first = capsys.readouterr().out.splitlines()[0]
    assert main(["kept", str(folder)]) == 0
    assert first in capsys.readouterr().out


def test_nothing_is_kept_unasked_and_no_kept_file_is_altered(survey, capsys):
    folder = survey()
    assert main(typed(EVERY[0], folder)) == 0
    assert not kept_folder(folder).exists()
    for _ in range(2):
        assert main([*typed(EVERY[0], folder), "--keep"]) == 0
    assert sorted(path.name for path in kept_folder(folder).iterdir()) == [
        "001-align-bar.toml",
        "002-align-bar.toml",
    ]
    assert main([*typed(EVERY[0], folder), "--note", "words"]) == 2
    assert "--note goes with --keep" in capsys.readouterr().err


@pytest.mark.parametrize(
    "text",
    [
        "nothing",
        'test = "align bar"\n',
        'test = 3\ncreated_utc = ""\nnote = ""\n[readings]\n',
        "[readings]\na = nan",
    ],
)
def test_file_that_holds_no_test_is_named(survey, text):
    folder = survey()
    kept_folder(folder).mkdir()
    (kept_folder(folder) / "001-align-bar.toml").write_text(text)
    with pytest.raises(SurveyError, match=r"001-align-bar\.toml: found no kept test"):
        read_tests(folder)


def test_readings_that_do_not_fit_a_test_hide_no_other(survey, capsys):
    folder = survey()
    kept_folder(folder).mkdir()
    for number, (test, reading) in enumerate((("align bar", 'top_um = "x"'), ("align moon", "a = 1")), 1):
        (kept_folder(folder) / f"{number:03d}-x.toml").write_text(
            f'test = "{test}"\ncreated_utc = "2026-01-01"\nnote = ""\n[readings]\n{reading}\n'
        )
    assert main([*typed(EVERY[-1], folder), "--keep"]) == 0
    told = answer_kept(load(folder)).tests
    assert ["do not fit" in (each.why_not or "") for each in told] == [True, False, False]
    assert "found no such test" in told[1].why_not
    assert told[2].answer is not None
    assert main(["kept", str(folder)]) == 0
    assert "Gib" in capsys.readouterr().out


def test_every_test_has_words_and_a_title():
    assert TESTS.keys() == WORDS.keys() == TITLES.keys()
