"""After a round: done, overshot, how far the scraper errs, and when a plan may not be followed or is done.

Derived; the truth is invented.
"""

import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from acquire.cli import main
from acquire.model.errors import AnalysisError
from analysis.answers.after_round import after_round
from analysis.answers.joint_cut import Wishes
from analysis.answers.not_yet import plan_not_yet
from analysis.answers.surveys import Survey
from analysis.words.plan import not_yet_words
from analysis.words.plan_answer import after_words
from tests.invented import bed_toml, imported, survey_in

pytestmark = pytest.mark.usefixtures("opened_once")
X = np.arange(0.0, 2001.0, 100.0)
MIDDLE = X[:-1] + 50
HOLLOW = -50 * np.sin(np.pi * X / 2000) ** 2
DEPTH = HOLLOW - HOLLOW.min()
FACES = {"way": 'normal = "up"\nacross_mm = 0'}
LEVEL = 'quantity = "slope"\nunit = "um/m"\nbase_mm = 100\nstandard_uncertainty = 2\nseating_um = 0.0'


@pytest.fixture
def survey(make_traverse, invented_bed):
    """One way run there and back (or once) by a level of 2 µm/m."""

    def make(seed, height, runs=("forward", "reverse"), warmer_k=0.0, deep=""):
        rng = np.random.default_rng(seed)
        bed = invented_bed(length_mm=2000, faces=FACES, instruments={"level": LEVEL}, bed=deep)
        state = {"temperature_top_degC": 20.0 + warmer_k, "temperature_bottom_degC": 20.0}
        made = [
            make_traverse(
                bed,
                "level",
                MIDDLE,
                np.diff(height) / 0.1 + rng.normal(0, 2, 20),
                face="way",
                direction=way,
                state=state,
            )
            for way in runs
        ]
        return Survey(Path("invented"), bed, tuple(made))

    return make


def asked_and_done(survey, wrong):
    cut = 0.5 * DEPTH * wrong
    return after_round(survey(1, HOLLOW), survey(2, HOLLOW - cut), ["way"], Wishes())["way"], cut


def test_round_that_took_what_was_asked_is_said_so_and_the_next_may_take_more(survey):
    found, cut = asked_and_done(survey, 1 + 0.05 * np.random.default_rng(3).standard_normal(X.size))
    assert found.taken == pytest.approx(1.0, abs=0.1)
    assert found.error_at_most < 0.25
    assert found.share == 0.7
    assert np.mean(np.abs(found.done_um - cut) <= found.expanded_um) >= 0.8


def test_scraper_that_errs_by_a_third_goes_on_with_half(survey):
    rng = np.random.default_rng(4)
    found, _ = asked_and_done(survey, 1 + 0.35 * rng.standard_normal(X.size))
    assert found.error == pytest.approx(0.35, abs=0.15)
    assert found.share == 0.5


def test_wishes_that_no_plan_of_then_fulfils_are_refused_in_words(survey):
    nowhere = Wishes(untouched_mm=((0.0, 50.0), (1950.0, 2000.0)))
    with pytest.raises(AnalysisError, match="no plan of way as it was then fulfils these wishes") as refused:
        after_round(survey(1, HOLLOW), survey(2, HOLLOW), ["way"], nowhere)
    assert "NothingLeaves" not in str(refused.value)


def test_place_cut_through_the_target_is_named(survey):
    wrong = np.where(np.abs(X - 300) < 60, 3.2, 1.0)
    found, _ = asked_and_done(survey, wrong)
    over = found.station_mm[found.overshot_um > 0]
    assert 300 in over
    assert found.share == 0.5
    assert any("Overshot" in words for words in after_words(found, False))


def test_face_read_once_may_not_be_scraped_yet(survey):
    found = plan_not_yet(survey(5, HOLLOW, runs=("forward",)).map())
    assert not_yet_words(found.why, found.to_read)[0].startswith("Do not scrape yet: no face can be trusted")


