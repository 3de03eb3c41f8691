"""The screen's own following of a recording, by a scripted clock."""

import json

import numpy as np
import pytest

from acquire.console.tracking import Tracker
from acquire.console.window import encoded, live_line
from acquire.model.recorded import Chunk, Event
from acquire.model.traverse import Setup
from acquire.reduce.tagging.dwells import dwells_by_reading
from tests.invented import bed_toml, level, scale, speaks

BED = bed_toml(
    600,
    instruments={
        "level": level(0.5, sign=-1, **speaks("socket://level:1")),
        "scale": scale(**speaks("socket://scale:1")),
    },
)


EVERY_S = 0.1


class Bench:
    """Feeds a tracker, 10 readings a second, and keeps what it says."""

    def __init__(self, position="scale:scale", settled_s=3.0, **setup):
        self.news = []
        setup = Setup("level", "slope", BED, number=1, face="front", position=position, **setup)
        self.tracker = Tracker(setup, settled_s=settled_s, on_news=lambda *n: self.news.append(n))
        self.now_s, self.live = 0.0, None
        self.has_scale = position.startswith("scale")

    def run(self, seconds, position_mm=None, reading=lambda t: 10.0, to_mm=None):
        steps = round(seconds / EVERY_S)
        for k in range(steps):
            self.now_s += EVERY_S
            if self.has_scale and position_mm is not None:
                x = position_mm if to_mm is None else position_mm + (to_mm - position_mm) * (k + 1) / steps
                self.tracker.chunk(Chunk("scale", self.now_s, f"{x:+.3f}\n".encode()))
            self.tracker.chunk(Chunk("level", self.now_s, f"{-reading(self.now_s):+.2f}\n".encode()))
            self.live = self.tracker.tick(self.now_s)
        return self.live

    def mark(self, text="station"):
        self.tracker.event(Event(self.now_s, "mark", text))


@pytest.mark.whole
def test_station_is_taken_once_it_has_stood_and_settled_and_only_once():
    bench = Bench()
    assert bench.run(2.0, 100.0).taken == ()
    live = bench.run(4.0, 100.3)
    assert [t.station_mm for t in live.taken] == [100.0]
    assert live.taken[0].reading == pytest.approx(10.0)
    assert live.is_taken_here and len(bench.run(20.0, 100.3).taken) == 1
    assert not bench.run(1.0, 100.3, to_mm=120.0).is_taken_here
    assert bench.news.count(("taken", "100")) == 1


def test_reading_that_still_settles_is_not_taken():
    bench = Bench()
    live = bench.run(5.0, 100.0, reading=lambda t: 10 + 500 * np.exp(-t / 2.0))
    assert live.still_s > 4.5 and not live.is_settled and live.taken == ()
    assert len(bench.run(12.0, 100.0, reading=lambda t: 10 + 500 * np.exp(-t / 2.0)).taken) == 1


def test_next_station_and_the_way_to_it_are_shown():
    bench = Bench()
    live = bench.run(4.0, 100.0)
    assert live.next_mm == 300.0
    live = bench.run(2.0, 100.0, to_mm=280.0)
    assert live.to_go_mm == pytest.approx(20.0) and live.still_s < 0.2


@pytest.mark.whole
def test_last_station_ends_it_after_a_while_and_moving_on_does_not():
    bench = Bench()
    for place in (100.0, 300.0, 500.0):
        bench.run(2.0, bench.live.position_mm if bench.live else place, to_mm=place)
        live = bench.run(4.0, place)
    assert live.ends_in_s is not None and not bench.tracker.is_over(bench.now_s)
    bench.run(1.0, 500.0, to_mm=400.0)
    assert bench.live.ends_in_s is None
    bench.run(1.0, 400.0, to_mm=500.0)
    bench.run(9.0, 500.0)
    assert bench.tracker.is_over(bench.now_s)


def test_somebody_who_wants_to_go_on_is_not_ended():
    bench = Bench()
    bench.run(1, 100.0)
    bench.tracker.go_on()
    for place in (100.0, 300.0, 500.0):
        bench.run(4.0, place)
    assert not bench.tracker.is_over(bench.now_s + 100)


def test_coming_back_to_a_station_is_a_second_visit():
    bench = Bench()
    for place in (100.0, 300.0, 100.0):
        bench.run(4.0, place)
    assert [(t.station_mm, t.repeat) for t in bench.live.taken] == [(100, 1), (300, 1), (100, 2)]
    stations = bench.tracker.stations()
    assert stations.station_mm.tolist() == [100, 100, 300] and stations.repeat.tolist() == [1, 2, 1]


