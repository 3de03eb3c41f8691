"""The window in its second cases: turned, newest, repeated, seated, inches, on past the station."""

import dataclasses

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.figure import Figure

from acquire.model.traverse import Events, Setup, Stations, Traverse
from acquire.store import write_traverse
from analysis.draw.live_window import Now, Shape, Start, State, Station, after, draw, shape_of
from analysis.draw.live_window.shapes import beside, other_direction
from tests.invented import bed_toml, level, survey_in

BED = bed_toml(1600, 200, instruments={"level": level(0.5, seating_um=0.3)})
PLACES = tuple(np.arange(100.0, 1600, 200))
START = Start("", 7, "front", "level", "slope", "um/m", 200.0, "reverse", False, "metric", PLACES)


def run(folder, number, slope, **setup):
    """An earlier traverse of the survey, invented."""
    rows = Stations(
        np.array(PLACES),
        slope,
        np.full(8, 0.5),
        np.zeros(8),
        np.ones(8, int),
        np.ones(8, int),
        np.arange(8.0),
    )
    made = Setup("level", "slope", BED, number=number, face="front", created_utc="2025", **setup)
    write_traverse(
        folder / "traverses" / f"{number:03d}-front-level.h5",
        Traverse(made, {}, rows, Events(np.array([]), (), ()), "stepped", True),
    )


@pytest.fixture
def start(tmp_path):
    """A recording, number 7, in reverse."""
    return dataclasses.replace(START, survey=str(survey_in(tmp_path / "survey", BED)))


HOLLOW = np.linspace(-40, 40, 8)


def curve(slopes):
    return shape_of(START, [Station(x, s) for x, s in zip(PLACES, slopes, strict=True)]).value


def test_newest_earlier_run_the_other_way_is_laid_beside(start, tmp_path):
    run(tmp_path / "survey", 2, HOLLOW, direction="forward")
    run(tmp_path / "survey", 4, 2 * HOLLOW, direction="forward")
    run(tmp_path / "survey", 5, 3 * HOLLOW, direction="reverse")
    run(tmp_path / "survey", 9, 4 * HOLLOW, direction="forward")
    assert other_direction(start).value == pytest.approx(curve(2 * HOLLOW))


def test_run_of_a_turned_level_is_laid_beside_as_the_way_lies(start, tmp_path):
    run(tmp_path / "survey", 2, -HOLLOW, direction="forward", turned=True)
    assert other_direction(start).value == pytest.approx(curve(HOLLOW))


def test_curve_of_a_turned_level_and_cross_level_has_the_sign_of_the_way():
    for quantity, base_mm in (("slope", 200.0), ("roll", None)):
        straight = dataclasses.replace(START, quantity=quantity, base_mm=base_mm)
        stations = [Station(x, s) for x, s in zip(PLACES, HOLLOW, strict=True)]
        ended = [Station(x, -s) for x, s in zip(PLACES, HOLLOW, strict=True)]
        turned = shape_of(dataclasses.replace(straight, turned=True), ended)
        assert turned.value == pytest.approx(shape_of(straight, stations).value)


def test_seating_of_a_carrier_is_in_the_curve_s_uncertainty():
    """Middle of three less the mean of the ends: u √1.5, with u² = 0.4² + 0.3²."""
    stations = [Station(x, 0.0, 0.4) for x in (0.0, 100.0, 200.0)]
    shape = shape_of(Start(quantity="offset", unit="um"), stations, 0.3)
    assert shape.uncertainty == pytest.approx([0, 0.5 * 1.5**0.5, 0])


def test_repeats_at_a_station_leave_the_uncertainty_of_one():
    """They may share an error."""
    stations = [Station(x, 1.0, 2.0, repeat) for x in (0.0, 100.0) for repeat in (1, 2, 3)]
    assert shape_of(Start(quantity="roll"), stations).uncertainty == pytest.approx([2.0, 2.0])


def test_earlier_roll_is_laid_on_the_present_one_s_mean():
    x = np.array([0.0, 100.0, 200.0])
    earlier = Shape(x, np.array([10.0, 11.0, 14.0]), 0 * x, "roll", "um/m")
    now = Shape(x[:2], np.array([0.0, 1.0]), 0 * x[:2], "roll", "um/m")
    assert beside(earlier, now).value == pytest.approx([0.0, 1.0, 4.0])


def test_earlier_heights_are_laid_on_the_line_through_the_present_ends():
    x = np.array([0.0, 100.0, 200.0])
    earlier = Shape(x, np.array([5.0, 9.0, 11.0]), 0 * x, "height", "um")
    now = Shape(x, np.array([0.0, 1.0, 0.0]), 0 * x, "height", "um")
    assert beside(earlier, now).value == pytest.approx([0.0, 1.0, 0.0])


@pytest.fixture
def shown():
    """A figure of a state of things, its axes of the curve."""

    def drawn(state, shape=None):
        figure = Figure(figsize=(12.8, 7.2))
        draw(figure, state, shape)
        return [text.get_text() for text in figure.texts], figure.axes[-1]

    return drawn


INCH = dataclasses.replace(START, display="inch")


@pytest.mark.parametrize(("start", "per_um"), [(START, 1.0), (INCH, 1 / 25.4)])
def test_band_of_the_window_is_two_standard_uncertainties(shown, start, per_um):
    x = np.array([0.0, 100.0, 200.0])
    shape = Shape(x, np.array([0.0, 3.0, 0.0]), np.array([0.0, 1.5, 0.0]), "height", "um")
    _, axes = shown(State(start), shape)
    (band,) = [each for each in axes.collections if isinstance(each, PolyCollection)]
    y = band.get_paths()[0].vertices[:, 1]
    assert (y.min(), y.max()) == pytest.approx((0.0, 6.0 * per_um))


@pytest.mark.parametrize(("start", "at"), [(START, 508.0), (INCH, 20.0)])
def test_mark_of_the_next_station_stands_there(shown, start, at):
    words, axes = shown(State(start, Now(next_mm=508.0, position_mm=254.0)))
    assert axes.lines[1].get_xdata() == pytest.approx([at, at])
    assert axes.lines[2].get_xdata() == pytest.approx([at / 2])
    assert f"{at:g}" in words


@pytest.mark.parametrize(
    ("to_go_mm", "words"),
    [(1.9, "you are there"), (-1.9, "you are there"), (3.0, "→ on 3 mm"), (-3.0, "← back 3 mm")],
)
def test_way_to_go_is_said_from_two_millimetres_on(shown, to_go_mm, words):
    assert words in shown(State(START, Now(next_mm=300.0, to_go_mm=to_go_mm)))[0]


def test_what_goes_wrong_comes_before_a_doubtful_station(shown):
    doubtful = (Station(100.0, 1.0, doubt="far from its neighbours"),)
    assert "! far from its neighbours" in shown(State(START, Now(), doubtful))[0]
    assert "! level: silent" in shown(State(START, Now(problem="level: silent"), doubtful))[0]


def test_stations_taken_are_counted_of_those_there_are(shown):
    assert "1 of 8 taken" in shown(State(START, Now(), (Station(100.0, 1.0),)))[0]
    assert "1 of 9 taken" in shown(State(START, Now(places=9), (Station(100.0, 1.0),)))[0]


def test_settled_and_turned_are_taken_from_the_line():
    state = after(State(), b'{"start": {"turned": true, "face": "way"}}')
    state = after(state, b'{"live": {"is_settled": true, "problem": "level: silent"}}')
    assert state.start.turned and state.start.face == "way"
    assert state.now.is_settled and state.now.problem == "level: silent"
