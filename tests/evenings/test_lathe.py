"""A lathe in inches, twisted on its feet and worn at the headstock; invented truth.

At each step what is said must be right within what is said.  Simulation proves the arithmetic, not the
bench.
"""

import numpy as np
import pytest

from tests.invented import bed_toml, cross_level, flat, level, vee

pytestmark = [pytest.mark.whole, pytest.mark.statistics]

INCH = 25.4
X = 4 * INCH * np.arange(16)
"""Stations every 4 in over 60 in."""
VIAL = {"unit": "thou/ft", "seating": "0.005 thou"}
UNWORN = [["52 in", "60 in"]]
BED = bed_toml(
    None,
    None,
    bed={
        "length": "60 in", "station_pitch": "4 in", "display": "inch", "carriage_length": "12 in",
        "carriage_bears": "ends", "centre_height": "6 in",
    },
    faces={
        "front-vee": vee(carriage="front", across="0 in", unworn=UNWORN),
        "rear-flat": flat(carriage="rear", across="12 in", unworn=UNWORN),
        "tail-front": flat(across="3 in", runs=False),
        "tail-rear": flat(across="9 in", runs=False),
    },
    instruments={
        "level": level(0.02, base_mm=None, base="4 in", **VIAL), "across": cross_level(0.02, **VIAL),
    },
    feet={
        f"{side}-{end}": {
            "station": at, "across": across, "lift_per_turn": "1/16 in", "hand_step": "0.2 thou",
        }
        for end, at in (("head", "4 in"), ("tail", "56 in"))
        for side, across in (("front", "-2 in"), ("rear", "14 in"))
    },
    state={"stands_on": "feet"},
)  # fmt: skip
THOU_PER_FT = 25.4 / 0.3048
WAYS = ("front-vee", "rear-flat")
ACROSS = {"front-vee": 0.0, "rear-flat": 12 * INCH, "tail-front": 3 * INCH, "tail-rear": 9 * INCH}


def roll_of(feet_um):
    """Roll along the bed that feet lifted by so much make, µm/m, linear between the two pairs."""
    ends = [
        (feet_um[f"rear-{end}"] - feet_um[f"front-{end}"]) / (16 * INCH) * 1000 for end in ("head", "tail")
    ]
    return np.interp(X, [4 * INCH, 56 * INCH], ends)


def survey(evening, by_hand=False):
    for number, face in enumerate(ACROSS):
        evening.level(face, "level", 1.7, THOU_PER_FT, by_hand=by_hand and number == 0)
    evening.cross_level("front-vee", "rear-flat", "across", 1.7, THOU_PER_FT)
    evening.cross_level("tail-front", "tail-rear", "across", 1.7, THOU_PER_FT)


def held(value, expanded, truth, slack=1.5):
    """Whether the truth lies within what is said; the slack is for one case of several hundred figures."""
    return np.abs(np.asarray(value) - truth) <= slack * np.asarray(expanded) + 1e-6


def check_wear(night, twist):
    """Metal that is gone: by the map from the unworn stretches, and by the twist that no foot takes out."""
    for face in WAYS:
        shape = night.ask("map", str(night.folder), face)
        assert shape["line"] == "unworn"
        bed = night.machine.height(face) - night.machine.metal[face]
        gone = night.machine.metal[face] + bed - np.polyval(np.polyfit(X[-3:], bed[-3:], 1), X)
        assert held(shape["height_um"], 2 * np.array(shape["standard_uncertainty_um"]), gone, 1.75).all()
    front, rear = (night.machine.metal[face] for face in WAYS)
    worn = (rear - front) / (12 * INCH) * 1000
    told = twist["wear"]
    at = np.interp(told["station_mm"], X, worn - worn[0])
    assert held(told["roll_um_per_m"], 2 * np.array(told["standard_uncertainty_um_per_m"]), at).all()


def check_done(night, before, metal):
    """What the round took off, as the next survey tells it."""
    again = night.ask("plan", str(night.folder), *WAYS, "--no-wind", "--after", before)
    for face in WAYS:
        told = again["after"][face]
        away = np.array(told["done_um"]) - (metal[face] - night.machine.metal[face])
        away -= np.polyval(np.polyfit(X, away, 1), X)
        assert np.mean(np.abs(away) <= np.array(told["expanded_um"])) >= 0.9