def test_without_a_scale_a_station_is_taken_only_after_its_mark():
    bench = Bench(position="stations")
    assert bench.run(10.0).is_unmarked and bench.live.taken == ()
    bench.mark("station 100")
    assert [t.station_mm for t in bench.run(4.0).taken] == [100.0]
    assert bench.live.next_mm == 300.0
    bench.tracker.pass_over()
    bench.mark("mark")
    assert [t.station_mm for t in bench.run(4.0).taken] == [100.0, 500.0]


def test_going_back_makes_the_station_before_the_next_one():
    bench = Bench(position="stations")
    bench.mark("station 100")
    bench.run(4.0)
    bench.tracker.go_back()
    bench.mark("mark")
    assert [(t.station_mm, t.repeat) for t in bench.run(4.0).taken] == [(100, 1), (100, 2)]


def test_going_back_before_the_first_and_on_behind_the_last_leads_nowhere():
    bench = Bench(position="stations")
    for _ in range(2):
        bench.tracker.go_back()
    assert bench.run(0.1).next_mm == 100.0
    for _ in range(9):
        bench.tracker.pass_over()
    assert bench.run(0.1).next_mm is None
    bench.tracker.go_back()
    assert bench.run(0.1).next_mm == 500.0


def stepped_level(bench, stations, rest_s=5.0, noise=0.2):
    """Rest at each station in turn, thrown about between them."""
    rng = np.random.default_rng(3)
    for k in range(stations):
        bench.run(rest_s, reading=lambda _, k=k: 10.0 + 3 * k + rng.normal(0, noise))
        if k < stations - 1:
            bench.run(3.0, reading=lambda _: rng.normal(0, 3000.0))
    return bench.live


def test_without_marks_each_stretch_of_rest_is_a_station_and_the_last_one_ends_it():
    bench = Bench(position="stations")
    assert stepped_level(bench, 3).in_turn == 3
    assert [words.split(",")[0] for kind, words in bench.news if kind == "in turn"] == [
        "1 of 3", "2 of 3", "3 of 3",
    ]  # fmt: skip
    assert bench.live.ends_in_s is not None and not bench.tracker.is_over(bench.now_s)
    bench.run(12.0, reading=lambda _: 16.0)
    assert bench.tracker.is_over(bench.now_s)


@pytest.mark.whole
def test_stretches_that_the_screen_counts_are_those_that_the_file_has():
    """A second method: the whole record's own search for quiet stretches."""
    rng = np.random.default_rng(5)
    time_s = np.arange(0, 60, EVERY_S)
    moving = (time_s % 10) > 6.5
    reading = np.where(moving, rng.normal(0, 2000, time_s.size), 5 + rng.normal(0, 0.3, time_s.size))
    bench = Bench(position="stations")
    series = iter(reading)
    bench.run(60.0, reading=lambda _: float(next(series)))
    found = [dwell for dwell in dwells_by_reading(time_s, reading) if dwell.length_s >= 2.0]
    assert bench.live.in_turn == len(found) == 6


@pytest.mark.whole
def test_last_stretch_does_not_end_what_moves_on_or_what_marks_have_taken_over():
    bench = Bench(position="stations")
    stepped_level(bench, 3)
    bench.run(3.0, reading=lambda t: 3000 * np.sin(40 * t))
    assert bench.live.ends_in_s is None
    marked = Bench(position="stations")
    stepped_level(marked, 3)
    marked.mark("station 100")
    live = marked.run(4.0)
    assert live.in_turn is None and live.ends_in_s is None and [t.station_mm for t in live.taken] == [100.0]


def test_first_rest_that_was_no_station_is_taken_back_and_the_last_one_still_comes():
    """Four rests for three stations; the first was before the traverse began."""
    bench = Bench(position="stations")
    stepped_level(bench, 1)
    assert bench.tracker.take_back().startswith("rest at ")
    bench.run(3.0, reading=lambda t: 3000 * np.sin(40 * t))
    assert bench.live.in_turn == 0 and bench.live.next_mm == 100.0
    live = stepped_level(bench, 3)
    assert live.in_turn == 3 and live.ends_in_s is not None
    assert bench.tracker.take_back() is not None and bench.tracker.tick(bench.now_s).ends_in_s is None


