"""How a bed was read to answer its feet: invented responses, some of feet that do not bear."""

import re

import numpy as np
import pytest

from acquire.model.bed_toml.reading import parse_bed
from acquire.model.errors import AnalysisError
from analysis.adjust.combination import combine
from analysis.answers.feet_on_bed import feet_to_move
from analysis.answers.feet_response import measured_response, stiff
from analysis.words.feet import feet_words

FEET = {"front-0": (0, 0), "rear-0": (0, 400), "front-1000": (1000, 0), "rear-1000": (1000, 400)}
STATION = [0.0, 500.0, 1000.0]
X = np.arange(0, 1001, 100.0)


def _bed():
    text = '[bed]\nname = "invented"\nlength_mm = 1000\nstation_pitch_mm = 100\n'
    for way, across in (("front", 0), ("rear", 250)):
        text += f'[faces.{way}]\nnormal = "up"\nacross_mm = {across}\ncarriage = "{way}"\n'
        text += "unworn_mm = [[0, 1000]]\n"
    for name, (x, across) in FEET.items():
        text += (
            f"[feet.{name}]\nstation_mm = {x}\nacross_mm = {across}\num_per_turn = 2000\nhand_step_um = 1\n"
        )
    text += (
        '[instruments.cross]\nquantity = "roll"\nunit = "um/m"\nstandard_uncertainty = 1\nseating_um = 0\n'
    )
    return parse_bed(text)


def _written(tmp_path, share, *, turns=(0.02,), only=4, station=STATION):
    """A file of responses: each foot answers this share of what a stiff bed would."""
    bed, text = _bed(), f"station_mm = {station}\nstandard_uncertainty_um_per_m = 1.0\n"
    roll = stiff(bed).roll
    for number, name in enumerate(list(FEET)[:only]):
        for turn in turns:
            part = share(name, turn)
            after = np.interp(station, [0, 1000], roll[:, number]) * part * turn * 2000
            text += f'[[response]]\nfoot = "{name}"\nturns = {turn}\n'
            text += f"before_um_per_m = {[0.0] * len(station)}\nafter_um_per_m = {after.tolist()}\n"
    path = tmp_path / "response.toml"
    path.write_text(text)
    return path


def test_feet_that_give_are_moved_further_than_a_stiff_bed_asks_for(tmp_path, make_traverse):
    """Truth: every foot answers with three quarters, so that the move is four thirds."""
    path = _written(tmp_path, lambda name, turn: 0.75)
    bed = _bed()
    bed_map = combine([make_traverse(bed, "cross", X, 0.15 * X, front="front", rear="rear")], bed)
    twist = {}
    for model, measured in (("stiff bed", None), ("measured", lambda bed: measured_response(path, bed))):
        found = feet_to_move(bed_map, measured=measured)
        lift = {each.foot: each.lift_um for each in found.moves}
        twist[model] = lift["rear-1000"] - lift["front-1000"] - lift["rear-0"] + lift["front-0"]
        assert found.model == model and found.predicted.roll_um_per_m == pytest.approx(np.zeros(11), abs=5)
        assert any("answered its feet" in line for line in feet_words(found, False)) is (model == "measured")
    assert twist["stiff bed"] == pytest.approx(-60, abs=2)
    assert twist["measured"] == pytest.approx(-80, abs=2)


def test_uncertainty_of_a_measured_response_is_root_two_of_a_reading_over_the_lift(tmp_path):
    """Derived: u = sqrt(2) u_map / lift; a station at each pair and the middle, first pair: 5/6 of it."""
    found = measured_response(_written(tmp_path, lambda name, turn: 1.0), _bed())
    assert found.covariance[:, 0, 0] == pytest.approx(2 / 40**2 * 5 / 6)
    assert found.roll == pytest.approx(stiff(_bed()).roll)


@pytest.mark.parametrize(
    ("described", "said"),
    [
        ({"share": lambda name, turn: 0.0 if name == "rear-0" else 1.0}, "rear-0 shows nothing"),
        (
            {
                "share": lambda name, turn: 1.0 if turn > 0 or name != "front-0" else 0.5,
                "turns": (0.02, -0.02),
            },
            "front-0 answers otherwise",
        ),
        ({"share": lambda name, turn: 1.0, "only": 3}, "no [[response]] of rear-1000"),
        ({"share": lambda name, turn: 1.0, "station": [0.0]}, "the roll at every pair"),
    ],
)
def test_response_that_cannot_be_relied_on_is_refused(tmp_path, described, said):
    with pytest.raises(AnalysisError, match=re.escape(said)):
        measured_response(_written(tmp_path, **described), _bed())


@pytest.mark.parametrize("text", ["", "station_mm = 3", "[[response", "station_mm = []\nresponse = 4"])
def test_file_of_another_form_is_refused_with_the_form(tmp_path, text):
    path = tmp_path / "response.toml"
    path.write_text(text)
    with pytest.raises(AnalysisError, match=r"\[\[response\]\]"):
        measured_response(path, _bed())
