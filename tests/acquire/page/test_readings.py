"""Readings sent by a page: none lost, doubled, or put over another's unseen, come what may twice or late."""

import os
import signal

import numpy as np
import pytest

from acquire.model.companion import Prediction
from acquire.model.errors import RecordingError
from acquire.page import run as run_module
from acquire.page.beginning import Helpers
from acquire.page.desk import Desk
from acquire.page.serving import answer
from acquire.record.keeping import lines_of
from acquire.store import files_of, read_traverse

from .conftest import QUESTION, command, in_doubt, needs_extra, wish

PLACES = [100.0, 300.0, 500.0, 700.0]


def sent(desk, words, station_mm=100.0, repeat=1, before=None, sent_as="reading-1", age_s=0.0, run=None):
    body = {
        "run": run or desk.run.name, "sent_as": sent_as, "station_mm": station_mm, "repeat": repeat,
        "words": words, "before": before, "age_s": age_s,
    }  # fmt: skip
    return answer(desk, lambda: desk.reading(body))


@pytest.fixture
def desk(survey):
    made = Desk(survey)
    made.begin(wish())
    yield made
    made.close()


def journal_lines(survey):
    (path,) = files_of(survey, "journal").values()
    return [(line.station_mm, line.repeat, line.words) for line in lines_of(path)]


def test_reading_is_on_disk_before_it_is_answered(survey, desk, monkeypatch):
    order = []
    sync = desk.run.writer.sync
    monkeypatch.setattr(desk.run.writer, "sync", lambda: (sync(), order.append(journal_lines(survey))))
    status, says = sent(desk, "3")
    assert status == 200 and order[-1] == [(100.0, 1, "3")] and says["words"] == "3"
    assert says["shown"] == "3 µm/m (0.036 thou/ft)"


def test_reading_sent_again_is_answered_with_what_was_stored_and_kept_once(survey, desk):
    assert sent(desk, "3") == sent(desk, "3")
    assert journal_lines(survey) == [(100.0, 1, "3")]


def test_reading_sent_again_after_it_was_corrected_undoes_no_correction(survey, desk):
    sent(desk, "30")
    sent(desk, "3", before="30", sent_as="reading-2")
    assert sent(desk, "30")[0] == 200
    assert journal_lines(survey) == [(100.0, 1, "30"), (100.0, 1, "3")]
    assert desk.state()["run"]["slots"][0]["words"] == "3"


def test_two_phones_at_one_station_are_a_conflict_that_is_told(survey, desk):
    sent(desk, "3", sent_as="phone-one")
    status, says = sent(desk, "4", sent_as="phone-two")
    assert status == 409 and says["stands"] == "3" and "found 3 there already" in says["refused"]
    assert journal_lines(survey) == [(100.0, 1, "3")]
    assert sent(desk, "4", before="3", sent_as="phone-two-again")[0] == 200


def test_reading_for_another_run_is_not_taken(survey, desk):
    status, says = sent(desk, "3", run="007 2020-01-01T00:00:00+00:00")
    assert status == 409 and "run '007" in says["refused"] and journal_lines(survey) == []


@pytest.mark.parametrize(
    ("changed", "needed"),
    [
        ({"words": "high"}, "a number"),
        ({"words": ""}, "a number, or - for a gap"),
        ({"words": "3 kg"}, "a unit known here"),
        ({"words": "9" * 61}, "60 characters"),
        ({"words": "1\t2"}, "60 characters"),
        ({"station_mm": 150.0}, "a station of this run"),
        ({"station_mm": True}, "station_mm and repeat"),
        ({"repeat": 3}, "readings there in turn"),
        ({"sent_as": "a b"}, "letters and digits"),
        ({"age_s": -1.0}, "seconds since it was typed"),
    ],
)
def test_what_is_no_reading_is_refused_whole_with_the_reason(survey, desk, changed, needed):
    status, says = sent(desk, **{"words": "3", **changed})
    assert status == 422 and needed in says["refused"]
    assert journal_lines(survey) == []


