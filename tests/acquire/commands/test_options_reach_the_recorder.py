"""What is typed behind `record`, `enter` and `import` is what is measured: every option, in mm and µm.

The recorder, the screen and what asks at the prompts are replaced by what writes down how it was made.  The
survey is in inches: a bare length is inches (25.4 mm, by definition).
"""

import io
import json
import shutil

import pytest

from acquire.cli import main
from acquire.entry.asking import Manner
from acquire.model.errors import RecordingError
from acquire.reduce.placed import FEED_FROM
from acquire.store import files_of, read_survey
from acquire.store.journal import read_journal
from tests.invented import bed_toml, caliper, dial, flat, import_text, level, scale, speaks, survey_in, vee

BED = bed_toml(
    None,
    None,
    bed={"length": "40 in", "station_pitch": "4 in", "display": "inch"},
    faces={"way": vee(0, "front"), "rear": flat(254, "rear"), "under": {"normal": "down", "across_mm": 0}},
    instruments={
        "level": level(base_mm=203.2, **speaks("loop://")),
        "other-level": level(base_mm=203.2, **speaks("loop://")),
        "dial": dial(**speaks("loop://")),
        "caliper": caliper(**speaks("loop://")),
        "scale": scale(**speaks("loop://")),
        "warmth": {"quantity": "temperature", "unit": "degC", **speaks("loop://")},
    },
    straightedges={"long": {"length": "36 in"}},
)


@pytest.fixture
def survey(tmp_path):
    """No traverse yet."""
    return survey_in(tmp_path / "survey", BED)


@pytest.fixture
def recorded(survey, monkeypatch):
    """How `record` makes its recorder and its screen."""

    def run(*words):
        made = {}

        class Noted:
            def __init__(self, of):
                self.of = of

            def __call__(self, folder, setup, **options):
                made[self.of] = {"setup": setup, **options}
                if self.of == "recorder":
                    raise RecordingError("noted", "all that was wanted")

        monkeypatch.setattr("acquire.record.recorder.Recorder", Noted("recorder"))
        monkeypatch.setattr("acquire.console.showing.Screen", Noted("screen"))
        assert main(["record", str(survey), *words]) == 1
        return made

    return run


def of_both(made):
    return made["recorder"], made["screen"]


LEVEL = ("way", "-i", "level")


def test_feed_begins_at_the_place_that_was_typed(recorded):
    recorder, screen = of_both(recorded(*LEVEL, "--position", "feed:12in/min", "--from", "10"))
    assert recorder["announced"] == [(FEED_FROM, "254")] and screen["from_mm"] == 254.0
    assert recorder["setup"].position == "feed:5.08"


@pytest.mark.parametrize(("start", "is_refused"), [("0", False), ("40", False), ("41", True), ("-1", True)])
def test_feed_that_begins_off_the_bed_is_refused(recorded, capsys, start, is_refused):
    words = (*LEVEL, "--position", "feed:12in/min", f"--from={start}")
    made = recorded(*words)
    assert (made == {}) is is_refused
    assert ("a place from 0 to 40 in" in capsys.readouterr().err) is is_refused


def test_tilt_of_speeding_up_is_taken_off_unless_it_is_to_stay(recorded):
    assert recorded(*LEVEL)["recorder"]["setup"].acceleration_corrected
    assert not recorded(*LEVEL, "--no-acceleration-correction")["recorder"]["setup"].acceleration_corrected


def test_instruments_beside_and_standing_are_recorded_as_named(recorded):
    recorder, screen = of_both(recorded(*LEVEL, "--beside", "warmth", "--standing", "other-level"))
    assert [each.name for each in recorder["beside"]] == ["warmth"] == [e.name for e in screen["beside"]]
    assert recorder["setup"].standing == "other-level"


def test_end_and_room_on_the_disk_are_as_asked(recorded):
    """1 MB is 10⁶ bytes."""
    recorder = recorded(*LEVEL, "--seconds", "7", "--leave-free", "300")["recorder"]
    assert (recorder["seconds"], recorder["floor_bytes"]) == (7.0, 300_000_000)
    assert recorded(*LEVEL)["recorder"]["floor_bytes"] == 200_000_000


def test_screen_settles_sounds_and_is_quiet_as_asked(recorded):
    plain = recorded(*LEVEL)["screen"]
    assert (plain["settled_s"], plain["has_bell"], plain["is_quiet"]) == (3.0, True, False)
    assert plain["aloud"] is None and plain["window"] is None
    asked = recorded(*LEVEL, "--settled-seconds", "8", "--no-sound", "--quiet", "--window")["screen"]
    assert (asked["settled_s"], asked["has_bell"], asked["is_quiet"]) == (8.0, False, True)
    assert asked["window"] is not None


HOW = [
    (("--turned",), LEVEL, "turned", True),
    ((), LEVEL, "turned", False),
    (("--same-zero-as", "1"), LEVEL, "same_zero_as", 1),
    (("--mode", "continuous"), LEVEL, "mode_asked", "continuous"),
    (("--direction", "reverse"), LEVEL, "direction", "reverse"),
    (("-r", "straightedge:long", "--turned-over"), ("way", "-i", "dial"), "turned_over", True),
    (("-r", "straightedge:long"), ("way", "-i", "dial"), "reference", "straightedge:long"),
    (("--other", "under"), ("way", "-i", "caliper"), "other", "under"),
]


