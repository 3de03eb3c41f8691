"""What is printed, painted, rung and fed to the window."""

import json
import sys
from dataclasses import replace

import pytest

from acquire.console.painting import Page, page
from acquire.console.showing import Screen
from acquire.console.taken import Taken
from acquire.console.tracking import Live
from acquire.console.window import WindowFeed, encoded, live_line, start_line, station_line
from acquire.model.recorded import Event
from acquire.model.traverse import Setup
from tests.invented import bed_toml, level, speaks

from .conftest import Recorder

BED = bed_toml(600, instruments={"level": level(0.5, **speaks("socket://level:1"))})
SETUP = Setup("level", "slope", BED, number=7, face="front", position="stations")
SCALE = Setup("level", "slope", BED, number=7, face="front", position="scale:level")
LIVE = Live(
    time_s=75.0,
    position_mm=287.6,
    reading=-12.34,
    next_mm=300.0,
    still_s=1.5,
    taken=(Taken(100.0, 3.25, 0.5, 20.0),),
    places=3,
    counts={"level": (120, 4)},
    problem="level: 4 garbled so far",
)


@pytest.mark.parametrize("columns", [30, 40, 80, 200])
def test_page_says_all_of_it_on_narrow_and_wide_terminals(columns):
    lines = page(LIVE, SCALE, columns, rows=12)
    assert max(len(line) for line, _ in lines[:-4]) <= columns
    assert len(lines) <= (11 if columns >= 80 else 15) and len(page(LIVE, SCALE, columns, rows=24)) < 24
    text = " ".join(" ".join(line.strip() for line, _ in lines).split())
    for words in ("287.6 mm", "300 mm", "12.4 mm to go", "still for 1.5 s of 3 s", "4 not good", "q: end"):
        assert words in text
    assert "1 taken of 3" in text and "4 garbled" in text


def test_first_line_says_how_the_instrument_stands():
    turned = replace(SCALE, turned=True, direction="reverse")
    assert page(LIVE, turned, 80)[0][0] == "1:15  traverse 007: front by level, reverse, turned end for end"


@pytest.mark.parametrize(("columns", "rows"), [(60, 24), (80, 24), (100, 30), (120, 40)])
def test_long_profile_never_pushes_the_keys_off_the_terminal(columns, rows):
    profile = ["so far:", *(f"{k}00 {'=' * 20}|" for k in range(14))]
    lines = [line for line, _ in page(LIVE, SCALE, columns, profile, rows=rows)]
    assert len(lines) < rows
    assert lines[-1].endswith("q: end and keep")
    is_shown_from_its_head = profile[0] in lines
    assert (profile[-1] in lines) is is_shown_from_its_head  # all of it, or none


def test_station_is_near_enough_where_a_reading_would_count_for_it():
    """2 mm, what an instrument set to a scribed line by hand is off (common practice)."""

    def words(position_mm):
        return "".join(line for line, _ in page(replace(LIVE, position_mm=position_mm), SCALE, 80))

    assert "you are there" in words(298.4) and "you are there" in words(301.9)
    assert "2.6 mm to go, away from the near end" in words(297.4)


def test_owner_of_an_inch_bed_is_shown_thou_and_inches():
    inch = replace(SCALE, bed_toml=BED.replace("length_mm = 600", 'length_mm = 600\ndisplay = "inch"'))
    live = replace(LIVE, reading=83.333, position_mm=254.0, next_mm=279.4)
    text = "\n".join(line for line, _ in page(live, inch, 80, rows=10))
    # 83.333 µm/m is a thousandth of an inch in a foot (derived: 1 in 12 000)
    assert "1.00 thou/ft" in text and "10 in" in text and "next station 11 in: 1 in to go" in text


def test_station_that_was_taken_is_said_to_be_while_it_still_stands_there():
    assert any("TAKEN, go on" in line for line, _ in page(replace(LIVE, is_taken_here=True), SCALE, 80))


def test_old_reading_is_said_to_be_old_and_a_lost_position_is_not_shown():
    live = replace(LIVE, reading_age_s=8.0, position_mm=None, is_placeless=True, still_s=0.0)
    lines = [line for line, _ in page(live, SCALE, 80)]
    assert "last reading 8 s ago" in lines and "no position" in lines
    assert any("the position has stopped coming" in line for line in lines)
    assert not any("last reading" in line for line, _ in page(replace(LIVE, reading_age_s=0.1), SCALE, 80))


def test_station_being_read_is_the_one_shown_until_it_is_taken():
    live = replace(LIVE, position_mm=None, next_mm=300.0, is_unmarked=False)
    assert "reading station 300 mm" in [line for line, _ in page(live, SETUP, 80)]
    unmarked = [line for line, _ in page(replace(live, is_unmarked=True), SETUP, 80)]
    assert "next station 300 mm" in unmarked and "press Enter when it stands there" in unmarked


def test_terminal_that_cannot_be_drawn_over_gets_lines_and_the_keys(monkeypatch):
    monkeypatch.setenv("TERM", "dumb")
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    assert not Page(SETUP).can_redraw


def test_state_is_in_the_words_and_never_in_the_colour_alone():
    settled = page(Live(is_settled=True, still_s=5, places=3), SCALE, 80)
    moving = page(Live(still_s=0.0, places=3), SCALE, 80)
    assert any("SETTLED" in line for line, _ in settled)
    assert any("moving" in line for line, _ in moving)
    problem = page(LIVE, SCALE, 80)
    assert any(line.startswith("! ") for line, _ in problem)