def test_gap_and_one_more_reading_are_taken_as_at_the_prompt(survey, desk):
    for place, words, repeat in ((100, "1", 1), (300, "-", 1), (100, "1.4", 2), (500, "3", 1), (700, "4", 1)):
        assert sent(desk, words, float(place), repeat, sent_as=f"reading-{place}-{repeat}")[0] == 200
    status, says = answer(desk, lambda: desk.finish({"run": desk.run.name}))
    assert status == 200 and says["lines"][0] == "4 readings of way by level, 1 gap"
    stations = read_traverse(files_of(survey)[1]).stations
    assert stations.station_mm.tolist() == [100, 100, 500, 700]
    np.testing.assert_allclose(stations.reading, [1, 1.4, 3, 4])


def test_time_is_when_it_was_typed_not_when_the_connection_came_back(survey, desk, monkeypatch):
    monkeypatch.setattr(desk.run, "_seconds", lambda: 600.0)
    sent(desk, "1", age_s=480.0)
    sent(desk, "2", 300.0, sent_as="reading-2")
    (path,) = files_of(survey, "journal").values()
    assert [line.time_s for line in lines_of(path)] == [120.0, 600.0]


def test_both_ends_of_the_bubble_are_asked_for_where_they_are_wanted(survey):
    desk = Desk(survey)
    desk.begin(run_wish := wish("vial"))
    desk.begin(type(run_wish)(run_wish.asked, vial=True))
    status, says = sent(desk, "1.5")
    assert status == 422 and "both ends of the bubble" in says["refused"]
    status, says = sent(desk, "1.5 / 2.5")
    assert status == 200 and says["shown"] == "1.5 / 2.5 div = 40 µm/m (0.48 thou/ft)"
    desk.close()


class Company:
    """Has seen this way before: 10 µm/m everywhere."""

    def profile_lines(self, stations, columns):
        return [f"profile of {len(stations)}"]

    def predict(self, stations, station_mm):
        return Prediction(10.0, 0.5, "the reverse run")


def test_doubt_stands_until_it_is_answered_and_is_the_doubt_of_the_prompt(survey):
    desk = Desk(survey, helpers=Helpers(company=lambda survey, setup: Company()))
    desk.begin(wish())
    status, says = sent(desk, "19")
    words = (
        "station 100 mm is 9.0 µm/m (0.108 thou/ft) off what the reverse run says: wipe, re-seat, read again"
    )
    assert (status, says["doubt"]) == (200, words)
    assert desk.state()["run"]["slots"][0]["doubt"] == words
    assert sent(desk, "19")[1]["doubt"] == words  # told again to whoever missed it
    desk.keep({"run": desk.run.name, "station_mm": 100.0, "repeat": 1})
    assert desk.state()["run"]["slots"][0]["doubt"] is None
    sent(desk, "18", 300.0, sent_as="reading-2")
    sent(desk, "10.2", 300.0, before="18", sent_as="reading-3")
    slot = desk.state()["run"]["slots"][1]
    assert (slot["words"], slot["doubt"]) == ("10.2", None)
    assert journal_lines(survey) == [(100, 1, "19"), (300, 1, "18"), (300, 1, "10.2")]
    desk.close()


def test_disk_that_takes_no_more_is_told_and_the_reading_is_not_said_to_be_stored(desk, monkeypatch):
    def full(writer, line):
        raise RecordingError(str(writer.path), "recording must stop (No space left on device)", "room")

    monkeypatch.setattr(run_module, "keep_line", full)
    status, says = sent(desk, "3")
    assert status == 503 and "No space left" in says["refused"]
    assert desk.state()["run"]["slots"][0]["words"] is None


def test_run_before_stands_beside_each_station_as_a_check(survey):
    desk = Desk(survey)
    desk.begin(wish("vial"))
    for place, words in zip(PLACES, ("1", "-2.5", "-", "0.5"), strict=True):
        sent(desk, words, place, sent_as=f"first-{place:g}")
    desk.finish({"run": desk.run.name})
    desk.begin(wish("vial", direction="reverse"))
    slots = desk.state()["run"]["slots"]
    assert [slot["station_mm"] for slot in slots] == PLACES[::-1]
    assert [slot["last"] for slot in slots] == [
        "0.5 div (run 1, forward)", None, "-2.5 div (run 1, forward)", "1.0 div (run 1, forward)",
    ]  # fmt: skip
    desk.begin(wish("vial", turned=True))  # turned end for end it does not read the same
    assert {slot["last"] for slot in desk.state()["run"]["slots"]} == {None}
    desk.close()


