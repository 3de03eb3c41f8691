"""What is typed behind `marks`, `undo`, `redo`, `mend`, `correct`, `watch` and `start` is what is done."""

import io
import shutil
from types import SimpleNamespace

import click
import pytest

from acquire.cli import main
from acquire.commands import start, traverse_options, watch
from acquire.commands.record import summary
from acquire.model.bed_toml.reading import parse_bed
from acquire.record.mending import LEFT
from acquire.store.kept import read_marks
from tests.invented import bed_toml, cross_level, dial, flat, imported, level, survey_in

BED = bed_toml(
    None,
    None,
    bed={"length": "40 in", "station_pitch": "4 in", "display": "inch"},
    faces={"way": flat(0, "front"), "rear": flat(254, "rear"), "tail": flat(100)},
    instruments={"level": level(base_mm=203.2), "dial": dial(), "cross": cross_level()},
    straightedges={"short": {"length": "12 in"}},
)


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """An indicator's run on the way, and a second one."""
    folder = survey_in(tmp_path_factory.mktemp("measured") / "survey", BED)
    for _ in range(2):
        how = ("--face", "way", "-i", "dial", "-r", "line")
        imported(folder, (0, 4, 8), (1, 2, 3), *how, head="station")
    return folder


@pytest.fixture
def survey(measured, tmp_path):
    return shutil.copytree(measured, tmp_path / "survey")


def test_marks_are_kept_under_the_edge_as_long_as_it_is_with_film_and_words(survey):
    """12 in from 8 in on; 0.2 thou are 5.08 µm."""
    words = ("--edge", "short", "--from", "8", "--film", "0.2", "--note", "after the first round")
    assert main(["marks", str(survey), "way", "8-10 bare", *words]) == 0
    (kept,) = read_marks(survey)
    assert (kept.from_mm, kept.to_mm, kept.film_um) == pytest.approx((203.2, 508.0, 5.08))
    assert kept.note == "after the first round"


def test_nothing_typed_is_no_marks_kept(survey, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n"))
    assert main(["marks", str(survey), "way", "--edge", "short"]) == 1
    assert list(read_marks(survey)) == []


@pytest.mark.parametrize(("words", "number"), [((), None), (("--number", "1"), 1)])
def test_run_that_is_taken_out_is_the_one_named(survey, monkeypatch, words, number):
    asked = []
    monkeypatch.setattr(
        "acquire.store.withdrawing.withdraw", lambda _, n: asked.append(n) or (survey / "a", survey / "b")
    )
    assert main(["undo", str(survey), *words]) == 0
    assert asked == [number]


@pytest.mark.parametrize(
    ("words", "numbers", "corrections"),
    [
        ((), (), None),
        (("2",), (2,), None),
        (("2", "--as", "turned", "--as", "sign"), (2,), ("turned", "sign")),
    ],
)
def test_runs_are_derived_anew_as_named_and_what_was_undone_stays_so(
    survey, monkeypatch, words, numbers, corrections
):
    """None leaves what an earlier --as undid; an empty tuple would take it back."""
    asked = []
    monkeypatch.setattr(
        "acquire.record.redoing.redo",
        lambda _, n, on_derived, corrections: asked.append((n, corrections)) or [],
    )
    assert main(["redo", str(survey), *words]) == 0
    assert asked == [(numbers, corrections)]


@pytest.mark.parametrize(("outcomes", "code"), [(["made"], 0), (["made", LEFT], 1), ([], 0)])
def test_journal_that_is_left_is_told_by_the_exit_code(survey, monkeypatch, outcomes, code):
    done = [SimpleNamespace(outcome=each, text=each) for each in outcomes]
    monkeypatch.setattr("acquire.record.mending.mend", lambda _: done)
    assert main(["mend", str(survey)]) == code


def test_reason_that_is_too_long_is_refused_and_nothing_is_changed(survey, capsys):
    words = ("--station", "4", "--strike", "--because", "x" * 1000)
    assert main(["correct", str(survey), "1", *words]) == 2
    assert "holds 1000 characters" in capsys.readouterr().err
    assert not (survey / "traverses" / "superseded").exists()


def test_enter_alone_mends_and_writes_nothing(monkeypatch, survey):
    """What alters a survey or its bed.toml wants a yes."""
    defaults = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "confirm", lambda *_, default, **__: defaults.append(default) or False)
    mend = SimpleNamespace(question="was it turned?", traverses=(1,), redo_as=("turned",))
    traverse_options.ask_about_run(survey, SimpleNamespace(says="contradicted", mends=[mend]))
    assert watch._may_write("write it?", False) is False
    assert defaults == [False, False]