def test_rest_at_no_station_before_the_traverse_begins_is_not_taken():
    bench = Bench()
    live = bench.run(5.0, 130.0)
    assert live.taken == () and any("has not begun" in words for _, words in bench.news)
    bench.run(2.0, 130.0, to_mm=100.0)
    assert [t.station_mm for t in bench.run(5.0, 100.0).taken] == [100.0]
    bench.run(2.0, 100.0, to_mm=170.0)
    assert [t.station_mm for t in bench.run(5.0, 170.0).taken] == [100.0, 170.0]


def test_mark_of_the_next_station_without_a_move_is_questioned_and_taken_back():
    rng = np.random.default_rng(7)
    bench = Bench(position="stations")
    for place in (100, 300):
        bench.run(3.0, reading=lambda _: rng.normal(0, 3000.0))
        bench.run(5.0, reading=lambda _: 10 + rng.normal(0, 0.2))
        bench.mark(f"station {place}")
        bench.run(4.0, reading=lambda _: 10 + rng.normal(0, 0.2))
    assert not any("no move" in words for _, words in bench.news)
    bench.mark("station 500")
    bench.run(4.0, reading=lambda _: 10 + rng.normal(0, 0.2))
    assert any("no move was seen since 300 mm" in words for kind, words in bench.news if kind == "problem")
    assert bench.tracker.take_back() == f"mark at {bench.now_s - 4.0:.2f} s"
    live = bench.tracker.tick(bench.now_s)
    assert live.next_mm == 500.0 and [t.station_mm for t in live.taken] == [100.0, 300.0]


def test_adapter_that_hands_over_in_lumps_is_named_once_while_it_records():
    bench = Bench()
    for lump in range(1, 8):
        text = b"+10.00\n" * 60
        bench.tracker.chunk(Chunk("level", 3.0 * lump, text))
        bench.tracker.tick(3.0 * lump)
    told = [words for kind, words in bench.news if kind == "problem" and "lumps" in words]
    assert told == [
        "level: its adapter hands over lines in lumps of 3 s: set it to hand over at once, "
        "or stand still for 9 s at each station"
    ]
    steady = Bench()
    steady.run(30.0, 100.0)
    assert not any("lumps" in words for _, words in steady.news)


def test_two_readings_within_a_second_are_one_station():
    bench = Bench(position="stations")
    for _ in range(3):
        bench.now_s += 6.0
        for pressed_s in (0.0, 0.4):
            bench.tracker.chunk(Chunk("level", bench.now_s + pressed_s, b"+12.00\n"))
    assert bench.tracker.tick(bench.now_s + 3.0).in_turn == 3


def test_readings_sent_one_by_one_are_stations_in_turn():
    bench = Bench(position="stations")
    for k in range(3):
        bench.now_s += 6.0
        bench.tracker.chunk(Chunk("level", bench.now_s, b"+12.00\n"))
        assert bench.tracker.tick(bench.now_s + 2.0).in_turn == k + 1
    assert bench.tracker.is_over(bench.now_s + 13.0)


def test_last_station_ends_it_where_one_was_left_out_on_purpose():
    bench = Bench(position="stations")
    bench.mark("station 100")
    bench.run(4.0)
    bench.tracker.pass_over()
    bench.mark("station 500")
    live = bench.run(4.0)
    assert live.ends_in_s is not None


def test_station_passed_without_being_taken_comes_up_again_and_nothing_ends_without_it():
    bench = Bench()
    for place in (100.0, 500.0):
        bench.run(2.0, bench.live.position_mm if bench.live else place, to_mm=place)
        live = bench.run(4.0, place)
    assert live.ends_in_s is None and live.next_mm == 300.0 and live.is_missed
    bench.run(2.0, 500.0, to_mm=300.0)
    assert bench.run(4.0, 300.0).ends_in_s is not None


def test_mark_pressed_before_it_stands_takes_nothing_while_it_moves():
    bench = Bench(position="stations")
    rng = np.random.default_rng(4)
    bench.run(6.0, reading=lambda _: 10 + rng.normal(0, 0.2))
    bench.mark("station 100")
    live = bench.run(8.0, reading=lambda _: rng.normal(0, 3000.0))
    assert live.taken == () and live.next_mm == 100.0
    (taken,) = bench.run(5.0, reading=lambda _: 12 + rng.normal(0, 0.2)).taken
    assert taken.reading == pytest.approx(12, abs=0.2)


def test_constant_feed_is_followed_from_its_first_mark():
    bench = Bench(position="feed:5")
    assert bench.run(2.0).position_mm is None
    bench.mark("the feed starts at station 150")
    assert bench.run(4.0).position_mm == pytest.approx(170.0)
    assert bench.live.next_mm is None and bench.live.taken == ()


