"""What the screen rings, says at the end, and writes into the marks of a recording."""

from types import SimpleNamespace

import pytest

from acquire.console.showing import Screen
from acquire.model.recorded import Event
from acquire.model.traverse import Setup
from tests.invented import bed_toml, dial, level, speaks

from .conftest import Recorder

PARTS = {
    "instruments": {"level": level(0.5, **speaks("socket://level:1")), "dial": dial(**speaks("socket://d:1"))}
}
BED = bed_toml(600, **PARTS)
INCH_BED = bed_toml(609.6, 4.7625, bed={"display": "inch"}, **PARTS)
SETUP = Setup("level", "slope", BED, number=7, face="front", position="scale:level")


class Paper:
    """Stands in for a page on a terminal: notes the bells and what stands in its last line."""

    def __init__(self):
        self.columns, self.bells, self.status = 80, 0, ""

    def paint(self, live, profile, status, setup):
        self.status = status

    def bell(self):
        self.bells += 1


def rung(screen, *kinds):
    """Bells in five looks at the screen after this news, one look after the other."""
    paper = Paper()
    for kind in kinds:
        screen._heard_news(kind, "100")
    for _ in range(5):
        screen._show(paper)
    return paper.bells


@pytest.mark.parametrize(
    ("news", "bells"),
    [(("taken",), 1), (("problem",), 2), (("problem", "taken"), 2), (("taken", "problem"), 2), ((), 0)],
)
def test_bell_rings_once_for_a_station_and_twice_for_what_is_wrong(tmp_path, news, bells):
    assert rung(Screen(tmp_path, SETUP).watch(Recorder(SETUP)), *news) == bells


def test_no_bell_rings_where_none_is_wanted(tmp_path):
    assert rung(Screen(tmp_path, SETUP, has_bell=False).watch(Recorder(SETUP)), "problem", "taken") == 0


def test_bell_rings_instead_of_a_sound_that_fails(tmp_path):
    """A station taken without a sound would be waited for."""
    sounds = []
    aloud = SimpleNamespace(sound=lambda *each: sounds.append(each), fault="", close=lambda: None)
    screen = Screen(tmp_path, SETUP, has_bell=False, aloud=aloud).watch(Recorder(SETUP))
    assert rung(screen, "taken") == 0 and sounds == [("taken", "100 mm")]
    aloud.fault = "no sound: no device"
    screen._heard_news("problem", "level: silent")
    assert sounds[-1] == ("wrong", "level: silent")
    assert any("no device; the bell rings instead" in line for line in screen._lines)
    assert rung(screen) == 2


def test_end_says_not_to_switch_off_and_how_long_the_file_takes(tmp_path):
    recorder, paper = Recorder(SETUP), Paper()
    screen = Screen(tmp_path, SETUP).watch(recorder)
    screen._show(paper)
    assert paper.status == ""
    screen.event(Event(10.0, "ended", "by q"))
    for now, behind in ((11.0, ""), (15.0, " (5 s)")):
        recorder.now = now
        screen._show(paper)
        assert paper.status == f"ended; writing the traverse file: do not switch off{behind}"


def test_no_key_marks_anything_once_it_has_ended(tmp_path):
    recorder = Recorder(SETUP)
    screen = Screen(tmp_path, SETUP).watch(recorder)
    screen.event(Event(10.0, "ended", "by q"))
    screen._pressed("\r")
    assert recorder.marks == []


def test_mark_holds_the_station_to_all_its_digits(tmp_path):
    """Three sixteenths of an inch are 4.7625 mm (exact): the 22nd station is at 100.0125 mm."""
    setup = Setup("dial", "offset", INCH_BED, number=7, face="front", reference="line", position="stations")
    recorder = Recorder(setup)
    screen = Screen(tmp_path, setup).watch(recorder)
    for _ in range(22):
        recorder.now += 5.0
        screen._pressed("\r")
        screen.event(Event(recorder.now, "mark", recorder.marks[-1]))
    assert recorder.marks[1] == "station 4.7625" and recorder.marks[-1] == "station 100.0125"


def test_what_is_told_in_an_inch_survey_is_in_inches(tmp_path, capsys):
    setup = Setup("level", "slope", INCH_BED, number=7, face="front", position="scale:level")
    screen = Screen(tmp_path, setup).watch(Recorder(setup))
    screen.event(Event(1.0, "problem", "at 254 mm: moved by 25.4 µm"))
    assert "at 10 in: moved by 1.00 thou" in screen._lines[-1]