def test_keys_of_the_page_fit_the_position():
    keys = " ".join(line for line, _ in page(LIVE, SETUP, 80)[-2:])
    assert "Enter: it stands" in keys and "x: that was no station" in keys
    feed = Setup("level", "slope", BED, number=7, face="front", position="feed:5")
    assert "feed starts" in page(LIVE, feed, 80)[-1][0]
    words = [line for line, _ in page(Live(), feed, 80)]
    assert "press Enter as the feed starts" in words and "moving" not in "".join(words)
    assert "press Enter as the feed stops" in [line for line, _ in page(LIVE, feed, 80)]


def test_window_lines_are_json_with_null_for_what_is_not_known():
    live = json.loads(encoded(live_line(Live(time_s=1.0))))["live"]
    assert live["position_mm"] is None and live["time_s"] == 1.0 and live["to_go_mm"] is None
    start = json.loads(encoded(start_line("s", SETUP, [100.0])))["start"]
    assert start["face"] == "front" and start["number"] == 7 and start["places_mm"] == [100.0]
    station = json.loads(encoded(station_line(Taken(100.0, float("nan"), 0.5, 3.0))))["station"]
    assert station["reading"] is None and station["station_mm"] == 100.0


def test_window_gets_every_station_and_its_end(tmp_path):
    kept = tmp_path / "kept"
    copying = f"import sys; open({str(kept)!r}, 'wb').write(sys.stdin.buffer.read())"
    feed = WindowFeed([sys.executable, "-c", copying])
    feed.put(live_line(LIVE))
    for k in range(300):
        feed.put(station_line(Taken(float(k), 1.0, 0.5, 0.0)))
    feed.close()
    feed._process.wait(30)
    lines = [json.loads(line) for line in kept.read_text().splitlines()]
    assert [line["station"]["station_mm"] for line in lines if "station" in line] == list(range(300))


def test_window_that_fails_is_left_alone():
    feed = WindowFeed([sys.executable, "-c", "raise SystemExit(3)"])
    feed._process.wait(30)
    for k in range(50):
        feed.put(station_line(Taken(float(k), 1.0, 0.5, 0.0)))
    feed.close()
    assert feed.has_gone


def shown(capsys, screen, recorder, *events):
    screen.watch(recorder)
    for event in events:
        screen.event(event)
    with screen:
        pass
    return capsys.readouterr().out.splitlines()


EVENTS = (
    Event(0.0, "recording", "007-front-level.journal; 2025-11-25T08:00:00Z"),
    Event(0.1, "opened", "level: socket://level:1"),
    Event(0.2, "asked", "level: level"),
    Event(5.0, "lost", "level: the port has gone"),
)


def test_without_a_terminal_there_is_a_line_for_each_event(tmp_path, capsys):
    lines = shown(capsys, Screen(tmp_path, SETUP), Recorder(SETUP), *EVENTS)
    assert "recording" in lines[0] and "front by level, forward, into 007-front-level.journal" in lines[0]
    assert ["opened" in line for line in lines] == [False, True, False]
    assert "lost" in lines[2] and "\a" not in "".join(lines)


def test_quiet_tells_only_the_beginning_and_what_goes_wrong(tmp_path, capsys):
    lines = shown(capsys, Screen(tmp_path, SETUP, is_quiet=True), Recorder(SETUP), *EVENTS)
    assert len(lines) == 2 and "recording" in lines[0] and "lost" in lines[1]


def test_keys_do_what_they_say(tmp_path):
    recorder = Recorder(SETUP)
    screen = Screen(tmp_path, SETUP).watch(recorder)
    for key in ("\r", "u", "s", "\r", "b", "q", ""):
        recorder.now += 2.0
        screen._pressed(key)
        if key == "\r":  # the recorder tells of the mark it kept
            screen.event(Event(1.0, "mark", recorder.marks[-1]))
    assert recorder.marks == ["station 100", "station 500"]
    assert screen.tracker.next_mm == 500.0 and recorder.stops == ["q"]


def test_feed_is_ended_by_its_second_mark(tmp_path):
    recorder = Recorder(SETUP)
    setup = Setup("level", "slope", BED, number=7, face="front", position="feed:5")
    screen = Screen(tmp_path, setup, from_mm=150.0).watch(recorder)
    screen._pressed("\r")
    assert recorder.marks == ["the feed starts at station 150"] and recorder.stops == []
    recorder.now += 20.0
    screen._pressed("\r")
    assert recorder.stops == ["the second mark"]


def test_key_that_bounces_is_one_mark(tmp_path):
    for setup in (SETUP, Setup("level", "slope", BED, number=7, face="front", position="feed:5")):
        recorder = Recorder(SETUP)
        screen = Screen(tmp_path, setup).watch(recorder)
        for pressed_s in (5.0, 5.1, 5.9):
            recorder.now = pressed_s
            screen._pressed("\r")
        assert len(recorder.marks) == 3 and recorder.stops == []
        assert recorder.marks[1:] == ["Enter again within a second: no mark"] * 2


def test_mark_that_was_none_is_taken_back_and_its_station_comes_next_again(tmp_path):
    recorder = Recorder(SETUP)
    screen = Screen(tmp_path, SETUP).watch(recorder)
    screen._pressed("x")
    assert recorder.marks == []
    for station, pressed_s in ((100, 4.0), (300, 12.5)):
        recorder.now = pressed_s
        screen._pressed("\r")
        screen.event(Event(pressed_s, "mark", recorder.marks[-1]))
        assert recorder.marks[-1] == f"station {station}"
    screen._pressed("x")
    assert recorder.marks[-1] == "mark at 12.50 s" and screen.tracker.next_mm == 300.0