def test_feed_towards_the_headstock_is_followed_backwards():
    bench = Bench(position="feed:5", direction="reverse")
    bench.mark("the feed starts at station 450")
    assert bench.run(4.0).position_mm == pytest.approx(430.0)


def test_every_state_of_a_recording_can_be_sent_to_the_window():
    bench = Bench()
    rng = np.random.default_rng(6)
    for place in (100.0, 300.0, 500.0):
        for _ in range(12):
            live = bench.run(0.5, place, reading=lambda _: 10 + rng.normal(0, 0.3))
            assert json.loads(encoded(live_line(live)))["live"]["time_s"] == pytest.approx(bench.now_s)
    assert len(live.taken) == 3


def test_lost_port_stays_the_problem_and_an_old_position_is_no_longer_shown():
    bench = Bench()
    bench.run(6.0, 100.0)
    for name in ("level", "scale"):
        bench.tracker.event(Event(bench.now_s, "lost", f"{name}: the port has gone"))
    live = bench.tracker.tick(bench.now_s + 8.0)
    assert "the port has gone" in live.problem
    assert live.position_mm is None and live.is_placeless and live.still_s == 0.0
    assert live.reading_age_s == pytest.approx(8.0)


def test_positions_that_stop_are_said_once():
    bench = Bench()
    bench.run(2.0, 100.0)
    bench.run(5.0)
    told = [words for kind, words in bench.news if kind == "problem"]
    assert len(told) == 1 and "no position" in told[0]


def test_garbled_lines_are_told_at_once_but_not_each():
    bench = Bench()
    for k in range(200):
        bench.tracker.chunk(Chunk("level", 0.05 * k, b"@@@\n"))
    told = [words for kind, words in bench.news if kind == "problem"]
    assert 3 <= len(told) <= 8
    assert "1 garbled" in told[0] and "is 9600 baud its speed" in told[1]
    assert bench.tracker.tick(10.0).counts["level"] == (0, 200)


def test_place_off_the_bed_is_said_and_not_taken():
    bench = Bench()
    bench.run(5.0, 650.0)
    assert bench.live.taken == () and "off the bed" in bench.live.problem


def test_lost_port_is_a_problem_until_it_is_back():
    bench = Bench()
    bench.tracker.event(Event(1.0, "lost", "level: the port has gone"))
    assert "gone" in bench.tracker.tick(1.0).problem
    bench.tracker.event(Event(2.0, "reopened", "level: back"))
    assert bench.tracker.tick(2.0).problem == ""


def test_reading_frozen_while_it_moves_is_said():
    bench = Bench()
    bench.run(20.0, 100.0)
    assert [words for kind, words in bench.news if kind == "problem"] == []
    bench.run(10.0, 100.0, to_mm=200.0)
    (told,) = [words for kind, words in bench.news if kind == "problem"]
    assert "frozen" in told


def test_questioned_station_is_kept_with_the_question():
    bench = Bench()
    bench.run(4.0, 100.0)
    bench.tracker.question(0, "station 100 is 9 µm/m off: wipe, re-seat, read again")
    live = bench.tracker.tick(bench.now_s)
    assert "wipe" in live.problem and live.taken[0].doubt == live.problem
    assert bench.news[-1] == ("problem", live.problem)
    assert len(bench.tracker.stations(0)) == 0 and len(bench.tracker.stations()) == 1


@pytest.mark.whole
def test_memory_stays_bounded_however_long_it_runs():
    bench = Bench()
    for k in range(60_000):
        bench.tracker.chunk(Chunk("level", 0.001 * k, b"+1.00\n"))
    heard = bench.tracker._hearing.of["level"]
    assert heard.good == 60_000 and len(heard.recent._value) <= 4000


def test_no_position_is_missed_once_the_recording_has_ended():
    """Its file is in the making then, and the scale is closed."""
    bench = Bench()
    bench.run(2.0, 100.0)
    bench.tracker.event(Event(bench.now_s, "ended", "by q"))
    bench.tracker.tick(bench.now_s + 5.0)
    assert not [words for kind, words in bench.news if kind == "problem"]


def test_bytes_without_a_line_end_are_told_as_bytes():
    bench = Bench(position="stations")
    for k in range(500):
        bench.tracker.chunk(Chunk("level", 0.01 * k, b"\xfe" * 10_000))
    assert bench.tracker.tick(5.0).unread == {"level": 5_000_000}
    bench.run(0.2)
    assert not bench.tracker.tick(6.0).unread
