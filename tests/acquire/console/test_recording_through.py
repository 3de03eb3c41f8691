"""Recorder and screen together, by a clock that the chunks carry: a whole stepped traverse."""

import numpy as np
import pytest

from acquire.console.showing import Screen
from acquire.model.companion import Prediction
from acquire.model.recorded import Chunk
from acquire.model.traverse import Setup
from acquire.record.conversion import convert_here
from acquire.record.recorder import Recorder
from acquire.store import read_traverse
from tests.invented import bed_toml, level, scale, speaks, survey_in

BED = bed_toml(
    600,
    instruments={
        "level": level(0.5, **speaks("socket://level:1")),
        "scale": scale(**speaks("socket://scale:1")),
    },
)
TRUE = {100.0: 12.0, 300.0: -5.0, 500.0: 8.0}
TIME_CONSTANT_S = 0.8


class Traverse:
    """A carriage that stops at each place; the level settles at each by 0.8 s; it stays at the last."""

    def __init__(self, places, stand_s=8.0, move_s=2.0):
        self.now_s = 0.0
        self._chunks = self._made(places, stand_s, move_s)

    def __call__(self, specs, clock, requests):
        return self

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def close(self):
        self._chunks = iter(())

    def get(self, timeout=None):
        return next(self._chunks, None)

    def _made(self, places, stand_s, move_s):
        noise = np.random.default_rng(1)
        here, shown = places[0], TRUE[places[0]] + 200.0
        while True:
            place = places.pop(0) if places else here
            way = np.linspace(here, place, round(move_s * 20)) if place != here else []
            for x in [*way, *[place] * round(stand_s * 20)]:
                self.now_s += 0.05
                target = TRUE[place] if x == place else TRUE[place] + 150.0
                shown = target + (shown - target) * np.exp(-0.05 / TIME_CONSTANT_S)
                yield Chunk("scale", self.now_s, f"{x:+.3f}\n".encode())
                yield Chunk("level", self.now_s, f"{shown + noise.normal(0, 0.1):+.3f}\n".encode())
            here = place


@pytest.fixture
def survey(tmp_path):
    return survey_in(tmp_path, BED)


class Remembers:
    """A companion whose survey says 12, -5 and 80 (which is not so) for the three stations."""

    def profile_lines(self, stations, columns):
        return []

    def predict(self, stations, station_mm):
        return Prediction({100.0: 12.0, 300.0: -5.0, 500.0: 80.0}[station_mm], 1.0, "the reverse run")


@pytest.mark.whole
def test_reading_that_the_survey_cannot_believe_is_questioned_at_once_and_kept(survey, capsys):
    _, screen, recorder = _recording(survey, "forward", sorted(TRUE), company=Remembers)
    with screen.watch(recorder):
        recording = recorder.run()
    out = capsys.readouterr().out
    assert "station 500 mm is 72 µm/m" in out and "what the reverse run says" in out
    assert out.count("what the reverse run") == 1
    assert len(read_traverse(recording.path).stations) == 3


@pytest.mark.whole
def test_companion_that_fails_costs_nothing(survey, capsys):
    def failing():
        raise ModuleNotFoundError("no such room")

    _, screen, recorder = _recording(survey, "forward", sorted(TRUE), company=failing)
    with screen.watch(recorder):
        recording = recorder.run()
    assert recording.ended_by == "the last station" and not recorder.faults
    assert "no running profile: no such room" in capsys.readouterr().out


def _recording(survey, direction, places, **options):
    setup = Setup("level", "slope", BED, face="front", position="scale:scale", direction=direction)
    script = Traverse(list(places))
    screen = Screen(survey, setup, **options)
    recorder = Recorder(
        survey,
        setup,
        observers=[screen],
        clock=lambda: script.now_s,
        make_reader=script,
        converter=convert_here,
    )
    return script, screen, recorder


@pytest.mark.whole
@pytest.mark.parametrize("direction", ["forward", "reverse"])
def test_stepped_traverse_ends_by_itself_at_the_last_station_with_settled_readings(survey, direction, capsys):
    places = sorted(TRUE, reverse=direction == "reverse")
    script, screen, recorder = _recording(survey, direction, places)
    with screen.watch(recorder):
        recording = recorder.run()
    assert recording.ended_by == "the last station" and not recorder.faults and screen.fault is None
    traverse = read_traverse(recording.path)
    assert traverse.complete and traverse.mode == "stepped"
    assert traverse.stations.station_mm.tolist() == sorted(TRUE)
    truth = [TRUE[x] for x in sorted(TRUE)]
    assert traverse.stations.reading == pytest.approx(truth, abs=0.2)
    # The screen took the same stations in their order, and its values are near the file's.
    taken = screen.tracker.tick(script.now_s).taken
    assert [t.station_mm for t in taken] == places
    assert [t.reading for t in taken] == pytest.approx([TRUE[x] for x in places], abs=1.0)
    lines = capsys.readouterr().out.splitlines()
    assert "recording" in lines[0] and sum("  station " in line for line in lines) == 3
