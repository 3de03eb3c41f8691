"""A planer bed of 3 m in two pieces, hollow, its joint not closed; invented truth.

At each step what is said must be right within what is said.  Simulation proves the arithmetic, not the
bench.
"""

import numpy as np
import pytest

from tests.invented import bed_toml, cross_level, flat, level

pytestmark = [pytest.mark.whole, pytest.mark.statistics]

X = np.arange(0.0, 3001.0, 150.0)
JOINT = 1575.0
ACROSS = {"front-way": -200.0, "rear-way": 200.0}
FEET = {
    "near-front": (1800, -300), "near-rear": (1800, 300), "far-front": (2850, -300), "far-rear": (2850, 300),
}  # fmt: skip
BED = bed_toml(
    3000,
    150,
    bed={"joints_mm": [1575]},
    faces={"front-way": flat(-200, "front"), "rear-way": flat(200, "rear")},
    instruments={
        "level": level(2, 150, seating_um=0.2, scale_uncertainty=0.002, base_uncertainty_mm=0.1),
        "cross": cross_level(2, seating_um=0.2),
    },
    feet={
        name: {"station_mm": mm, "across_mm": across, "um_per_turn": 1500, "hand_step_um": 2}
        for name, (mm, across) in FEET.items()
    },
)


def survey(evening, by_hand=False):
    for face in ACROSS:
        evening.level(face, "level", 2.9, by_hand=by_hand and face == "front-way")
    evening.cross_level("front-way", "rear-way", "cross", 2.1)


def lie_of(piece):
    """Rise and roll that a second piece which lies otherwise makes: (µm, µm/m, µm/m)."""
    step, kink, roll = piece
    beyond = X > JOINT
    return np.where(beyond, step + kink * (X - JOINT) / 1000, 0.0), np.where(beyond, roll, 0.0)


def moved(piece, lifts):
    """The piece after its feet were lifted: a rigid body follows them by least squares."""
    rows = np.array([[1.0, (mm - JOINT) / 1000, p / 1000] for mm, p in FEET.values()])
    return (
        np.asarray(piece) + np.linalg.lstsq(rows, np.array([lifts.get(n, 0.0) for n in FEET]), rcond=None)[0]
    )


def held(found, truth, slack=1.5):
    return abs(found["value"] - truth) <= slack * found["expanded"]


def test_evening_at_a_hollow_planer_whose_second_piece_lies_high(evening, make_machine, tmp_path):
    piece = np.array([22.0, -40.0, 30.0])
    hollow = {
        face: -deep * np.sin(np.pi * X / 3000) ** 2 for face, deep in zip(ACROSS, (45, 35), strict=True)
    }
    machine = make_machine(X, ACROSS, hollow, *lie_of(piece))
    night = evening(BED, machine, seed=8)

    survey(night, by_hand=True)
    joint = night.ask("joints", str(night.folder))["joints"][0]
    assert held(joint["up_um"], piece[0]) and joint["up_um"]["value"] > joint["up_um"]["expanded"]
    assert held(joint["pitch_um_per_m"], piece[1])
    assert held(joint["roll_um_per_m"], piece[2])
    assert night.refuse("plan", str(night.folder), "front-way").count("--across-joints") == 1
    ripples = night.ask("ripples", str(night.folder))
    assert not any(each["steps"] for each in ripples["faces"])

    for round_ in ("second", "third"):
        told = night.ask("joints", str(night.folder))
        lifts = {
            each["place"]: each["lift_um"]["value"] * (1 + 0.2 * night.rng.standard_normal())
            for each in told["moves"]
            if abs(each["lift_um"]["value"]) > each["lift_um"]["expanded"]
        }
        if not lifts:
            break
        piece = moved(piece, lifts)
        machine.rise, machine.roll = lie_of(piece)
        night.begin(tmp_path / round_)
        survey(night)
        joint = night.ask("joints", str(night.folder))["joints"][0]
        assert held(joint["up_um"], piece[0])
        assert held(joint["pitch_um_per_m"], piece[1])
        assert held(joint["roll_um_per_m"], piece[2])
    assert abs(piece[0]) < 10 and abs(piece[2]) < 15

    datums = night.ask("datums", str(night.folder))
    assert not any(each["can_be_trusted"] for each in datums["faces"])
    assert "Do not scrape yet" in night.hear("plan", str(night.folder), "front-way", "--across-joints")

    ways, spent = ("front-way", "rear-way"), []
    for round_ in ("fourth", "fifth"):
        plan = night.ask("plan", str(night.folder), *ways, "--no-wind", "--across-joints")
        spent.append(plan["greatest_um"])
        before, metal = night.keep_copy(tmp_path / f"before-{round_}"), dict(machine.metal)
        night.scrape(plan)
        night.begin(tmp_path / round_)
        survey(night)
        again = night.ask("plan", str(night.folder), *ways, "--no-wind", "--across-joints", "--after", before)
        for face in ways:
            done = again["after"][face]
            off = metal[face] - machine.metal[face]
            away = np.array(done["done_um"]) - off
            away -= np.polyval(np.polyfit(X, away, 1), X)
            assert np.mean(np.abs(away) <= np.array(done["expanded_um"])) >= 0.9
    assert again["greatest_um"] < spent[0]
    for face in ways:
        shape = night.ask("map", str(night.folder), face, "--line", "least-squares")
        truth = machine.height(face)
        level = truth - np.polyval(np.polyfit(X, truth, 1), X)
        sure = 2 * np.array(shape["standard_uncertainty_um"])
        assert np.all(np.abs(np.array(shape["height_um"]) - level) <= 1.6 * sure)
