"""The window of a recording: what it makes of its lines, what it draws, what it does without a display."""

import json
import os
import shutil
import subprocess
import sys
import threading
import time

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from acquire.console.taken import Taken
from acquire.console.tracking import Live
from acquire.console.window import encoded, live_line, start_line, station_line
from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.store import write_traverse
from analysis.draw.live_window import Now, Shape, Start, State, Station, after, draw, shape_of
from analysis.draw.live_window.shapes import beside, other_direction, seating_of
from analysis.draw.live_window.window import SHORTEST_MS, Feed, Painter
from tests.invented import bed_toml, level

BED = bed_toml(1600, 200, instruments={"level": level(0.5, seating_um=0.3)})
SETUP = Setup("level", "slope", BED, number=7, face="front", direction="reverse", position="stations")
PLACES = tuple(np.arange(100.0, 1600, 200))
START = Start("", 7, "front", "level", "slope", "um/m", 200.0, "reverse", False, "metric", PLACES)


def hollow(x):
    """Slope, µm/m, of an invented way 20 µm hollow over 1600 mm."""
    return -20 * np.pi / 1.6 * np.cos(np.pi * x / 1600)


def texts(figure):
    return [text.get_text() for text in figure.texts]


def drawn(state, shape=None, before=None, size=(12.8, 7.2)):
    figure = Figure(figsize=size)
    FigureCanvasAgg(figure)
    draw(figure, state, shape, before)
    figure.canvas.draw()
    return figure


def test_lines_of_the_recorder_are_understood_as_it_sends_them():
    live = Live(time_s=4.0, position_mm=312.5, reading=-3.25, next_mm=300.0, still_s=1.0, places=8)
    sent = [
        start_line("some/survey", SETUP, PLACES),
        station_line(Taken(1500.0, 12.5, 0.5, 3.0, 2, "far from its neighbours")),
        live_line(live),
        {"end": {"reason": "the operator"}},
    ]
    state = State()
    for line in sent:
        state = after(state, encoded(line))
    assert state.start == Start(**{**START.__dict__, "survey": "some/survey"})
    assert state.stations == (Station(1500.0, 12.5, 0.5, 2, 3.0, "far from its neighbours"),)
    assert state.now == Now(4.0, 312.5, -3.25, 300.0, -12.5, 1.0, 3.0, False, 0, 8, None)
    assert state.ended == "the operator"


@pytest.mark.parametrize(
    "line",
    [
        b"",
        b"\n",
        b"\xff\xfe",
        b"[1, 2]",
        b"{}",
        b'{"station": 3}',
        b'{"station": {"station_mm": null}}',
        b'{"x',
    ],
)
def test_line_that_is_not_understood_changes_nothing(line):
    before = State(START, Now(reading=1.0), (Station(100, 1),))
    assert after(before, line) == before


def test_number_that_is_none_is_not_known():
    state = after(State(), b'{"live": {"reading": null, "still_s": "long", "is_settled": 1, "places": 5}}')
    assert state.now == Now(places=5)


def test_shape_of_a_stepped_level_is_the_way():
    """Truth: an invented hollow, summed in closed form at the feet."""
    feet = np.arange(0, 1601, 200.0)
    truth = -20 * np.sin(np.pi * feet / 1600)
    slopes = np.diff(truth) / 0.2
    shape = shape_of(START, [Station(x, s, 0.5) for x, s in zip(PLACES, slopes, strict=True)], 0.3)
    assert shape.station_mm == pytest.approx(feet) and shape.value == pytest.approx(truth, abs=1e-9)
    middle = np.hypot(0.5, np.sqrt(2) * 0.3 / 0.2) * 0.2 * np.sqrt(4 * 4 / 8)
    assert shape.uncertainty[[0, 4, 8]] == pytest.approx([0, middle, 0], abs=1e-9)


def test_turned_level_and_any_order_and_repeats_give_the_same_shape():
    stations = [Station(x, hollow(x), 1.0) for x in PLACES]
    straight = shape_of(START, stations)
    turned = Start(**{**START.__dict__, "turned": True})
    mixed = [Station(x, -hollow(x) + d, 1.0) for x in PLACES[::-1] for d in (-2, 2)]
    assert shape_of(turned, mixed).value == pytest.approx(straight.value, abs=1e-9)


def test_missing_step_leaves_the_longest_row():
    stations = [Station(x, hollow(x), 1.0) for x in PLACES if x != 500]
    shape = shape_of(START, stations)
    assert shape.station_mm[0] == 600 and shape.station_mm[-1] == 1600 and "height" in shape.what


def test_steps_that_have_no_plain_sum_are_shown_as_slopes():
    stations = [Station(x, hollow(x), 1.0) for x in np.arange(100, 1500, 50.0)]
    shape = shape_of(START, stations)
    assert shape.unit == "um/m" and "slope" in shape.what and shape.value.mean() == pytest.approx(0)


