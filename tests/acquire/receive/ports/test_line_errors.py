"""What a driver counts on a bad line is told a few times, however long it lasts."""

from types import SimpleNamespace

import pytest

from acquire.model.bed import Port
from acquire.receive.ports import line as lines
from acquire.receive.ports import opening
from acquire.receive.ports.line import Line


@pytest.fixture
def bad_line(monkeypatch):
    """A line whose driver counts framing errors: `count(n)` sets how many there were since it was loaded."""
    counted = {"framing errors": 40, "overruns": 0}
    monkeypatch.setattr(lines, "error_counters", lambda handle: dict(counted))
    line = Line("level", Port("/dev/invented"), (), silent_after_s=1e9, retry_s=1.0)
    line.handle, line._counters = SimpleNamespace(), dict(counted)
    return line, lambda **more: counted.update({key.replace("_", " "): n for key, n in more.items()})


def test_errors_of_an_hour_are_few_events_with_their_number(bad_line):
    line, count = bad_line
    said = []
    for second in range(1, 3600):
        count(framing_errors=40 + 3 * second)
        said += line.attend(lambda now_s=float(second): now_s)
    assert [event.kind for event in said] == ["errors"] * len(said)
    assert len(said) <= 5
    assert said[0].text == "level: the driver has counted 3 framing errors by now"
    assert said[-1].text == "level: the driver has counted 3000 framing errors by now"


def test_each_kind_of_error_is_told_when_it_first_comes(bad_line):
    line, count = bad_line
    count(framing_errors=41)
    assert [event.text for event in line.attend(lambda: 1.0)] == [
        "level: the driver has counted 1 framing errors by now"
    ]
    count(overruns=2)
    assert [event.text for event in line.attend(lambda: 2.0)] == [
        "level: the driver has counted 2 overruns by now"
    ]


def test_line_without_errors_says_nothing(bad_line):
    line, _ = bad_line
    assert [event for second in range(1, 50) for event in line.attend(lambda at=float(second): at)] == []


@pytest.mark.parametrize(
    ("after", "meanwhile"), [({"framing errors": 7}, 0), ({"framing errors": 9}, 2), ({}, None)]
)
def test_framing_errors_of_a_listening_are_those_that_came_meanwhile(monkeypatch, after, meanwhile):
    """The driver counts on from before: seven old errors do not blame the speed that is tried now."""
    counts = iter([{"framing errors": 7}, after])
    handle = SimpleNamespace(close=lambda: None)
    monkeypatch.setattr(opening, "resolve", lambda url: url)
    monkeypatch.setattr(opening, "open_port", lambda port, url: (handle, url))
    monkeypatch.setattr(opening, "error_counters", lambda port: next(counts))
    monkeypatch.setattr(opening, "_heard", lambda *_: b"+1.0\r\n")
    assert opening.listen(Port("invented"), 1.0) == (b"+1.0\r\n", meanwhile)
