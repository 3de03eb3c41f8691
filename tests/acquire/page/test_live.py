"""Live figures while a recording runs: from its journal alone, and the same as beside the recorder."""

import dataclasses
import os

from acquire.model.companion import Prediction
from acquire.page.live import Live
from acquire.store import files_of
from acquire.store.journal import begin

from ..conftest import INVENTED_BED


class Clock:
    now = 1000.0

    def __call__(self):
        return self.now


def begun(survey, level_setup, position="stations"):
    (survey / "bed.toml").write_text(INVENTED_BED, encoding="utf-8")
    return begin(survey, dataclasses.replace(level_setup, position=position))


def test_nothing_is_shown_where_nothing_is_recorded(survey):
    assert Live(survey).now() == {"live": None}


def test_figures_follow_the_journal_as_it_grows(survey, level_setup):
    clock = Clock()
    live = Live(survey, clock)
    with begun(survey, level_setup) as writer:
        writer.event(0.0, "recording", "x")
        for k in range(40):
            writer.chunk("level", k / 10, b"+12.5\r\n")
        found = live.now()["live"]
        assert found["reading"] == "12.5 µm/m" and found["counts"] == ["level: 40 readings"]
        writer.chunk("level", 4.0, b"+13")
        assert live.now()["live"]["reading"] == "12.5 µm/m"
        writer.chunk("level", 4.1, b".5\r\n")
        assert live.now()["live"]["reading"] == "13.5 µm/m"
        clock.now += 70.0
        assert live.now()["live"]["state"] == "nothing has come for 70 s"
        writer.chunk("level", 4.5, b"+14.5\r\n")
        assert live.now()["live"]["reading"] == "14.5 µm/m"
        writer.end(True, 5.0)
        assert live.now()["live"]["state"] == "ended; its traverse file is being written"
        writer.path.unlink()
        assert live.now() == {"live": None}


def stands_at_a_mark(writer):
    for k in range(60):
        if k == 10:
            writer.event(1.0, "mark")
        writer.chunk("level", k / 10, b"+12.5\r\n")


def test_station_that_is_taken_is_told(survey, level_setup):
    live = Live(survey, Clock())
    with begun(survey, level_setup) as writer:
        stands_at_a_mark(writer)
        found = live.now()["live"]
    assert (
        found["taken"] == "1 taken of 5, the last 100 mm: 12 µm/m (0.15 thou/ft)" and found["stations"] == []
    )


class Company:
    """Has seen this way before: 50 µm/m everywhere."""

    def __init__(self, survey, setup):
        pass

    def predict(self, stations, station_mm):
        return Prediction(50.0, 1.0, "the reverse run")


def test_station_that_the_survey_contradicts_is_questioned_as_beside_the_recorder(survey, level_setup):
    live = Live(survey, Clock(), Company)
    with begun(survey, level_setup) as writer:
        stands_at_a_mark(writer)
        live.now()
        found = live.now()["live"]
    assert found["problem"].startswith(
        "station 100 mm is 38 µm/m (0.45 thou/ft) off what the reverse run says"
    )


def test_frame_that_is_half_there_waits_for_the_next_look(survey, level_setup):
    live = Live(survey, Clock())
    with begun(survey, level_setup) as writer:
        writer.chunk("level", 0.1, b"+1.5\r\n")
    path = files_of(survey, "journal")[1]
    whole = path.read_bytes()
    with begun(survey, level_setup) as writer:
        other = writer.path
        writer.chunk("level", 0.1, b"+1.5\r\n")
        size = other.stat().st_size
        assert live.now()["live"]["reading"] == "1.5 µm/m"
        writer.chunk("level", 0.2, b"+2.5\r\n")
    data = other.read_bytes()
    other.write_bytes(data[: size + 7])
    assert live.now()["live"]["reading"] == "1.5 µm/m"
    other.write_bytes(data)
    assert live.now()["live"]["reading"] == "2.5 µm/m" and path.read_bytes() == whole


def test_looking_on_writes_nothing_and_locks_nothing(survey, level_setup):
    from acquire.store.journal import JournalWriter

    live = Live(survey, Clock())
    with begun(survey, level_setup) as writer:
        writer.chunk("level", 0.1, b"+1.5\r\n")
        before = sorted((path.name, path.stat().st_mtime_ns) for path in writer.path.parent.iterdir())
        live.now()
        assert before == sorted((path.name, path.stat().st_mtime_ns) for path in writer.path.parent.iterdir())
    JournalWriter.reopen(writer.path).close()  # nobody else holds it


def test_recording_that_was_cut_short_long_ago_is_not_under_way(survey, cut_short):
    path = cut_short()
    assert Live(survey).now()["live"] is not None
    os.utime(path, (path.stat().st_atime, path.stat().st_mtime - 700))
    assert Live(survey).now() == {"live": None}
    clock = Clock()
    os.utime(path)
    live = Live(survey, clock)
    assert live.now()["live"] is not None
    clock.now += 700
    assert live.now() == {"live": None}


def test_entry_under_way_is_no_recording(survey, level_setup):
    with begin(survey, dataclasses.replace(level_setup, source="enter")):
        assert Live(survey).now() == {"live": None}


def test_inch_survey_is_shown_in_thou_and_inches(survey, level_setup):
    inch = INVENTED_BED.replace("length_mm = 1000", 'display = "inch"\nlength_mm = 1000')
    setup = dataclasses.replace(level_setup, bed_toml=inch, position="stations")
    live = Live(survey, Clock())
    with begin(survey, setup) as writer:
        writer.chunk("level", 0.1, b"-83.3\r\n")
        found = live.now()["live"]
    assert found["reading"] == "-1.00 thou/ft" and found["where"].endswith(" in")
    assert not any("mm" in str(value) for value in found.values())