@pytest.fixture(scope="module")
def measured(tmp_path_factory):
    """A level run there, as number 1."""
    folder = survey_in(tmp_path_factory.mktemp("measured") / "survey", BED)
    assert import_text(folder, "station,reading\n4,1\n12,2\n20,3\n", "--face", "way", "-i", "level") == 0
    return folder


@pytest.fixture
def journalled(monkeypatch):
    """The setup in the journal of a run; what is converted of it has the same, or is refused."""
    setups = []

    def convert(journal_path, _):
        setups.append(read_journal(journal_path).setup)
        raise RecordingError("noted", "all that was wanted")

    monkeypatch.setattr("acquire.record.keeping.convert", convert)
    return setups


@pytest.mark.parametrize("by", ["record", "enter", "import"])
@pytest.mark.parametrize(("how", "what", "name", "value"), HOW)
def test_how_it_was_measured_is_kept_by_every_door(
    survey, measured, recorded, journalled, monkeypatch, by, how, what, name, value
):
    if is_shared := name == "same_zero_as":
        shutil.copytree(measured, survey, dirs_exist_ok=True)
    if by == "record":
        setup = recorded(*what, *how)["recorder"]["setup"]
    else:
        if by == "import":
            assert import_text(survey, "station,reading\n4,1\n12,2\n20,3\n", "--face", *what, *how) == 1
        else:
            monkeypatch.setattr("sys.stdin", io.StringIO("1\n2\n3\nq\n"))
            assert main(["-q", "enter", str(survey), *what, *how]) == 1
        (setup,) = journalled
        assert setup.number == 1 + is_shared
    assert getattr(setup, name) == value


@pytest.mark.parametrize(("how", "inside"), [((), False), (("--inside",), True)])
def test_caliper_inside_is_kept_as_one(tmp_path, how, inside):
    """Outside over faces that look away from each other, inside between two that look at each other."""
    faces = {"a": {"normal": "rear", "across_mm": 0}, "b": {"normal": "front", "across_mm": 50}}
    if not inside:
        faces = {"a": {"normal": "front", "across_mm": 0}, "b": {"normal": "rear", "across_mm": 50}}
    folder = survey_in(tmp_path / "two", bed_toml(faces=faces, instruments={"caliper": caliper()}))
    words = ("--face", "a", "--other", "b", "-i", "caliper", *how)
    assert import_text(folder, "station_mm,reading\n0,1\n100,2\n", *words) == 0
    assert read_survey(folder)[0].setup.inside is inside


def test_unit_of_an_import_is_as_said(survey):
    """1 thou is 25.4 µm."""
    words = ("--face", "way", "-i", "dial", "-r", "line", "--unit", "thou")
    assert import_text(survey, "station,reading\n0,1\n4,2\n", *words) == 0
    assert read_survey(survey)[0].stations.reading == pytest.approx([25.4, 50.8])


def test_program_that_imports_is_told_of_gaps_doubts_and_what_is_not_stated(survey, capsys):
    text = "station,reading\n36,1\n28,2\n20,1\n12,\n4,3\n"
    assert import_text(survey, text, "--face", "way", "-i", "level", "--json") == 0
    told = capsys.readouterr()
    answer = json.loads(told.out)
    assert answer["gap_mm"] == pytest.approx([304.8])
    assert any("--direction says forward" in each for each in answer["doubts"])
    assert "--direction says forward" in told.err and "seating" in told.err


class TestEnter:
    """`enter` asks where, how and how long as its options say."""

    @pytest.fixture
    def entered(self, survey, monkeypatch):
        def run(*words):
            noted = {}

            def enter_readings(entry, asker, keep, manner):
                noted.update(entry=entry, asker=asker, manner=manner)
                return entry, False

            monkeypatch.setattr("acquire.entry.asking.enter_readings", enter_readings)
            assert main(["-q", "enter", str(survey), *words]) == 1  # the input ended before a reading
            return noted

        return run

    def test_stations_are_from_one_place_to_another_by_the_step(self, entered):
        noted = entered("way", "-i", "dial", "-r", "line", "--from", "8", "--to", "20", "--step", "6")
        assert [slot.station_mm for slot in noted["entry"].slots] == pytest.approx([203.2, 355.6, 508.0])

    def test_first_station_is_read_again_at_the_end_where_asked(self, entered):
        words = ("way", "-i", "dial", "-r", "line", "--from", "8", "--to", "20")
        slots = entered(*words, "--closing")["entry"].slots
        assert (slots[-1].station_mm, slots[-1].repeat) == (pytest.approx(203.2), 2)
        assert all(slot.repeat == 1 for slot in entered(*words)["entry"].slots)

    def test_bubble_and_waiting_are_as_asked(self, entered):
        assert entered(*LEVEL)["manner"] == Manner(False, 0.0, None)
        assert entered(*LEVEL, "--settle", "9")["manner"].settle_s == 9.0

    def test_entry_that_is_ended_is_whole_and_one_without_a_reading_is_none(self, survey, monkeypatch):
        monkeypatch.setattr("sys.stdin", io.StringIO("q\n"))
        assert main(["-q", "enter", str(survey), *LEVEL]) == 0
        assert files_of(survey, "journal") == {}
        monkeypatch.setattr("sys.stdin", io.StringIO("1\n2\nq\n"))
        assert main(["-q", "enter", str(survey), *LEVEL]) == 0
        (kept,) = read_survey(survey)
        assert kept.number == 1 and kept.complete
