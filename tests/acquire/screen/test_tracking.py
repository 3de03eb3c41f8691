"""The screen's own following of a recording, by a scripted clock."""

import numpy as np
import pytest

from acquire.ports import Chunk, PortEvent
from acquire.screen import Tracker
from acquire.traverse_file import Setup

BED = """
[bed]
name = "invented bed of the tests"
length_mm = 600
station_pitch_mm = 100
[faces.front]
normal = "up"
[instruments.level]
quantity = "slope"
unit = "um/m"
base_mm = 200
standard_uncertainty = 0.5
sign = -1
[instruments.level.port]
url = "socket://level:1"
[instruments.level.wire]
kind = "lines"
pattern = '(?P<value>[-+]\\d+\\.\\d+)'
[instruments.scale]
quantity = "position"
unit = "mm"
[instruments.scale.port]
url = "socket://scale:1"
[instruments.scale.wire]
kind = "lines"
pattern = '(?P<value>[-+]\\d+\\.\\d+)'
"""


class Bench:
    """Feeds a tracker, 20 readings a second, and keeps what it says."""

    def __init__(self, position="scale:scale", settled_s=3.0):
        self.news = []
        setup = Setup("level", "slope", BED, number=1, face="front", position=position)
        self.tracker = Tracker(setup, settled_s=settled_s, on_news=lambda *n: self.news.append(n))
        self.now_s, self.live = 0.0, None
        self.has_scale = position.startswith("scale")

    def run(self, seconds, position_mm=None, reading=lambda t: 10.0, to_mm=None):
        steps = round(seconds / 0.05)
        for k in range(steps):
            self.now_s += 0.05
            if self.has_scale and position_mm is not None:
                x = position_mm if to_mm is None else position_mm + (to_mm - position_mm) * (k + 1) / steps
                self.tracker.chunk(Chunk("scale", self.now_s, f"{x:+.3f}\n".encode()))
            self.tracker.chunk(Chunk("level", self.now_s, f"{-reading(self.now_s):+.2f}\n".encode()))
            self.live = self.tracker.tick(self.now_s)
        return self.live

    def mark(self, text="station"):
        self.tracker.event(PortEvent("", self.now_s, "mark", text))


def test_station_is_taken_once_it_has_stood_and_settled_and_only_once():
    bench = Bench()
    assert bench.run(2.0, 100.0).taken == ()
    live = bench.run(4.0, 100.3)
    assert [t.station_mm for t in live.taken] == [100.0]
    assert live.taken[0].reading == pytest.approx(10.0)
    assert len(bench.run(20.0, 100.3).taken) == 1
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


def test_constant_feed_is_followed_from_its_first_mark():
    bench = Bench(position="feed:5")
    assert bench.run(2.0).position_mm is None
    bench.mark("the feed starts at station 150")
    assert bench.run(4.0).position_mm == pytest.approx(170.0)
    assert bench.live.next_mm is None and bench.live.taken == ()


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
    bench.tracker.event(PortEvent("level", 1.0, "lost", "level: the port has gone"))
    assert "gone" in bench.tracker.tick(1.0).problem
    bench.tracker.event(PortEvent("level", 2.0, "reopened", "level: back"))
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


def test_memory_stays_bounded_however_long_it_runs():
    bench = Bench()
    for k in range(60_000):
        bench.tracker.chunk(Chunk("level", 0.001 * k, b"+1.00\n"))
    heard = bench.tracker._heard["level"]
    assert heard.good == 60_000 and len(heard.recent._value) <= 4000
