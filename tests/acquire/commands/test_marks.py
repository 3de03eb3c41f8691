"""Marks of blue: typed, kept, and held against the map by `waylog blue`."""

import json
import os
from pathlib import Path

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import SurveyError
from acquire.model.marks import Mark, parse_mark
from acquire.store.kept import read_marks
from tests.invented import bed_toml, dial, imported

BED = bed_toml(
    name="invented bench bed",
    faces=("way",),
    instruments={"target": dial(seating_um=0.0)},
    straightedges={"long": {"length_mm": 1000, "depth_mm": 60, "material": "steel"}},
)


@pytest.fixture
def survey(tmp_path, capsys):
    """A way 20 µm hollow, read from an optical line (invented)."""
    (tmp_path / "bed.toml").write_text(BED)
    x = np.linspace(0, 1000, 11)
    read = np.round(20 * (x / 500 - 1) ** 2, 3)
    imported(tmp_path, x, read, "--face", "way", "--instrument", "target", "--reference", "line")
    capsys.readouterr()
    return tmp_path


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("0-350 full", Mark(0, 350, "full")),
        ("350 to 600 mm spots", Mark(350, 600, "spots")),
        ("10 - 20 in: b", Mark(254, 508, "bare")),
        ("0,5–10 bare", Mark(0.5, 10, "bare")),
    ],
)
def test_stretch_is_understood_as_people_write_it(typed, wanted):
    assert parse_mark(typed) == wanted


@pytest.mark.parametrize("typed", ["350-0 full", "full", "0-350", "0-350 red", "a-b full", ""])
def test_anything_else_is_refused(typed):
    with pytest.raises(SurveyError, match="marks"):
        parse_mark(typed)


@pytest.mark.whole
def test_marks_are_kept_and_held_against_the_map(survey, capsys):
    assert main(["marks", str(survey), "way", "0-1000 full", "--edge", "long"]) == 0
    (kept,) = read_marks(survey)
    assert kept.stretches == (Mark(0, 1000, "full"),)
    capsys.readouterr()
    assert main(["blue", str(survey), "way"]) == 0
    assert "The marks seen and the map agree." in capsys.readouterr().out
    assert main(["marks", str(survey), "way", "0-100 bare", "900-1000 full", "--edge", "long"]) == 0
    capsys.readouterr()
    assert main(["blue", str(survey), "way", "--json", "--picture", str(survey / "blue.png")]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["touches_mm"] == [[0, 1000]]
    assert [(each["seen"], each["predicted"]) for each in found["contradicted"]] == [("bare", "blue")]
    assert (survey / "blue.png").stat().st_size > 10_000
    assert [path.name for path in sorted((survey / "marks").iterdir())] == ["001-way.toml", "002-way.toml"]


@pytest.mark.whole
def test_bare_middle_under_an_edge_that_reaches_it_is_named_in_words(survey, capsys):
    """At 10 µm film the edge must mark the middle: 20 µm hollow less 16 µm of its own sag."""
    assert main(["marks", str(survey), "way", "300-700 bare", "--edge", "long", "--film", "14"]) == 0
    capsys.readouterr()
    assert main(["blue", str(survey), "way"]) == 0
    said = capsys.readouterr().out
    assert "no blue was seen" in said
    assert "One of the two is wrong there" in said


@pytest.mark.whole
def test_nothing_is_kept_of_a_mark_beside_the_edge_or_of_no_marks(survey, capsys, monkeypatch):
    assert main(["marks", str(survey), "way", "0-300 full", "300-1200 bare", "--edge", "long"]) == 1
    assert "a stretch under the edge" in capsys.readouterr().err
    with Path(os.devnull).open() as nothing:
        monkeypatch.setattr("sys.stdin", nothing)
        assert main(["marks", str(survey), "way", "--edge", "long"]) == 1
    assert read_marks(survey) == ()


@pytest.mark.whole
def test_file_that_holds_no_marks_is_told_by_name(survey):
    (survey / "marks").mkdir()
    (survey / "marks" / "001-way.toml").write_text("stretches = 3")
    with pytest.raises(SurveyError, match="001-way"):
        read_marks(survey)