def test_indicator_and_cross_level_have_their_own_curves():
    x = np.arange(0, 600, 100.0)
    dial = shape_of(Start(quantity="offset", unit="um"), [Station(a, 5 + 0.1 * a, 1) for a in x], 0.0)
    assert dial.unit == "um" and dial.value == pytest.approx(np.zeros(6), abs=1e-9)
    cross = shape_of(Start(quantity="roll"), [Station(a, 0.1 * a, 1) for a in x])
    assert cross.unit == "um/m" and np.ptp(cross.value) == pytest.approx(50)
    assert shape_of(START, []) is None


def test_other_direction_is_laid_beside_by_its_form_alone():
    x = np.arange(0, 1001, 100.0)
    bow = -4 * 20 * x * (1000 - x) / 1e6
    before = Shape(x, bow + 7 + 0.05 * x, 0 * x, "height", "um")
    part = x <= 500
    line = bow[0] + (bow[part][-1] - bow[0]) * x / 500
    now = Shape(x[part], (bow - line)[part], 0 * x[part], "height", "um")
    assert beside(before, now).value[part] == pytest.approx(now.value, abs=1e-9)
    slopes = Shape(x, bow, 0 * x, "slopes", "um/m")
    assert beside(slopes, now) is None
    assert beside(Shape(x + 2000, bow, 0 * x, "height", "um"), now) is None


def a_survey(folder, *, direction="forward", number=3):
    (folder / "traverses").mkdir(parents=True, exist_ok=True)
    (folder / "bed.toml").write_text(BED)
    x = np.array(PLACES)
    rows = Stations(
        x, hollow(x), np.full(8, 0.5), np.zeros(8), np.ones(8, int), np.ones(8, int), np.arange(8.0)
    )
    setup = Setup("level", "slope", BED, number=number, face="front", direction=direction, created_utc="2025")
    traverse = Traverse(setup, {}, rows, Events(np.array([]), (), ()), "stepped", True)
    write_traverse(folder / "traverses" / f"{number:03d}-front-level.h5", traverse)


def test_other_direction_comes_from_the_survey_and_the_seating_from_bed_toml(tmp_path):
    a_survey(tmp_path)
    start = Start(**{**START.__dict__, "survey": str(tmp_path)})
    before = other_direction(start)
    assert before.value == pytest.approx(shape_of(START, [Station(x, hollow(x)) for x in PLACES]).value)
    assert seating_of(start) == 0.3
    same_way = Start(**{**start.__dict__, "direction": "forward"})
    assert other_direction(same_way) is None
    (tmp_path / "traverses" / "003-front-level.h5").write_bytes(b"spoilt")
    assert other_direction(start) is None
    assert seating_of(START) == 0.0 and other_direction(START) is None


def test_picture_says_all_of_it_in_words():
    now = Now(75, 487.6, -12.34, 300.0, -187.6, 1.5, 3.0, False, 1, 8, "level: 4 garbled so far")
    figure = drawn(State(START, now, (Station(1500, 2),)), None)
    said = texts(figure)
    for words in ("300", "mm", "−12.3", "µm/m", "← back 187.6 mm", "still 1.5 s of 3", "1 of 8 taken"):
        assert words in said
    assert "! level: 4 garbled so far" in said
    settled = texts(drawn(State(START, Now(still_s=4, is_settled=True, to_go_mm=0.1, next_mm=300.0))))
    assert "SETTLED" in settled and "you are there" in settled
    assert "moving" in texts(drawn(State(START, Now(next_mm=300.0))))
    ended = texts(drawn(State(START, now, (), "the operator")))
    assert "ended" in ended and not any(words.startswith("!") for words in ended)


def test_inch_bed_is_shown_inches_and_thou():
    inch = Start(**{**START.__dict__, "display": "inch"})
    said = texts(drawn(State(inch, Now(reading=100.0, next_mm=254.0, to_go_mm=25.4))))
    assert {"10", "in", "1.20", "thou/ft", "→ on 1 in"} <= set(said)


@pytest.mark.whole
@pytest.mark.parametrize("size", [(12.8, 7.2), (8, 4.5), (16, 9)])
@pytest.mark.parametrize("reading", [-1234.56, 0.04, 99999.9])
def test_no_words_leave_the_window(size, reading):
    stations = tuple(Station(x, hollow(x), 1.0) for x in PLACES)
    shape = shape_of(START, stations)
    now = Now(75, 1350.5, reading, 1450.5, 100.0, 1.5, 3.0, False, 8, 8, "level: " + 12 * "nothing more; ")
    figure = drawn(State(START, now, stations), shape, shape, size)
    width, height = figure.canvas.get_width_height()
    for text in figure.texts:
        box = text.get_window_extent()
        assert box.x0 >= 0 and box.x1 <= width and box.y0 >= 0 and box.y1 <= height, text.get_text()


