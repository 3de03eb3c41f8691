"""Twist before and after: invented winds of the ways, judged by the bed where feet can be told from wear."""

from pathlib import Path

import numpy as np
import pytest

from analysis.answers.history import before_and_after
from analysis.answers.surveys import Survey
from analysis.answers.twist import twist_of
from analysis.words.history import twist_change_words
from tests.invented import cross_level, flat, level

X = np.arange(0, 1001, 100.0)
MIDDLE = (X[1:] + X[:-1]) / 2
FACES = {"front-flat": flat(0, "front"), "rear-flat": flat(300, "rear")}
CROSS = {"cross": cross_level(2.0)}


@pytest.fixture
def crossed(make_traverse):
    """A survey of one run of the cross level: `crossed(bed, roll_um_per_m)`."""

    def make(bed, roll):
        run = make_traverse(bed, "cross", X, roll, front="front-flat", rear="rear-flat")
        return Survey(Path("survey"), bed, (run,))

    return make


@pytest.mark.parametrize(
    ("now", "verdict"),
    [(-79.0, "changed"), pytest.param(-40.0, "better", marks=pytest.mark.statistics), (40.0, "better")],
)
def test_twist_that_only_turned_over_is_no_better(crossed, invented_bed, now, verdict):
    """80 µm/m rear high, then as much front high: it changed, and is as bad as it was."""
    bed = invented_bed(faces=FACES, instruments=CROSS)
    change = before_and_after(*(crossed(bed, wind * X / 1000) for wind in (80.0, now))).twist
    assert change.verdict == verdict
    # what the level's scale is off by adds up where the wind turned over, and is no part of it otherwise
    apart = (change.before_expanded_um_per_m, change.after_expanded_um_per_m)
    joint = sum(apart) if now < 0 else np.hypot(*apart)
    assert change.change_expanded_um_per_m == pytest.approx(joint)
    assert ("neither more nor less" in twist_change_words(change, inch=False)) is (verdict == "changed")


@pytest.mark.statistics
def test_twist_before_and_after_is_held_against_what_could_be_seen(crossed, invented_bed):
    bed = invented_bed(faces=FACES, instruments=CROSS)
    rng = np.random.default_rng(16)

    def wound(wind):
        return crossed(bed, wind * X / 1000 + rng.normal(0, 2, 11))

    better = before_and_after(wound(80.0), wound(10.0)).twist
    assert better.verdict == "better"
    assert better.change_um_per_m == pytest.approx(-70, abs=1.5 * better.change_expanded_um_per_m)
    assert before_and_after(wound(10.0), wound(80.0)).twist.verdict == "worse"
    assert before_and_after(wound(80.0), wound(80.0)).twist.verdict == "no difference"


@pytest.mark.parametrize(
    ("then", "now"), [pytest.param(60.0, 60.0, marks=pytest.mark.statistics), (0.0, -60.0)]
)
def test_zero_shared_within_each_survey_is_another_one_before_and_after(
    make_traverse, invented_bed, then, now
):
    """Truth given: two levels with one zero tell the wind; the zero itself moved by 280 µm/m in between."""
    bed = invented_bed(faces=FACES, instruments={"level": level(5.0, base_mm=100, seating_um=0.3)})

    def read(wind, zero):
        slopes = {"front-flat": 0.0, "rear-flat": 0.3 * wind}  # rises by wind · gauge over the metre
        same = ({}, {"same_zero_as": 1})
        return Survey(
            Path("survey"),
            bed,
            tuple(
                make_traverse(
                    bed, "level", MIDDLE, np.full(10, slope + zero), face=face, number=n + 1, **same[n]
                )
                for n, (face, slope) in enumerate(slopes.items())
            ),
        )

    twist = before_and_after(read(then, 30.0), read(now, -250.0)).twist
    assert (twist.before_um_per_m, twist.after_um_per_m) == pytest.approx((then, now), abs=1e-6)
    assert twist.change_um_per_m == pytest.approx(now - then, abs=1e-6)
    # derived: ten steps of 100 mm on each of two ways, 5 µm/m and two feet seated to 0.3 µm each; the zero
    # may have drifted by three times that over a run (nine intervals, ten between runs) and moved as far
    step_um = np.hypot(5.0, 2**0.5 * 0.3 / 0.1) * 0.1
    expanded = 2 * step_um * np.hypot(np.sqrt(20), 10 * 3 * np.hypot(10 / 9, 1)) / 0.3
    assert twist.before_expanded_um_per_m == pytest.approx(expanded, rel=1e-6)
    assert twist.change_expanded_um_per_m == pytest.approx(2**0.5 * expanded, rel=1e-6)


@pytest.mark.statistics
@pytest.mark.parametrize(("then", "now", "verdict"), [(40.0, 0.0, "better"), (0.0, 40.0, "worse")])
def test_shimming_is_judged_by_the_bed_and_never_by_worn_ways(crossed, invented_bed, then, now, verdict):
    """Truth given: the front way is worn at the headstock; with the bed's twist gone the wind is more."""
    feet = {
        f"{side}-{x}": {"station_mm": x, "across_mm": across}
        for side, across in (("front", 0), ("rear", 300))
        for x in (0, 1000)
    }
    faces = {name: face | {"unworn_mm": [[300, 1000]]} for name, face in FACES.items()}
    bed = invented_bed(faces=faces, instruments=CROSS, feet=feet)
    rng = np.random.default_rng(17)

    def stood(twist):
        roll = twist * X / 1000 + np.where(X < 300, 60.0, 0.0) + rng.normal(0, 2, 11)
        return crossed(bed, roll)

    old, new = stood(then), stood(now)
    winds = [abs(twist_of(each.measuring, bed).wind_um_per_m) for each in (old, new)]
    assert (winds[1] > winds[0]) is (verdict == "better")  # by the ways it would be the other way round
    change = before_and_after(old, new).twist
    assert (change.figure, change.verdict) == ("bed", verdict)
    # unworn from 300 to 1000 mm: eight places 4 µm/m apart stray by 4·√(63/12) rms
    twisted = change.before_um_per_m if verdict == "better" else change.after_um_per_m
    assert twisted == pytest.approx(4 * np.sqrt(63 / 12), abs=3.0)
    assert "the bed itself: twist is " + verdict in twist_change_words(change, inch=False)
