"""What a command hands on beside its options: older surveys, marks that were kept, pictures, paper."""

from types import SimpleNamespace

import pytest

from acquire.cli import main
from analysis.answers.not_yet import NotYet
from analysis.answers.surveys import Survey

BLUE = "blue.predict_blue"
FEET = "feet_on_bed.feet_to_move"
PLAN = "plan.plan_faces"


@pytest.mark.parametrize(("option", "own"), [((), False), (("--own-noise",), True)])
def test_map_of_the_whole_bed_is_weighed_as_asked(asked, loaded, option, own):
    found = asked(["combine", "SURVEY", *option], "whole_bed.whole_bed")
    assert found["bed_map"] is loaded.map(use_variance_components=own)


def test_what_was_left_out_of_the_survey_is_handed_on(asked, monkeypatch):
    monkeypatch.setattr(Survey, "left_out", property(lambda _: ("one cut short",)))
    assert asked(["combine", "SURVEY"], "whole_bed.whole_bed")["left_out"] == ("one cut short",)


def test_faces_that_metal_was_taken_off_are_told(asked):
    words = ["history", "SURVEY", "SURVEY", "--scraped", "vee", "--scraped", "tail"]
    assert asked(words, "history.before_and_after")["scraped"] == ("vee", "tail")


def test_map_is_solved_from_the_kind_of_instrument_that_was_asked_for(asked, loaded):
    assert asked(["map", "SURVEY", "vee", "--by", "level"], "face_map.map_face")["bed_map"] is loaded.map(
        "level"
    )


class TestMarks:
    """Marks that were kept are held against the map: the latest, or those of the edge and place named."""

    @pytest.fixture(autouse=True)
    def kept(self, survey, capsys):
        """Invented: a film of 0.3 thou under the long edge, then 0.2 thou under the short one."""
        if not (survey / "marks").exists():
            long = ("0-8 full", "--edge", "long", "--film", "0.3", "--note", "first")
            assert main(["marks", str(survey), "flat", *long]) == 0
            short = ("8-10 bare", "--edge", "short", "--from", "8", "--film", "0.2")
            assert main(["marks", str(survey), "flat", *short]) == 0

    @pytest.mark.parametrize(
        ("option", "from_mm", "film_um", "seen"),
        [
            ((), 203.2, 5.08, "bare"),
            (("--edge", "long"), 0.0, 7.62, "full"),
            (("--from", "0"), 0.0, 7.62, "full"),
            (("--edge", "short", "--film", "0.1"), 203.2, 2.54, "bare"),
            (("--film", "0"), 203.2, 0.0, "bare"),
        ],
    )
    def test_marks_of_that_edge_and_place_with_their_film(self, asked, option, from_mm, film_um, seen):
        found = asked(["blue", "SURVEY", "flat", *option], BLUE)
        assert (found["from_mm"], found["film_um"]) == pytest.approx((from_mm, film_um))
        assert [mark.seen for mark in found["marks"]] == [seen]

    def test_short_edge_reaches_as_far_as_it_is_long(self, asked):
        """12 in from 8 in on."""
        assert asked(["blue", "SURVEY", "flat"], BLUE)["to_mm"] == pytest.approx(508.0)

    def test_edge_that_lay_elsewhere_has_no_marks(self, asked):
        found = asked(["blue", "SURVEY", "flat", "--edge", "short", "--from", "20"], BLUE)
        assert found["marks"] == () and found["from_mm"] == pytest.approx(508.0)


class TestAfterARound:
    """What a round did is learned from the survey before it."""

    MOVED = ("--moved", "a", "0.3", "--moved", "b", "-0.4")

    @pytest.fixture(autouse=True)
    def one_survey_stands_for_both(self, monkeypatch):
        monkeypatch.setattr("analysis.answers.history.only_new", lambda _, present: (present, ()))

    def test_lifts_are_those_that_were_said_with_their_sign(self, asked):
        words = ["feet", "SURVEY", "--after", "SURVEY", *self.MOVED]
        assert asked(words, "feet_learned.learned_response")["lift_um"] == pytest.approx(
            {"a": 7.62, "b": -10.16}
        )

    def test_lifts_are_those_that_were_advised_where_none_are_said(self, asked, monkeypatch):
        advised = SimpleNamespace(moves=(SimpleNamespace(foot="a", lift_um=5.0),))
        monkeypatch.setattr("analysis.answers.feet_on_bed.feet_to_move", lambda *_, **__: advised)
        words = ["feet", "SURVEY", "--after", "SURVEY"]
        assert asked(words, "feet_learned.learned_response")["lift_um"] == {"a": 5.0}

    def test_moves_are_from_what_was_learned(self, asked, monkeypatch):
        monkeypatch.setattr("analysis.answers.feet_learned.learned_response", lambda *_: "learned")
        found = asked(["feet", "SURVEY", "--after", "SURVEY", *self.MOVED], FEET)
        assert found["measured"](None) == "learned"

    def test_share_of_the_round_was_as_said(self, asked):
        words = ["plan", "SURVEY", "vee", "vee", "flat", "--after", "SURVEY"]
        found = asked([*words, "--cut-share", "0.3"], "after_round.after_round")
        assert (found["share"], found["faces"]) == (0.3, ("vee", "flat"))

    @pytest.mark.parametrize(("option", "share"), [((), 0.25), (("--share", "0.4"), 0.4)])
    def test_least_share_of_the_faces_is_cut_now(self, asked, monkeypatch, option, share):
        """A face that overshot tells for all: metal does not go back."""
        done = {"vee": SimpleNamespace(share=0.25), "flat": SimpleNamespace(share=0.6)}
        monkeypatch.setattr("analysis.answers.after_round.after_round", lambda *_: done)
        words = ["plan", "SURVEY", "vee", "flat", "--after", "SURVEY", *option]
        assert asked(words, PLAN)["share"] == share