@pytest.mark.parametrize("size", [(12, 7.2), (8, 4.5)])
def test_long_warning_is_wrapped_and_none_of_it_is_lost(size):
    words = "level: nothing more arrives on its cable; check the plug, then the battery, then press s again"
    figure = drawn(State(START, Now(75, 1350.5, 1.0, 1450.5, problem=words), ()), None, None, size)
    said = next(text for text in figure.texts if text.get_text().startswith("! "))
    assert " ".join(said.get_text().split()) == f"! {words}"
    box, others = said.get_window_extent(), [text for text in figure.texts if text is not said]
    assert box.x1 <= figure.canvas.get_width_height()[0]
    assert not any(box.overlaps(text.get_window_extent()) for text in others if text.get_text())


def test_digits_are_large_enough_for_two_metres():
    """A letter should be 1/200 of the distance high or more (common practice for displays): 10 mm."""
    figure = drawn(State(START, Now(reading=-12.3, next_mm=1350.0)))
    large = [text for text in figure.texts if text.get_text() in ("1350", "−12.3")]
    assert len(large) == 2
    assert all(text.get_fontsize() * 0.7 / 72 * 25.4 > 15 for text in large)


def test_feed_keeps_every_station_and_only_the_newest_live_line():
    lines = [b'{"start": {"number": 7}}']
    for k in range(500):
        lines.append(json.dumps({"live": {"reading": float(k)}}).encode())
        lines.append(json.dumps({"station": {"station_mm": float(k), "reading": 1.0}}).encode())
    feed = Feed(lines)
    feed.run()
    assert len(feed._kept) == 501
    state = feed.after(State())
    assert state.now.reading == 499.0 and len(state.stations) == 500 and state.ended is not None


@pytest.mark.whole
def test_slow_picture_never_holds_up_the_writer():
    """The pipe is emptied while nothing at all is drawn: a megabyte goes through at once."""
    ours, theirs = os.pipe()
    with os.fdopen(ours, "rb") as source, os.fdopen(theirs, "wb", buffering=0) as sink:
        Feed(source).start()
        line = b'{"live": {"reading": 1.0}}\n'
        writer = threading.Thread(target=lambda: [sink.write(line) for _ in range(40_000)], daemon=True)
        writer.start()
        writer.join(30)
        assert not writer.is_alive()


def test_painter_redraws_only_what_changed_and_leaves_the_time_to_others():
    lines = [b'{"start": {"number": 7, "face": "front"}}', b'{"live": {"reading": 1.5}}']
    feed = Feed(lines)
    feed.run()
    figure = Figure(figsize=(8, 4.5))
    FigureCanvasAgg(figure)
    painter = Painter(figure, feed)
    assert painter.tick() and not painter.tick()
    assert "1.5" in texts(figure) or "ended" in texts(figure)
    assert painter.wait_ms() >= SHORTEST_MS
    painter.took_s = 1.0
    assert painter.wait_ms() > 2000
    figure.set_size_inches(9, 5)
    assert painter.tick(), "a new size is a change"


@pytest.fixture
def window_process(start):
    """Start the window's process; it is ended with the test."""
    return lambda **environment: _window(start, environment)


def _window(start, environment):
    env = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "MPLBACKEND")}
    return start(
        [sys.executable, "-m", "analysis.draw.live_window"],
        stdin=subprocess.PIPE, stderr=subprocess.PIPE, env={**env, **environment}, text=True,
    )  # fmt: skip


@pytest.mark.whole
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="displays named by the environment")
@pytest.mark.parametrize("environment", [{}, {"DISPLAY": ":98765"}])
def test_without_a_display_one_clear_line_and_exit_code_1(window_process, environment):
    process = window_process(**environment)
    said = process.communicate(timeout=60)[1].splitlines()
    assert process.returncode == 1
    assert len(said) == 1 and said[0].startswith("waylog window: ") and "recording goes on" in said[0]


@pytest.fixture
def display(start):
    """A display without a screen."""
    if shutil.which("Xvfb") is None or shutil.which("xwininfo") is None:
        pytest.skip("no Xvfb and xwininfo here")
    pytest.importorskip("tkinter")
    server = start(
        ["Xvfb", "-displayfd", "1", "-screen", "0", "1280x800x24", "-nolisten", "tcp", "-noreset"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    return f":{server.stdout.readline().strip()}"


def windows_on(display):
    found = subprocess.run(
        ["xwininfo", "-root", "-tree", "-display", display], check=False, capture_output=True, text=True
    )
    return found.stdout


@pytest.mark.whole
def test_window_stays_after_the_recording_until_it_is_closed(display, window_process):
    process = window_process(DISPLAY=display)
    try:
        for line in (start_line("", SETUP, PLACES), live_line(Live(reading=3.0, next_mm=300.0))):
            process.stdin.write(encoded(line).decode())
        process.stdin.close()
        deadline = time.monotonic() + 40
        while '"waylog"' not in windows_on(display):
            assert time.monotonic() < deadline and process.poll() is None, process.stderr.read()
        with pytest.raises(subprocess.TimeoutExpired):
            process.wait(1.0)
    finally:
        process.kill()
        process.wait()
        process.stderr.close()