def test_evening_at_a_twisted_and_worn_lathe(evening, make_machine, tmp_path):
    feet = {"front-head": 0.0, "rear-head": 20.0, "front-tail": 15.0, "rear-tail": -25.0}
    dip = np.exp(-(((X - 14 * INCH) / (8 * INCH)) ** 2)) * (X < 50 * INCH)
    machine = make_machine(X, ACROSS, {"front-vee": -45 * dip, "rear-flat": -20 * dip}, 0 * X, roll_of(feet))
    night = evening(BED, machine, seed=5)

    survey(night, by_hand=True)
    twist = night.ask("twist", str(night.folder))
    true_feet = machine.roll - machine.roll[0]
    assert twist["feet"] is not None, twist["cannot_tell"]
    assert held(twist["feet"]["wind_um_per_m"], twist["feet"]["wind_expanded_um_per_m"], true_feet[-1])

    check_wear(night, twist)

    before = night.keep_copy(tmp_path / "before")
    moves = night.ask("feet", str(night.folder))
    assert moves["refused"] is None
    for each in moves["moves"]:
        # feet and floor give: each foot answers by 0.75 of what it is turned, give or take
        feet[each["foot"]] += 0.75 * each["lift_um"] * (1 + 0.1 * night.rng.standard_normal())
    machine.roll = roll_of(feet)
    told = moves["predicted"]

    night.begin(tmp_path / "second")
    survey(night)
    history = night.ask("history", before, str(night.folder))
    assert history["twist"]["figure"] == "bed"
    assert history["twist"]["verdict"] == "better"
    again = night.ask("twist", str(night.folder))
    true_feet = machine.roll - machine.roll[0]
    assert held(again["feet"]["wind_um_per_m"], again["feet"]["wind_expanded_um_per_m"], true_feet[-1])
    assert abs(true_feet[-1]) < 0.5 * abs(twist["feet"]["wind_um_per_m"])
    read = (machine.height("rear-flat") - machine.height("front-vee")) / (12 * INCH) * 1000
    since_first = np.interp(told["station_mm"], X, read) - (
        0 if told["known_up_to"] == "nothing" else read[0]
    )
    assert held(told["roll_um_per_m"], told["expanded_um_per_m"], since_first).all()

    check_wear(night, again)

    datums = night.ask("datums", str(night.folder))
    assert datums["ranking"][0]["face"] in ("tail-front", "tail-rear")
    good = {each["face"]: each["can_be_trusted"] for each in datums["faces"]}
    assert not good["front-vee"]

    spent, done = {}, ()
    scraped = night.keep_copy(tmp_path / "unscraped")
    for round_ in ("third", "fourth"):
        plan = night.ask("plan", str(night.folder), *WAYS, "--no-wind", *done)
        for face, each in plan["plans"].items():
            off = np.array(each["removal"]["removal_um"])
            spent.setdefault(face, []).append(float(off.max()))
        before, metal = night.keep_copy(tmp_path / f"before-{round_}"), dict(machine.metal)
        night.scrape(plan)
        night.begin(tmp_path / round_)
        survey(night)
        done = ("--after", before)
        check_done(night, before, metal)
    assert spent["front-vee"][-1] < spent["front-vee"][0]

    proof = night.ask("history", scraped, str(night.folder), *(f"--scraped={face}" for face in WAYS))
    assert proof["twist"]["verdict"] != "worse"
    verdicts = {each["face"]: each["verdict"] for each in proof["faces"]}
    assert all(verdicts[face] in ("better", "changed") for face in WAYS)
    assert all(verdicts[face] in ("no difference", "cannot tell") for face in ("tail-front", "tail-rear"))
    for face in ("front-vee", "rear-flat"):
        shape = night.ask("map", str(night.folder), face, "--line", "least-squares")
        truth = machine.height(face)
        level = truth - np.polyval(np.polyfit(X, truth, 1), X)
        assert held(shape["height_um"], 2 * np.array(shape["standard_uncertainty_um"]), level, 1.75).all()