def test_check_is_what_the_latest_run_read(survey):
    desk = Desk(survey)
    for words in ("1", "2", "3"):
        desk.begin(wish("level"))
        sent(desk, words, sent_as=f"the-reading-{words}")
        desk.finish({"run": desk.run.name})
    desk.begin(wish("level"))
    assert desk.state()["run"]["slots"][0]["last"] == "3.00 µm/m (run 3, forward)"
    desk.close()


def test_finish_is_said_again_to_whoever_asks_twice_and_a_late_repeat_is_known(survey, desk):
    name = desk.run.name
    for place in PLACES:
        sent(desk, "1", place, sent_as=f"reading-{place:g}")
    first = answer(desk, lambda: desk.finish({"run": name}))
    assert first[0] == 200 and answer(desk, lambda: desk.finish({"run": name})) == first
    assert sent(desk, "1", run=name, sent_as="reading-100")[0] == 200
    assert sent(desk, "2", run=name, sent_as="never-sent")[0] == 409
    assert read_traverse(files_of(survey)[1]).complete


def test_run_that_the_others_contradict_is_asked_about_and_mended_when_a_person_says_so(survey):
    desk = Desk(survey, run_doubt=in_doubt)
    for _ in range(2):
        desk.begin(wish())
        for place in PLACES:
            sent(desk, "3", place, sent_as=f"{desk.run.name[:3]}-reading-{place:g}")
        ended = desk.finish({"run": desk.run.name})
        if ended["number"] == 1:  # there is no other run that could contradict it
            assert ended["questions"] == []
    assert ended["questions"] == [QUESTION] and "? run 2 has its sign turned." in ended["lines"]
    assert answer(desk, lambda: desk.mend({"question": "Was it so?"}))[0] == 409
    assert read_traverse(files_of(survey)[2]).stations.reading.tolist() == [3, 3, 3, 3]
    assert desk.mend({"question": QUESTION})["questions"] == []
    assert read_traverse(files_of(survey)[2]).stations.reading.tolist() == [-3, -3, -3, -3]
    assert "--as written` takes that back" in desk.state()["ended"]["lines"][-1]
    assert answer(desk, lambda: desk.mend({"question": QUESTION}))[0] == 409


def test_run_that_is_left_goes_on_where_it_stopped_also_at_the_prompt(survey, desk):
    from acquire.record.keeping import resumable

    sent(desk, "1")
    setup, name = desk.run.writer.setup, desk.run.name
    desk.leave({"run": name})
    assert resumable(survey, setup) == files_of(survey, "journal")[1]
    begun = desk.begin(wish())
    assert desk.run.name == name and begun.notes[0].startswith(
        "going on with 001-way-level.journal: 1 reading"
    )
    assert sent(desk, "1")[1]["words"] == "1"
    assert journal_lines(survey) == [(100.0, 1, "1")]


def test_run_that_cannot_be_begun_leaves_nothing_and_holds_nothing(survey):
    def fails(*_):
        raise RecordingError("set-up", "cannot be drawn")

    desk = Desk(survey, helpers=Helpers(set_up=fails))
    with pytest.raises(RecordingError, match="cannot be drawn"):
        desk.begin(wish())
    assert files_of(survey, "journal") == {} and desk.run is None


def test_run_of_which_nothing_was_read_leaves_nothing(survey, desk):
    desk.leave({"run": desk.run.name})
    assert files_of(survey, "journal") == {}


@needs_extra
@pytest.mark.whole
def test_killed_between_disk_and_answer_nothing_is_lost_or_doubled(survey):
    """The process is killed with a reading on disk of which the phone was never told; it sends it again."""
    with command(survey, "way", "-i", "level") as (process, asker):
        name = asker.run["name"]
        for number, place in enumerate(PLACES[:3]):
            assert asker.reading(str(number), place, sent_as=f"reading-{number}", run=name)[0] == 200
        os.kill(process.pid, signal.SIGKILL)
        process.wait(30)
    with command(survey, "way", "-i", "level") as (_, asker):
        assert asker.run["name"] == name
        for number, place in enumerate(PLACES):
            assert asker.reading(str(number), place, sent_as=f"reading-{number}", run=name)[0] == 200
        assert asker.post("finish", run=name)[0] == 200
    kept = read_traverse(files_of(survey)[1])
    assert kept.complete and kept.stations.reading.tolist() == [0, 1, 2, 3]
    assert bytes(kept.streams["hand"].raw).count(b"\n") == 4