def test_worn_faces_that_were_read_there_and_back_are_not_to_be_read_again(survey):
    found = plan_not_yet(survey(6, HOLLOW).map())
    words = not_yet_words(found.why, found.to_read)[0]
    assert "no face is straight to start from" in words and "once more" not in words


@pytest.mark.parametrize(("warmer_k", "deep", "is_told"), [
    (0.15, "depth_mm = 300", True), (-0.15, "depth_mm = 300", True), (0.05, "depth_mm = 300", False),
    (0.6, "", True), (0.3, "", False),
])  # fmt: skip
def test_bed_that_was_warmer_above_when_it_was_read_is_not_to_be_scraped_yet(survey, warmer_k, deep, is_told):
    """By hand: 0.15 °C bends 2 m of bed, 300 mm deep, by 11.5e-6 · 0.15 · 4/(8 · 0.3) = 2.9 µm."""
    found = plan_not_yet(survey(6, HOLLOW, warmer_k=warmer_k, deep=deep).map())
    words = not_yet_words(found.why, found.to_read)[0]
    assert ("come to one temperature" in words) is is_told


def run(folder, height, seed):
    """There and back by the level."""
    rng = np.random.default_rng(seed)
    for direction in ("forward", "reverse"):
        read = np.diff(height) / 0.1 + rng.normal(0, 2, 20)
        order = slice(None, None, 1 if direction == "forward" else -1)
        how = ("--face", "way", "--instrument", "level", "--direction", direction)
        imported(folder, MIDDLE[order], np.round(read, 2)[order], *how)


@pytest.mark.whole
def test_commands_say_what_the_round_did_and_stop_where_nothing_is_left(tmp_path, capsys):
    for number, (name, height) in enumerate(
        {"older": HOLLOW, "now": HOLLOW - 0.5 * DEPTH, "end": 0 * X}.items()
    ):
        bed = bed_toml(
            2000, faces=FACES, instruments={"level": LEVEL}, limits={"straightness_um": {"way": 8}}
        )
        folder = survey_in(tmp_path / name, bed)
        run(folder, height, 10 + number)
    capsys.readouterr()
    assert main(["plan", str(tmp_path / "now"), "way", "--after", str(tmp_path / "older")]) == 0
    said = capsys.readouterr().out
    assert "of what was asked came off" in said and "Cut 70% of each depth" in said
    assert main(["plan", str(tmp_path / "end"), "way"]) == 0
    assert "Stop: way meets your limit" in capsys.readouterr().out


@pytest.mark.whole
def test_plan_after_a_round_leaves_out_what_the_present_survey_has_from_before_it(tmp_path, capsys):
    """Invented: half of each depth came off; a copy that is measured into again holds both rounds."""
    bed = bed_toml(2000, faces=FACES, instruments={"level": LEVEL})
    older, alone = survey_in(tmp_path / "older", bed), survey_in(tmp_path / "alone", bed)
    run(older, HOLLOW, 1)
    copied = shutil.copytree(older, tmp_path / "copied")
    for folder in (alone, copied):
        run(folder, HOLLOW - 0.5 * DEPTH, 2)
    capsys.readouterr()
    told = []
    for folder in (alone, copied):
        assert main(["plan", str(folder), "way", "--after", str(older), "--json"]) == 0
        told.append(json.loads(capsys.readouterr().out))
    assert told[0]["plans"]["way"]["removal"] == told[1]["plans"]["way"]["removal"]
    assert told[1]["plans"]["way"]["traverses"] == [3, 4]
    assert told[0]["warnings"] == []
    assert told[1]["warnings"] == [
        "traverses 1, 2 of the present survey are in the older one too: taken as before the work only"
    ]


def test_faces_to_be_read_once_more_are_named(survey):
    """One of two faces was run one way only: that one is named, and no other."""
    found = plan_not_yet(survey(5, HOLLOW, runs=("forward",)).map())
    assert found.to_read
    assert f"read {' and '.join(found.to_read)} once more" in not_yet_words(found.why, found.to_read)[0]