class TestWatch:
    """What `watch` measures is as long as asked, between the faces named; only what is sound is written."""

    def record(self, **found):
        described = {"disturbed_s": (), "standard_uncertainty": 0.456, "resolution": 0.125}
        return SimpleNamespace(**(described | found))

    def stood(self, monkeypatch, **found):
        monkeypatch.setattr("acquire.bench.words.still_words", lambda *_: [])
        instrument = SimpleNamespace(name="level")
        asked = []
        session = SimpleNamespace(
            receiver=SimpleNamespace(instruments=[instrument]),
            stand_still=lambda *each: asked.append(each) or {"level": self.record(**found)},
        )
        options = {"still_minutes": 10.0, "dwell_s": 3.0, "replace": None, "reverse_end": False}
        values, _ = watch._measured(session, parse_bed(BED), [instrument], options)
        return asked, values

    def test_still_record_lasts_as_many_minutes_as_asked(self, monkeypatch):
        asked, values = self.stood(monkeypatch)
        assert asked == [(600.0, 3.0)]
        assert values == {"level": {"standard_uncertainty": 0.456, "resolution": 0.125}}

    def test_nothing_is_offered_of_a_record_that_was_disturbed(self, monkeypatch):
        assert self.stood(monkeypatch, disturbed_s=(65.0,))[1] == {}

    @pytest.mark.parametrize(
        ("across", "gauge_mm"), [(None, 254.0), (("way", "tail"), 100.0), (("rear", "way"), 254.0)]
    )
    def test_seating_across_is_between_the_faces_named(self, across, gauge_mm):
        assert watch._gauge_mm(parse_bed(BED), across) == pytest.approx(gauge_mm)

    def test_step_is_written_as_it_is_and_uncertainty_to_two_figures(self, survey):
        values = {"dial": {"standard_uncertainty": 0.456, "resolution": 0.125}}
        path = survey / "bed.toml"
        assert watch._offer(path, parse_bed(BED), values, {"write": True}) == 0
        written = parse_bed(path.read_text(encoding="utf-8")).instruments["dial"]
        assert (written.uncertainty, written.resolution) == (0.46, 0.125)


@pytest.mark.parametrize(("typed", "answer"), [("?", None), ("y", True), ("n", False)])
def test_what_is_not_known_of_the_bed_is_not_a_no(monkeypatch, typed, answer):
    monkeypatch.setattr(click, "prompt", lambda *_, **__: typed)
    assert start._yes("Is it clamped down?") is answer


@pytest.mark.parametrize(
    ("good", "others", "words"),
    [
        (2, 98, "98 of 100 readings not good: look at its speed"),
        (98, 2, "2 of 100 readings not good: left out"),
        (0, 0, "sent nothing; look at its power"),
        (100, 0, None),
    ],
)
def test_readings_that_were_not_good_are_told_at_the_end(monkeypatch, tmp_path, good, others, words):
    monkeypatch.setattr("acquire.commands.record._worth_a_word", lambda *_: ["look: bumped"])
    live = SimpleNamespace(counts={"level": (good, others)}, unread={})
    bed = SimpleNamespace(instruments={})
    tracker = SimpleNamespace(tick=lambda _: live, setup=SimpleNamespace(bed=bed))
    converted = SimpleNamespace(garbled=0, stations=3, readings=100)
    recording = SimpleNamespace(path=tmp_path / "001.h5", converted=converted, seconds=75.0, ended_by="q")
    lines = summary(recording, SimpleNamespace(tracker=tracker), [])
    assert lines[0] == "001.h5: 3 stations from 100 readings in 1:15 min, ended by q"
    assert lines[-1] == "look: bumped"
    told = lines[1:-1]
    assert len(told) == (words is not None) and all(words in line for line in told)