def test_what_is_to_be_read_first_stands_in_the_plan_of_the_faces_named(asked, monkeypatch):
    monkeypatch.setattr(
        "analysis.answers.not_yet.plan_not_yet", lambda _: NotYet({"vee": "why", "tail": "no"}, ("vee",))
    )
    result = asked(["plan", "SURVEY", "vee"], "/analysis.words.plan_answer.plan_words")["result"]
    assert result.to_read == ("vee",) and result.not_yet == {"vee": "why"}


@pytest.mark.parametrize(("option", "inch"), [((), True), (("--metric",), False), (("--inch",), True)])
def test_picture_is_in_the_units_that_were_asked_for(asked, tmp_path, option, inch):
    words = ["map", "SURVEY", "vee", *option, "--picture", str(tmp_path / "p.svg")]
    assert asked(words, "/analysis.draw.figures.profile_figure")["inch"] is inch


@pytest.mark.parametrize(
    ("option", "paper"), [((), "Letter"), (("--metric",), "A4"), (("--paper", "A4"), "A4")]
)
def test_strip_is_on_the_paper_of_the_country_or_as_asked(asked, tmp_path, option, paper):
    words = ["plan", "SURVEY", "vee", "--strip", str(tmp_path / "s.pdf"), *option]
    assert asked(words, "/analysis.draw.strip.write_strips")["paper"] == paper


@pytest.mark.parametrize(
    ("option", "drawn"), [("--strip", "strip.write_strips"), ("--picture", "figures.plan_figure")]
)
def test_what_is_drawn_of_a_plan_knows_the_faces_that_are_not_to_be_scraped_yet(
    asked, tmp_path, option, drawn
):
    words = ["plan", "SURVEY", "vee", option, str(tmp_path / "p.pdf")]
    assert "vee" in asked(words, f"/analysis.draw.{drawn}")["not_yet"]


def explained(asked, words):
    return asked(words, "/analysis.level.cumulative.hand_check")


@pytest.mark.parametrize(("face", "sign"), [("vee", 1), ("flat", -1)])
def test_sum_on_paper_of_a_turned_level_has_the_sign_of_the_way(asked, loaded, face, sign):
    """Turned end for end it reads the slope with the other sign."""
    found = explained(asked, ["map", "SURVEY", face, "--explain"])
    (run,) = [each for each in loaded.measuring if each.setup.face == face]
    assert run.setup.turned is (sign < 0) and found["base_mm"] == 101.6
    assert found["slope_um_per_m"] == pytest.approx(sign * run.stations.reading)


@pytest.mark.parametrize("line", ["ends", "least-squares", "minimum-zone"])
def test_sum_on_paper_takes_off_the_line_of_the_map(asked, line):
    assert explained(asked, ["map", "SURVEY", "vee", "--explain", "--line", line])["kind"] == line


def test_sum_on_paper_is_what_is_printed(survey, capsys):
    assert main(["map", str(survey), "vee", "--explain"]) == 0
    assert "vee, traverse 1" in capsys.readouterr().out


class TestPaper:
    """Letter in a survey in inches, or as asked; tables beside a sheet in the survey's unit."""

    @pytest.mark.parametrize(
        ("option", "paper"), [((), "Letter"), (("--metric",), "A4"), (("--paper", "A4"), "A4")]
    )
    def test_report_is_printed_on_it(self, asked, monkeypatch, option, paper):
        monkeypatch.setattr("analysis.report.gather", lambda *_: None)
        monkeypatch.setattr("analysis.report.find_browser", lambda: "a browser")
        found = asked(["report", "SURVEY", "--pdf", *option], "/analysis.report.write_report")
        assert found["printing"].paper == paper

    @pytest.mark.parametrize(("option", "paper"), [((), "Letter"), (("--paper", "A4"), "A4")])
    def test_sheets_are_printed_on_it(self, asked, tmp_path, option, paper):
        words = ["sheet", "SURVEY", "vee", "-o", str(tmp_path / "s.pdf"), *option]
        assert asked(words, "/analysis.draw.sheets.write_sheets")["paper"] == paper

    def test_table_beside_a_sheet_is_in_inches(self, asked, tmp_path):
        words = ["sheet", "SURVEY", "vee", "-o", str(tmp_path / "s.pdf")]
        assert asked(words, "/analysis.draw.sheets.write_twin")["inch"] is True


def test_what_was_measured_before_the_work_is_no_part_of_the_present_shape(asked, monkeypatch):
    monkeypatch.setattr("analysis.answers.history.only_new", lambda older, now: ("only the new", older, now))
    monkeypatch.setattr("analysis.report.history_sections", lambda *_: ())
    found = asked(["report", "SURVEY", "--before", "SURVEY"], "/analysis.report.gather")
    assert "only the new" in found.values()
